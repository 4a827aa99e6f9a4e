"""Many series: the same table whatever the executor, and nothing lost by one bad series."""

import csv
import os
import signal
import sys
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from ratemodel.errors import InputError
from ratemodel.inference.average import Settings, fit_rate
from ratemodel.many import ManyRun, checkpoint, fit_many, stream
from ratemodel.many import fit as many_fit
from ratemodel.records.tables import Campaign, Series
from ratemodel.simulate import Design, FibreAndHeat, Label, Truth, simulate_series
from ratemodel.words import CAUTION

QUIET = ManyRun(progress=False, chunk=2)
QUICK = Settings(draws=1000, points=128)
RATES = (1e-3, 1.0)


def some(count: int) -> list[Series]:
    design = Design((-3.0, -2.0, 0.0), machines=("slow", "slow", "fast"), specimens=4)
    return [
        simulate_series(
            Truth(curve=FibreAndHeat(drop=0.02 * i)), design, np.random.default_rng(i),
            label=Label(f"cord-{i}"),
        )
        for i in range(count)
    ]  # fmt: skip


def run(series, **more):
    return fit_many(series, **({"seed": 5, "rates": RATES, "settings": QUICK, "run": QUIET} | more))


def none_broke(series: Series) -> Series:
    used = replace(series.used, broke=np.zeros(len(series.used), bool))
    return replace(series, name="held", used=used)


def test_a_row_is_the_fit_of_that_series_alone():
    series = some(3)
    table = run(series).table
    fit = fit_rate(series[1], rng=stream(5, "cord-1"), settings=QUICK)
    curve = fit.curve(np.log10(RATES))
    rows = table[table["series"] == "cord-1"]
    assert rows["median"].to_numpy() == pytest.approx(np.exp(curve.median) / 1e3, rel=1e-12)
    assert rows["lower_bound"].to_numpy() == pytest.approx(np.exp(curve.lower_bound) / 1e3)
    assert rows["unit"].tolist() == ["kN", "kN"]
    odds = rows.filter(like="odds_").to_numpy()
    assert odds.sum(axis=1) == pytest.approx(1.0)
    assert odds.shape[1] == len(fit.models)


def test_neither_order_nor_company_nor_chunk_changes_a_number():
    series = some(4)
    table = run(series).table
    other = run(series[::-1], run=ManyRun(progress=False, chunk=3)).table
    alone = run([series[2]]).table
    again = other.sort_values(["series", "strain_rate_per_s"], ignore_index=True)
    assert_frame_equal(table, again, check_exact=True)
    mine = table[table["series"] == "cord-2"].reset_index(drop=True)
    assert_frame_equal(mine, alone, check_exact=True)


def test_another_seed_gives_other_draws():
    series = some(1)
    assert not np.array_equal(run(series).table["median"], run(series, seed=6).table["median"])


class Backwards(Executor):
    """Does nothing until all is handed over, then finishes the last first."""

    def __init__(self):
        self.waiting = []

    def submit(self, work, /, *args, **kwargs):
        future = Future()
        self.waiting.append((future, work, args, kwargs))
        if len(self.waiting) == 2:
            for each, call, a, k in reversed(self.waiting):
                each.set_result(call(*a, **k))
        return future


def processes():
    return ProcessPoolExecutor(2, mp_context=get_context("spawn"))


@pytest.mark.parametrize("make", [lambda: ThreadPoolExecutor(2), Backwards, processes])
def test_every_executor_gives_the_same_table(make):
    series = some(4)
    with make() as executor:
        table = run(series, executor=executor).table
    assert_frame_equal(table, run(series).table, check_exact=True)


def test_a_dask_cluster_gives_the_same_table():
    distributed = pytest.importorskip("distributed", reason="the extra [dask] is not installed")
    series = some(4)
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        table = run(series, executor=client.get_executor()).table
    assert_frame_equal(table, run(series).table, check_exact=True)


def test_one_bad_series_is_reported_and_the_rest_stay(monkeypatch):
    series = some(3)
    series.insert(1, none_broke(series[0]))
    result = run(series)
    assert result.table["series"].unique().tolist() == ["cord-0", "cord-1", "cord-2"]
    assert [(f.name, f.kind) for f in result.failures] == [("held", "input")]
    assert "no specimen broke" in result.failures[0].message
    assert "held" in str(result)
    assert CAUTION in str(result)


def test_a_fault_of_the_program_in_one_series_is_named_as_one():
    series = some(2)
    broken = replace(series[0], name="odd", used=replace(series[0].used, strength=None))
    result = run([broken, series[1]])
    assert result.table["series"].unique().tolist() == ["cord-1"]
    assert result.failures[0].kind == "bug"


def test_all_failed_is_an_empty_table_that_can_be_shown():
    result = run([none_broke(some(1)[0])])
    assert len(result.table) == 0
    assert len(result.failures) == 1
    assert CAUTION in result._repr_html_().replace("&#x27;", "'")


def die(chunk, job):
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_a_worker_that_dies_loses_only_what_was_not_done(monkeypatch, tmp_path):
    series = some(3)
    keep = ManyRun(progress=False, chunk=1, checkpoint=tmp_path / "kept")
    run(series[:1], run=keep)
    monkeypatch.setattr(many_fit, "run_chunk", die)
    with ProcessPoolExecutor(1, mp_context=get_context("fork")) as executor:
        result = run(series, run=keep, executor=executor)
    assert result.table["series"].unique().tolist() == ["cord-0"]
    assert [f.kind for f in result.failures] == ["lost", "lost"]
    assert "run again" in result.failures[0].message


def test_a_stopped_run_goes_on_where_it_was(monkeypatch, tmp_path):
    series = some(5)
    whole = run(series)
    keep = ManyRun(progress=False, chunk=2, checkpoint=tmp_path / "kept")
    sound, calls = many_fit.run_chunk, []

    def stops(chunk, job):
        calls.append([name for name, _ in chunk])
        if len(calls) == 2:
            raise KeyboardInterrupt("stop")
        return sound(chunk, job)

    monkeypatch.setattr(many_fit, "run_chunk", stops)
    with pytest.raises(KeyboardInterrupt, match="stop"):
        run(series, run=keep)
    result = run(series, run=keep)
    assert calls == [["cord-0", "cord-1"], ["cord-2", "cord-3"], ["cord-2", "cord-3"], ["cord-4"]]
    assert result.resumed == 2
    assert_frame_equal(result.table, whole.table, check_exact=True)


def test_what_has_changed_is_fitted_anew(tmp_path):
    series = some(2)
    keep = ManyRun(progress=False, checkpoint=tmp_path)
    run(series, run=keep)
    assert run(series, run=keep).resumed == 2
    assert run(series, run=keep, seed=6).resumed == 0
    assert run(series, run=keep, rates=[2.0]).resumed == 0
    assert run(series, run=keep, settings=replace(QUICK, level=0.8)).resumed == 0
    used = replace(series[0].used, strength=series[0].used.strength * 1.001)
    changed = [replace(series[0], used=used), series[1]]
    result = run(changed, run=keep)
    assert result.resumed == 1
    assert_frame_equal(result.table, run(changed).table, check_exact=True)


@pytest.mark.parametrize("spoil", [b"", b"\xff\x00", b"[1, 2]\n", b"{\n", b'{"key": 3}\n', b"cut"])
def test_a_damaged_checkpoint_costs_time_only(spoil, tmp_path):
    series = some(2)
    keep = ManyRun(progress=False, chunk=1, checkpoint=tmp_path)
    whole = run(series, run=keep)
    victim = sorted(tmp_path.glob("chunk-*.jsonl"))[0]
    sound = victim.read_bytes()
    victim.write_bytes(sound[: len(sound) // 2] if spoil == b"cut" else spoil)
    result = run(series, run=keep)
    assert result.resumed == 1
    assert_frame_equal(result.table, whole.table, check_exact=True)


def test_a_checkpoint_holds_text_only(tmp_path):
    run(some(1), run=ManyRun(progress=False, checkpoint=tmp_path))
    (file,) = tmp_path.iterdir()
    assert file.read_bytes().isascii()
    assert len(checkpoint.finished(tmp_path)) == 1


def test_a_campaign_brings_its_priors_along():
    series = some(1)[0]
    options = {"priors": {"model_weights": {"constant": 0.0}}}
    campaign = Campaign("c", {"cord-0": series}, {}, "abc", options=options)
    table = run(campaign).table
    assert (table["odds_constant"] == 0.0).all()
    assert (run([series]).table["odds_constant"] > 0.0).all()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"rates": []}, "no strain rate"),
        ({"rates": [0.0]}, "strain rate 0.0"),
        ({"rates": [float("nan")]}, "strain rate nan"),
        ({"run": ManyRun(chunk=0)}, "chunk is 0"),
    ],
)
def test_wrong_arguments_are_refused(change, says):
    with pytest.raises(InputError, match=says):
        run(some(1), **change)


def test_names_twice_and_a_file_as_checkpoint_are_refused(tmp_path):
    series = some(1)
    with pytest.raises(InputError, match="stands twice"):
        run([*series, *series])
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="is a file"):
        run(series, run=ManyRun(progress=False, checkpoint=tmp_path / "file"))


def test_csv_holds_the_table_with_formulas_made_harmless(tmp_path):
    series = replace(some(1)[0], name="=1+1")
    result = run([series])
    path = result.to_csv(tmp_path / "many.csv")
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows[0]["series"] == "'=1+1"
    assert float(rows[0]["lower_bound"]) == result.table["lower_bound"][0]
    assert all(row["caution"] == CAUTION for row in rows)


def test_parquet_holds_the_table(tmp_path):
    pytest.importorskip("pyarrow", reason="pyarrow is not installed")
    result = run(some(2))
    path = result.to_parquet(tmp_path / "many.parquet")
    assert_frame_equal(pd.read_parquet(path), result.table, check_exact=True)


def test_parquet_without_an_engine_says_what_to_install(tmp_path, monkeypatch):
    result = run(some(1))
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    monkeypatch.setitem(sys.modules, "fastparquet", None)
    with pytest.raises(InputError, match="pip install pyarrow"):
        result.to_parquet(tmp_path / "many.parquet")
    assert not list(tmp_path.iterdir())


def test_html_escapes_names():
    bad = replace(none_broke(some(1)[0]), name="<script>x</script>")
    shown = run([bad, replace(some(1)[0], name="<b>")])._repr_html_()
    assert "<script>" not in shown
    assert "<b>" not in shown
    assert CAUTION in shown.replace("&#x27;", "'")


def test_progress_is_shown_where_asked_for(capfd):
    run(some(1), run=ManyRun())
    assert "1/1" in capfd.readouterr().err

"""Many logs to one break table: bad ones reported, workers without effect, written whole."""

from __future__ import annotations

import csv
import multiprocessing
import threading
from dataclasses import replace

import numpy as np
import pytest

from ratemodel.errors import InputError
from ratemodel.reduction import ReductionSettings, reduce_logs, write_reduced
from ratemodel.reduction import batch as batch_module
from ratemodel.simulate_logs import LogTruth, PreloadTruth, simulate_log, write_log_csv

TRUTH = LogTruth(preload=PreloadTruth(cycles=3), force_noise_N=10)
SETTINGS = ReductionSettings(
    free_length_m=0.5, rating_N=11_000.0, labels={"series": "tether-3mm", "machine": "frame"}
)


@pytest.fixture
def paths(tmp_path):
    rng = np.random.default_rng(9)
    out = []
    for number in range(6):
        ending = "stopped" if number == 4 else "broke"
        log = simulate_log(replace(TRUTH, ending=ending), rng)
        out.append(write_log_csv(log, tmp_path / f"p-{number}.csv"))
    bad = tmp_path / "bad.csv"
    bad.write_text("Time [s],Force\n1,2\n2,3\n3,4\n4,5\n5,6\n6,7\n")
    return [*out[:2], bad, *out[2:]]


def test_one_bad_file_is_reported_and_the_rest_done(paths, capsys):
    table = reduce_logs([*paths, "absent.csv"], settings=SETTINGS, progress=False)
    assert [r.name for r in table.records] == [f"p-{i}.csv" for i in range(6)]
    assert [f.kind for f in table.failures] == ["input", "input"]
    assert "column Force: the unit of force is not given" in table.failures[0].message
    assert "no such file" in table.failures[1].message
    assert capsys.readouterr().err == ""


def test_workers_change_nothing(paths):
    one = reduce_logs(paths, settings=SETTINGS, progress=False)
    two = reduce_logs(paths, settings=SETTINGS, workers=2, progress=False)
    assert two == one


def test_processes_are_spawned_where_there_are_threads():
    assert batch_module._start_method() in multiprocessing.get_all_start_methods()
    stop = threading.Event()
    thread = threading.Thread(target=stop.wait)
    thread.start()
    try:
        assert batch_module._start_method() == "spawn"
    finally:
        stop.set()
        thread.join()


def test_a_progress_bar_goes_to_standard_error(paths, capsys):
    reduce_logs(paths[:2], settings=SETTINGS)
    shown = capsys.readouterr()
    assert "2/2" in shown.err
    assert shown.out == ""


def test_a_fault_of_the_program_does_not_stop_the_others(paths, monkeypatch):
    real = batch_module.reduce_log

    def faulty(log, settings):
        if log.name == "p-1.csv":
            raise ZeroDivisionError("made up")
        return real(log, settings)

    monkeypatch.setattr(batch_module, "reduce_log", faulty)
    table = reduce_logs(paths, settings=SETTINGS, progress=False)
    assert len(table.records) == 5
    assert [f.kind for f in table.failures] == ["bug", "input"]
    assert "p-1.csv: ZeroDivisionError: made up" in table.failures[0].message


def test_the_table_has_the_names_of_the_break_table(paths, tmp_path):
    table = reduce_logs(paths, settings=SETTINGS, progress=False)
    out = write_reduced(table, tmp_path / "breaks.csv")
    with out.open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == 6
    first = rows[0]
    assert first["specimen"] == "p-0"
    assert first["series"] == "tether-3mm"
    assert first["log"] == "p-0.csv"
    assert first["broke"] == "yes"
    assert rows[4]["broke"] == "no"
    assert float(first["peak_force_kN"]) == pytest.approx(12.0, rel=0.01)
    assert float(first["strain_rate_per_s"]) == pytest.approx(0.01, rel=0.01)
    assert float(first["preload_cycles"]) == 3
    assert float(first["preload_fraction"]) == pytest.approx(6 / 11, rel=0.01)
    assert len(first["log_sha256"]) == 64
    assert not list(tmp_path.glob(".breaks.csv*"))


def test_logs_of_one_name_give_specimens_of_their_own(paths, tmp_path):
    other = tmp_path / "other"
    other.mkdir()
    twin = other / "p-0.csv"
    twin.write_bytes(paths[1].read_bytes())
    table = reduce_logs([paths[0], twin], settings=SETTINGS, progress=False)
    out = write_reduced(table, tmp_path / "o.csv")
    with out.open(newline="") as stream:
        assert [row["specimen"] for row in csv.DictReader(stream)] == ["p-0", "p-0-2"]


def test_preload_fraction_stays_empty_without_a_rating(paths, tmp_path):
    settings = replace(SETTINGS, rating_N=None, free_length_m=None)
    out = write_reduced(reduce_logs(paths, settings=settings, progress=False), tmp_path / "a.csv")
    with out.open(newline="") as stream:
        row = next(csv.DictReader(stream))
    assert row["preload_fraction"] == ""
    assert row["strain_rate_per_s"] == ""
    assert float(row["preload_level_kN"]) == pytest.approx(6.0, rel=0.01)
    assert "no-free-length" in row["findings"]


@pytest.mark.parametrize("start", list("=+-@"))
def test_text_like_a_formula_is_neutralised(paths, tmp_path, start):
    evil = tmp_path / f"{start}cmd.csv"
    evil.write_bytes(paths[0].read_bytes())
    settings = replace(SETTINGS, labels={"series": f"{start}HYPERLINK(1)"})
    out = write_reduced(reduce_logs([evil], settings=settings, progress=False), tmp_path / "o.csv")
    with out.open(newline="") as stream:
        row = next(csv.DictReader(stream))
    assert row["series"] == f"'{start}HYPERLINK(1)"
    assert row["log"].startswith(f"'{start}")
    assert row["specimen"].startswith(f"'{start}")


def test_a_failed_write_leaves_the_old_table_and_no_rubbish(paths, tmp_path, monkeypatch):
    table = reduce_logs(paths, settings=SETTINGS, progress=False)
    out = tmp_path / "breaks.csv"
    out.write_text("old")

    def refuse(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(batch_module.os, "replace", refuse)
    with pytest.raises(InputError, match="can not be written"):
        write_reduced(table, out)
    assert out.read_text() == "old"
    assert not list(tmp_path.glob(".breaks.csv*"))
    with pytest.raises(InputError, match="can not write there"):
        write_reduced(table, tmp_path / "no" / "folder.csv")


def test_free_lengths_per_file_and_settings_from_a_table(paths):
    settings = replace(SETTINGS, free_lengths_m={"p-1": 0.25, "p-2.csv": 1.0})
    table = reduce_logs(paths[:4], settings=settings, progress=False)
    assert [r.free_length_m for r in table.records] == [0.5, 0.25, 1.0]
    rates = [r.strain_rate_per_s for r in table.records]
    assert rates[1] / rates[0] == pytest.approx(2.0, rel=1e-3)
    read = ReductionSettings.from_table(
        {
            "free_length_mm": 500,
            "machine_stiffness_kN_per_mm": 12.5,
            "filter_lag_ms": 2,
            "load_cell_range_kN": 50,
            "force_unit": "kN",
            "labels": {"machine": "frame"},
            "cycle_threshold_fraction": 0.1,
        }
    )
    assert read.free_length_m == pytest.approx(0.5)
    assert read.machine_stiffness_N_per_m == pytest.approx(12.5e6)
    assert read.filter_lag_s == pytest.approx(0.002)
    assert read.load_cell_range_N == pytest.approx(50e3)
    assert read.mapping.force_unit == "kN"
    assert read.labels == {"machine": "frame"}


@pytest.mark.parametrize(
    ("table", "match"),
    [
        ({"free_length": 500}, "logs.free_length: free_length has no unit of length"),
        ({"free_length_kN": 500}, "free_length_kN has no unit of length"),
        ({"free_length_mm": "long"}, "free_length_mm is 'long'; expected a number"),
        ({"labels": "frame"}, "labels is 'frame'"),
        ({"colour": 1}, "unknown key 'colour'"),
    ],
)
def test_a_wrong_table_is_refused(table, match):
    with pytest.raises(InputError, match=match):
        ReductionSettings.from_table(table)


def test_impossible_settings_are_refused(paths):
    with pytest.raises(InputError, match="free_length_m is -1"):
        reduce_logs(paths, settings=replace(SETTINGS, free_length_m=-1.0), progress=False)
    with pytest.raises(InputError, match="workers is 0"):
        reduce_logs(paths, settings=SETTINGS, workers=0, progress=False)
    with pytest.raises(InputError, match="cycle_threshold_fraction is 2"):
        reduce_logs(paths, settings=replace(SETTINGS, cycle_threshold_fraction=2.0))

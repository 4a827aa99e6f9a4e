"""Preload cycling and creep as a part of the analysis: truth, what is missing, what is broken."""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import replace

import lasting
import numpy as np
import pytest
from made import series as made_series

import ratemodel as rm
from ratemodel.analysis import analyse
from ratemodel.endurance import creep_result, preload_result, read_time_tables
from ratemodel.endurance.preload import never_cycled
from ratemodel.inference.average import Settings
from ratemodel.inference.creep_curves import CreepCurve
from ratemodel.inference.creep_weights import log_weights, models_with_weight
from ratemodel.inference.creepfit import fit_creep, usable_models
from ratemodel.records.tables import Distribution, Rating, Use
from ratemodel.records.time_tables import Creep, CreepRun, Cycling
from ratemodel.report.files import render
from ratemodel.report.results_json import results, results_bytes
from ratemodel.shown import quantity

QUICK = Settings(draws=1000, points=64, models=("constant", "power-law"))


def rng(seed=1):
    return np.random.default_rng(seed)


@pytest.fixture(scope="module")
def plain(make_campaign, tmp_path_factory):
    """A campaign with breaks alone."""
    return make_campaign(tmp_path_factory.mktemp("plain") / "c")


@pytest.fixture(scope="module")
def folder(plain, tmp_path_factory):
    """The same with cycling and creep."""
    where = tmp_path_factory.mktemp("lasting") / "c"
    shutil.copytree(plain, where)
    lasting.write_cycling(where, "cord")
    lasting.write_creep(where, "cord")
    return where


@pytest.fixture(scope="module")
def without(plain):
    return analyse(rm.read_campaign(plain), settings=QUICK, seed=3)


@pytest.fixture(scope="module")
def lasted(folder):
    return analyse(rm.read_campaign(folder), settings=QUICK, seed=3)


def strict(analysis):
    def refuse(name):
        raise AssertionError(f"{name} is no JSON")

    return json.loads(results_bytes(analysis), parse_constant=refuse)


# truth


def test_effect_of_cycling_on_strength_is_recovered(lasted):
    found = lasted.series[0].preload
    assert found.source == "cycling.csv"
    assert found.level == 0.90
    assert [e.specimens for e in found.effects] == [5] * 5
    for e in found.effects:
        truth = math.exp(lasting.gain(e.protocol.cycles, e.protocol.fraction))
        wide = quantity(np.exp(found.fit.effect(e.protocol)), 0.995)
        assert wide.low <= truth <= wide.high
        assert e.ratio.median == pytest.approx(truth, abs=0.025)
        assert e.ratio.high - e.ratio.low < 0.05
    assert found.fit.odds["no-effect"] < 0.05


def test_what_is_read_from_cycle_to_cycle_is_recovered(lasted):
    readings = {
        (r.fit.quantity, r.fit.preload_fraction): r for r in lasted.series[0].preload.readings
    }
    assert set(readings) == {
        (name, q) for name in ("residual_elongation", "stiffness_N") for q in (0.3, 0.5, 0.7)
    }
    settled = (1 - math.exp(-5)) / (1 - math.exp(-0.5))
    for q in (0.3, 0.5, 0.7):
        one = readings["residual_elongation", q]
        assert one.cycles == (1, 10)
        assert one.ratio.median == pytest.approx(settled, rel=0.02)
        assert one.last == pytest.approx(0.024 * q * (1 - math.exp(-5)), rel=0.02)
        assert readings["stiffness_N", q].last == pytest.approx(
            120e3 * (1 + 1.3 * (1 - math.exp(-5))), rel=1e-3
        )
    assert any(p.code == "stiffness-gain-may-fade" for p in lasted.series[0].preload.problems)


def test_creep_of_a_steady_use_is_recovered(lasted):
    found = lasted.series[0].creep
    (one,) = found.forecasts
    assert one.use == "moored"
    assert one.forecast.load_N == 1500
    assert one.forecast.time_s[-1] == pytest.approx(100 * 3600)
    assert one.strain.median == pytest.approx(lasting.strain(100.0, 1.5), rel=0.01)
    assert one.by_load == ()
    codes = {p.code for p in found.problems}
    assert {"one-specimen-per-condition", "plateau-not-reached"} <= codes
    assert "load-beyond-data" not in codes


def test_plateau_rates_end_at_the_last_reading(lasted):
    rates = lasted.series[0].creep.rates
    assert [r.load_N for r in rates] == [1000, 2000, 3000]
    for r in rates:
        truth = lasting.slope_per_s(lasting.HOURS, r.load_N / 1e3)
        assert r.rate.median == pytest.approx(truth, rel=0.1)
        assert r.reached is False
        assert (r.runs, r.broke) == (1, 0)


# what is not there


def test_without_tables_nothing_is_added(without):
    (one,) = without.series
    assert (one.preload, one.creep) == (None, None)
    (series,) = strict(without)["series"]
    assert not {"preload", "creep"} & series.keys()
    page = render(without)["report.html"].decode()
    assert ": creep</h2>" not in page
    assert ": preload cycling</h2>" not in page


def test_cycling_changes_no_other_number(plain, without, tmp_path):
    where = tmp_path / "c"
    shutil.copytree(plain, where)
    lasting.write_cycling(where, "cord")
    now = strict(analyse(rm.read_campaign(where), settings=QUICK, seed=3))
    then = strict(without)
    assert now["series"][0].pop("preload")["specimens"] == 30
    now["campaign"]["sha256"] = then["campaign"]["sha256"]
    assert now == then


def test_creep_changes_no_strength_and_cycling_no_creep(lasted, without, folder):
    now, then = results(lasted), results(without)
    for name in ("preload", "creep"):
        del now["series"][0][name]
    assert now["series"] == then["series"]
    by_name = [{u["name"]: u for u in r["use_cases"]} for r in (now, then)]
    assert by_name[0]["drop"] == by_name[1]["drop"]
    campaign = rm.read_campaign(folder)
    tables = read_time_tables(campaign)
    assert (tables.cycling_problems, tables.creep_problems) == ((), ())
    uses = tuple(campaign.use.values())
    cord = campaign.series["cord"]
    a, b = (creep_result(tables.creep, cord, uses, level=0.9, rng=rng()) for _ in range(2))
    assert a.forecasts[0].strain == b.forecasts[0].strain


def test_a_series_without_rows_has_neither(folder):
    tables = read_time_tables(rm.read_campaign(folder))
    other = made_series([-3.0, -1.0], [9.0, 9.0])
    other = replace(other, name="another")
    assert preload_result(tables.cycling, other, level=0.9, rng=rng()) is None
    assert creep_result(tables.creep, other, (), level=0.9, rng=rng()) is None
    assert preload_result(None, other, level=0.9, rng=rng()) is None
    assert creep_result(None, other, (), level=0.9, rng=rng()) is None


# what is broken, or cannot carry a fit


@pytest.mark.parametrize(
    ("file", "text", "code"),
    [
        ("cycling.csv", "specimen,series,cycle,preload_fraction,peak_force_kN\na,cord,x,0.5,9\n",
         "cycling-not-read"),
        ("creep.csv", "file,series,load_kN,broke\nnowhere.csv,cord,1,no\n", "creep-not-read"),
    ],
)  # fmt: skip
def test_a_broken_table_is_a_serious_finding_and_the_rest_is_there(
    file, text, code, folder, tmp_path, without
):
    where = tmp_path / "c"
    shutil.copytree(folder, where)
    (where / file).write_text(text)
    found = analyse(rm.read_campaign(where), settings=QUICK, seed=3)
    (told,) = [p for p in found.problems if p.code == code]
    assert told.severity == "serious"
    assert file in told.message
    files = render(found)
    page = files["report.html"].decode()
    assert "cannot be read" in page
    assert page.index("cannot be read") < page.index("strength against rate")
    tree = strict(found)
    assert ("preload" in tree["series"][0]) == (file != "cycling.csv")
    assert ("creep" in tree["series"][0]) == (file != "creep.csv")
    assert tree["series"][0]["curve"] == strict(without)["series"][0]["curve"]
    moored = next(u for u in tree["use_cases"] if u["name"] == "moored")
    told_there = any(p["code"] == code for p in moored["problems"])
    assert told_there == (code == "creep-not-read")


def test_a_curve_outside_the_folder_is_not_read(folder, tmp_path):
    where = tmp_path / "c"
    shutil.copytree(folder, where)
    (where / "creep.csv").write_text("file,series,load_kN,broke\n../campaign.toml,cord,1,no\n")
    tables = read_time_tables(rm.read_campaign(where))
    assert tables.creep is None
    (told,) = tables.creep_problems
    assert "plain name of a file in creep/" in told.message


def cycling(rows):
    """Rows (specimen, cycle, fraction, strength, residual)."""
    n = len(rows)
    specimen, cycle, q, strength, residual = zip(*rows, strict=True)
    none, blank = np.full(n, np.nan), ("",) * n
    return Cycling(
        specimen=specimen, series=("cord",) * n, cycle=np.array(cycle, float),
        preload_fraction=np.array(q, float), strength=np.array(strength, float),
        broke=(True,) * n, residual_elongation=np.array(residual, float), stiffness_N=none,
        hysteresis_J=none, temperature_K=none, batch=blank, machine=blank, excluded=blank,
        note=blank, row=tuple(range(n)),
    )  # fmt: skip


NAN = float("nan")


def test_one_protocol_is_a_finding():
    rows = [(f"a{i}", 10, 0.5, 9e3 + i, NAN) for i in range(5)]
    found = preload_result(cycling(rows), made_series([-3.0], [9.0]), level=0.9, rng=rng())
    assert found.fit is None
    assert (found.effects, found.rated, found.source) == ((), None, "")
    assert never_cycled(found) is None
    (told,) = found.problems
    assert told.code == "no-preload-effect"
    assert "5 specimens under 1 protocol" in told.message


def test_too_few_cycles_are_a_note_and_strengths_may_come_from_the_breaks():
    rows = [("a", 1, 0.5, NAN, 0.01), ("a", 2, 0.5, NAN, 0.012)]
    u = np.repeat([-3.0, -1.0], 12)
    cycled = np.r_[np.tile([0.0, 10.0], 6), np.zeros(12)]
    y = 9.2 + 0.04 * (cycled > 0) - 0.1 * (u > -2) + 0.005 * rng(4).standard_normal(24)
    extra = {"preload_cycles": cycled, "preload_fraction": np.where(cycled > 0, 0.5, 0.0)}
    rating = Rating(11e3, "average", 1e-3, 0.5, 10.0)
    cord = made_series(u, y, extra=extra, rating=rating)
    found = preload_result(cycling(rows), cord, level=0.9, rng=rng())
    assert found.source == "breaks.csv"
    # the fast breaks, all uncycled, are left out: rate would be read as preload
    assert found.fit.data.strength_N.size == 12
    assert found.rated.ratio.low <= math.exp(0.04) <= found.rated.ratio.high
    assert never_cycled(found).median == pytest.approx(1 / found.rated.ratio.median, rel=1e-3)
    assert [p.code for p in found.problems if p.code == "no-cycle-curve"] == ["no-cycle-curve"]
    bare = preload_result(cycling(rows), made_series(u, y), level=0.9, rng=rng())
    assert bare.fit is None
    assert "neither cycling.csv nor breaks.csv" in bare.problems[0].message


def test_a_label_beyond_the_tested_cycles_is_said():
    rows = [(f"n{i}", 0, 0.0, 9e3 + 50 * i, NAN) for i in range(4)]
    rows += [(f"c{i}", 3, 0.5, 9.2e3 + 50 * i, NAN) for i in range(4)]
    cord = made_series([-3.0], [9.0], rating=Rating(11e3, "average", 1e-3, 0.7, 30.0))
    found = preload_result(cycling(rows), cord, level=0.9, rng=rng())
    assert found.rated.specimens == 0
    assert "protocol-beyond-data" in {p.code for p in found.problems}


def test_intervals_are_at_the_level_asked_for(folder):
    table = read_time_tables(rm.read_campaign(folder)).cycling
    cord = made_series([-3.0], [9.0])
    narrow, usual, wide = (
        preload_result(table, cord, level=p, rng=rng()) for p in (0.5, 0.95, 0.99)
    )
    for a, b, c in zip(narrow.readings, usual.readings, wide.readings, strict=True):
        widths = [r.ratio.high - r.ratio.low for r in (a, b, c)]
        assert widths[0] < widths[1] < widths[2]
        assert widths[1] == pytest.approx(b.fit.change[2] - b.fit.change[1])
    assert narrow.effects[-1].ratio.low > wide.effects[-1].ratio.low


def run(load, hours, strain, *, kelvin=293.15, broke=False, name="r"):
    return CreepRun(name, "cord", name, load, NAN, kelvin, broke, np.asarray(hours, float) * 3600,
                    np.asarray(strain, float), "", 2)  # fmt: skip


@pytest.mark.parametrize(
    "runs",
    [
        [run(1e3, [1, 2], [0.01, 0.011])],
        [run(1e3, [0], [0.01])],
        [run(1e3, np.geomspace(1, 99, 9), np.full(9, 0.01)), run(2e3, [1.0], [0.02], kelvin=NAN)],
    ],
)
def test_creep_that_carries_no_fit_is_a_finding(runs):
    found = creep_result(Creep(tuple(runs)), made_series([-3.0], [9.0]), (), level=0.9, rng=rng())
    assert found.average is None
    assert (found.forecasts, found.rates) == ((), ())
    assert found.problems[-1].code == "no-creep-fit"


def test_creep_without_change_does_not_stop_it():
    flat = run(1e3, np.geomspace(1, 99, 20), np.full(20, 0.01))
    found = creep_result(Creep((flat,)), made_series([-3.0], [9.0]), (), level=0.9, rng=rng())
    assert found.problems


# creep in detail


def crept(loads=(1e3, 2e3, 3e3), kelvins=(293.15,)):
    hours = np.geomspace(0.01, 2000, 40)
    speed = {k: np.exp(90e3 / 8.314 * (1 / 293.15 - 1 / k)) for k in kelvins}
    return Creep(tuple(
        run(f, hours, lasting.strain(speed[k] * hours, f / 1e3)
            + 2e-5 * rng(int(f + k)).standard_normal(40), kelvin=k, name=f"{f:g}-{k:g}")
        for f in loads for k in kelvins
    ))  # fmt: skip


def steady(name="held", **quantities):
    given = {"load": Distribution("fixed", 1.5e3), "duration": Distribution("fixed", 3.6e5)}
    return Use(name, "cord", "steady", {**given, **quantities})


def test_without_a_use_it_goes_one_decade_on_at_the_middle_load():
    found = creep_result(crept(), made_series([-3.0], [9.0]), (), level=0.9, rng=rng())
    (one,) = found.forecasts
    assert (one.use, one.forecast.load_N) == ("", 2000)
    assert one.forecast.decades_beyond[-1] == pytest.approx(1.0)
    truth = lasting.strain(20000.0, 2.0)
    assert one.strain.low <= truth <= one.strain.high
    assert "time-beyond-data" in {p.code for p in found.problems}
    assert len(one.forecast.curves) == 1


def test_a_use_that_does_not_last_is_not_forecast():
    shapeless = Use("pull", "cord", "steady", {"load": Distribution("fixed", 1e3)})
    found = creep_result(crept(), made_series([-3.0], [9.0]), (shapeless,), level=0.9, rng=rng())
    assert [f.use for f in found.forecasts] == [""]


def test_the_spread_of_a_load_is_shown_at_its_ends():
    use = steady(load=Distribution("uniform", 1e3, 2e3))
    found = creep_result(crept(), made_series([-3.0], [9.0]), (use,), level=0.9, rng=rng())
    (one,) = found.forecasts
    (low, least), (high, most) = one.by_load
    assert (low, high) == pytest.approx((1050, 1950))
    assert least.high < one.strain.low < one.strain.high < most.low
    assert most.median == pytest.approx(lasting.strain(100.0, 1.95), rel=0.01)


def test_temperature_of_a_use():
    creep = crept(kelvins=(293.15, 313.15))
    warm = steady("warm", temperature=Distribution("fixed", 303.15))
    pulls = {"temperature_K": np.array([312.0, 310.0])}
    hot = made_series([-3.0, -1.0], [9.0, 9.0], extra=pulls)
    found = creep_result(creep, hot, (warm, steady()), level=0.9, rng=rng())
    by_use = {f.use: f for f in found.forecasts}
    assert by_use["warm"].forecast.temperature_K == 303.15
    assert by_use["held"].forecast.temperature_K == 313.15
    assert "break tests" in by_use["held"].temperature_origin
    cool = creep_result(creep, made_series([-3.0], [9.0]), (steady(),), level=0.9, rng=rng())
    assert cool.forecasts[0].forecast.temperature_K == 293.15
    assert len(cool.rates) == 6


def test_a_rate_that_levelled_is_told_and_runs_are_counted():
    hours = np.geomspace(0.1, 2000, 60)
    level = 0.01 + 2e-3 * (1 - np.exp(-hours / 20)) + 5e-6 * hours
    creep = Creep((run(2e3, hours, level, name="a", broke=True),
                   run(2e3, hours, level * 1.01, name="b")))  # fmt: skip
    found = creep_result(creep, made_series([-3.0], [9.0]), (), level=0.9, rng=rng())
    (rate,) = found.rates
    assert (rate.runs, rate.broke, rate.reached) == (2, 1, True)
    assert rate.rate.median == pytest.approx(5e-6 / 3600, rel=0.1)
    assert "plateau-not-reached" not in {p.code for p in found.problems}
    assert "one-specimen-per-condition" not in {p.code for p in found.problems}


def test_models_that_weigh_nothing_are_left_out_and_the_others_are_not():
    hours = np.geomspace(0.01, 2000, 40)
    curves = [
        CreepCurve(hours * 3600, lasting.strain(hours, f), 1e3 * f, 293.15) for f in (1, 2, 3)
    ]
    noisy = [
        CreepCurve(c.time_s, c.strain + 2e-5 * rng(int(c.load_N)).standard_normal(40), c.load_N)
        for c in curves
    ]
    kept = models_with_weight(noisy, decades_beyond=1.0, rng=rng())
    fits = [fit_creep(noisy, m, draws=2, rng=rng()) for m in usable_models(noisy)]
    shares = np.exp(log_weights(fits) / 2)
    assert {m.name for m in kept} == {
        f.model.name for f, share in zip(fits, shares, strict=True) if share >= 1e-4
    }
    assert "findley" in {m.name for m in kept}
    assert len(kept) < len(fits)
    far = models_with_weight(noisy, decades_beyond=1e9, rng=rng())
    assert len(far) == len(fits)

"""Findings on a fit begin where they should, and say the right number."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made import series

import ratemodel as rm

TWO = ("constant", "power-law")


def fitted(u, y, models=(), options=None, **more):
    settings = rm.Settings(draws=400, points=64, models=models)
    return rm.fit_rate(
        series(u, y, **more), rng=np.random.default_rng(1), settings=settings, options=options
    )


def found(fit):
    return {p.code: p for p in fit.problems}


def scattered(n, sd=0.02, seed=4):
    return 9.2 + sd * np.random.default_rng(seed).standard_normal(n)


U = np.repeat([-3.0, -1.0, 0.0], 5)


@pytest.mark.parametrize(("stated", "says"), [(None, "about 1 %"), (0.004, "about 0.4 %")])
def test_one_machine_says_its_own_calibration(stated, says):
    options = {"machine": {"frame": {"calibration_sd_fraction": stated}}} if stated else None
    told = found(fitted(U, scattered(15), TWO, options, machine=["frame"] * 15))
    assert says in told["calibration-not-seen"].message
    assert told["calibration-not-seen"].severity == "note"
    nameless = found(fitted(U, scattered(15), TWO, options))
    assert "about 1 %" in nameless["calibration-not-seen"].message


def test_confounded_machines_say_how_much_could_be_theirs():
    machine = ["frame"] * 5 + ["ram"] * 10
    told = found(fitted(U, scattered(15) - 0.03 * (U + 3), TWO, machine=machine))
    message = told["machine-and-rate-confounded"].message
    assert "up to 2.3 % could be the machines" in message  # 1.645 x root 2 x 1 %
    assert "frame | ram" in message
    effect = float(message.split("rate effect of ")[1].split()[0])
    assert -10 < effect < -6  # -9 % less what the fit gives to the machines
    linked = ["frame"] * 5 + ["frame", "ram"] * 2 + ["ram"] * 6
    assert "machine-and-rate-confounded" not in found(fitted(U, scattered(15), TWO, machine=linked))
    one = found(fitted(np.full(6, -1.0), scattered(6), TWO, machine=["frame", "ram"] * 3))
    assert "machine-and-rate-confounded" not in one


@pytest.mark.parametrize(("held", "said"), [(6, False), (7, True)])
def test_mostly_held_begins_above_two_fifths(held, said):
    broke = np.arange(15) >= held
    told = found(fitted(U, scattered(15), ("constant",), broke=broke))
    assert ("mostly-censored" in told) is said
    if said:
        assert told["mostly-censored"].message.startswith("47 % of the specimens")


@pytest.mark.parametrize(("few", "said"), [(2, True), (3, False)])
def test_few_specimens_begin_below_three(few, said):
    u = np.r_[np.full(5, -3.0), np.full(few, -1.0), np.full(5, 0.0)]
    told = found(fitted(u, scattered(u.size), TWO))
    assert ("few-specimens" in told) is said
    if said:
        assert "only 2 specimen(s) at 0.1 /s" in told["few-specimens"].message


@pytest.mark.parametrize(("growth", "word"), [(0.6, "grows"), (-0.6, "shrinks")])
def test_scatter_says_which_way_it_changes(growth, word):
    u = np.repeat([-3.0, -1.5, 0.0], 12)
    y = 9.2 + 0.02 * np.exp(growth * (u + 1.5)) * np.random.default_rng(2).standard_normal(36)
    told = found(fitted(u, y, TWO))["scatter-changes-with-rate"].message
    assert word in told
    factor = float(told.split("factor of ")[1].split()[0])
    assert (factor > 1) is (growth > 0)
    assert abs(np.log(factor)) == pytest.approx(0.6, abs=0.35)
    one_speed = found(fitted(np.full(12, -1.0), scattered(12), TWO))
    assert "scatter-changes-with-rate" not in one_speed


def test_one_model_that_carries_all_is_said_where_others_were_asked():
    steep = scattered(15, 0.003) + 0.3 * U
    assert "one-model-dominates" in found(fitted(U, steep, TWO))
    assert "one-model-dominates" not in found(fitted(U, steep, ("power-law",)))
    assert "one-model-dominates" not in found(fitted(U, scattered(15), TWO))


def test_models_with_more_unknowns_than_speeds_are_named():
    two = np.repeat([-3.0, 0.0], 6)
    told = found(fitted(two, scattered(12), ("constant", "power-law", "quadratic")))
    assert "2 speeds cannot carry quadratic by themselves" in told["too-few-speeds"].message
    assert "too-few-speeds" not in found(fitted(two, scattered(12), TWO))
    assert "too-few-speeds" not in found(fitted(U, scattered(15), ("constant", "quadratic")))
    one = found(fitted(np.full(6, -1.0), scattered(6)))
    assert one["one-speed"].severity == "serious"
    assert "(0.1 /s)" in one["one-speed"].message


def test_copies_and_single_specimens():
    copies = found(fitted(U, np.repeat([9.2, 9.21, 9.25], 5), TWO))
    assert copies["no-scatter"].severity == "serious"
    single = found(fitted([-3.0, -1.5, 0.0], [9.2, 9.22, 9.21], TWO))
    assert "no-replicates" in single
    assert "few-specimens" not in single
    assert "no-scatter" not in single
    pair = found(fitted([-3.0, -1.5, -1.5, 0.0], [9.2, 9.22, 9.25, 9.21], TWO))
    assert "no-replicates" not in pair  # one pair tested alike is enough to see a scatter
    assert "few-specimens" in pair


def test_spools_as_stated_or_unknown():
    assert found(fitted(U, scattered(15), TWO))["one-spool"].severity == "caution"
    stated = found(fitted(U, scattered(15), TWO, batch_sd_fraction=0.02))
    assert stated["one-spool"].severity == "note"
    assert "one-spool" not in found(fitted(U, scattered(15), TWO, batch=["a", "b", "c"] * 5))


def test_peaks_read_low_say_by_how_much():
    s = series(U, np.r_[np.log(1e4), scattered(14)])
    s = replace(s, used=replace(s.used, extra={"peak_low_by_at_most_kN": ("0.5",) + ("",) * 14}))
    settings = rm.Settings(draws=400, points=64, models=TWO)
    told = found(rm.fit_rate(s, rng=np.random.default_rng(1), settings=settings))
    assert told["peaks-read-low"].message.startswith("1 peak(s) may be read low, by up to 5.0 %")

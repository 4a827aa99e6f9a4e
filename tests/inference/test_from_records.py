"""From tables as read to what the fits of time under load take."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.cycling import fit_cycling
from ratemodel.inference.from_records import (
    creep_curves,
    cycled_strengths,
    cycles_from_logs,
    cycling_data,
    lives,
    preloaded_breaks,
    ramps,
)
from ratemodel.records.tables import Series, Specimens
from ratemodel.records.time_tables import Creep, CreepRun, Cycling
from ratemodel.reduction.record import Cycle


def _run(series, load, last, broke):
    t = np.array([0.0, 60.0, last])
    return CreepRun(
        "f.csv", series, "c1", load, 0.5, 293.0, broke, t, 0.01 + 1e-4 * np.log1p(t), "", 2
    )


def test_creep_runs_become_curves_and_lives():
    creep = Creep(
        (_run("cord", 5e3, 1e5, False), _run("other", 4e3, 1e4, True), _run("cord", 6e3, 2e4, True))
    )
    curves = creep_curves(creep, "cord")
    assert [c.load_N for c in curves] == [5e3, 6e3]
    assert curves[0].time_s.tolist() == [60.0, 1e5]  # the moment of loading is left out
    assert [c.specimen for c in curves] == ["c1", "c1"]
    nameless = Creep((replace(creep.runs[0], specimen=""),))
    assert [c.specimen for c in creep_curves(nameless, "cord")] == ["f.csv"]
    still = replace(creep.runs[0], time_s=np.zeros(1), strain=np.zeros(1))
    assert creep_curves(Creep((still,)), "cord") == ()
    life = lives(creep, "cord")
    assert life.time_s.tolist() == [1e5, 2e4]
    assert life.broke.tolist() == [False, True]
    with pytest.raises(NotIdentifiedError, match="series rope has no creep runs"):
        lives(creep, "rope")


def _cycling():
    n = 6
    nan = np.full(n, np.nan)
    return Cycling(
        specimen=("a", "b", "c", "d", "e", "f"),
        series=("cord",) * 5 + ("other",),
        cycle=np.array([0.0, 10, 10, 10, 10, 10]),
        preload_fraction=np.array([np.nan, 0.5, 0.5, 0.5, 0.5, 0.5]),
        strength=np.array([11e3, 12e3, 12.5e3, 9e3, np.nan, 1.0]),
        broke=(True, True, False, True, True, True),
        residual_elongation=np.array([0.0, 0.01, 0.01, 0.01, 0.02, 0.03]),
        stiffness_N=nan,
        hysteresis_J=nan,
        temperature_K=nan,
        batch=("",) * n,
        machine=("",) * n,
        excluded=("", "", "", "knot", "", ""),
        note=("",) * n,
        row=tuple(range(2, n + 2)),
    )


def test_cycling_rows_set_aside_or_unbroken_stay_out():
    data = cycled_strengths(_cycling(), "cord")
    assert data.strength_N.tolist() == [11e3, 12e3]
    assert data.fraction.tolist() == [0.0, 0.5]
    assert data.unbroken == 1
    assert cycling_data(_cycling(), "cord").specimen == ("a", "b", "c", "e")


def _series(rate, cycles):
    n = len(rate)
    blank, nan = ("",) * n, np.full(n, np.nan)
    used = Specimens(
        tuple(f"s{i}" for i in range(n)), np.full(n, 12e3), np.arange(n) > 0, np.array(rate),
        ("A",) * n, blank, nan, nan, np.where(np.array(cycles) > 0, 0.5, np.nan), np.array(cycles),
        nan, blank, blank, nan, blank, blank, blank, np.zeros(n, bool), tuple(range(n)),
    )  # fmt: skip
    return Series("cord", used, used)


def test_breaks_at_several_rates_are_not_read_as_an_effect_of_preload():
    series = _series([1e-3, 1e-3, 1e-3, 1.0], [0.0, 0.0, 3.0, 3.0])
    with pytest.raises(InputError, match=r"span 3\.0 decades of rate"):
        preloaded_breaks(series)
    data = preloaded_breaks(series, rate_per_s=(1e-4, 1e-2))
    assert data.cycles.tolist() == [0.0, 3.0]
    assert data.unbroken == 1
    assert data.batch == ("A", "A")
    with pytest.raises(NotIdentifiedError, match="no break with its preload given"):
        preloaded_breaks(series, rate_per_s=(10.0, 20.0))
    untold = _series([1e-3] * 4, [0.0, 3.0, np.nan, 3.0])
    assert preloaded_breaks(untold).cycles.tolist() == [3.0, 3.0]
    half = _series([1e-3, 1e-3 * 10**0.5, 1e-3, 1e-3], [0.0, 3.0, 3.0, 3.0])
    assert preloaded_breaks(half).cycles.size == 3  # half a decade is one rate


def test_ramps_carry_force_per_second():
    data = ramps(_series([1e-3, 1e-1], [0.0, 0.0]), 60e3)
    assert data.loading_rate_N_per_s.tolist() == pytest.approx([60.0, 6000.0])
    assert data.broke.tolist() == [False, True]


def test_reduced_logs_give_cycles():
    cycles = tuple(
        Cycle(5990.0 + n, 0.0, 1.0, 0.005 * (1 - np.exp(-n / 2)), 1e5, 3.0) for n in range(1, 8)
    )
    log = SimpleNamespace(name="L1", cycles=cycles, free_length_m=0.5)
    data = cycles_from_logs([log], 12e3)
    assert data.preload_fraction.tolist() == [0.5] * 7
    assert data.stiffness_N[0] == pytest.approx(50e3)
    (fit,) = fit_cycling(data, "residual_elongation", rng=np.random.default_rng(0))
    at = [c.name for c in fit.curves].index("settling")
    assert fit.fits[at].values["cycles_to_settle"] == pytest.approx(2.0, rel=1e-4)
    assert fit.fits[at].values["settled"] == pytest.approx(0.01, rel=1e-4)
    with pytest.raises(NotIdentifiedError, match="no log holds a preload cycle"):
        cycles_from_logs([], 12e3)
    lost = SimpleNamespace(name="L2", cycles=cycles, free_length_m=float("nan"))
    with pytest.raises(InputError, match="free length of L2 is not known"):
        cycles_from_logs([lost], 12e3)

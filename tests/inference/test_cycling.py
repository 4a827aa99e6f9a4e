"""Residual elongation, stiffness and hysteresis against the number of cycles."""

from __future__ import annotations

import lmfit
import numpy as np
import pytest

from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.cycling import CyclingData, fit_cycling

CYCLE = np.array([1, 2, 3, 4, 5, 7, 10, 15, 20], float)


def _table(rng, f, noise=0.01, specimens=3):
    cycle = np.tile(CYCLE, specimens)
    names = tuple(f"s{i}" for i in range(specimens) for _ in CYCLE)
    size = np.repeat(1 + 0.1 * rng.standard_normal(specimens), len(CYCLE))
    y = f(cycle) * size * (1 + noise * rng.standard_normal(cycle.size))
    nan = np.full(cycle.size, np.nan)
    return CyclingData(names, cycle, np.full(cycle.size, 0.5), nan, y, nan)


def test_settling_stiffness_is_recovered():
    """Published size of the effect: +135 % in 10 cycles (Prado-Novoa et al. 2022)."""
    rng = np.random.default_rng(1)
    data = _table(rng, lambda n: 100e3 * (1 + 1.35 * (1 - np.exp(-(n - 1) / 2.5))))
    (fit,) = fit_cycling(data, "stiffness_N", rng=rng)
    assert fit.curves[fit.best].name == "settling"
    assert fit.weights[fit.best] > 0.99
    low, high = fit.fits[fit.best].interval("cycles_to_settle", 0.999)
    assert low < 2.5 < high
    ratio, low, high = fit.change
    assert low < ratio < high
    assert ratio == pytest.approx(2.35, rel=0.05)
    assert "stiffness-gain-may-fade" in {p.code for p in fit.problems}
    assert fit.fits[fit.best].lmfit_result.params["settled"].value > 0


def test_logarithmic_and_steady_are_told_apart():
    rng = np.random.default_rng(2)
    (fit,) = fit_cycling(_table(rng, lambda n: 5 + 2 * np.log10(n)), "stiffness_N", rng=rng)
    assert fit.curves[fit.best].name == "log-cycles"
    (fit,) = fit_cycling(_table(rng, lambda n: 5 + 0 * n), "stiffness_N", rng=rng)
    assert fit.curves[fit.best].name == "steady"
    assert fit.change == (1.0, 1.0, 1.0)


def test_user_constrains_through_lmfit():
    rng = np.random.default_rng(3)
    user = lmfit.Parameters()
    user.add("cycles_to_settle", value=4.0, vary=False)
    data = _table(rng, lambda n: 5 + 2 * np.exp(-n / 4))
    (fit,) = fit_cycling(data, "stiffness_N", rng=rng, user={"settling": user})
    at = [c.name for c in fit.curves].index("settling")
    assert fit.fits[at].values["cycles_to_settle"] == 4.0


def test_too_little_is_refused():
    rng = np.random.default_rng(4)
    data = _table(rng, lambda n: 5 + 0 * n)
    with pytest.raises(NotIdentifiedError, match="hysteresis energy was read at fewer than three"):
        fit_cycling(data, "hysteresis_J", rng=rng)
    with pytest.raises(InputError, match="no quantity colour"):
        fit_cycling(data, "colour", rng=rng)

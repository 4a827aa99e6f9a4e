"""The kinetic law fitted to strengths at several rates and temperatures."""

from __future__ import annotations

import numpy as np
import pytest

from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.kineticfit import KineticData, fit_kinetic, kinetic_parameters
from ratemodel.models.kinetics import ELECTRONVOLT_J, kinetic_strength

ENERGY, VOLUME, AREA = 1.5, 45e-30, 2e-6  # eV and m3 published for HMPE; m2 of an invented yarn


def _data(rng, temperatures=(263.0, 293.0, 323.0), scatter=0.02):
    rate = np.tile(np.repeat([1.0, 100.0, 1e4], 5), len(temperatures))
    kelvin = np.repeat(temperatures, 15)
    s = AREA * kinetic_strength(rate / AREA, kelvin, ENERGY * ELECTRONVOLT_J, VOLUME, 1e-13)
    return KineticData(s * np.exp(scatter * rng.standard_normal(s.size)), rate, kelvin)


def test_truth_is_recovered_at_several_temperatures():
    rng = np.random.default_rng(1)
    fit = fit_kinetic(_data(rng), draws=4000, rng=rng)
    assert fit.best.verdict == "good"
    low, high = np.quantile(fit.draws["energy_eV"], [0.001, 0.999])
    assert low < ENERGY < high
    low, high = np.quantile(np.exp(fit.draws["ln_length"]) * AREA, [0.001, 0.999])
    assert low < VOLUME < high  # J/N times m2 = m3
    # 211.9 MPa per decade at 300 K (O'Connor & Robbins 2020, abstract, computed from it).
    low, high = np.quantile(fit.force_per_decade(300.0), [0.001, 0.999])
    assert low < 211.9e6 * AREA < high
    assert fit.problems == ()
    cold, warm = fit.strength_at(10.0, 253.0), fit.strength_at(10.0, 333.0)
    assert np.all(cold > warm)


def test_one_temperature_is_said_and_user_may_free_t0():
    rng = np.random.default_rng(2)
    one = _data(rng, temperatures=(293.0,))
    fit = fit_kinetic(one, draws=500, rng=rng)
    assert "one-temperature" in {p.code for p in fit.problems}
    assert fit.best.free == ("energy_eV", "ln_length")
    data = _data(rng)
    user = kinetic_parameters(data)
    user["ln_t0"].set(vary=True)
    free = fit_kinetic(data, draws=1000, rng=rng, user=user)
    low, high = np.quantile(free.draws["ln_t0"], [0.001, 0.999])
    assert low < np.log(1e-13) < high


def test_too_little_is_refused():
    with pytest.raises(NotIdentifiedError, match="rates half a decade apart"):
        fit_kinetic(
            KineticData(np.full(5, 9e3), np.full(5, 10.0), np.full(5, 293.0)),
            draws=10,
            rng=np.random.default_rng(0),
        )
    with pytest.raises(InputError, match="not above 0"):
        KineticData(np.array([1.0]), np.array([0.0]), np.array([293.0]))

"""Creep laws: contracts of the whole family, and limits that can be written down."""

from __future__ import annotations

import numpy as np
import pytest

from ratemodel.models.creep import Burgers, Findley, Logarithmic
from ratemodel.models.creep_base import CreepReference, creep_points
from ratemodel.models.creep_thermal import CREEP_MODELS, TwoProcess
from ratemodel.models.lifetime import GAS_CONSTANT_J_PER_MOL_K

REFERENCE = CreepReference(1000.0, 300.0, 1000.0)
TRUTH = {
    "findley": {
        "strain0": 0.008, "amplitude": 0.004, "time_exponent": 0.2, "load_exponent": 1.5,
        "activation_energy": 60e3,
    },
    "logarithmic": {
        "strain0": 0.008, "slope": 0.001, "tau": 50.0, "load_exponent": 1.5,
        "activation_energy": 60e3,
    },
    "burgers": {
        "strain0": 0.008, "primary": 0.003, "tau": 500.0, "flow": 0.0004, "load_exponent": 1.5,
        "activation_energy": 60e3,
    },
    "two-process": {
        "strain0": 0.008, "primary": 0.003, "tau": 500.0, "ln_rate1": -22.0, "volume1": 6.0,
        "ln_rate2": -16.0, "volume2": 25.0, "energy1": 110e3, "energy2": 90e3,
    },
}  # fmt: skip


def _points(n=50, load=1000.0, kelvin=300.0):
    t = np.geomspace(1.0, 1e6, n)
    return creep_points(t, np.full(n, load), np.full(n, kelvin), REFERENCE)


@pytest.mark.parametrize("model", CREEP_MODELS, ids=lambda m: m.name)
class TestEveryModel:
    def test_broadcasts_draws_against_points(self, model):
        draws = {k: np.full((7, 1), v) for k, v in TRUTH[model.name].items()}
        assert model.curve(draws, _points()).shape == (7, 50)
        single = model.curve(TRUTH[model.name], _points())
        np.testing.assert_allclose(model.curve(draws, _points())[3], single, rtol=1e-12)

    def test_rate_is_the_derivative(self, model):
        p = _points()
        h = 1e-5
        up = model.curve(TRUTH[model.name], p.at(p.time_s * (1 + h)))
        down = model.curve(TRUTH[model.name], p.at(p.time_s * (1 - h)))
        numeric = (up - down) / (2 * h * p.time_s)
        np.testing.assert_allclose(
            model.rate(TRUTH[model.name], p) + 0 * numeric, numeric, rtol=1e-4, atol=1e-14
        )

    def test_creep_rises_with_time_load_and_heat(self, model):
        v = TRUTH[model.name]
        assert np.all(np.diff(model.curve(v, _points())) > 0)
        assert np.all(model.rate(v, _points(load=1200.0)) > model.rate(v, _points()))
        warm = model.curve(v, _points(kelvin=320.0)) - model.curve(v, _points())
        assert warm[-1] > 0

    def test_parameters_and_truth_agree(self, model):
        assert [p.name for p in model.parameters] == list(TRUTH[model.name])
        for p in model.parameters:
            assert p.lower <= TRUTH[model.name][p.name] <= p.upper
        assert model.formula
        assert model.source

    def test_working_coordinates_go_there_and_back(self, model):
        v = TRUTH[model.name]
        back = model.from_working(model.to_working(v, 1000.0), 1000.0)
        for k in v:
            assert float(back[k]) == pytest.approx(v[k], rel=1e-12)

    def test_guess_is_admissible(self, model):
        p = creep_points(
            np.tile(np.geomspace(1, 1e6, 30), 4),
            np.repeat([600.0, 800.0, 1000.0, 1200.0], 30),
            np.full(120, 300.0),
            REFERENCE,
        )
        guess = model.guess(p, np.asarray(model.curve(TRUTH[model.name], p)))
        for q in model.parameters:
            assert q.lower <= guess[q.name] <= q.upper


def test_two_processes_share_the_load():
    """At the steady rate the stresses of both processes add up to the load (Wilding & Ward)."""
    v, p = TRUTH["two-process"], _points(3, load=900.0, kelvin=310.0)
    rate = TwoProcess().steady_rate(v, p)[0]
    theta = 310.0 / 300.0
    inverse = (1 / 310.0 - 1 / 300.0) / GAS_CONSTANT_J_PER_MOL_K
    carried = sum(
        theta
        / v[f"volume{i}"]
        * np.arcsinh(rate / np.exp(v[f"ln_rate{i}"] - v[f"energy{i}"] * inverse))
        for i in (1, 2)
    )
    assert carried == pytest.approx(0.9, rel=1e-9)


def test_one_process_alone_is_the_sinh_law():
    """With the second process infinitely easy the first carries all: rate = rate1 sinh(v f)."""
    v = {**TRUTH["two-process"], "ln_rate2": 20.0, "volume2": 200.0}
    rate = TwoProcess().steady_rate(v, _points(2))[0]
    assert rate == pytest.approx(np.exp(-22.0) * np.sinh(6.0), rel=1e-6)


def test_time_temperature_shift():
    """A warm curve is the cold one at a times the time (single activation energy)."""
    a = np.exp(-60e3 / GAS_CONSTANT_J_PER_MOL_K * (1 / 320.0 - 1 / 300.0))
    for model in (Findley(), Logarithmic(), Burgers()):
        v = TRUTH[model.name]
        warm = model.curve(v, _points(kelvin=320.0))
        cold = _points()
        np.testing.assert_allclose(warm, model.curve(v, cold.at(cold.time_s * a)), rtol=1e-12)

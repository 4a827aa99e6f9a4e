"""Ramps and lives under one damage law."""

from __future__ import annotations

import numpy as np
import pytest

from ratemodel.errors import NotIdentifiedError
from ratemodel.inference.damage_likelihood import RampData
from ratemodel.inference.joint_damage import draw_joint_damage, fit_joint_damage
from ratemodel.inference.life import LifeData
from ratemodel.models.damage import ramp_strength
from ratemodel.models.lifetime import InversePower

N, LN_A, SCALE = 22.0, 22.0 * np.log(1000.0) + 9.0, 1.2


def _simulate(rng, *, ramp_n=N, each=10, shift=0.0):
    load = np.repeat([800.0, 900.0, 1000.0, 1100.0], each)
    deviation = SCALE * np.log(rng.exponential(size=load.size))
    time = np.exp(LN_A - N * np.log(load) + deviation)
    stop = 1e8
    lives = LifeData(np.minimum(time, stop), load, time < stop, np.full(load.size, np.nan))
    rate = np.repeat([1.0, 100.0, 10000.0], each)
    e = SCALE * np.log(rng.exponential(size=rate.size))
    ln_a = LN_A + (ramp_n - N) * np.log(1000.0) + shift
    # Through the damage integral, not the closed form that the fit uses.
    strength = np.array(
        [
            ramp_strength(InversePower(), np.array([[ln_a + d, ramp_n]]), r)[0, 0]
            for d, r in zip(e, rate, strict=True)
        ]
    )
    return lives, RampData(strength, rate, np.ones(rate.size, bool))


def test_the_joint_likelihood_is_that_of_the_weibull_pair():
    """Lives Weibull with shape k mean ramp strengths Weibull with shape k (n + 1)."""
    from scipy.stats import weibull_min

    lives, ramps = _simulate(np.random.default_rng(1))
    fit = fit_joint_damage(lives, ramps)
    assert fit.shared == "exponent, level and scatter"
    n, s = np.expm1(fit.parameters[1]), np.exp(fit.parameters[2])
    a = np.exp(fit.parameters[0])
    eta = a * (lives.load_N / fit.reference_N) ** -n
    total = np.sum(
        np.where(
            lives.broke,
            weibull_min.logpdf(lives.time_s, 1 / s, scale=eta) + np.log(lives.time_s),
            weibull_min.logsf(lives.time_s, 1 / s, scale=eta),
        )
    )
    big = fit.reference_N * ((n + 1) * a * ramps.loading_rate_N_per_s / fit.reference_N) ** (
        1 / (n + 1)
    )
    total += np.sum(
        weibull_min.logpdf(ramps.strength_N, (n + 1) / s, scale=big) + np.log(ramps.strength_N)
    )
    assert fit.log_likelihood == pytest.approx(total, rel=1e-9)


def test_true_values_are_recovered_and_agreement_is_said():
    lives, ramps = _simulate(np.random.default_rng(12), each=20)
    fit = fit_joint_damage(lives, ramps)
    assert fit.words.startswith("Break tests and lives follow one damage law")
    draws = draw_joint_damage(fit, draws=4000, rng=np.random.default_rng(0))
    low, high = np.quantile(draws.coefficients[:, 1], [0.001, 0.999])
    assert low < N < high
    assert fit.exponent_of_lives[0] < fit.exponent < fit.exponent_of_lives[1]
    # Joint is tighter than lives alone.
    alone = (fit.exponent_of_lives[1] - fit.exponent_of_lives[0]) / (2 * 1.96)
    assert np.std(draws.coefficients[:, 1]) < alone


def test_another_exponent_in_the_ramps_is_noticed():
    lives, ramps = _simulate(np.random.default_rng(3), ramp_n=60.0, each=15)
    fit = fit_joint_damage(lives, ramps)
    assert fit.tests[0].p_value < 1e-3
    assert "exponents-disagree" in {p.code for p in fit.problems}
    assert fit.words.startswith("Break tests and lives do not follow one damage law")


def test_another_level_is_noticed_but_the_exponent_kept():
    lives, ramps = _simulate(np.random.default_rng(5), shift=6.0, each=15)
    fit = fit_joint_damage(lives, ramps)
    assert fit.shared == "exponent"
    assert [p.code for p in fit.problems] == ["levels-disagree"]


def test_false_alarms_are_rare():
    rng = np.random.default_rng(77)
    alarms = sum(fit_joint_damage(*_simulate(rng)).tests[0].p_value < 0.05 for _ in range(20))
    assert alarms <= 5  # 5 % of 20 is 1; more than 5 has a chance of 0.0003


def test_one_rate_is_refused():
    lives, ramps = _simulate(np.random.default_rng(1))
    one = RampData(ramps.strength_N, np.ones_like(ramps.strength_N), ramps.broke)
    with pytest.raises(NotIdentifiedError, match="ramps at one rate"):
        fit_joint_damage(lives, one)

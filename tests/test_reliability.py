"""Odds of demand above strength against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import gumbel_l, norm, qmc, weibull_min

from ratemodel.errors import InputError
from ratemodel.event import widened_event_draws
from ratemodel.records.tables import Distribution, Use
from ratemodel.reliability import demand_scale, failure_probability, tail_probability


@pytest.mark.parametrize("beta", [1.0, 2.33, 3.09, 3.72, 4.265, 5.0])
def test_normal_normal_closed_form(beta: float) -> None:
    # Load and strength both log-normal: P = Phi(-beta), beta = (m_S - m_D)/sqrt(s_S^2 + s_D^2)
    # (structural reliability textbooks; EN 1990 Annex C). 4.265 is 1e-5, 5.0 is 2.9e-7.
    s_strength, s_demand = 0.08, 0.06
    gap = beta * np.hypot(s_strength, s_demand)
    u = qmc.Sobol(1, rng=np.random.default_rng(1)).random_base2(14)[:, 0]
    demand = np.exp(np.log(3e3) + s_demand * norm.ppf(u))
    odds = failure_probability(demand, np.log(3e3) + gap, s_strength)
    exact = norm.sf(beta)
    assert abs(odds.probability - exact) < 4 * odds.simulation_error
    assert odds.probability == pytest.approx(exact, rel=0.02 if beta < 4 else 0.15)


@pytest.mark.parametrize("beta", [4.265, 5.0, 6.0])
def test_widened_events_reach_the_closed_form(beta: float) -> None:
    gap = beta * np.hypot(0.08, 0.06)
    load = Distribution("lognormal", 3e3, float(np.exp(0.06)))
    use = Use("u", "a", "steady", {"load": load})
    event, weights = widened_event_draws(use, 4096, np.random.default_rng(1), widen=2.5)
    odds = failure_probability(event.peak_force_N, np.log(3e3) + gap, 0.08, weights=weights)
    assert odds.probability == pytest.approx(norm.sf(beta), rel=0.01)
    assert odds.problems == ()


def test_plain_draws_within_their_own_error() -> None:
    rng = np.random.default_rng(8)
    exact = norm.sf(0.3 / np.hypot(0.08, 0.06))
    z = []
    for _ in range(200):
        demand = np.exp(rng.normal(0.0, 0.06, 2000))
        odds = failure_probability(demand, 0.3, 0.08)
        z.append((odds.probability - exact) / odds.simulation_error)
    # Skewed tail, so a little under nominal: 95 % within 1.96 of its own stated error.
    assert np.mean(np.abs(z) < 1.96) > 0.85


def test_tail_far_out() -> None:
    np.testing.assert_allclose(tail_probability(-7.0, 0.0, 1.0), norm.sf(7.0), rtol=1e-12)
    assert tail_probability(-7.0, 0.0, 1.0) < 1.3e-12
    b = np.sqrt(6) / np.pi
    sev = gumbel_l(loc=np.euler_gamma * b, scale=b)
    for x in (-20.0, -3.0, 0.5):
        got = tail_probability(x, 0.0, 1.0, "smallest-extreme-value")
        np.testing.assert_allclose(got, sev.cdf(x), rtol=1e-9)


def test_smallest_extreme_value_is_a_weibull_strength() -> None:
    shape, scale = 20.0, 12e3
    mean, sd = np.log(scale) - np.euler_gamma / shape, np.pi / np.sqrt(6) / shape
    got = tail_probability(np.log(6e3), mean, sd, "smallest-extreme-value")
    assert got == pytest.approx(weibull_min(shape, scale=scale).cdf(6e3), rel=1e-9)


def test_epistemic_and_aleatory_stay_apart() -> None:
    rng = np.random.default_rng(2)
    demand = np.exp(rng.normal(0.0, 0.05, 4000))
    sure = failure_probability(demand, np.full(300, 0.35), 0.1)
    assert sure.interval[0] == pytest.approx(sure.interval[1])
    unsure = failure_probability(demand, 0.35 + rng.normal(0, 0.05, 300), 0.1)
    assert unsure.interval[0] < sure.probability < unsure.interval[1]
    # Averaging a convex tail over what is not known makes the odds worse, never better.
    assert unsure.probability > sure.probability
    assert unsure.per_draw.shape == (300,)


def test_strength_read_at_each_events_own_rate() -> None:
    demand, mean = np.array([1.0, 2.0]), np.array([[1.0, 1.5], [1.1, 1.2]])
    odds = failure_probability(demand, mean, [0.2, 0.3])
    want = norm.cdf((np.log(demand) - mean) / np.array([[0.2], [0.3]])).mean(axis=1)
    np.testing.assert_allclose(odds.per_draw, want, rtol=1e-12)


def test_no_scatter_and_no_load() -> None:
    assert failure_probability([0.0], 1.0, 0.1).probability == 0.0
    assert failure_probability([3.0, 5.0], np.log(4.0), 0.0).probability == 0.5


@given(st.floats(1e-8, 0.3), st.floats(0.02, 0.3), st.floats(0.0, 0.3))
def test_scale_meets_the_target(target: float, s_strength: float, s_demand: float) -> None:
    demand = np.exp(s_demand * norm.ppf((np.arange(200) + 0.5) / 200)) * 1e3
    scale = demand_scale(target, demand, [9.0, 9.1], s_strength)
    odds = failure_probability(demand * scale, [9.0, 9.1], s_strength)
    assert odds.probability == pytest.approx(target, rel=1e-6)


def test_too_few_event_draws_are_said() -> None:
    demand = np.r_[np.full(50, 1.0), 3.0]
    assert [p.code for p in failure_probability(demand, 1.0, 0.05).problems] == ["few-event-draws"]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: failure_probability([1.0, 2.0], np.zeros((3, 4)), 0.1), "parameters, events"),
        (lambda: failure_probability([-1.0], 0.0, 0.1), "demands 0 or above"),
        (lambda: failure_probability([1.0], 0.0, -0.1), "sd_ln"),
        (lambda: failure_probability([1.0], 0.0, 0.1, level=90), "between 0 and 1"),
        (lambda: failure_probability([1.0], 0.0, 0.1, weights=[-1.0]), "weight"),
        (lambda: tail_probability(0.0, 0.0, 0.1, "weibull"), "normal or smallest"),
        (lambda: demand_scale(0.9, [1.0], 0.0, 0.1), "between 0 and 0.5"),
        (lambda: demand_scale(0.1, [0.0], 0.0, 0.1), "demands above 0"),
    ],
)
def test_impossible(call: object, words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()

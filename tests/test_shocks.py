"""Odds of a break in one shock and in a life of shocks, against closed forms and counting."""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from ratemodel.odds import NOT_INFORMATIVE, Spread, odds_words, summarised
from ratemodel.reliability import failure_probability, tail_probability
from ratemodel.shocks import Meeting, odds_in_life


def meeting(demand, mean, sd, shocks=1.0, states=3):
    demand = np.asarray(demand, float)
    grid = np.full((states, demand.size), float(mean))
    return Meeting(demand, np.ones(demand.size), grid, np.full_like(grid, sd),
                   np.zeros((states, 1)), np.full(states, float(shocks)))  # fmt: skip


@pytest.mark.parametrize("scatter", ["normal", "smallest-extreme-value"])
def test_one_shock_is_the_plain_probability(scatter):
    demand = np.exp(np.random.default_rng(1).normal(8.0, 0.2, 500))
    m = meeting(demand, 9.0, 0.1)
    plain = failure_probability(demand, m.mean, m.sigma, scatter=scatter)
    assert odds_in_life(m, Spread(scatter), 0.9).probability == pytest.approx(
        plain.probability, rel=1e-12
    )


def test_the_same_demand_again_breaks_no_further_line():
    """A line that has borne a load bears it again: not 1 − (1 − p)ⁿ."""
    one, many = (meeting([3000.0], np.log(4000), 0.1, n) for n in (1, 1000))
    got = odds_in_life(many, Spread(), 0.9).probability
    assert got == pytest.approx(odds_in_life(one, Spread(), 0.9).probability, rel=1e-12)
    assert got == pytest.approx(stats.norm.cdf(np.log(0.75) / 0.1), rel=1e-12)


def test_without_scatter_of_lines_shocks_are_independent_trials():
    demand = np.r_[np.full(990, 1000.0), np.full(10, 5000.0)]
    m = meeting(demand, np.log(4000.0), 0.0, 50)
    assert odds_in_life(m, Spread(), 0.9).probability == pytest.approx(1 - 0.99**50, rel=1e-9)


def test_many_shocks_equal_plain_counting():
    rng = np.random.default_rng(2)
    n, sd_demand, sd = 30, 0.15, 0.08
    demand = np.exp(stats.norm.ppf((np.arange(4000) + 0.5) / 4000) * sd_demand + 8.0)
    got = odds_in_life(meeting(demand, 8.6, sd, n), Spread(), 0.9).probability
    worst = rng.normal(8.0, sd_demand, (40_000, n)).max(axis=1)
    counted = np.mean(worst > rng.normal(8.6, sd, 40_000))
    assert got == pytest.approx(counted, abs=4 * np.sqrt(counted / 40_000) + 2e-3)


@pytest.mark.parametrize("target", [1e-2, 1e-5, 1e-9])
def test_normal_against_normal_down_to_small_odds(target):
    """ln D and ln S normal: Φ(−(μS − μD)/√(σS² + σD²)); event draws are exact quantiles."""
    sd_d, sd_s = 0.05, 0.12
    gap = -stats.norm.ppf(target) * np.hypot(sd_d, sd_s)
    x = stats.norm.ppf((np.arange(20_000) + 0.5) / 20_000) * sd_d
    odds = failure_probability(np.exp(8.0 + x), np.full(1, 8.0 + gap), np.full(1, sd_s))
    assert odds.probability == pytest.approx(target, rel=2e-2)


@pytest.mark.parametrize("gap", [-0.2, -0.5, -1.0])
def test_spool_scatter_under_extreme_value_scatter_equals_quadrature(gap):
    sd, spool = 0.05, 0.04
    b = sd * np.sqrt(6) / np.pi
    line = stats.gumbel_l(loc=0.5772156649015329 * b, scale=b)
    want = quad(lambda z: line.cdf(gap - spool * z) * stats.norm.pdf(z), -10, 10, limit=200)[0]
    got = tail_probability(gap, 0.0, sd, Spread("smallest-extreme-value", spool))
    assert float(got) == pytest.approx(want, rel=1e-3)


def test_spool_scatter_under_normal_scatter_adds_in_quadrature():
    got = tail_probability(-0.3, 0.0, 0.03, Spread("normal", 0.04))
    assert float(got) == pytest.approx(stats.norm.cdf(-0.3 / 0.05), rel=1e-12)


def test_small_odds_are_not_told_apart():
    assert odds_words(1e-100) == odds_words(9.9e-10) == "below 1e-9"
    assert odds_words(2e-9) == "2e-09"
    assert summarised(np.full(4, 1e-100), 1e-100, 0.9).problems == ()


def test_a_probability_may_say_that_it_means_nothing():
    from ratemodel.errors import Problem

    odds = summarised(np.full(4, 1e-30), 0.0, 0.9, (Problem(NOT_INFORMATIVE, "x", "serious"),))
    assert not odds.informative
    assert odds.words == "not informative"

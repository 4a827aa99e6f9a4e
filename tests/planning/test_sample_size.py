"""Sample sizes against statsmodels, closed forms, published tables and simulation."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower, TTestPower

from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.planning.sample_size import (
    power_of_difference,
    specimens_for_difference,
    specimens_for_lower_bound,
    specimens_for_success_run,
)
from ratemodel.planning.spool_size import power_of_spool_effect, specimens_for_spool_effect
from ratemodel.tolerance import one_sided_factor


@pytest.mark.parametrize("sides", [1, 2])
@pytest.mark.parametrize("groups", [(3, 3), (5, 5), (4, 9), (30, 12)])
@pytest.mark.parametrize("effect", [0.4, 1.5])
def test_power_equals_statsmodels(sides, groups, effect):
    scatter = 0.03
    mine = power_of_difference(np.expm1(effect * scatter), scatter, groups, level=0.95, sides=sides)
    theirs = TTestIndPower().power(
        effect, groups[0], 0.05, ratio=groups[1] / groups[0],
        alternative="two-sided" if sides == 2 else "larger",
    )  # fmt: skip
    assert mine == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize("difference", [0.02, 0.05, 0.10, -0.08])
@pytest.mark.parametrize("power", [0.8, 0.9])
@pytest.mark.parametrize("ratio", [1.0, 2.0])
def test_sample_size_equals_statsmodels(difference, power, ratio):
    scatter = 0.04
    n = TTestIndPower().solve_power(abs(np.log1p(difference)) / scatter, power=power, alpha=0.05,
                                    ratio=ratio)  # fmt: skip
    mine = specimens_for_difference(difference, scatter, power, ratio=ratio)
    assert mine.specimens[0] == max(int(np.ceil(n)), 2)
    assert mine.specimens[1] == int(np.ceil(mine.specimens[0] * ratio))
    assert mine.power >= power


def test_difference_does_not_care_which_group_is_stronger():
    up = power_of_difference(0.1, 0.05, (4, 7))
    down = power_of_difference(1 / 1.1 - 1, 0.05, (7, 4))
    assert up == pytest.approx(down, rel=1e-12)


@pytest.mark.parametrize(
    ("fraction", "confidence", "failures", "n"),
    [(0.90, 0.90, 0, 22), (0.95, 0.95, 0, 59), (0.99, 0.95, 0, 299), (0.90, 0.95, 0, 29),
     (0.90, 0.95, 1, 46), (0.95, 0.95, 1, 93), (0.90, 0.90, 2, 52)],
)  # fmt: skip
def test_success_run_equals_published_numbers(fraction, confidence, failures, n):
    """Sizes of one-sided distribution-free limits, Somerville (1958) as tabled (from memory)."""
    assert specimens_for_success_run(fraction, confidence, failures).total == n


@pytest.mark.parametrize("fraction", [0.8, 0.95, 0.999])
def test_success_run_without_failures_is_the_closed_form(fraction):
    n = specimens_for_success_run(fraction, 0.95).total
    assert n == int(np.ceil(np.log(0.05) / np.log(fraction)))


def test_lower_bound_size_is_the_least_that_reaches_the_power():
    """At confidence c and true margin k(n) the bound reaches the load in about half of the sets."""
    found = specimens_for_lower_bound(0.15, 0.05, 0.9)
    rng = np.random.default_rng(3)
    for n, enough in ((found.total, True), (found.total - 2, False)):
        y = 0.05 * rng.standard_normal((200_000, n))
        bound = y.mean(1) - float(one_sided_factor(n, 0.95, 0.95)) * y.std(1, ddof=1)
        share = np.mean(bound >= np.log(0.85))
        error = 3 * np.sqrt(share * (1 - share) / 200_000)
        assert (share + error >= 0.9) if enough else (share < 0.9)
    assert found.power >= 0.9


def test_lower_bound_of_the_median_is_a_one_sample_t_test():
    """Half of the population above the load: k is t/sqrt(n), the test of one mean (statsmodels)."""
    scatter, margin = 0.05, 0.05
    effect = -np.log1p(-margin) / scatter
    n = TTestPower().solve_power(effect, power=0.9, alpha=0.05, alternative="larger")
    found = specimens_for_lower_bound(margin, scatter, 0.9, fraction=0.5)
    assert found.total == int(np.ceil(n))


def test_lower_bound_above_the_true_one_is_refused():
    with pytest.raises(NotIdentifiedError, match="no number of tests"):
        specimens_for_lower_bound(0.05, 0.05, fraction=0.95)


@pytest.mark.parametrize(("spools", "per_spool", "ratio"), [(3, 4, 1.0), (6, 2, 0.7), (4, 8, 0.3)])
def test_spool_power_equals_simulated_f_tests(spools, per_spool, ratio):
    rng = np.random.default_rng(11)
    sets = 40_000
    y = rng.standard_normal((sets, spools, per_spool))
    y += ratio * rng.standard_normal((sets, spools, 1))
    result = stats.f_oneway(*[y[:, i] for i in range(spools)], axis=1)
    share = float(np.mean(result.pvalue < 0.05))
    power = power_of_spool_effect(spools, per_spool, ratio * 0.02, 0.02)
    assert power == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / sets))


def test_spool_size_is_least_and_prefers_no_fixed_number_of_spools():
    free = specimens_for_spool_effect(0.03, 0.03)
    fixed = specimens_for_spool_effect(0.03, 0.03, spools=10)
    assert free.total <= fixed.total
    n = fixed.specimens[0]
    assert len(fixed.specimens) == 10
    assert power_of_spool_effect(10, n, 0.03, 0.03) >= 0.9
    assert power_of_spool_effect(10, n - 1, 0.03, 0.03) < 0.9
    every = [(a, n) for a in range(2, 40) for n in range(2, 60)
             if power_of_spool_effect(a, n, 0.03, 0.03) >= 0.9]  # fmt: skip
    assert free.total == min(a * n for a, n in every)


def test_spool_effect_far_below_the_scatter_is_out_of_reach():
    with pytest.raises(NotIdentifiedError, match="take more spools"):
        specimens_for_spool_effect(1e-6, 0.03, spools=2)


@pytest.mark.parametrize(
    ("call", "words"),
    [(lambda: power_of_difference(0.0, 0.03, (5, 5)), "not 0"),
     (lambda: power_of_difference(0.1, 0.0, (5, 5)), "scatter 0"),
     (lambda: specimens_for_difference(0.1, 0.03, 1.0), "power 1"),
     (lambda: specimens_for_difference(0.1, 0.03, ratio=0.0), "ratio of group sizes"),
     (lambda: specimens_for_success_run(1.0, 0.95), "fraction 1"),
     (lambda: specimens_for_success_run(0.9, 0.95, -1), "-1 allowed failures"),
     (lambda: specimens_for_lower_bound(1.5, 0.05), "margin 1.5"),
     (lambda: specimens_for_spool_effect(0.0, 0.03), "spool scatter 0"),
     (lambda: power_of_difference(0.1, 0.03, (5, 5), sides=3), "sides 3")],
)  # fmt: skip
def test_numbers_that_make_no_sense_are_refused(call, words):
    with pytest.raises(InputError, match=words):
        call()


def test_effect_too_small_for_a_million_is_said():
    with pytest.raises(NotIdentifiedError, match="1000000 specimens"):
        specimens_for_difference(1e-6, 0.03)

"""A rating against classical confidence statements of one normal sample."""

import numpy as np
import pytest
from made import series
from scipy import stats

import ratemodel as rm
from ratemodel.comparing import supports_rating
from ratemodel.comparing.label import expected_lowest
from ratemodel.errors import InputError
from ratemodel.records.tables import Rating

EXACT_MACHINE = {"machine": {"m": {"calibration_sd_fraction": 0.0}}}


def fit(n=8, sd=0.006, options=EXACT_MACHINE, **kwargs):
    z = stats.norm.ppf((np.arange(n) + 0.5) / n)
    y = 9.0 + sd * (z - z.mean()) / z.std(ddof=1)
    s = series(np.full(n, -3.0), y, machine=["m"] * n, **kwargs)
    return rm.fit_rate(s, rng=np.random.default_rng(1), options=options)


def support(f, ln, statistic="average", **kwargs):
    rating = Rating(float(np.exp(ln)), statistic, strain_rate_per_s=1e-3)
    return supports_rating(f, rating, rng=np.random.default_rng(2), **kwargs)


@pytest.mark.parametrize("k", [-0.5, 0.3, 0.8])
def test_average_is_students_t(k):
    got = support(fit(), 9.0 - 0.006 * k)
    assert got.probability == pytest.approx(stats.t.cdf(k * np.sqrt(8), 7), abs=0.01)


@pytest.mark.parametrize(("statistic", "sds"), [("mean-2sd", 2), ("mean-3sd", 3)])
@pytest.mark.parametrize("k", [2.0, 3.0, 5.0])
def test_mean_less_standard_deviations_is_the_confidence_of_a_tolerance_bound(statistic, sds, k):
    """Non-central t, NIST/SEMATECH e-Handbook 7.2.6.3: that mean - sds sd lies above x - k s."""
    got = support(fit(), 9.0 - 0.006 * k, statistic)
    exact = stats.nct.cdf(k * np.sqrt(8), 7, sds * np.sqrt(8))
    assert got.probability == pytest.approx(exact, abs=0.015)


@pytest.mark.parametrize(("n", "harter"), [(2, 0.5642), (3, 0.8463), (5, 1.1630), (10, 1.5388)])
def test_expected_lowest_equals_order_statistics(n, harter):
    """Harter 1961, Biometrika 48:151 (values from memory)."""
    assert expected_lowest(n) == pytest.approx(harter, abs=5e-5)


def test_lowest_of_a_stated_number_is_used():
    exact = stats.nct.cdf(1.5 * np.sqrt(8), 7, 1.1630 * np.sqrt(8))
    got = support(fit(), 9.0 - 0.006 * 1.5, "lowest", lowest_of=5)
    assert got.probability == pytest.approx(exact, abs=0.015)


def test_an_undeclared_rule_is_all_rules_weighted():
    f = fit()
    got = support(f, 8.988, "unknown")
    alone = [
        support(f, 8.988, s).probability for s in ("average", "mean-2sd", "mean-3sd", "lowest")
    ]
    assert [r.probability for r in got.rules] == pytest.approx(alone, abs=0.02)
    assert got.probability == pytest.approx(np.mean(alone), abs=0.01)
    assert "rating-rule-unknown" in {p.code for p in got.problems}
    assert len(got.sentences()) == 5


def test_calibration_of_a_lone_machine_counts():
    """200 specimens: what is left is one machine of 1 %."""
    got = support(fit(200, options=None), 8.99)
    sd = np.hypot(0.01, 0.006 / np.sqrt(200))
    assert got.probability == pytest.approx(stats.norm.cdf(0.01 / sd), abs=0.01)


def test_preload_and_speed_that_differ_widen_the_answer():
    f = fit()
    plain = support(f, 8.99)
    cycled = supports_rating(f, Rating(float(np.exp(8.99)), "average", 1e-3, 0.5, 10),
                             rng=np.random.default_rng(2))  # fmt: skip
    slower = supports_rating(f, Rating(float(np.exp(8.99)), "average", None),
                             rng=np.random.default_rng(2))  # fmt: skip
    assert plain.probability > 0.99
    assert 0.5 < cycled.probability < 0.7
    assert "rating-speed-unknown" in {p.code for p in slower.problems}
    assert slower.probability < plain.probability


def test_missing_and_impossible_ratings_are_refused():
    with pytest.raises(InputError, match="declares no rating"):
        supports_rating(fit(), rng=np.random.default_rng(1))
    with pytest.raises(InputError, match="lowest of 1; expected lowest of 2"):
        support(fit(), 9.0, "lowest", lowest_of=1)

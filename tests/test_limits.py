"""Policies side by side, against published factors; steps and shares that add up."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made import series
from scipy import stats

import ratemodel as rm
from ratemodel.inference.average import Settings
from ratemodel.limits import Limits
from ratemodel.margin import margin_shares, uncertainty_budget
from ratemodel.planning import one_more_test_of, worth_of_tests
from ratemodel.records.tables import Distribution, Factor, Rating, Use
from ratemodel.steps import explain
from ratemodel.tolerance import characteristic_factor, design_factor

N = 8
Y = 9.2 + 0.03 * np.random.default_rng(3).standard_normal(N)


def fixed(value):
    return Distribution("fixed", value)


def rng(seed=1):
    return np.random.default_rng(seed)


@pytest.fixture(scope="module")
def one_rate():
    """Eight specimens at one rate: the classical sample."""
    return rm.fit_rate(series(np.full(N, -2.0), Y, rating=Rating(11e3)), rng=rng())


@pytest.fixture(scope="module")
def two_rates():
    u = np.repeat([-3.0, -0.5], 8)
    y = 9.2 - 0.02 * u + 0.03 * rng(5).standard_normal(16)
    rating = Rating(11e3, "average", 1e-3)
    return rm.fit_rate(series(u, y, rating=rating), rng=rng(), settings=Settings(draws=4000))


def use(kind="rate", factors=(), **quantities):
    if kind == "rate":
        quantities = {"strain_rate": fixed(1e-2), **quantities}
    return Use("u", "cord", kind, quantities, 5.0, 1e-4, tuple(factors))


SNATCH = {
    "mass": fixed(20.0),
    "closing_speed": Distribution("lognormal", 5.0, 1.2),
    "line_length": fixed(5.0),
    "stiffness": Distribution("normal", 200e3, 20e3),
}


# ------------------------------------------------------------------ policies


def test_annex_d_is_the_published_factor_for_one_sample(one_rate):
    """EN 1990 Annex D, tables D1 and D2 (V unknown): exp(m − k s) on ln strength."""
    limits = rm.working_load_limits(rm.translate(one_rate, use(), rng=rng()))
    m, s = Y.mean(), Y.std(ddof=1)
    k, kd = float(characteristic_factor(N)), float(design_factor(N))
    got = limits.by("EN 1990 characteristic / design factor").value * 5
    assert got == pytest.approx(np.exp(m - k * s), rel=1e-3)
    assert limits.by("EN 1990 design value").value == pytest.approx(np.exp(m - kd * s), rel=3e-3)
    assert "probability-0.001" in limits.by("EN 1990 design value").basis


def test_the_other_convention_is_named_and_lower_in_force(one_rate):
    strength = rm.translate(one_rate, use(), rng=rng())
    strict = rm.working_load_limits(strength).by("EN 1990 design value")
    other = rm.working_load_limits(strength, convention="index-3.04").by("EN 1990 design value")
    assert other.value > strict.value
    assert other.implied_failure_probability == pytest.approx(stats.norm.cdf(-3.04), rel=1e-6)
    assert "index-3.04" in other.basis


def test_every_policy_says_what_it_implies(one_rate):
    limits = rm.working_load_limits(rm.translate(one_rate, use(), rng=rng()))
    assert [r.policy for r in limits] == [
        "rating / design factor", "lower bound / design factor",
        "EN 1990 characteristic / design factor", "EN 1990 design value",
        "target failure probability",
    ]  # fmt: skip
    target = limits.by("target failure probability")
    assert target.implied_failure_probability == pytest.approx(1e-4, rel=1e-6)
    assert limits.by("rating / design factor").value == pytest.approx(2200.0)
    factor = stats.nct.ppf(0.95, N - 1, stats.norm.ppf(0.95) * np.sqrt(N)) / np.sqrt(N)
    bound = limits.by("lower bound / design factor").value * 5
    assert bound == pytest.approx(np.exp(Y.mean() - factor * Y.std(ddof=1)), rel=1e-3)
    # The same load never has other odds: order of values is order of odds.
    ordered = sorted(limits, key=lambda r: r.value)
    odds = [r.implied_failure_probability for r in ordered]
    assert odds == sorted(odds)
    with pytest.raises(KeyError, match="no limit by service life"):
        limits.by("service life")


def test_limits_show_themselves_with_the_caution(one_rate):
    limits = rm.working_load_limits(rm.translate(one_rate, use(), rng=rng()))
    assert isinstance(limits, Limits)
    text, html = str(limits), limits._repr_html_()
    for row in limits:
        assert row.policy in text
        assert row.policy in html
    for words in (text, html):
        assert "not a certificate" in words
    assert limits[0].policy in repr(limits)


def test_scaling_the_event_to_the_target_meets_it(two_rates):
    strength = rm.translate(two_rates, use("snatch", **SNATCH), rng=rng())
    room = rm.working_load_limits(strength).demand_scale
    event = replace(strength.event, peak_force_N=strength.event.peak_force_N * room)
    odds = rm.failure_probability(replace(strength, event=event), states=200, events=256)
    assert odds.probability == pytest.approx(1e-4, rel=0.3)


# ------------------------------------------------------------------ odds


def test_known_strength_against_normal_demand_is_the_closed_form(one_rate):
    """ln demand normal; the fit's own t-like spread replaced by its draws, one by one."""
    strength = rm.translate(
        one_rate, use("steady", load=fixed(1.0), duration=fixed(4.0)), rng=rng()
    )
    sd_d = 0.03
    x = stats.norm.ppf((np.arange(strength.u.size) + 0.5) / strength.u.size) * sd_d
    demand = np.exp(9.05 + x)
    event = replace(strength.event, peak_force_N=rng().permutation(demand))
    odds = rm.failure_probability(replace(strength, event=event), states=2000, events=4000)
    some = np.linspace(0, strength.u.size - 1, 2000).astype(int)
    mean, sd = strength.mean_ln[some], np.hypot(strength.sigma, strength.batch_sd)[some]
    want = stats.norm.cdf((9.05 - mean) / np.hypot(sd, sd_d)).mean()
    assert odds.probability == pytest.approx(want, rel=0.1)
    assert odds.interval[0] < odds.median < odds.interval[1]


def test_a_load_held_far_longer_than_any_pull_has_no_odds(one_rate):
    month = use("steady", load=fixed(500.0), duration=fixed(2.6e6))
    strength = rm.translate(one_rate, month, rng=rng())
    odds, limits = rm.failure_probability(strength), rm.working_load_limits(strength)
    assert odds.words == "not informative"
    assert all(r.odds == "not informative" for r in limits)
    assert [p.code for p in limits.problems] == ["no-limit-by-service-life"]
    assert "creep rupture governs" in str(limits)


def test_more_shocks_in_a_life_never_make_it_safer(two_rates):
    found = []
    for count in (1.0, 10.0, 1000.0):
        shocks = use("snatch", **SNATCH, shocks=fixed(count))
        strength = rm.translate(two_rates, shocks, rng=rng())
        found.append(rm.failure_probability(strength, states=100, events=512).probability)
    assert found[0] < found[1] < found[2]


# ------------------------------------------------------------------ steps, shares, budget


@settings(max_examples=12, deadline=None)
@given(st.lists(st.tuples(st.floats(0.5, 1.0), st.floats(0.0, 0.03)), max_size=5))
def test_steps_add_up_and_factors_multiply(two_rates, factors):
    named = [
        Factor(f"f{i}", Distribution("normal", mean, sd), "assumed")
        for i, (mean, sd) in enumerate(factors)
    ]
    strength = rm.translate(two_rates, use(factors=named), rng=rng())
    plain = rm.translate(two_rates, use(), rng=rng())
    explanation = explain(strength, rng=rng())
    assert explanation.residual <= 1e-12 * 20
    product = np.prod([np.exp(v) for v in strength.factors.values()], axis=0)
    np.testing.assert_allclose(
        np.exp(strength.mean_ln), np.exp(plain.mean_ln) * product, rtol=1e-12
    )
    for step in explanation.steps:
        middle, low, high = step.ratio(0.9)
        assert low <= middle <= high
        assert step.origin


def test_the_length_step_stands_among_the_steps_with_its_origin():
    n = 10
    extra = {"free_length_m": np.full(n, 0.5), "failure_site": ("clear",) * 5 + ("splice",) * 5}
    y = 9.2 + 0.03 * rng(3).standard_normal(n)
    fit = rm.fit_rate(series(np.full(n, -2.0), y, extra=extra), rng=rng(),
                      settings=Settings(draws=2000))  # fmt: skip
    long, same = (
        rm.translate(fit, use(line_length=fixed(length)), rng=rng()) for length in (50.0, 0.5)
    )
    (step,) = [s for s in explain(long, rng=rng()).steps if s.name == "line length"]
    assert "5 of 10 breaks in clear line" in step.origin
    assert step.ratio(0.9)[2] < 1
    assert explain(long, rng=rng()).residual < 1e-12 * 20
    np.testing.assert_allclose(same.factors["line length"], 0.0, atol=1e-14)
    assert long.lower_bound < same.lower_bound


def test_shares_of_an_additive_margin_are_its_variances(two_rates):
    """Independent terms: the first-order index of each is its share of the variance."""
    factor = Factor("wear", Distribution("lognormal", 0.9, 1.1), "assumed")
    load = use("steady", [factor], load=Distribution("lognormal", 2000.0, 1.3), duration=fixed(4.0))
    strength = rm.translate(two_rates, load, rng=rng())
    found = margin_shares(strength, rng=rng(), points=4096)
    at = dict(zip(found.names, found.first, strict=True))
    total = dict(zip(found.names, found.total, strict=True))
    assert sum(share for _, share in found.shares) == pytest.approx(1.0)
    curve = two_rates.mean_ln(strength.u[:, None])[:, 0].var()
    parts = {"event: load": np.log(1.3) ** 2, "wear": np.log(1.1) ** 2}
    variance = curve + sum(parts.values()) + np.mean(strength.sigma**2 + strength.batch_sd**2)
    for name, own in parts.items():
        assert at[name] == pytest.approx(own / variance, abs=0.02)
        assert total[name] == pytest.approx(own / variance, abs=0.02)


def test_budget_adds_up_to_the_spread_of_the_draws(two_rates):
    factor = Factor("wear", Distribution("normal", 0.9, 0.02), "assumed")
    strength = rm.translate(two_rates, use(factors=[factor]), rng=rng())
    budget = uncertainty_budget(strength)
    draws = np.exp(strength.mean_ln)
    assert budget.value == pytest.approx(draws.mean(), rel=2e-3)
    assert budget.standard_uncertainty == pytest.approx(draws.std(ddof=1), rel=0.03)
    rows = {r.name: r for r in budget.rows}
    assert rows["wear"].origin == "assumed"
    assert rows["wear"].contribution == pytest.approx(draws.mean() * 0.02 / 0.9, rel=0.02)
    one = uncertainty_budget(strength, one_line=True)
    assert one.standard_uncertainty > budget.standard_uncertainty


# ------------------------------------------------------------------ one more test


def test_measuring_what_dominates_narrows_as_it_must(two_rates):
    """A factor with 30 % spread, all else small: what is left is measurement and the rest."""
    factor = Factor("termination", Distribution("lognormal", 0.8, 1.3), "assumed")
    strength = rm.translate(two_rates, use(factors=[factor]), rng=rng())
    worth = one_more_test_of(strength, "termination", specimens=3)
    noise = np.median(strength.sigma) * np.sqrt(2 / 3)
    curve = two_rates.mean_ln(strength.u[:, None])[:, 0].std()
    own = np.log(1.3)
    left = own * noise / np.hypot(own, noise)
    assert worth.expected_interval_ratio == pytest.approx(
        np.hypot(left, curve) / np.hypot(own, curve), abs=0.06
    )
    assert worth_of_tests(strength)[0].of == "termination"


def test_other_tests_are_worth_something_and_never_harm(two_rates):
    strength = rm.translate(two_rates, use("snatch", **SNATCH), rng=rng())
    found = {w.of: w.expected_interval_ratio for w in worth_of_tests(strength)}
    assert set(found) == {"another speed", "another spool", "stiffness"}
    assert all(0.1 < ratio <= 1.02 for ratio in found.values())


def test_an_unknown_test_is_refused(two_rates):
    strength = rm.translate(two_rates, use(), rng=rng())
    with pytest.raises(rm.errors.InputError, match="nothing to test by the name colour"):
        one_more_test_of(strength, "colour")

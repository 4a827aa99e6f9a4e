"""Ratios against classical two-sample results and against least squares written out by hand."""

from dataclasses import replace

import numpy as np
import pytest
from made import series
from scipy import stats

import ratemodel as rm
from ratemodel.comparing import ComparisonSettings, compare, parse_claim
from ratemodel.errors import InputError
from ratemodel.units import Unit

U = -2.0
RATE = 10.0**U


def fit(y, u=U, machine="m", models=("constant",), seed=1, draws=20_000, name="A", options=None,
        **kwargs):  # fmt: skip
    y = np.asarray(y)
    names = [machine] * y.size if isinstance(machine, str) else machine
    s = replace(series(np.broadcast_to(u, y.shape), y, machine=names, **kwargs), name=name)
    settings = rm.Settings(models=models, draws=draws)
    return rm.fit_rate(s, rng=np.random.default_rng(seed), settings=settings, options=options)


def one(a, b, *, rng=5, claim=None, **settings):
    return compare(a, b, [RATE], rng=np.random.default_rng(rng), claim=claim,
                   settings=ComparisonSettings(**settings)).points[0]  # fmt: skip


def sample(n, mean, sd):
    """Normal scores with exactly this mean and standard deviation."""
    z = stats.norm.ppf((np.arange(n) + 0.5) / n)
    z = (z - z.mean()) / z.std(ddof=1)
    return mean + sd * z


def test_unrelated_scatters_give_the_behrens_fisher_interval():
    """Distribution of the difference of two scaled Student t, convolved by scipy's densities."""
    a, b = sample(5, 9.0, 0.02), sample(5, 9.1, 0.05)
    got = one(fit(a), fit(b, seed=1, name="B"), scatter_alike=np.inf)
    x = np.linspace(-1.5, 1.5, 6001)
    pa = stats.t(4, 0, 0.02 / np.sqrt(5)).pdf(x)
    pb = stats.t(4, 0, 0.05 / np.sqrt(5)).pdf(x)
    cdf = np.cumsum(np.convolve(pa, pb, mode="same"))
    q = np.interp([0.025, 0.975], cdf / cdf[-1], x)
    ends = np.log([got.ratio.low, got.ratio.high])
    assert ends == pytest.approx(0.1 + q, abs=0.03 * (q[1] - q[0]))


def test_pooled_scatters_give_students_interval_and_equivalence():
    """scipy.stats.ttest_ind with equal variances."""
    a, b = sample(6, 9.0, 0.03), sample(6, 9.04, 0.031)
    got = one(fit(a), fit(b, seed=2, name="B"), scatter_alike=0.02, claim=parse_claim("+2%"))
    low, high = stats.ttest_ind(b, a).confidence_interval(0.95)
    assert np.log([got.ratio.low, got.ratio.high]) == pytest.approx(
        [low, high], abs=0.05 * (high - low)
    )
    t = stats.t(10, 0.04, stats.ttest_ind(b, a).statistic ** -1 * 0.04)
    assert got.claim == pytest.approx(t.sf(np.log(1.02)), abs=0.02)
    assert got.equivalent == pytest.approx(t.cdf(np.log(1.05)) - t.cdf(np.log(0.95)), abs=0.02)
    assert got.not_inferior == pytest.approx(t.sf(np.log(0.95)), abs=0.005)


@pytest.mark.parametrize(
    ("machines", "sd"),
    [(("m", "m"), 0.0), (("m", "n"), 0.01 * np.sqrt(2)), (("", ""), 0.01 * np.sqrt(2))],
)
def test_calibration_cancels_on_one_machine_only(machines, sd):
    """300 specimens each: what is left is the calibration of two machines, or none."""
    a = fit(sample(300, 9.0, 0.02), machine=machines[0])
    b = fit(sample(300, 9.1, 0.02), machine=machines[1], seed=2, name="B")
    got = one(a, b)
    half = np.log(got.ratio.high / got.ratio.low) / 2
    assert half == pytest.approx(1.96 * np.hypot(0.02 * np.sqrt(2 / 300), sd), rel=0.04)


def test_several_machines_equal_joint_least_squares():
    """A on machines 1 and 2, B on 2 and 3: normal equations of the joint model, solved at once."""
    n, scatter, tau = 60, 0.02, 0.01
    cells = [("A", 0, 9.000), ("A", 1, 9.012), ("B", 1, 9.101), ("B", 2, 9.085)]
    fits = []
    for name in "AB":
        mine = [c for c in cells if c[0] == name]
        y = np.concatenate([sample(n, c[2], scatter) for c in mine])
        fits.append(fit(y, machine=[f"m{c[1]}" for c in mine for _ in range(n)], name=name))
    got = one(*fits)
    x = np.zeros((4, 5))
    for row, (name, machine, _) in zip(x, cells, strict=True):
        row["AB".index(name)] = row[2 + machine] = 1.0
    precision = x.T @ x * n / scatter**2 + np.diag([0, 0, *[tau**-2] * 3])
    right = x.T @ np.array([c[2] for c in cells]) * n / scatter**2
    contrast = np.array([-1.0, 1.0, 0, 0, 0])
    mean = contrast @ np.linalg.solve(precision, right)
    sd = np.sqrt(contrast @ np.linalg.solve(precision, contrast))
    assert np.log(got.ratio.median) == pytest.approx(mean, abs=0.05 * sd)
    assert np.log(got.ratio.high / got.ratio.low) == pytest.approx(2 * 1.96 * sd, rel=0.05)


def test_series_at_speeds_of_their_own_are_read_at_the_common_rate():
    """Wide prior, straight line: predictions of two ordinary regressions at the common rate."""
    rng = np.random.default_rng(4)
    ua, ub = np.repeat([-4.0, -3.0], 30), np.repeat([-2.5, -1.0], 30)
    ya = 9.0 + 0.02 * (ua - U) + 0.02 * rng.standard_normal(60)
    yb = 9.1 + 0.02 * (ub - U) + 0.02 * rng.standard_normal(60)
    options = {"priors": {"slope": {"mean": 0.0, "sd": 1.0}, "growth": {"mean": 0.0, "sd": 1e-6},
                          "discrepancy": {"low": 0.0, "high": 1e-9}}}  # fmt: skip
    a = fit(ya, u=ua, models=("power-law",), options=options)
    b = fit(yb, u=ub, models=("power-law",), options=options, seed=2, name="B")
    got = one(a, b)
    mean, var = 0.0, 0.0
    for sign, u, y in ((-1, ua, ya), (1, ub, yb)):
        x = np.column_stack([np.ones(60), u - U])
        beta, rss = np.linalg.lstsq(x, y, rcond=None)[:2]
        mean += sign * beta[0]
        var += rss[0] / 58 * np.linalg.inv(x.T @ x)[0, 0]
    assert np.log(got.ratio.median) == pytest.approx(mean, abs=0.1 * np.sqrt(var))
    assert np.log(got.ratio.high / got.ratio.low) == pytest.approx(
        2 * stats.t.ppf(0.975, 58) * np.sqrt(var), rel=0.05
    )
    assert got.decades_beyond == pytest.approx((1.0, 0.0))


@pytest.mark.parametrize("family", ["normal", "smallest-extreme-value"])
def test_odds_of_random_specimens_and_of_their_ratio(family):
    """Many specimens: numbers come from the two populations themselves."""
    a = fit(sample(200, 9.0, 0.03), scatter=family)
    b = fit(sample(200, 9.03, 0.03), seed=2, name="B", scatter=family)
    got = one(a, b, claim=parse_claim("+1%"))
    rng = np.random.default_rng(8)
    sds = [np.median(f.sigma_at(np.array([U]))) for f in (a, b)]
    means = [np.median(f.mean_ln(np.array([U]))) for f in (a, b)]
    if family == "normal":
        law = [stats.norm(m, s) for m, s in zip(means, sds, strict=True)]
    else:
        k = np.sqrt(6) / np.pi
        law = [stats.gumbel_l(m + np.euler_gamma * k * s, k * s)
               for m, s in zip(means, sds, strict=True)]  # fmt: skip
    d = law[1].rvs(200_000, random_state=rng) - law[0].rvs(200_000, random_state=rng)
    assert got.specimen_stronger == pytest.approx(np.mean(d > 0), abs=0.01)
    assert got.claim_specimen == pytest.approx(np.mean(d > np.log(1.01)), abs=0.01)
    ends = np.log([got.specimen_ratio.low, got.specimen_ratio.high])
    assert ends == pytest.approx(np.quantile(d, [0.025, 0.975]), abs=0.006)


def test_exchanging_the_series_inverts_the_ratio():
    a, b = fit(sample(5, 9.0, 0.02)), fit(sample(7, 9.05, 0.03), seed=2, name="B")
    forth, back = one(a, b), one(b, a, rng=6)
    assert forth.ratio.median * back.ratio.median == pytest.approx(1, abs=0.002)
    assert forth.ratio.low * back.ratio.high == pytest.approx(1, abs=0.006)
    assert forth.specimen_stronger + back.specimen_stronger == pytest.approx(1, abs=0.01)


def test_fits_made_with_one_seed_are_paired_at_random():
    y = sample(5, 9.0, 0.02)
    got = compare(fit(y), fit(y, name="B"), [RATE], rng=np.random.default_rng(1))
    _, high = stats.ttest_ind(y, y).confidence_interval(0.95)
    assert np.log(got.points[0].ratio.high) > 0.8 * high


def test_intervals_of_five_specimens_each_cover():
    """200 pairs here; tests/studies/compare_coverage.py runs thousands."""
    hits = 0
    for rng in np.random.default_rng(20261125).spawn(200):
        a = fit(9 + 0.03 * rng.standard_normal(5), draws=2000)
        b = fit(9.1 + 0.03 * rng.standard_normal(5), draws=2000, seed=2, name="B")
        got = compare(a, b, [RATE], rng=rng).points[0].ratio
        hits += got.low <= np.exp(0.1) <= got.high
    assert stats.binomtest(hits, 200, 0.95).pvalue > 0.01


def test_tested_rates_of_both_are_taken_where_none_is_asked_for():
    a = fit(sample(6, 9.0, 0.02), u=np.repeat([-3.0, -2.0], 3), models=())
    b = fit(sample(6, 9.0, 0.02), u=np.repeat([-2.0, -1.0], 3), models=(), name="B")
    result = compare(a, b, rng=np.random.default_rng(1), claim=parse_claim("+5%"))
    assert [np.log10(p.strain_rate_per_s) for p in result.points] == pytest.approx([-3, -2, -1])
    codes = {p.code: p for p in result.problems}
    assert codes["beyond-the-tested-rates"].severity == "caution"
    assert "one spool only of A and of B" in codes["one-spool"].message
    text = " ".join(result.sentences())
    assert "B is at least 5 % stronger than A, in the mean" in text


def test_findings_name_what_differs_beside_the_product():
    cold = {"temperature_K": np.full(5, 273.0)}
    warm = {"temperature_K": np.full(5, 293.0), "preload_cycles": np.full(5, 10.0)}
    a = fit(sample(5, 9.0, 0.02), machine="m", extra=cold)
    b = fit(sample(5, 9.0, 0.02), machine="n", extra=warm, name="B")
    codes = {p.code for p in compare(a, b, rng=np.random.default_rng(1)).problems}
    assert {"temperatures-differ", "preload-differs", "no-common-machine"} <= codes
    again = fit(sample(5, 9.0, 0.02), machine="m", extra=cold, name="B")
    codes = {p.code for p in compare(a, again, rng=np.random.default_rng(1)).problems}
    assert not {"temperatures-differ", "preload-differs", "no-common-machine"} & codes


def test_wrong_questions_are_refused():
    a, b = fit(sample(5, 9.0, 0.02)), fit(sample(5, 9.0, 0.02), name="B")
    rng = np.random.default_rng(1)
    with pytest.raises(InputError, match="numbers above 0, in 1/s"):
        compare(a, b, [-1.0], rng=rng)
    with pytest.raises(InputError, match=r"margin 0\.7; expected a fraction"):
        compare(a, b, rng=rng, settings=ComparisonSettings(margin=0.7))
    with pytest.raises(InputError, match=r"level 1; expected at least 0\.5"):
        compare(a, b, rng=rng, settings=ComparisonSettings(level=1.0))
    with pytest.raises(InputError, match="scatter_alike 0; expected a number above 0"):
        compare(a, b, rng=rng, settings=ComparisonSettings(scatter_alike=0.0))
    other = fit(sample(5, 9.0, 0.02), name="B", strength_unit=Unit("MPa", "stress", 1e6))
    with pytest.raises(InputError, match="A gives force, B stress"):
        compare(a, other, rng=rng)

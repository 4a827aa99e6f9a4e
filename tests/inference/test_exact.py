"""Cases with an exact classical answer, and brute-force integration where there is none."""

import numpy as np
import pytest
from made import series
from scipy import stats

import ratemodel as rm
from ratemodel.inference.average import Settings, fit_one
from ratemodel.inference.data import rate_data
from ratemodel.inference.draws import log_mean_exp
from ratemodel.inference.gaussian import gaussian_conditional
from ratemodel.inference.hyper import Problemset, hyper_points
from ratemodel.inference.laplace import laplace_conditional, weighted_draws
from ratemodel.inference.priors import default_priors
from ratemodel.inference.ratefit import Bound
from ratemodel.models.rate import Constant, PowerLaw


@pytest.mark.parametrize("n", [3, 4, 5, 8, 10, 20])
@pytest.mark.parametrize(("p", "c"), [(0.95, 0.95), (0.9, 0.95), (0.99, 0.95), (0.95, 0.75)])
def test_one_normal_sample_bound_is_the_exact_tolerance_factor(n, p, c, tolerance_factors):
    """Exact one-sided factor (non-central t), to 0.3 %, with all models in."""
    y = 9.2 + 0.03 * np.random.default_rng(n).standard_normal(n)
    settings = Settings(bound=Bound(p, c))
    fit = rm.fit_rate(series(np.full(n, -3.0), y), rng=np.random.default_rng(1), settings=settings)
    bound = fit.curve(np.array([-3.0])).lower_bound[0]
    factor = (y.mean() - bound) / y.std(ddof=1)
    exact = stats.nct.ppf(c, n - 1, stats.norm.ppf(p) * np.sqrt(n)) / np.sqrt(n)
    if (n, p, c) in tolerance_factors:
        assert tolerance_factors[n, p, c] == pytest.approx(exact, rel=2e-6)
    assert np.exp(bound) == pytest.approx(np.exp(y.mean() - exact * y.std(ddof=1)), rel=3e-4)
    assert factor == pytest.approx(exact, rel=3e-3)


def test_one_normal_sample_intervals_are_student_t():
    y = 9.2 + 0.03 * np.random.default_rng(3).standard_normal(6)
    settings = Settings(level=0.95)
    fit = rm.fit_rate(series(np.full(6, -2.0), y), rng=np.random.default_rng(1), settings=settings)
    c = fit.curve(np.array([-2.0]))
    t, s = stats.t.ppf(0.975, 5), y.std(ddof=1)
    mean = y.mean() + np.array([-1, 1]) * t * s / np.sqrt(6)
    one = y.mean() + np.array([-1, 1]) * t * s * np.sqrt(1 + 1 / 6)
    assert c.mean_interval[:, 0] == pytest.approx(mean, abs=0.003 * s)
    assert c.specimen_interval[:, 0] == pytest.approx(one, abs=0.004 * s)


def _flat(s, kind=PowerLaw, growth=False, spools=False):
    """One model with priors too wide to matter."""
    priors = default_priors(s).widened(100.0)
    data = rate_data(s)
    return Problemset(kind(data.centre), data, priors, growth, spools)


def test_straight_line_with_wide_prior_is_ordinary_regression():
    """scipy.stats.linregress as the outside reference."""
    u = np.repeat([-4.0, -2.5, -1.0], 4)
    y = 9.0 - 0.02 * u + 0.03 * np.random.default_rng(5).standard_normal(12)
    fit = fit_one(_flat(series(u, y)), "normal", Settings(), np.random.default_rng(2))
    line = stats.linregress(u, y)
    slope = fit.draws.linear[:, 1]
    t = stats.t.ppf(0.95, 10)
    assert np.median(slope) == pytest.approx(line.slope, abs=0.02 * line.stderr)
    expected = [line.slope - t * line.stderr, line.slope + t * line.stderr]
    assert np.quantile(slope, [0.05, 0.95]) == pytest.approx(expected, abs=0.03 * line.stderr)


def test_approximate_path_equals_the_exact_one_where_both_apply():
    u = np.repeat([-3.0, -1.0], 5)
    y = 9.0 + 0.01 * u + 0.02 * np.random.default_rng(8).standard_normal(10)
    s = series(u, y, batch=["a", "b"] * 5)
    setup = _flat(s, growth=True, spools=True)
    setup = Problemset(setup.model, setup.data, default_priors(s), True, True)
    points = hyper_points(setup, 1024, np.random.default_rng(4))
    exact = log_mean_exp(gaussian_conditional(setup, points).log_weight)
    approximation = laplace_conditional(setup, points, "normal")
    draws, evidence, _ = weighted_draws(setup, points, approximation, 8000,
                                        np.random.default_rng(5))  # fmt: skip
    assert evidence == pytest.approx(exact, abs=0.05)
    reference = fit_one(setup, "normal", Settings(), np.random.default_rng(6)).draws
    for name in ("sigma", "batch_sd"):
        got = np.quantile(getattr(draws, name), [0.1, 0.5, 0.9])
        want = np.quantile(getattr(reference, name), [0.1, 0.5, 0.9])
        assert got == pytest.approx(want, rel=0.06), name


@pytest.mark.parametrize("family", ["normal", "smallest-extreme-value"])
def test_censored_sample_equals_brute_force_integration(family):
    """Posterior of mean and scatter on a fine grid, by plain summation with scipy's densities."""
    y = np.array([9.10, 9.16, 9.18, 9.21, 9.22, 9.24])
    broke = np.array([True, True, True, True, False, False])
    s = series(np.full(6, -3.0), y, broke=broke, scatter=family)
    setup = _flat(s, kind=Constant)
    fit = fit_one(setup, family, Settings(), np.random.default_rng(3))
    mean = np.linspace(8.6, 11.5, 1500)[:, None, None]
    sd = np.exp(np.linspace(np.log(0.005), np.log(4.0), 500))[None, :, None]
    if family == "normal":
        law = stats.norm(mean, sd)
    else:
        scale = sd * np.sqrt(6) / np.pi
        law = stats.gumbel_l(mean + np.euler_gamma * scale, scale)
    ln = np.where(broke, law.logpdf(y), law.logsf(y)).sum(axis=2)
    p = np.exp(ln - ln.max())
    p /= p.sum()
    for values, grid, axis in ((fit.draws.linear[:, 0], mean, 1), (fit.draws.sigma, sd, 0)):
        cdf = np.cumsum(p.sum(axis=axis))
        want = np.interp([0.05, 0.5, 0.95], cdf, grid.ravel())
        width = want[2] - want[0]
        assert np.quantile(values, [0.05, 0.5, 0.95]) == pytest.approx(want, abs=0.03 * width)


def test_evidence_ratio_equals_brute_force_integration():
    """Constant against power law: marginal likelihoods by quadrature over slope and scatter."""
    u = np.repeat([-3.0, -1.0], 4)
    y = 9.0 - 0.012 * (u + 2) + 0.03 * np.random.default_rng(11).standard_normal(8)
    s = series(u, y)
    data, priors = rate_data(s), default_priors(s)
    ours = [
        fit_one(Problemset(kind(data.centre), data, priors, False, False), "normal", Settings(),
                np.random.default_rng(1)).log_evidence
        for kind in (Constant, PowerLaw)
    ]  # fmt: skip
    slope_sd = priors.parameters["slope"].distribution.b
    a = np.linspace(8.7, 9.3, 401)[:, None, None]
    ls = np.linspace(np.log(0.008), np.log(0.3), 200)[None, :, None]
    b = np.linspace(-0.2, 0.2, 401)
    x = u - u.mean()

    def integral(slope):
        """Over level (flat) and ln scatter (flat)."""
        resid = ((y - slope * x - a) ** 2).sum(axis=2)[:, :, None]
        return np.exp(-8 * ls - resid / 2 / np.exp(2 * ls)).sum()

    flat = integral(0.0)
    curve = np.array([integral(v) for v in b])
    with_slope = (curve * stats.norm(0, slope_sd).pdf(b)).sum() * (b[1] - b[0])
    assert ours[1] - ours[0] == pytest.approx(np.log(with_slope / flat), abs=0.03)

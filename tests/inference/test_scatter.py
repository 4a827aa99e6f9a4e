"""Quantiles and tails of one specimen against scipy and quadrature."""

import numpy as np
import pytest
from scipy import integrate, stats

from ratemodel.inference.scatter import (
    predictive_quantiles,
    specimen_cdf,
    specimen_quantile,
    standard_quantile,
    weighted_quantile,
)

SEV = "smallest-extreme-value"
SCALE = np.sqrt(6) / np.pi
LAW = stats.gumbel_l(np.euler_gamma * SCALE, SCALE)  # mean 0, standard deviation 1


@pytest.mark.parametrize("v", [0.001, 0.05, 0.5, 0.9, 0.999])
def test_standard_quantiles(v):
    assert standard_quantile(np.array([v]), "normal")[0] == pytest.approx(stats.norm.ppf(v))
    assert standard_quantile(np.array([v]), SEV)[0] == pytest.approx(LAW.ppf(v), abs=1e-10)
    assert LAW.mean() == pytest.approx(0.0, abs=1e-12)
    assert LAW.std() == pytest.approx(1.0)


def mixed(x, sigma, spool):
    """P(specimen < x) by quadrature over the spool."""
    return integrate.quad(lambda z: LAW.cdf((x - spool * z) / sigma) * stats.norm.pdf(z), -9, 9)[0]


@pytest.mark.parametrize(("sigma", "spool"), [(0.03, 0.02), (0.02, 0.05), (0.04, 0.004)])
@pytest.mark.parametrize("p", [0.01, 0.05, 0.5])
def test_specimen_of_an_unknown_spool(sigma, spool, p):
    s, b = np.array([sigma]), np.array([spool])
    total = np.hypot(sigma, spool)
    assert specimen_quantile(p, s, b, "normal")[0] == pytest.approx(stats.norm.ppf(p) * total)
    q = specimen_quantile(p, s, b, SEV)[0]
    assert mixed(q, sigma, spool) == pytest.approx(p, rel=0.01)
    assert specimen_cdf(np.array([q]), s, b, SEV)[0] == pytest.approx(
        mixed(q, sigma, spool), rel=3e-3
    )
    tail = specimen_cdf(np.array([-0.25]), s, b, "normal")[0]
    assert tail == pytest.approx(stats.norm.cdf(-0.25 / total), rel=1e-9)


def test_quantiles_of_a_weighted_sum_of_normals():
    mean, sd = np.array([[0.0, 5.0], [1.0, 5.1], [3.0, 5.5]]), np.array([[0.1, 0.2]] * 3)
    weight = np.array([0.5, 0.3, 0.2])
    got = weighted_quantile((0.02, 0.5, 0.9), mean, sd, weight)
    for i, p in enumerate((0.02, 0.5, 0.9)):
        for j in range(2):
            below = (weight * stats.norm.cdf((got[i, j] - mean[:, j]) / sd[:, j])).sum()
            assert below == pytest.approx(p, abs=1e-8)


@pytest.mark.parametrize("family", ["normal", SEV])
def test_predictive_quantiles_average_over_the_draws(family):
    rng = np.random.default_rng(1)
    mean = rng.normal(9.0, 0.05, (400, 2))
    sigma, spool = rng.uniform(0.02, 0.05, (400, 2)), rng.uniform(0.0, 0.03, 400)
    got = predictive_quantiles((0.05, 0.95), mean, sigma, spool, family)
    for i, p in enumerate((0.05, 0.95)):
        below = specimen_cdf(got[i] - mean, sigma, spool[:, None], family).mean(axis=0)
        assert below == pytest.approx([p, p], abs=1e-5)

"""Joint draws against densities whose integral and moments are known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from ratemodel.errors import NotIdentifiedError
from ratemodel.inference.ensemble import ensemble_draws
from ratemodel.inference.importance import importance_draws

COV = np.array([[4.0, 1.2], [1.2, 0.5]])


def _rng():
    return np.random.default_rng(3)


def test_normal_density_has_its_evidence_and_moments():
    density = stats.multivariate_normal([1.0, 2.0], COV).logpdf
    out = importance_draws(
        lambda x: density(x) + 7.0, np.array([0.5, 2.2]), COV, draws=40_000, rng=_rng()
    )
    assert out.log_evidence == pytest.approx(7.0, abs=0.02)
    np.testing.assert_allclose(out.values.mean(axis=0), [1.0, 2.0], atol=0.05)
    np.testing.assert_allclose(np.cov(out.values.T), COV, rtol=0.06)
    assert out.problems == ()
    assert out.effective_size > 10_000


def test_a_skew_density_is_drawn_as_it_is():
    """ln of a gamma variable with shape 2: exact quantiles from scipy."""
    out = importance_draws(
        lambda x: 2 * x[:, 0] - np.exp(x[:, 0]),
        np.array([np.log(2.0)]),
        np.array([[0.5]]),
        draws=60_000,
        rng=_rng(),
    )
    expected = np.log(stats.gamma(2).ppf([0.05, 0.5, 0.95]))
    np.testing.assert_allclose(np.quantile(out.values, [0.05, 0.5, 0.95]), expected, atol=0.03)
    assert out.log_evidence == pytest.approx(0.0, abs=0.02)  # Gamma(2) = 1


def test_a_bad_first_proposal_is_moved():
    density = stats.multivariate_normal([6.0, 6.0], COV).logpdf
    out = importance_draws(density, np.zeros(2), np.eye(2), draws=20_000, rng=_rng())
    np.testing.assert_allclose(out.values.mean(axis=0), [6.0, 6.0], atol=0.15)


def test_a_curved_density_goes_to_the_ensemble():
    """A narrow banana: x1 standard normal, x2 = x1**2 + small noise."""

    def density(x):
        return -0.5 * x[:, 0] ** 2 - 0.5 * ((x[:, 1] - x[:, 0] ** 2) / 0.1) ** 2

    out = importance_draws(density, np.zeros(2), np.diag([1.0, 1e-2]), draws=8000, rng=_rng())
    assert np.std(out.values[:, 0]) == pytest.approx(1.0, abs=0.25)
    np.testing.assert_allclose(out.values[:, 1] - out.values[:, 0] ** 2, 0.0, atol=0.6)
    assert [p.code for p in out.problems] in ([], ["few-effective-draws"])


def test_ensemble_has_the_moments_of_a_box():
    inside = lambda x: np.where(np.all((x >= 0) & (x <= 1), axis=1), 0.0, -np.inf)  # noqa: E731
    start = _rng().uniform(size=(48, 3))
    rows, size = ensemble_draws(inside, start, draws=20_000, steps=1500, rng=_rng())
    np.testing.assert_allclose(rows.mean(axis=0), 0.5, atol=0.03)
    np.testing.assert_allclose(rows.std(axis=0), 12**-0.5, atol=0.02)
    assert 200 < size <= 20_000


def test_impossible_or_undetermined_densities_are_refused():
    with pytest.raises(NotIdentifiedError, match="no draw near the best fit is possible"):
        importance_draws(
            lambda x: np.full(len(x), -np.inf), np.zeros(1), np.eye(1), draws=50, rng=_rng()
        )
    with pytest.raises(NotIdentifiedError, match="do not determine every parameter"):
        importance_draws(
            lambda x: -x[:, 0], np.zeros(1), np.array([[np.nan]]), draws=50, rng=_rng()
        )

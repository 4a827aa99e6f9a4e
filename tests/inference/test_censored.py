"""Censored fits against published values and an independent survival package."""

from __future__ import annotations

import csv
import os
from pathlib import Path

import numpy as np
import pytest

from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.censored import fit_censored

REFERENCE = Path(
    os.environ.get("RATEMODEL_REFERENCE_DATA")
    or Path(__file__).resolve().parents[2] / ".." / "shared" / "reference"
)


def _wire_bond():
    path = REFERENCE / "wire_bond_break_modes.csv"
    if not path.is_file():
        pytest.skip("reference data are not beside the project")
    with path.open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    strength = np.repeat([float(r["strength"]) for r in rows], [int(r["count"]) for r in rows])
    mode = np.repeat([r["mode"] for r in rows], [int(r["count"]) for r in rows])
    return strength, mode


@pytest.mark.parametrize(
    ("mode", "location", "scale"),
    # Nelson, Applied Life Data Analysis (1982): wire bond strengths with two competing modes
    [("Wire", 1517.36323, 398.699257), ("Bond", 1522.32422, 434.967232)],
)
def test_wire_bond_modes_as_published(mode, location, scale):
    strength, modes = _wire_bond()
    fit = fit_censored(strength, modes == mode, "normal")
    assert fit.location == pytest.approx(location, abs=1e-4)
    assert fit.scale == pytest.approx(scale, abs=1e-4)
    assert fit.failures == int(np.sum(modes == mode))


def _sample(family, seed, n=60):
    rng = np.random.default_rng(seed)
    if family == "smallest-extreme-value":
        x = 50 + 6 * np.log(rng.exponential(size=n))
    else:
        x = 50 + 6 * rng.standard_normal(n)
    if family == "lognormal":
        x = np.exp(x / 20)
    limit = np.quantile(x, rng.uniform(0.5, 0.9)) * rng.uniform(0.97, 1.03, n)
    return np.minimum(x, limit), x <= limit


@pytest.mark.parametrize("family", ["normal", "smallest-extreme-value", "lognormal"])
@pytest.mark.parametrize("seed", range(4))
def test_an_independent_package_agrees(family, seed):
    surpyval = pytest.importorskip("surpyval")
    x, broke = _sample(family, seed)
    fit = fit_censored(x, broke, family)
    oracle = {
        "normal": surpyval.Normal,
        "lognormal": surpyval.LogNormal,
        # a Weibull of exp(x) is a smallest extreme value of x
        "smallest-extreme-value": surpyval.Weibull,
    }[family]
    values = np.exp(x / 10) if family == "smallest-extreme-value" else x
    with np.errstate(all="ignore"):
        found = oracle.fit(x=values, c=(~broke).astype(int)).params
    if family == "smallest-extreme-value":
        expected = (10 * np.log(found[0]), 10 / found[1])
    else:
        expected = (found[0], found[1])
    assert fit.location == pytest.approx(expected[0], rel=1e-4)
    assert fit.scale == pytest.approx(expected[1], rel=1e-3)


def test_without_censoring_the_normal_fit_is_mean_and_root_mean_square():
    x = np.array([3.0, 5.0, 6.0, 9.0, 11.0])
    fit = fit_censored(x, np.ones(5, dtype=bool))
    assert fit.location == pytest.approx(x.mean(), rel=1e-12)
    assert fit.scale == pytest.approx(x.std(), rel=1e-12)
    # textbook: standard errors s/√n and s/√(2n)
    assert fit.location_error == pytest.approx(x.std() / np.sqrt(5), rel=1e-9)
    assert fit.scale_error == pytest.approx(x.std() / np.sqrt(10), rel=1e-9)


@pytest.mark.parametrize("family", ["normal", "smallest-extreme-value", "lognormal"])
def test_covariance_is_the_curvature_of_the_likelihood(family):
    """Differences of the written-out log-likelihood, with the library's own distributions."""
    from scipy import stats

    x, broke = _sample(family, 11)
    fit = fit_censored(x, broke, family)

    def likelihood(location, scale):
        if family == "lognormal":
            d = stats.lognorm(scale, scale=np.exp(location))
        elif family == "normal":
            d = stats.norm(location, scale)
        else:
            d = stats.gumbel_l(location, scale)
        return np.sum(d.logpdf(x[broke])) + np.sum(d.logsf(x[~broke]))

    a, b = fit.location, fit.scale
    assert fit.log_likelihood == pytest.approx(likelihood(a, b), rel=1e-10)
    h = 1e-3 * b
    f = likelihood
    aa = (f(a + h, b) - 2 * f(a, b) + f(a - h, b)) / h**2
    bb = (f(a, b + h) - 2 * f(a, b) + f(a, b - h)) / h**2
    ab = (f(a + h, b + h) - f(a + h, b - h) - f(a - h, b + h) + f(a - h, b - h)) / (4 * h**2)
    expected = np.linalg.inv(-np.array([[aa, ab], [ab, bb]]))
    np.testing.assert_allclose(fit.covariance, expected, rtol=1e-3)


def test_units_and_order_change_nothing():
    x, broke = _sample("normal", 5)
    one = fit_censored(x, broke)
    order = np.random.default_rng(1).permutation(len(x))
    two = fit_censored(1000 * x[order], broke[order])
    assert two.location == pytest.approx(1000 * one.location, rel=1e-9)
    assert two.scale_error == pytest.approx(1000 * one.scale_error, rel=1e-7)


def test_what_can_not_be_fitted_is_refused():
    with pytest.raises(NotIdentifiedError, match="fewer than two different values broke"):
        fit_censored([1.0, 2.0, 3.0], [True, False, False])
    with pytest.raises(NotIdentifiedError, match="fewer than two different"):
        fit_censored([2.0, 2.0, 3.0], [True, True, False])
    with pytest.raises(InputError, match="not finite"):
        fit_censored([1.0, np.nan], [True, True])
    with pytest.raises(InputError, match="not above 0"):
        fit_censored([1.0, -2.0], [True, True], "lognormal")
    with pytest.raises(InputError, match="family is 'gumbel'"):
        fit_censored([1.0, 2.0], [True, True], "gumbel")
    with pytest.raises(InputError, match="one mark for each value"):
        fit_censored([1.0, 2.0], [True])


def test_few_breaks_are_said():
    fit = fit_censored([9.0, 10.0, 11.0], [True, True, False])
    assert [p.code for p in fit.problems] == ["few-breaks"]

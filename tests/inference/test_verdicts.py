"""Verdicts on a search, derivatives near bounds, starts inside bounds: the parts one by one."""

from __future__ import annotations

from types import SimpleNamespace

import lmfit
import numpy as np
import pytest

from ratemodel.errors import InputError
from ratemodel.inference.covariance import Covariance, covariance_from, jacobian, relative_offset
from ratemodel.inference.creep_curves import CreepCurve
from ratemodel.inference.creepfit import fit_creep
from ratemodel.inference.leastsq import best_fit
from ratemodel.inference.starts import FitTask, plain, start_parameters
from ratemodel.inference.verdicts import Search, judge
from ratemodel.models.creep import Findley
from ratemodel.models.parameter import Parameter

GOOD = Search(5, 3, 3, False, 0.0)
SOUND = Covariance(np.diag([0.04, 0.09]), (), 10.0)


def result(a=1.0, b=2.0, **bounds):
    params = lmfit.Parameters()
    params.add("a", a, **bounds.get("a", {}))
    params.add("b", b, **bounds.get("b", {}))
    return SimpleNamespace(params=params, message="stopped")


def judged(best=None, cov=SOUND, search=GOOD):
    verdict, problems = judge(best or result(), ("a", "b"), cov, search)
    return verdict, [p.code for p in problems]


def changed(search=GOOD, **more):
    return Search(**(vars(search) | more))


def test_a_good_search_has_nothing_to_say():
    assert judged() == ("good", [])


@pytest.mark.parametrize(
    ("search", "verdict", "codes"),
    [
        ({"offset": 1.1e-3}, "did not converge", ["did-not-converge"]),
        ({"offset": 0.9e-3}, "good", []),
        ({"second_better": True}, "good", ["second-method-better"]),
        ({"reached": 1}, "good", ["starts-disagree"]),
        ({"reached": 2}, "good", []),
        ({"starts": 1, "reached": 1}, "good", []),
        ({"degrees_of_freedom": 0}, "too few data", ["too-few-data"]),
        ({"degrees_of_freedom": 1}, "good", []),
    ],
)
def test_what_a_search_tells(search, verdict, codes):
    assert judged(search=changed(**search)) == (verdict, codes)


def test_parameters_on_their_bounds():
    for bounds in ({"min": 1.0}, {"max": 1.0}, {"min": 1.0 - 1.9e-4}, {"max": 1.0 + 1.9e-4}):
        assert judged(SimpleNamespace(params=_with(1.0, bounds), message="")) == (
            "at bound", ["at-bound"],
        )  # fmt: skip
    for bounds in ({"min": 1.0 - 2.1e-4}, {"max": 1.0 + 2.1e-4}, {"min": 0.0, "max": 5.0}):
        assert judged(SimpleNamespace(params=_with(1.0, bounds), message="")) == ("good", [])
    # a search on a bound is not also called unfinished
    on = SimpleNamespace(params=_with(1.0, {"min": 1.0}), message="")
    assert judged(on, search=changed(offset=1.0)) == ("at bound", ["at-bound"])


def _with(a, bounds):
    params = lmfit.Parameters()
    params.add("a", a, **bounds)
    params.add("b", 2.0)
    return params


def test_undetermined_parameters_are_named():
    matrix = np.full((2, 2), np.nan)
    for cov in (Covariance(matrix, (1,), 1e12), Covariance(matrix, (), np.inf)):
        verdict, codes = judged(cov=cov)
        assert verdict == "not identified"
        assert codes == ["not-identified"]
    _, problems = judge(result(), ("a", "b"), Covariance(matrix, (1,), 1e12), GOOD)
    assert "do not determine b:" in problems[0].message


def test_derivatives_inside_on_and_near_bounds():
    def f(x):
        return np.array([np.exp(x[0]), x[0] * x[1] ** 2, np.sin(x[2])])

    at = np.array([0.0, 2.0, 0.5])
    exact = np.array([[1.0, 0, 0], [4.0, 0.0, 0], [0, 0, np.cos(0.5)]])
    free = jacobian(f, at)
    assert free == pytest.approx(exact, abs=1e-9)
    for bounds in (
        [[0.0, 9.0], [-9, 9.0], [-9, 9.0]], [[-9.0, 0.0], [-9, 9.0], [-9, 9.0]],
        [[-1e-6, 9.0], [-9, 2.0], [0.5, 9.0]], [[-9.0, 9.0], [2.0, 9.0], [-9, 0.5]],
    ):  # fmt: skip
        asked = []

        def watched(x, asked=asked):
            asked.append(x.copy())
            return f(x)

        got = jacobian(watched, at, np.array(bounds))
        assert got == pytest.approx(exact, abs=1e-5)
        inside = np.array(asked)
        low, high = np.array(bounds).T
        assert np.all(inside >= low - 1e-15)
        assert np.all(inside <= high + 1e-15)


def test_covariance_of_a_line_is_the_closed_form():
    x = np.arange(6.0)
    jac = np.stack([np.ones(6), x], axis=1)
    cov = covariance_from(jac, 0.25)
    assert cov.matrix == pytest.approx(0.25 * np.linalg.inv(jac.T @ jac), rel=1e-12)
    assert cov.undetermined == ()
    twice = covariance_from(np.stack([x, 2 * x, np.ones(6)], axis=1), 1.0)
    assert twice.undetermined == (0, 1)
    dead = covariance_from(np.stack([x, 0 * x], axis=1), 1.0)
    assert dead.undetermined == (1,)
    # orthogonal residuals have no offset, residuals in the plane all of it
    assert relative_offset(jac, np.array([1.0, -2, 1, 0, 0, 0])) < 1e-9
    assert relative_offset(jac, x + np.array([1.0, -2, 1, 0, 0, 0])) > 1


A = (Parameter("a", "", lower=0.0, upper=10.0, description=""),)


def const(v):
    return np.full(3, float(v["a"]))


@pytest.mark.parametrize("sd", [[1.0, 1.0], [1.0, np.nan, 1.0], [1.0, 0.0, 1.0], [1, np.inf, 1]])
def test_standard_deviations_that_do_not_fit(sd):
    with pytest.raises(InputError, match="3 finite standard deviations above 0"):
        plain(FitTask(const, np.ones(3), A, {"a": 1.0}, np.array(sd, float)))


def test_observations_that_are_not_finite():
    with pytest.raises(InputError, match="not finite"):
        plain(FitTask(const, np.array([1.0, np.inf, 1.0]), A, {"a": 1.0}))


@pytest.mark.parametrize(
    ("guess", "start"),
    [(5.0, 5.0), (0.0, 0.1), (10.0, 9.9), (-3.0, 0.1), (20.0, 9.9), (1e-4, 1e-4)],
)
def test_starts_lie_inside_the_bounds(guess, start):
    task = FitTask(const, np.ones(3), A, {"a": guess})
    assert start_parameters(task, None)["a"].value == pytest.approx(start, rel=0.02)


def test_users_may_add_helpers_but_not_free_strangers():
    task = FitTask(const, np.ones(3), A, {"a": 1.0})
    user = lmfit.Parameters()
    user.add("b", 2.0, vary=False)
    user.add("a", expr="b/2")
    assert "b" in start_parameters(task, user)
    user = lmfit.Parameters()
    user.add("b", 2.0)
    with pytest.raises(InputError, match="no parameter b"):
        start_parameters(task, user)


def test_one_start_weighted_mean():
    y, sd = np.array([1.0, 2.0, 4.0]), np.array([1.0, 1.0, 2.0])
    fit = best_fit(FitTask(const, y, A, {"a": 1.0}, sd), rng=np.random.default_rng(1), starts=1)
    w = sd**-2
    assert fit.values["a"] == pytest.approx((w @ y) / w.sum(), rel=1e-8)


@pytest.mark.parametrize(("held", "said"), [(None, True), (1.0, True), (1.5, False)])
def test_one_load_is_said_where_the_exponent_was_assumed(held, said):
    t = np.geomspace(10.0, 1e4, 30)
    wave = 1 + 2e-3 * np.cos(np.arange(30) * 2.4)
    curve = CreepCurve(t, (0.008 + 0.004 * (t / 1e3) ** 0.2) * wave, 1000.0, 300.0)
    user = None
    if held is not None:
        user = lmfit.Parameters()
        user.add("load_exponent", held, vary=False)
    fit = fit_creep([curve], Findley(), draws=50, rng=np.random.default_rng(1), user=user)
    assert ("one-load" in [p.code for p in fit.problems]) is said

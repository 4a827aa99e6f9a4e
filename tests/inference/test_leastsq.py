"""The verdict of a least-squares fit: what a bare ``success`` would hide."""

from __future__ import annotations

import lmfit
import numpy as np
import pytest

from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.leastsq import best_fit
from ratemodel.inference.starts import FitTask
from ratemodel.models.parameter import Parameter

X = np.linspace(0.1, 5.0, 25)


def _task(curve, y, guess, parameters=None, sd=None):
    parameters = parameters or tuple(Parameter(k) for k in guess)
    return FitTask(curve, y, parameters, guess, sd)


def _fit(task, **kw):
    return best_fit(task, rng=np.random.default_rng(0), **kw)


def _line(v):
    return v["a"] + v["b"] * X


def test_straight_line_equals_closed_form():
    rng = np.random.default_rng(5)
    y = 2.0 + 0.5 * X + 0.1 * rng.standard_normal(X.size)
    fit = _fit(_task(_line, y, {"a": 1.0, "b": 1.0}))
    import scipy.stats

    ref = scipy.stats.linregress(X, y)
    assert fit.values["b"] == pytest.approx(ref.slope, rel=1e-9)
    assert fit.standard_errors["b"] == pytest.approx(ref.stderr, rel=1e-8)
    assert fit.standard_errors["a"] == pytest.approx(ref.intercept_stderr, rel=1e-8)
    half = scipy.stats.t.ppf(0.975, X.size - 2) * ref.stderr
    assert fit.interval("b") == pytest.approx((ref.slope - half, ref.slope + half), rel=1e-7)


def test_weights_enter_as_standard_deviations():
    y = 1.0 + 2.0 * X
    sd = 1.0 + X
    y = y + 0.01 * np.cos(7 * X)
    fit = _fit(_task(_line, y, {"a": 1.0, "b": 1.0}, sd=sd))
    b = np.polyfit(X, y, 1, w=1 / sd)
    assert fit.values["b"] == pytest.approx(b[0], rel=1e-9)


def test_collinear_parameters_are_not_identified():
    fit = _fit(_task(lambda v: (v["a"] + v["b"]) * X, 3 * X, {"a": 1.0, "b": 1.0}))
    assert fit.verdict == "not identified"
    assert any(p.code == "not-identified" and "a, b" in p.message for p in fit.problems)
    assert np.isnan(fit.standard_errors["a"])
    assert not fit.trusted


def test_dead_parameter_is_not_identified():
    fit = _fit(_task(lambda v: v["a"] * X, 3 * X + np.sin(X), {"a": 1.0, "b": 1.0}))
    assert fit.verdict == "not identified"


def test_optimum_on_a_bound_is_said():
    p = (Parameter("a"), Parameter("b", lower=1.0, upper=5.0))
    y = 0.5 * X + 0.01 * np.sin(40 * X)
    fit = _fit(_task(_line, y, {"a": 0.0, "b": 1.0}, p))
    assert fit.verdict == "at bound"
    assert "b lies on its bound 1" in fit.problems[0].message


def test_as_many_parameters_as_data_is_too_few():
    x = np.array([1.0, 2.0])
    fit = _fit(_task(lambda v: v["a"] + v["b"] * x, np.array([1.0, 3.0]), {"a": 0.0, "b": 1.0}))
    assert fit.verdict == "too few data"


def test_fewer_data_than_parameters_is_refused():
    with pytest.raises(NotIdentifiedError, match="1 observations cannot determine 2"):
        _fit(_task(lambda v: np.array([v["a"] + v["b"]]), np.array([1.0]), {"a": 1.0, "b": 1.0}))


def test_nan_in_the_data_is_refused():
    y = X.copy()
    y[3] = np.nan
    with pytest.raises(InputError, match="not finite"):
        _fit(_task(_line, y, {"a": 0.0, "b": 1.0}))


def test_user_fixes_bounds_and_constrains_through_lmfit():
    y = 2.0 + 4.0 * X + 0.05 * np.cos(9 * X)
    user = lmfit.Parameters()
    user.add("a", value=1.0)
    user.add("b", expr="2*a")
    fit = _fit(_task(_line, y, {"a": 1.0, "b": 1.0}), user=user)
    assert fit.values["b"] == pytest.approx(2 * fit.values["a"], rel=1e-12)
    assert fit.standard_errors["b"] == pytest.approx(2 * fit.standard_errors["a"], rel=1e-6)
    assert fit.free == ("a",)
    assert fit.lmfit_result.params["a"].value == fit.values["a"]
    fixed = lmfit.Parameters()
    fixed.add("a", value=2.0, vary=False)
    fit = _fit(_task(_line, y, {"a": 1.0, "b": 1.0}), user=fixed)
    assert fit.values["a"] == 2.0
    assert fit.standard_errors["a"] == 0.0


def test_unknown_user_parameter_is_refused():
    user = lmfit.Parameters()
    user.add("slope", value=1.0)
    with pytest.raises(InputError, match="no parameter slope; expected one of a, b"):
        _fit(_task(_line, X, {"a": 1.0, "b": 1.0}), user=user)


def test_labelled_table_is_not_aligned_by_label():
    import pandas as pd

    y = pd.Series(1.0 + 2.0 * X, index=np.arange(X.size)[::-1])
    fit = _fit(_task(_line, y, {"a": 0.5, "b": 1.0}))
    assert fit.values["b"] == pytest.approx(2.0, rel=1e-9)


def test_same_seed_same_answer():
    y = np.exp(-X) + 0.01 * np.sin(30 * X)
    task = _task(lambda v: v["a"] * np.exp(-v["b"] * X), y, {"a": 0.5, "b": 3.0})
    assert _fit(task).values == _fit(task).values

"""Location and scale of strengths, some of which are only known to be exceeded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import minimize
from scipy.special import log_ndtr

from ratemodel.arrays import BoolArray, FloatArray
from ratemodel.errors import ConvergenceError, InputError, NotIdentifiedError, Problem

Family: TypeAlias = Literal["normal", "smallest-extreme-value", "lognormal"]
_FAMILIES: tuple[Family, ...] = ("normal", "smallest-extreme-value", "lognormal")
_FEW = 5


@dataclass(frozen=True, eq=False)
class CensoredFit:
    """Maximum-likelihood fit of a location–scale family.

    For ``"lognormal"`` location and scale are those of ln(value). A Weibull fit is the smallest
    extreme value fit of ln(value): shape 1/scale, characteristic value exp(location).

    Attributes
    ----------
    covariance : ndarray, shape (2, 2)
        Of location and scale, from the observed information.
    log_likelihood : float
        Of the values as given (for ``"lognormal"`` of the values, not of their logarithms).
    """

    family: Family
    location: float
    scale: float
    covariance: FloatArray
    log_likelihood: float
    count: int
    failures: int
    problems: tuple[Problem, ...] = ()

    @property
    def location_error(self) -> float:
        """Standard error of the location."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def scale_error(self) -> float:
        """Standard error of the scale."""
        return float(np.sqrt(self.covariance[1, 1]))


def fit_censored(values: ArrayLike, broke: ArrayLike, family: Family = "normal") -> CensoredFit:
    """Fit location and scale by maximum likelihood with right-censored values.

    With z = (x − location)/scale, a break adds ln f(z) − ln scale and a survivor ln S(z): normal
    f = φ, S = Φ(−z); smallest extreme value f = exp(z − eᶻ), S = exp(−eᶻ)
    (Nelson, Applied Life Data Analysis, 1982, chapter 8).

    Parameters
    ----------
    values : array_like, shape (n,)
        Strengths, or the highest load held.
    broke : array_like of bool, shape (n,)
        False where the specimen held at least the value.
    family : {"normal", "smallest-extreme-value", "lognormal"}

    Raises
    ------
    InputError
        For values that are not finite (or not positive with ``"lognormal"``).
    NotIdentifiedError
        Where fewer than two different values broke.
    ConvergenceError
        Where the likelihood has no maximum that could be found.

    Examples
    --------
    >>> fit = fit_censored([9.0, 10.0, 11.0, 12.0], [True, True, True, False])
    >>> fit.failures, bool(fit.location > 10.5)
    (3, True)
    """
    x, d = _checked(values, broke, family)
    y = np.log(x) if family == "lognormal" else x
    centre, spread = float(np.mean(y[d])), float(np.std(y[d]))
    u = (y - centre) / spread
    theta = _maximise(u, d, family)
    likelihood = -_negative(theta, u, d, family)[0] - np.count_nonzero(d) * np.log(spread)
    if family == "lognormal":
        likelihood -= float(np.sum(y[d]))
    return CensoredFit(
        family=family,
        location=centre + spread * float(theta[0]),
        scale=spread * float(np.exp(theta[1])),
        covariance=spread**2 * _covariance(u, d, family, theta),
        log_likelihood=float(likelihood),
        count=len(x),
        failures=int(np.count_nonzero(d)),
        problems=_few(int(np.count_nonzero(d))),
    )


def _few(failures: int) -> tuple[Problem, ...]:
    if failures >= _FEW:
        return ()
    message = f"{failures} breaks: the standard errors are rough"
    return (Problem("few-breaks", message, "caution"),)


def _covariance(u: FloatArray, d: BoolArray, family: str, theta: FloatArray) -> FloatArray:
    """Covariance of (location, scale) from the information in (location, ln scale)."""
    jacobian = np.diag([1.0, np.exp(theta[1])])
    flat = "the likelihood is flat: more breaks are needed"
    try:
        covariance = jacobian @ np.linalg.inv(_information(u, d, family, theta)) @ jacobian
    except np.linalg.LinAlgError as error:
        raise NotIdentifiedError(flat) from error
    if not np.all(np.diag(covariance) > 0):
        raise NotIdentifiedError(flat)
    return np.asarray(covariance, dtype=np.float64)


def _checked(values: ArrayLike, broke: ArrayLike, family: str) -> tuple[FloatArray, BoolArray]:
    if family not in _FAMILIES:
        raise InputError(f"family is {family!r}", f"one of {', '.join(_FAMILIES)}")
    x = np.asarray(values, dtype=np.float64)
    d = np.asarray(broke, dtype=np.bool_)
    if x.ndim != 1 or x.shape != d.shape:
        raise InputError(f"{x.shape} values and {d.shape} marks", "one mark for each value")
    if not np.all(np.isfinite(x)):
        raise InputError("a value is not finite", "finite values")
    if family == "lognormal" and not np.all(x > 0):
        raise InputError("a value is not above 0", "positive values for a lognormal")
    if len(np.unique(x[d])) < 2:
        raise NotIdentifiedError("fewer than two different values broke: no scale can be found")
    return x, d


def _terms(z: FloatArray, d: BoolArray, family: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log-likelihood of each value without −ln scale, and its first two derivatives in z."""
    if family == "smallest-extreme-value":
        e = np.exp(np.minimum(z, 700.0))
        return np.where(d, z - e, -e), np.where(d, 1 - e, -e), -e
    logs = log_ndtr(-z)
    hazard = np.exp(-0.5 * z**2 - 0.5 * np.log(2 * np.pi) - logs)
    value = np.where(d, -0.5 * z**2 - 0.5 * np.log(2 * np.pi), logs)
    return value, np.where(d, -z, -hazard), np.where(d, -1.0, -hazard * (hazard - z))


def _negative(
    theta: FloatArray, u: FloatArray, d: BoolArray, family: str
) -> tuple[float, FloatArray]:
    """Return minus the log-likelihood and its gradient in (location, ln scale)."""
    scale = np.exp(theta[1])
    z = (u - theta[0]) / scale
    value, first, _ = _terms(z, d, family)
    gradient = np.array([np.sum(first) / scale, np.sum(first * z) + np.count_nonzero(d)])
    return float(-np.sum(value) + np.count_nonzero(d) * theta[1]), gradient


def _information(u: FloatArray, d: BoolArray, family: str, theta: FloatArray) -> FloatArray:
    """Observed information in (location, ln scale)."""
    scale = np.exp(theta[1])
    z = (u - theta[0]) / scale
    _, first, second = _terms(z, d, family)
    a = -np.sum(second) / scale**2
    b = -np.sum(second * z + first) / scale
    c = -np.sum(second * z**2 + first * z)
    return np.array([[a, b], [b, c]])


def _maximise(u: FloatArray, d: BoolArray, family: str) -> FloatArray:
    """Maximise from two starts, polish by Newton's method, and check the gradient."""
    best: FloatArray | None = None
    lowest = np.inf
    for start in ((0.0, 0.0), (float(np.max(u)), 0.7)):
        found = minimize(
            _negative,
            np.array(start),
            args=(u, d, family),
            jac=True,
            method="BFGS",
            options={"gtol": 1e-8},
        )
        if np.isfinite(found.fun) and found.fun < lowest:
            lowest, best = float(found.fun), np.asarray(found.x, dtype=np.float64)
    if best is None:
        raise ConvergenceError("no maximum of the likelihood: look for a value far from the rest")
    for _ in range(20):
        _, gradient = _negative(best, u, d, family)
        try:
            step = np.linalg.solve(_information(u, d, family, best), gradient)
        except np.linalg.LinAlgError:
            break
        if not np.all(np.isfinite(step)) or np.max(np.abs(step)) > 1.0:
            break
        best = best - step
        if np.max(np.abs(step)) < 1e-12:
            break
    _, gradient = _negative(best, u, d, family)
    if not np.max(np.abs(gradient)) < 1e-6 * len(u):
        raise ConvergenceError(
            "the fit did not settle: check that some values broke above the censored ones"
        )
    return best

"""Least squares with a verdict: the one place that calls lmfit.

An optimiser's own ``success`` is never the verdict. A fit is started several times, refitted from
its optimum, repeated by a second method, and its covariance is recomputed here by central
differences and a QR factorisation. What went wrong is said in words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.covariance import (
    Covariance,
    covariance_from,
    jacobian,
    relative_offset,
)
from ratemodel.inference.starts import FitTask, plain, scattered, start_parameters
from ratemodel.inference.verdicts import Search, Verdict, judge

if TYPE_CHECKING:
    import lmfit

_TIGHT = {"ftol": 1e-14, "xtol": 1e-14, "gtol": 1e-14}
_LEASTSQ: dict[str, Any] = {**_TIGHT, "max_nfev": 6000}
_LEAST_SQUARES: dict[str, Any] = {
    **_TIGHT,
    "max_nfev": 2000,
    "x_scale": "jac",
    "jac": "3-point",
}
_SAME = 1e-7  # relative difference of sums of squares that counts as the same optimum


@dataclass(frozen=True)
class BestFit:
    """A least-squares optimum that says whether it may be trusted.

    Attributes
    ----------
    values, standard_errors : mapping of str to float
        All parameters; a fixed one has standard error 0. A standard error is NaN where the data
        do not determine the parameter.
    free : tuple of str
        Parameters that were fitted, in the order of ``covariance``.
    covariance : ndarray, shape (k, k)
        Residual variance times inverse of JᵀJ, central differences and QR.
    residual_sd : float
        Root of the sum of squares over the degrees of freedom.
    sum_of_squares : float
        Weighted sum of squared residuals.
    degrees_of_freedom : int
        Observations minus fitted parameters.
    verdict : str
        good, at bound, not identified, too few data, or did not converge.
    problems : tuple of Problem
        Why, in words, with the way out.
    lmfit_result : lmfit.minimizer.MinimizerResult
        lmfit's own result of the winning run.
    """

    values: Mapping[str, float]
    standard_errors: Mapping[str, float]
    free: tuple[str, ...]
    covariance: FloatArray
    residual_sd: float
    sum_of_squares: float
    degrees_of_freedom: int
    verdict: Verdict
    problems: tuple[Problem, ...]
    lmfit_result: Any

    @property
    def trusted(self) -> bool:
        """True when the verdict is good."""
        return self.verdict == "good"

    def interval(self, name: str, level: float = 0.95) -> tuple[float, float]:
        """Two-sided interval from Student's t; NaN where not identified.

        References
        ----------
        Seber & Wild, Nonlinear Regression (1989), section 5.1 (linearised intervals).
        """
        from scipy.special import stdtrit

        t = float(stdtrit(self.degrees_of_freedom, 0.5 + level / 2))
        half = t * self.standard_errors[name]
        return self.values[name] - half, self.values[name] + half


def best_fit(
    task: FitTask,
    *,
    rng: np.random.Generator,
    starts: int = 6,
    user: lmfit.Parameters | None = None,
) -> BestFit:
    """Fit by least squares, from several starts and by two methods.

    Parameters
    ----------
    task : FitTask
        Curve, data, parameters and first guess.
    rng : numpy.random.Generator
        Places the further starts.
    starts : int
        Number of starts, the guess included.
    user : lmfit.Parameters, optional
        Fixes, bounds, constrains or starts any of the parameters the way lmfit users know;
        parameters not named there keep the model's own. Never read such an object from a file:
        its constraint expressions are code.

    Returns
    -------
    BestFit

    Raises
    ------
    InputError
        Data not finite, or a parameter of ``user`` that the model does not have.
    NotIdentifiedError
        Fewer observations than fitted parameters.
    """
    task = plain(task)
    first = start_parameters(task, user)
    free = tuple(name for name in first if first[name].vary)
    _check_count(len(free), len(task.y))
    tried = [_run(task, p) for p in scattered(first, free, starts, rng)]
    runs = [run for run in tried if run is not None]
    if not runs:
        raise NotIdentifiedError(
            "no start gave a finite curve; check the guess and the bounds against the data"
        )
    least = min(float(run.chisqr) for run in runs)
    # Of equal optima (two peaks that may swap names) the one nearest the guess: starts come first.
    best = next(run for run in runs if _same(float(run.chisqr), least, task.y))
    best, second_better = _polish(task, best)
    reached = sum(_same(float(run.chisqr), float(best.chisqr), task.y) for run in runs)
    search = Search(len(task.y) - len(free), len(runs), reached, second_better, 0.0)
    return _verdict(task, best, free, search)


def _check_count(free: int, observations: int) -> None:
    if free == 0:
        raise NotIdentifiedError("every parameter is fixed; free at least one to fit")
    if observations < free:
        raise NotIdentifiedError(
            f"{observations} observations cannot determine {free} parameters; measure more, or "
            "fix parameters"
        )


def _residual(task: FitTask, parameters: lmfit.Parameters) -> FloatArray:
    values = {p.name: float(parameters[p.name].value) for p in task.parameters}
    with np.errstate(all="ignore"):
        r = np.asarray(task.curve(values), dtype=np.float64).ravel() - task.y
    if task.sd is not None:
        r = r / task.sd
    # A wild trial step must lose, not stop the search.
    return np.where(np.isfinite(r), np.clip(r, -1e150, 1e150), 1e150)


def _run(task: FitTask, start: lmfit.Parameters, method: str = "leastsq") -> Any | None:
    import lmfit

    minimizer = lmfit.Minimizer(lambda p: _residual(task, p), start, calc_covar=False)
    options = _LEASTSQ if method == "leastsq" else _LEAST_SQUARES
    try:
        with np.errstate(all="ignore"):
            result = minimizer.minimize(method=method, params=start, **options)
    except (ValueError, TypeError, np.linalg.LinAlgError, ZeroDivisionError):
        return None
    chisqr = float(result.chisqr)
    return result if np.isfinite(chisqr) and chisqr < 1e100 else None


def _polish(task: FitTask, best: Any) -> tuple[Any, bool]:
    """Refit from the optimum, then by the second method; True when that found a better one."""
    again = _run(task, best.params)
    if again is not None and again.chisqr <= best.chisqr:
        best = again
    other = _run(task, best.params, method="least_squares")
    if other is None or other.chisqr >= best.chisqr:
        return best, False
    found_better = not _same(float(other.chisqr), float(best.chisqr), task.y)
    final = _run(task, other.params)
    return (final if final is not None and final.chisqr <= other.chisqr else other), found_better


def _same(a: float, b: float, y: FloatArray) -> bool:
    floor = 1e-24 * float(y @ y)  # exact fits differ by rounding only
    return abs(a - b) <= _SAME * max(abs(a), abs(b)) + floor


def _verdict(task: FitTask, best: Any, free: tuple[str, ...], search: Search) -> BestFit:
    parameters = best.params
    derived = tuple(p.name for p in task.parameters)

    def model(x: FloatArray) -> FloatArray:
        trial = parameters.copy()
        for name, value in zip(free, x, strict=True):
            trial[name].value = float(value)
        trial.update_constraints()
        residual = _residual(task, trial)
        return np.concatenate([residual, [float(trial[name].value) for name in derived]])

    at = np.array([float(parameters[name].value) for name in free])
    bounds = np.array([[float(parameters[n].min), float(parameters[n].max)] for n in free])
    full = jacobian(model, at, bounds)
    n = len(task.y)
    rss = float(best.chisqr)
    dof = search.degrees_of_freedom
    cov: Covariance = covariance_from(full[:n], rss / dof if dof > 0 else np.nan)
    gradient = full[n:]
    variances = np.einsum("ij,jk,ik->i", gradient, cov.matrix, gradient)
    errors = {
        name: _error(v, g, cov) for name, v, g in zip(derived, variances, gradient, strict=True)
    }
    values = {name: float(parameters[name].value) for name in derived}
    if rss > 1e-24 * float(task.y @ task.y):
        offset = relative_offset(full[:n], model(at)[:n])
        search = replace(search, offset=offset)
    verdict, problems = judge(best, free, cov, search)
    return BestFit(
        values=values,
        standard_errors=errors,
        free=free,
        covariance=cov.matrix,
        residual_sd=float(np.sqrt(rss / dof)) if dof > 0 else float("nan"),
        sum_of_squares=rss,
        degrees_of_freedom=dof,
        verdict=verdict,
        problems=problems,
        lmfit_result=best,
    )


def _error(variance: float, gradient: FloatArray, cov: Covariance) -> float:
    if not np.any(gradient):
        return 0.0
    touches = np.any(gradient[list(cov.undetermined)] != 0) if cov.undetermined else False
    return float("nan") if touches else float(np.sqrt(variance))

"""The verdict on a least-squares fit, in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np

from ratemodel.errors import Problem
from ratemodel.inference.covariance import Covariance

Verdict: TypeAlias = Literal[
    "good", "at bound", "not identified", "too few data", "did not converge"
]


@dataclass(frozen=True)
class Search:
    """What the search for an optimum did.

    Attributes
    ----------
    degrees_of_freedom : int
        Observations minus fitted parameters.
    starts, reached : int
        Number of starts, and how many of them ended at the optimum.
    second_better : bool
        The second method found a better optimum than the first.
    offset : float
        Relative offset: length of the residuals' part in the tangent plane over the rest, each
        per degree of freedom; 0 at an exact optimum.
    """

    degrees_of_freedom: int
    starts: int
    reached: int
    second_better: bool
    offset: float


def judge(
    best: Any, free: tuple[str, ...], cov: Covariance, search: Search
) -> tuple[Verdict, tuple[Problem, ...]]:
    """Verdict and problems of a finished search.

    Parameters
    ----------
    best : lmfit.minimizer.MinimizerResult
        The winning run.
    free : tuple of str
        Fitted parameters.
    cov : Covariance
        Recomputed covariance.
    search : Search
        What the search did.

    References
    ----------
    Bates & Watts, A relative offset convergence criterion for nonlinear least squares,
    Technometrics 23 (1981) 179: an offset below 0.001 disturbs no inference.
    """
    problems = _bounds(best, free, cov)
    verdict: Verdict = "at bound" if problems else "good"
    if not problems and search.offset > 1e-3:
        verdict = "did not converge"
        problems.append(_unconverged(str(getattr(best, "message", ""))))
    problems += _optima(search)
    if cov.undetermined or not np.isfinite(cov.condition):
        verdict = "not identified"
        names = ", ".join(free[i] for i in cov.undetermined)
        problems.append(
            Problem(
                "not-identified",
                f"The data do not determine {names}: the curve is the same for other values. "
                "Fix one of them, or measure where they differ.",
                "serious",
            )
        )
    if search.degrees_of_freedom < 1:
        verdict = "too few data"
        problems.append(
            Problem(
                "too-few-data",
                f"{len(free)} parameters from as many observations: the scatter cannot be told. "
                "Measure more or fix parameters.",
                "serious",
            )
        )
    return verdict, tuple(problems)


def _optima(search: Search) -> list[Problem]:
    problems = []
    if search.second_better:
        problems.append(
            Problem(
                "second-method-better",
                "The second method found a better optimum than the first from all its starts; "
                "the curve has several optima. Start nearer, bound or fix parameters.",
            )
        )
    if search.starts > 1 and search.reached < 2:
        problems.append(
            Problem(
                "starts-disagree",
                f"Only {search.reached} of {search.starts} starts reached the optimum; another "
                "may be better. Use more starts, or start nearer.",
                "note",
            )
        )
    return problems


def _unconverged(message: str) -> Problem:
    return Problem(
        "did-not-converge",
        "The search stopped before an optimum. Check in turn: the units of the data, the first "
        f"guess, the bounds, parameters that do the same job. The optimiser said: {message[:120]}",
        "serious",
    )


def _bounds(best: Any, free: tuple[str, ...], cov: Covariance) -> list[Problem]:
    problems = []
    errors = np.sqrt(np.diag(cov.matrix))
    for name, error in zip(free, errors, strict=True):
        parameter = best.params[name]
        low, high, value = float(parameter.min), float(parameter.max), float(parameter.value)
        for bound in (low, high):
            near = 1e-6 * min(high - low, max(abs(value), abs(bound)))
            near = max(near, 1e-3 * error) if np.isfinite(error) else max(near, 1e-12)
            if np.isfinite(bound) and abs(value - bound) <= near:
                problems.append(
                    Problem(
                        "at-bound",
                        f"{name} lies on its bound {bound:g}: its interval means nothing. "
                        "Widen the bound, fix the parameter, or choose a simpler model.",
                    )
                )
    return problems

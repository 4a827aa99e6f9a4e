"""What a least-squares fit is asked for, and where its searches start."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.models.parameter import Parameter

if TYPE_CHECKING:
    import lmfit


@dataclass(frozen=True)
class FitTask:
    """What is to be fitted.

    Attributes
    ----------
    curve : callable
        ``curve(values) -> (n,)`` where ``values`` maps parameter names to numbers.
    y : ndarray, shape (n,)
        Observations.
    parameters : tuple of Parameter
        Names, units and admissible ranges.
    guess : mapping of str to float
        Where to start.
    sd : ndarray, shape (n,), optional
        Standard deviations known up to a common factor; None = all equal.
    """

    curve: Callable[[Mapping[str, float]], FloatArray]
    y: FloatArray
    parameters: tuple[Parameter, ...]
    guess: Mapping[str, float]
    sd: FloatArray | None = None


def plain(task: FitTask) -> FitTask:
    """Put the task on plain finite float64 arrays: labelled tables would be aligned by label."""
    y = np.array(task.y, dtype=np.float64).ravel()
    if not np.all(np.isfinite(y)):
        raise InputError("an observation is not finite", "finite numbers to fit")
    sd = None
    if task.sd is not None:
        sd = np.array(task.sd, dtype=np.float64).ravel()
        if sd.shape != y.shape or not np.all(np.isfinite(sd)) or np.any(sd <= 0):
            raise InputError(
                "the standard deviations do not fit the data",
                f"{len(y)} finite standard deviations above 0",
            )
    return FitTask(task.curve, y, task.parameters, task.guess, sd)


def start_parameters(task: FitTask, user: lmfit.Parameters | None) -> lmfit.Parameters:
    """Merge the model's parameters with the user's; every free one starts inside its bounds."""
    import lmfit

    names = [p.name for p in task.parameters]
    if user is not None:
        for name in user:
            if name not in names and user[name].vary and user[name].expr is None:
                raise InputError(f"the model has no parameter {name}", "one of " + ", ".join(names))
    parameters = lmfit.Parameters() if user is None else user.copy()
    for parameter in task.parameters:
        if parameter.name in parameters:
            continue
        parameters.add(
            parameter.name,
            value=float(task.guess[parameter.name]),
            min=parameter.lower,
            max=parameter.upper,
        )
    for name in parameters:
        if parameters[name].vary:
            parameters[name].value = _inside(parameters[name])
    return parameters


def _inside(parameter: lmfit.Parameter) -> float:
    """Move a start on or outside a bound inside: a start on a bound may never leave it.

    By 1 % of the range, or of the value where the range spans decades.
    """
    low, high, value = float(parameter.min), float(parameter.max), float(parameter.value)
    margin = 0.01 * abs(value) if value not in (0.0, low, high) else 0.01
    if np.isfinite(high - low):
        margin = min(margin if value not in (low, high) else np.inf, 0.01 * (high - low))
    if np.isfinite(low):
        value = max(value, low + margin)
    if np.isfinite(high):
        value = min(value, high - margin)
    return value


def scattered(
    first: lmfit.Parameters, free: tuple[str, ...], starts: int, rng: np.random.Generator
) -> list[lmfit.Parameters]:
    """Give the first start and further ones, each free value multiplied by a random factor."""
    out = [first]
    for _ in range(starts - 1):
        other = first.copy()
        for name in free:
            value = float(first[name].value)
            # A factor keeps sign and order of magnitude: rates and lives span decades.
            other[name].value = value * float(np.exp(0.5 * rng.standard_normal()))
            other[name].value = _inside(other[name])
        out.append(other)
    return out

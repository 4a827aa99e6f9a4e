"""Creep curves of several loads and temperatures fitted jointly; joint draws.

Least squares by `leastsq.best_fit`; draws from the posterior with a flat prior on each model's
working coordinates inside the bounds and on ln scatter, which leaves RSS**(-n/2). Readings of one
curve follow each other, so n is the effective number of readings, from the autocorrelation of the
residuals: a misfitting curve of 5000 readings is not 5000 witnesses.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.creep_curves import CreepCurve, pool
from ratemodel.inference.creep_draws import draw_creep, effective_readings
from ratemodel.inference.leastsq import BestFit, best_fit
from ratemodel.inference.starts import FitTask, start_parameters
from ratemodel.models.creep_base import CreepModel, CreepPoints, CreepReference, creep_points
from ratemodel.models.creep_thermal import CREEP_MODELS

if TYPE_CHECKING:
    import lmfit


@dataclass(frozen=True)
class CreepFit:
    """One creep model fitted to all curves, with joint draws.

    Attributes
    ----------
    model : CreepModel
        What was fitted.
    reference : CreepReference
        Load, temperature and time of its amplitudes.
    best : BestFit
        Least-squares optimum; ``best.lmfit_result`` is lmfit's own.
    draws : mapping of str to ndarray, shape (draws, 1)
        Joint draws of all parameters.
    points, strain
        What was fitted.
    effective_readings : float
        Independent readings that the data are worth.
    problems : tuple of Problem
        What limits its use.
    """

    model: CreepModel
    reference: CreepReference
    best: BestFit
    draws: Mapping[str, FloatArray]
    points: CreepPoints
    strain: FloatArray
    effective_readings: float
    problems: tuple[Problem, ...]

    def strain_at(
        self, time_s: FloatArray, load_N: float, temperature_K: float = float("nan")
    ) -> FloatArray:
        """Draws of the strain, shape (draws, n)."""
        return self.model.curve(self.draws, self.points_at(time_s, load_N, temperature_K))

    def rate_at(
        self, time_s: FloatArray, load_N: float, temperature_K: float = float("nan")
    ) -> FloatArray:
        """Draws of the creep rate in 1/s, shape (draws, n)."""
        points = self.points_at(time_s, load_N, temperature_K)
        rate = self.model.rate(self.draws, points)
        rows = len(next(iter(self.draws.values())))
        return np.broadcast_to(rate, (rows, len(points.time_s)))

    def interval(self, name: str, level: float = 0.95) -> tuple[float, float]:
        """Interval of a parameter from the draws."""
        tail = (1 - level) / 2
        low, high = np.quantile(self.draws[name], [tail, 1 - tail])
        return float(low), float(high)

    def points_at(self, time_s: FloatArray, load_N: float, temperature_K: float) -> CreepPoints:
        """Points of these times at one load and temperature."""
        time = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
        return creep_points(
            time, np.full_like(time, load_N), np.full_like(time, temperature_K), self.reference
        )


def fit_creep(
    curves: Sequence[CreepCurve],
    model: CreepModel,
    *,
    draws: int,
    rng: np.random.Generator,
    user: lmfit.Parameters | None = None,
    starts: int = 4,
) -> CreepFit:
    """Fit one model to all curves jointly.

    Parameters
    ----------
    curves : sequence of CreepCurve
        One or more specimens, loads, temperatures.
    model : CreepModel
        From `ratemodel.models.creep_thermal.CREEP_MODELS`, or one's own.
    draws : int
        Joint draws wanted.
    rng : numpy.random.Generator
        Source of randomness.
    user : lmfit.Parameters, optional
        Parameters fixed, bounded or constrained by the user.
    starts : int
        Starts of the search.

    Raises
    ------
    NotIdentifiedError
        Too few readings, loads or temperatures for the model.
    """
    points, strain, reference, thinned = pool(curves)
    if user is None:
        _check_conditions(curves, model)
    task, held = _task(model, points, strain)
    best = best_fit(task, rng=rng, starts=starts, user=_with_held(held, user))
    residual = strain - model.curve(best.values, points)
    worth = effective_readings(residual, points, len(best.free))
    joint, drawn = draw_creep(model, best, (points, strain), worth, (draws, rng))
    return CreepFit(
        model=model,
        reference=reference,
        best=best,
        draws=joint,
        points=points,
        strain=strain,
        effective_readings=worth,
        problems=best.problems + drawn + _problems(best, worth, len(strain), held) + thinned,
    )


def creep_parameters(curves: Sequence[CreepCurve], model: CreepModel) -> lmfit.Parameters:
    """Give the model's starting parameters, to fix, bound or constrain and hand back to the fit.

    Parameters that the curves cannot determine (one load, one temperature) come held.
    """
    points, strain, _, _ = pool(curves)
    task, held = _task(model, points, strain)
    return start_parameters(task, _with_held(held, None))


def _task(
    model: CreepModel, points: CreepPoints, strain: FloatArray
) -> tuple[FitTask, dict[str, float]]:
    loads = len(np.unique(np.round(points.load_ratio, 9)))
    temperatures = len(np.unique(np.round(points.temperature_ratio, 9)))
    held = model.held(loads, temperatures)
    guess = {**model.guess(points, strain), **held}
    return FitTask(lambda v: model.curve(v, points), strain, model.parameters, guess), held


def _with_held(held: Mapping[str, float], user: lmfit.Parameters | None) -> lmfit.Parameters | None:
    if not held:
        return user
    import lmfit

    out = lmfit.Parameters() if user is None else user.copy()
    for name, value in held.items():
        if name not in out:
            out.add(name, value=value, vary=False)
    return out


def _problems(
    best: BestFit, worth: float, readings: int, held: Mapping[str, float]
) -> tuple[Problem, ...]:
    out = []
    if worth < 0.25 * readings:
        out.append(
            Problem(
                "residuals-run",
                f"The residuals run above and below the curve in long stretches: the {readings} "
                f"readings are worth {worth:.0f} independent ones. The model misses a part of the "
                "creep, or specimens differ; intervals were widened for it.",
            )
        )
    if "load_exponent" in held and best.values.get("load_exponent") == 1.0:
        out.append(
            Problem(
                "one-load",
                "Creep was measured at one load: at another load it is taken as proportional.",
                "note",
            )
        )
    return tuple(out)


def usable_models(curves: Sequence[CreepCurve]) -> tuple[CreepModel, ...]:
    """Models for which there are enough different loads and temperatures."""
    counts = [(m, *_conditions(curves, m)) for m in CREEP_MODELS]
    return tuple(m for m, different, needed in counts if different >= needed)


def _check_conditions(curves: Sequence[CreepCurve], model: CreepModel) -> None:
    different, needed = _conditions(curves, model)
    if different < needed:
        raise NotIdentifiedError(
            f"the model '{model.title}' needs {needed} different loads or temperatures, "
            f"there are {different}; test more, or fix parameters"
        )


def _conditions(curves: Sequence[CreepCurve], model: CreepModel) -> tuple[int, int]:
    """Different conditions there are, and how many the model needs."""
    # Unknown temperatures are one temperature: NaN would differ from itself.
    known = {(c.load_N, round(float(np.nan_to_num(c.temperature_K)), 6)) for c in curves}
    return len(known), model.needed(len({kelvin for _, kelvin in known}))

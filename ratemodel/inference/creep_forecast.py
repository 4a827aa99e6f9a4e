"""Creep beyond the test: averaged over models, widened with every decade of time.

Inside the tested times the models are weighted by how well they explain the readings. Beyond, no
model has been tested, so

* each weight is raised to the power 1/(1 + d), d decades beyond the last reading: a model that
  lost by a little inside counts again outside;
* the strain added beyond the last reading is multiplied, draw by draw, by exp(w d z), z standard
  normal: w is half as much again as the error per decade that the model made when the last half
  decade of the readings was hidden from it, with 0.15 added in quadrature.

Both rules are this package's own; the study in the tests measures the intervals they give.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.creep_curves import CreepCurve
from ratemodel.inference.creep_hidden import hidden_error
from ratemodel.inference.creep_weights import log_weights
from ratemodel.inference.creepfit import CreepFit, fit_creep, usable_models
from ratemodel.models.creep_base import CreepModel


@dataclass(frozen=True)
class CreepAverage:
    """Creep models fitted to the same curves, with their weights.

    Attributes
    ----------
    members : tuple of CreepFit
        One per model that could be fitted.
    log_weights : ndarray, shape (m,)
        ln of the weights inside the tested times.
    error_per_decade : ndarray, shape (m,)
        Error w of ln of the added strain per decade, from hidden readings.
    last_time_s : float
        Longest tested time.
    z : ndarray, shape (draws,)
        Standard normal draws of the widening, one per joint draw, the same at every time.
    problems : tuple of Problem
        From all members, and models that could not be fitted.
    """

    members: tuple[CreepFit, ...]
    log_weights: FloatArray
    error_per_decade: FloatArray
    last_time_s: float
    z: FloatArray
    problems: tuple[Problem, ...]

    def weights(self, decades_beyond: float = 0.0) -> FloatArray:
        """Weights of the members, shape (m,), so many decades beyond the last reading."""
        log_w = self.log_weights / (1.0 + max(decades_beyond, 0.0))
        w = np.exp(log_w - log_w.max())
        return np.asarray(w / w.sum())


@dataclass(frozen=True)
class CreepForecast:
    """Strain against time at one load, with its interval.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Times.
    median, low, high : ndarray, shape (n,)
        Strain: median and interval at ``level``.
    rate_median_per_s : ndarray, shape (n,)
        Median creep rate.
    decades_beyond : ndarray, shape (n,)
        Decades beyond the last reading; 0 inside.
    level : float
        Probability of the interval.
    by_model : tuple of tuple
        Name, weight at the last time, median strain there.
    load_N, temperature_K : float
        Conditions.
    curves : tuple of CreepCurve
        Readings at this load, for the picture.
    problems : tuple of Problem
        Among them how far the last time lies beyond the test.
    """

    time_s: FloatArray
    median: FloatArray
    low: FloatArray
    high: FloatArray
    rate_median_per_s: FloatArray
    decades_beyond: FloatArray
    level: float
    by_model: tuple[tuple[str, float, float], ...]
    load_N: float
    temperature_K: float
    curves: tuple[CreepCurve, ...]
    problems: tuple[Problem, ...]


def average_creep(
    curves: Sequence[CreepCurve],
    *,
    draws: int,
    rng: np.random.Generator,
    models: Sequence[CreepModel] | None = None,
) -> CreepAverage:
    """Fit all creep models that the curves can carry and weigh them, as `log_weights` says."""
    members, problems = [], []
    for model in models or usable_models(curves):
        try:
            members.append(fit_creep(curves, model, draws=draws, rng=rng))
        except NotIdentifiedError as reason:
            text = f"The model '{model.title}' was left out: {reason}."
            problems.append(Problem("model-left-out", text, "note"))
    if not members:
        raise NotIdentifiedError("no creep model could be fitted; give more readings per curve")
    log_w = log_weights(members)
    errors = np.array([hidden_error(curves, m.model, rng) for m in members])
    seen = {}
    for member, log_share in zip(members, log_w, strict=True):
        # What a model without any weight suffers from does not limit the answer.
        if log_share > np.log(0.01):
            told = [
                replace(p, message=f"{member.model.name}: {p.message}") for p in member.problems
            ]
            seen.update({p.message: p for p in told})
    return CreepAverage(
        members=tuple(members),
        log_weights=log_w,
        error_per_decade=errors,
        last_time_s=float(max(c.time_s.max() for c in curves)),
        z=rng.standard_normal(draws),
        problems=(*seen.values(), *problems),
    )


def forecast_creep(
    average: CreepAverage,
    curves: Sequence[CreepCurve],
    time_s: FloatArray,
    condition: tuple[float, float],
    *,
    level: float = 0.95,
) -> CreepForecast:
    """Strain at given times, inside or beyond the test.

    Parameters
    ----------
    average : CreepAverage
        From `average_creep`.
    curves : sequence of CreepCurve
        The readings, for the picture.
    time_s : ndarray, shape (n,)
        Times above 0.
    condition : tuple of float
        Load in N and temperature in K (NaN = as tested).
    level : float
        Probability of the interval.
    """
    time = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
    load, kelvin = condition
    beyond = np.maximum(np.log10(time / average.last_time_s), 0.0)
    strains = [_widened(average, i, time, condition) for i in range(len(average.members))]
    rates = [m.rate_at(time, load, kelvin) for m in average.members]
    mixed = _mixed(average, beyond, strains, (0.5 * (1 - level), 0.5, 0.5 * (1 + level)))
    rate = _mixed(average, beyond, rates, (0.5,))[0]
    last = average.weights(float(beyond[-1]))
    return CreepForecast(
        time_s=time,
        median=mixed[1],
        low=mixed[0],
        high=mixed[2],
        rate_median_per_s=rate,
        decades_beyond=beyond,
        level=level,
        by_model=tuple(
            (m.model.name, float(w), float(np.median(s[:, -1])))
            for m, w, s in zip(average.members, last, strains, strict=True)
        ),
        load_N=load,
        temperature_K=kelvin,
        curves=tuple(c for c in curves if _same_condition(c, condition)),
        problems=average.problems + _beyond(float(beyond.max()), load, average),
    )


def _mixed(
    average: CreepAverage,
    beyond: FloatArray,
    members: Sequence[FloatArray],
    quantiles: tuple[float, ...],
) -> FloatArray:
    """Quantiles over members in proportion to their weights at each time, shape (q, n)."""
    out = np.empty((len(quantiles), len(beyond)))
    for j, decades in enumerate(beyond):
        rows = mixture_rows(average.weights(float(decades)), len(average.z))
        mixed = np.concatenate([m[r, j] for m, r in zip(members, rows, strict=True)])
        out[:, j] = np.quantile(mixed, quantiles)
    return out


def plateau_rate(
    average: CreepAverage, condition: tuple[float, float], *, points: int = 60
) -> FloatArray:
    """Draws of the plateau creep rate, the least rate within the tested times, in 1/s.

    Where the rate is still falling at the last reading this is the rate there, an upper bound of
    the plateau; `sherby_dorn` says which it is.
    """
    first = min(float(m.points.time_s.min()) for m in average.members)
    time = np.geomspace(first, average.last_time_s, points)
    rows = mixture_rows(average.weights(), len(average.z))
    parts = [
        m.rate_at(time, *condition)[r].min(axis=1)
        for m, r in zip(average.members, rows, strict=True)
    ]
    return np.concatenate(parts)


def mixture_rows(weights: FloatArray, draws: int) -> list[slice]:
    """Share of each member's draws, in proportion to its weight."""
    edges = np.concatenate([[0], np.floor(np.cumsum(weights) * draws + 0.5).astype(int)])
    edges[-1] = draws
    return [slice(int(a), int(b)) for a, b in pairwise(edges)]


def _widened(
    average: CreepAverage, index: int, time: FloatArray, condition: tuple[float, float]
) -> FloatArray:
    member = average.members[index]
    strain = member.strain_at(time, *condition)
    beyond = np.maximum(np.log10(time / average.last_time_s), 0.0)
    if not beyond.any():
        return strain
    end = member.strain_at(np.array([average.last_time_s]), *condition)
    factor = np.exp(average.error_per_decade[index] * beyond * average.z[:, None])
    return np.asarray(np.where(beyond > 0, end + (strain - end) * factor, strain))


def _same_condition(curve: CreepCurve, condition: tuple[float, float]) -> bool:
    load, kelvin = condition
    same_T = np.isnan(kelvin) or np.isnan(curve.temperature_K) or curve.temperature_K == kelvin
    return bool(np.isclose(curve.load_N, load) and same_T)


def _beyond(decades: float, load: float, average: CreepAverage) -> tuple[Problem, ...]:
    out = []
    if decades > 0:
        out.append(
            Problem(
                "time-beyond-data",
                f"The answer lies {decades:.1f} decades of time beyond the last reading "
                f"({average.last_time_s:.3g} s): models were averaged and the interval widened. "
                "Let the test run on.",
                "caution" if decades <= 1 else "serious",
            )
        )
    reference = average.members[0]
    tested = reference.points.load_ratio * reference.reference.load_N
    if not tested.min() * (1 - 1e-9) <= load <= tested.max() * (1 + 1e-9):
        out.append(
            Problem(
                "load-beyond-data",
                f"The load {load:.4g} N lies outside the tested {tested.min():.4g} to "
                f"{tested.max():.4g} N.",
            )
        )
    return tuple(out)

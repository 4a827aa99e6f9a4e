"""How likely the demand exceeds the strength, what is not known kept apart from what varies.

Two kinds of spread meet here. *Epistemic*: the model and its parameters, which one truth has and
tests can narrow. *Aleatory*: specimen-to-specimen scatter and the varying event, which stay.
The odds are averaged over the second and given as an interval over the first.
"""

from __future__ import annotations

from typing import get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.inference.scatter import specimen_cdf
from ratemodel.odds import DemandAndStrength, FailureProbability, Spread, summarised
from ratemodel.records.tables import Scatter

_EULER = 0.5772156649015329
_BLOCK = 2_000_000  # entries of the parameter × event table held at once


def tail_probability(
    ln_demand: ArrayLike,
    mean_ln: ArrayLike,
    sd_ln: ArrayLike,
    scatter: Scatter | Spread = "normal",
) -> FloatArray:
    r"""Probability that one specimen's strength lies below a demand, analytic to 1e-300.

    Normal: :math:`\Phi((\ln D - \mu)/\sigma)`. Smallest extreme value (a Weibull strength):
    :math:`1 - \exp(-\exp((\ln D - \lambda)/b))` with b = σ√6/π and λ = μ + 0.5772 b, so that μ
    and σ are mean and standard deviation of ln-strength in both.

    Parameters
    ----------
    ln_demand, mean_ln, sd_ln : array_like
        Broadcast against one another. Where ``sd_ln`` is 0 the answer is 0 or 1.
    scatter : {"normal", "smallest-extreme-value"} or Spread
        Form of the specimen-to-specimen scatter of ln-strength.

    Raises
    ------
    InputError
        Unknown scatter or a negative ``sd_ln``.
    """
    ln_demand, mean_ln, sd = (np.asarray(a, dtype=np.float64) for a in (ln_demand, mean_ln, sd_ln))
    if (sd < 0).any() or np.isnan(sd).any():
        raise InputError("a standard deviation below 0 or missing", "0 or above", column="sd_ln")
    spread = scatter if isinstance(scatter, Spread) else Spread(scatter)
    if spread.family not in get_args(Scatter):
        raise InputError(f"scatter {spread.family!r}", "normal or smallest-extreme-value")
    gap = ln_demand - mean_ln
    spool = np.asarray(spread.spool_sd_ln, dtype=np.float64)
    if (spool > 0).any() and spread.family != "normal":
        return specimen_cdf(gap, np.maximum(sd, 1e-12), spool, spread.family)
    total = np.hypot(sd, spool)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        # Equal and without scatter counts as failure: the demand is not exceeded by the strength.
        certain = np.where(gap >= 0, np.inf, -np.inf)
        z = np.where(total > 0, gap / np.where(total > 0, total, 1.0), certain)
        if spread.family == "normal":
            return np.asarray(ndtr(z))
        return np.asarray(-np.expm1(-np.exp(z * np.pi / np.sqrt(6) - _EULER)))


def failure_probability(
    demand: ArrayLike,
    mean_ln: ArrayLike,
    sd_ln: ArrayLike,
    *,
    scatter: Scatter | Spread = "normal",
    level: float = 0.90,
    weights: ArrayLike | None = None,
) -> FailureProbability:
    """Odds that the demand exceeds the strength.

    For each epistemic draw the analytic tail of the specimen scatter is averaged over the event
    draws; nothing is counted, so that 1e-9 needs no more draws than 1e-2.

    Parameters
    ----------
    demand : array_like
        Event draws (N), shape ``(events,)``.
    mean_ln : array_like
        Mean of ln-strength (ln N), shape ``(parameters, events)`` where it depends on the
        event's rate, else ``(parameters, 1)`` or ``(parameters,)``.
    sd_ln : array_like
        Specimen-to-specimen standard deviation of ln-strength, ``(parameters,)`` or
        ``(parameters, 1)`` or a number.
    scatter : {"normal", "smallest-extreme-value"} or Spread
        Form of that scatter; a spool's share as a number or ``(parameters, 1)``.
    level : float
        Probability of the interval over the parameters.
    weights : array_like, optional
        Weights of the event draws where they were sampled more widely than they occur
        (`ratemodel.event.widened_event_draws`), shape ``(events,)``, averaging 1.

    Returns
    -------
    FailureProbability

    Raises
    ------
    InputError
        Shapes that do not fit, a demand below 0, a level outside 0 to 1.

    Examples
    --------
    >>> odds = failure_probability([2000.0], [np.log(4000.0)], [0.1])
    >>> f"{odds.probability:.3g}"
    '2.08e-12'
    """
    if not 0 < level < 1:
        raise InputError(f"a level of {level:g}", "a probability between 0 and 1")
    load, mean, sd = _tables(demand, mean_ln, sd_ln)
    with np.errstate(divide="ignore"):
        ln_demand = np.log(load)
    weight = _weights(weights, load.size)
    rows = max(1, _BLOCK // load.size)
    per_draw = np.empty(mean.shape[0])
    per_event = np.zeros(load.size)
    for i in range(0, mean.shape[0], rows):
        part = slice(i, i + rows)
        tail = tail_probability(ln_demand, mean[part], sd[part], _part(scatter, part))
        tail = weight * np.broadcast_to(tail, (tail.shape[0], load.size))
        per_draw[part] = tail.mean(axis=1)
        per_event += tail.sum(axis=0)
    per_event /= mean.shape[0]
    error = float(per_event.std(ddof=1) / np.sqrt(load.size)) if load.size > 1 else 0.0
    return summarised(per_draw, error, level)


def _part(scatter: Scatter | Spread, rows: slice) -> Scatter | Spread:
    if isinstance(scatter, Spread) and np.ndim(scatter.spool_sd_ln) > 0:
        return Spread(scatter.family, np.asarray(scatter.spool_sd_ln)[rows])
    return scatter


def demand_scale(
    target: float,
    demand: ArrayLike,
    mean_ln: ArrayLike,
    sd_ln: ArrayLike,
    *,
    scatter: Scatter | Spread = "normal",
) -> float:
    """Factor on all demands at which the overall probability equals a target.

    Above 1: there is room; below 1: the use asks too much.

    Parameters
    ----------
    target : float
        Probability, between 0 and 0.5.
    demand, mean_ln, sd_ln, scatter
        As in `failure_probability`.

    Raises
    ------
    InputError
        A target outside 0 to 0.5, or no demand above 0.
    """
    from scipy.optimize import brentq

    if not 0 < target < 0.5:
        raise InputError(f"a target of {target:g}", "a probability between 0 and 0.5")
    load, mean, sd = _tables(demand, mean_ln, sd_ln)
    if not (load > 0).all():
        raise InputError("a demand of 0", "demands above 0 to be scaled")

    def miss(ln_scale: float) -> float:
        got = failure_probability(load * np.exp(ln_scale), mean, sd, scatter=scatter).probability
        return float(np.log(max(got, 1e-300)) - np.log(target))

    centre = float(np.median(mean) - np.median(np.log(load)))
    low, high = centre - 1.0, centre + 1.0
    while miss(low) > 0 and centre - low < 600:
        low = centre + 2 * (low - centre)
    while miss(high) < 0 and high - centre < 600:
        high = centre + 2 * (high - centre)
    return float(np.exp(brentq(miss, low, high, xtol=1e-10)))


def _tables(
    demand: ArrayLike, mean_ln: ArrayLike, sd_ln: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    load = np.atleast_1d(np.asarray(demand, dtype=np.float64))
    mean, sd = (np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (mean_ln, sd_ln))
    mean, sd = (a[:, None] if a.ndim == 1 else a for a in (mean, sd))
    fits = load.ndim == 1 and mean.ndim == 2 and sd.ndim == 2
    fits = fits and mean.shape[1] in (1, load.size) and sd.shape[1] in (1, load.size)
    fits = fits and (mean.shape[0] == sd.shape[0] or 1 in (mean.shape[0], sd.shape[0]))
    if not fits or not load.size or not mean.size:
        raise InputError(
            f"demand {load.shape}, mean_ln {mean.shape} and sd_ln {sd.shape}",
            "(events,), (parameters, events or 1) and (parameters, events or 1)",
        )
    if not (load >= 0).all() or not np.isfinite(mean).all():
        raise InputError("a demand below 0 or a missing value", "numbers, demands 0 or above")
    rows = max(mean.shape[0], sd.shape[0])
    widths = mean.shape[1], sd.shape[1]
    mean, sd = (np.broadcast_to(a, (rows, w)) for a, w in zip((mean, sd), widths, strict=True))
    return load, mean, sd


def _weights(weights: ArrayLike | None, events: int) -> FloatArray:
    if weights is None:
        return np.ones(events)
    weight = np.asarray(weights, dtype=np.float64)
    if weight.shape != (events,) or not (weight >= 0).all():
        raise InputError("weights that do not fit", "one weight of 0 or above per event draw")
    return weight


__all__ = [
    "DemandAndStrength",
    "FailureProbability",
    "Spread",
    "demand_scale",
    "failure_probability",
    "tail_probability",
]

"""Odds that the demand exceeds one line's strength, once or in many shocks of one life."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, Problem
from ratemodel.event import widened_event_draws
from ratemodel.odds import NOT_INFORMATIVE, FailureProbability, Spread, summarised
from ratemodel.reliability import failure_probability as odds_of
from ratemodel.reliability import tail_probability
from ratemodel.translation import UseStrength

#: A steady load this many decades slower than any pull says nothing of the time it may be held.
PULLS_REACH_DECADES = 2.0
_RELATIVE_ERROR = 0.1


@dataclass(frozen=True)
class Meeting:
    """Demand and strength of one use, states of knowledge against events.

    ``demand`` and ``weight`` have shape (events,), ``mean`` and ``sigma`` (states, events),
    ``spool`` (states, 1), ``shocks`` (states,).
    """

    demand: FloatArray
    weight: FloatArray
    mean: FloatArray
    sigma: FloatArray
    spool: FloatArray
    shocks: FloatArray


def failure_probability(
    strength: UseStrength,
    *,
    states: int = 2000,
    events: int = 512,
    rng: np.random.Generator | None = None,
) -> FailureProbability | None:
    """Demand against strength, with the strength read at each event's own rate.

    Every state of knowledge (a row of the fit with its factors) meets every event; the
    specimen-to-specimen tail is analytic. With ``shocks`` in the use the probability is that of a
    break in any of them, the line being the same throughout: the largest demand counts, not the
    product of odds. Damage from one shock to the next is not in it (see `shock_damage`).

    Parameters
    ----------
    strength : UseStrength
        As translated.
    states, events : int
        Rows of the fit and of the event.
    rng : numpy.random.Generator, optional
        Given: where the odds hang on rare events, these are drawn anew, more widely than they
        occur and weighted back.

    Returns
    -------
    FailureProbability or None
        ``per_draw`` has one probability per state; None where the use has no demand (kind
        ``rate``) or strength is no force. A steady load far below the rates of all pulls gets the
        finding "not-informative".
    """
    if strength.event.peak_force_N is None or strength.unit.dimension != "force":
        return None
    rows = np.linspace(0, strength.u.size - 1, min(events, strength.u.size)).astype(np.int64)
    demand, u = strength.event.peak_force_N[rows], strength.u[rows]
    odds = _odds(strength, meet(strength, demand, u, np.ones(rows.size), states))
    rare = odds.simulation_error > _RELATIVE_ERROR * odds.probability
    if rare and rng is not None and strength.event.strain_rate_per_s is not None:
        odds = _with_rare_events(strength, 4 * events, states, rng) or odds
    return replace(odds, problems=(*odds.problems, *_governed_by_creep(strength)))


def _with_rare_events(
    strength: UseStrength, events: int, states: int, rng: np.random.Generator
) -> FailureProbability | None:
    """The odds by events drawn more widely; None where that leaves the possible values."""
    try:
        event, weight = widened_event_draws(
            strength.use, events, rng, widen=1.7, curve=strength.curve
        )
    except InputError:
        return None
    if event.peak_force_N is None or event.strain_rate_per_s is None:
        return None
    u = np.log10(event.strain_rate_per_s)
    return _odds(strength, meet(strength, event.peak_force_N, u, weight, states))


def meet(strength: UseStrength, demand: FloatArray, u: FloatArray, weight: FloatArray,
         states: int = 2000) -> Meeting:  # fmt: skip
    """Let states of knowledge meet events of given demand (N), log10 rate and weight."""
    fit = strength.fit
    pick = np.linspace(0, fit.owner.size - 1, min(states, fit.owner.size)).astype(np.int64)
    part = fit.take(pick)
    shift = sum((f[pick] for f in strength.factors.values()), start=np.zeros(pick.size))
    shocks = strength.event.inputs.get("shocks", np.ones(fit.owner.size))[pick]
    return Meeting(demand, weight, part.mean_ln(u) + shift[:, None], part.sigma_at(u),
                   part.batch_sd()[:, None], shocks)  # fmt: skip


def _odds(strength: UseStrength, m: Meeting) -> FailureProbability:
    fit = strength.fit
    spread = Spread(fit.scatter, m.spool)
    if bool((m.shocks == 1).all()):
        return odds_of(m.demand, m.mean, m.sigma, scatter=spread, level=fit.level,
                       weights=m.weight)  # fmt: skip
    return odds_in_life(m, spread, fit.level)


def odds_in_life(m: Meeting, spread: Spread, level: float) -> FailureProbability:
    r"""Probability of a break in any of n shocks on one line.

    For one state of knowledge the line breaks if its own deviation lies below the largest of n
    values x = ln(demand) − mean of ln(strength); with F the distribution of x over events,

    .. math:: P_n = \sum_i P(\text{deviation} < x_i)\,\left(F_i^n - F_{i-1}^n\right)
    """
    x = np.log(np.maximum(m.demand, 1e-300)) - m.mean
    order = np.argsort(x, axis=1)
    tail = tail_probability(x, 0.0, m.sigma, spread)
    tail = np.take_along_axis(np.broadcast_to(tail, x.shape), order, axis=1)
    weight = m.weight[order]
    weight = weight / weight.sum(axis=1, keepdims=True)
    above = np.maximum(1 - np.cumsum(weight, axis=1), 0.0)
    above[:, -1] = 0.0
    with np.errstate(divide="ignore"):
        reach = np.exp(m.shocks[:, None] * np.log1p(-above))
    chance = np.diff(reach, axis=1, prepend=0.0)
    per_draw = np.sum(tail * chance, axis=1)
    # The largest of n shocks rests on few events; how few, and how much they differ, is the error.
    share = chance / np.maximum(chance.sum(axis=1, keepdims=True), 1e-300)
    count = 1 / np.sum(share**2, axis=1)
    mean = np.sum(share * tail, axis=1, keepdims=True)
    spread_of = np.sqrt(np.sum(share * (tail - mean) ** 2, axis=1))
    error = float(np.mean(spread_of / np.sqrt(count)))
    found: tuple[Problem, ...] = ()
    if float(np.median(count)) < 20:
        found = (Problem("few-extreme-events",
                         f"the largest of {np.median(m.shocks):.3g} shocks rests on some "
                         f"{np.median(count):.2g} of {m.demand.size} events drawn"),)  # fmt: skip
    return summarised(per_draw, error, level, found)


def _governed_by_creep(strength: UseStrength) -> tuple[Problem, ...]:
    if strength.event.kind != "steady" or strength.decades_beyond < PULLS_REACH_DECADES:
        return ()
    return (Problem(
        NOT_INFORMATIVE,
        f"use {strength.use.name} holds its load {strength.decades_beyond:.1f} decades slower than "
        "any pull: creep rupture governs it, not breaking strength, and odds taken from pulls are "
        "not informative; hold specimens to the break at several loads (creep.csv)",
        "serious"),)  # fmt: skip

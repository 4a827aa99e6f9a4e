"""What preload cycling does to one series: strength, residual elongation, stiffness, hysteresis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.endurance.time_tables import UNFIT
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.cycling import QUANTITIES, CycleFit, CyclingData, fit_cycling
from ratemodel.inference.from_records import cycled_strengths, cycling_data, preloaded_breaks
from ratemodel.inference.preload import (
    PreloadFit,
    fit_preload,
    protocol_problems,
    translate_protocol,
)
from ratemodel.inference.preload_grid import PreloadData
from ratemodel.models.preload import NO_PRELOAD, Protocol
from ratemodel.records.tables import Rating, Series
from ratemodel.records.time_tables import Cycling
from ratemodel.shown import Quantity, quantity

DRAWS = 2000
#: Breaks within so many decades of rate are taken as one rate.
_ONE_RATE = 0.45


@dataclass(frozen=True)
class ProtocolEffect:
    """Strength after a preload protocol over that without preload.

    Attributes
    ----------
    protocol : Protocol
        Cycles and their level.
    specimens : int
        Broken after this protocol; 0 where it was not tested.
    ratio : Quantity
        Strength over that without preload.
    """

    protocol: Protocol
    specimens: int
    ratio: Quantity


@dataclass(frozen=True)
class CycledReading:
    """One quantity read from cycle to cycle at one level, by the best curve.

    Attributes
    ----------
    fit : CycleFit
        Every curve that was fitted.
    cycles : tuple of float
        First and last cycle read.
    first, last : float
        Value there: strain, N per unit strain, or J.
    ratio : Quantity
        Last over first.
    """

    fit: CycleFit
    cycles: tuple[float, float]
    first: float
    last: float
    ratio: Quantity


@dataclass(frozen=True)
class PreloadResult:
    """Preload cycling of one series.

    Attributes
    ----------
    source : str
        Table that the strengths come from; empty where none were fitted.
    level : float
        Probability of the intervals.
    fit : PreloadFit or None
        Effect on strength, with its draws.
    effects : tuple of ProtocolEffect
        One per protocol tested, fewest cycles first.
    rated : ProtocolEffect or None
        The protocol of the label, where it states one.
    readings : tuple of CycledReading
        What was read from cycle to cycle.
    problems : tuple of Problem
        What limits all this, and what could not be fitted.
    """

    source: str
    level: float
    fit: PreloadFit | None
    effects: tuple[ProtocolEffect, ...]
    rated: ProtocolEffect | None
    readings: tuple[CycledReading, ...]
    problems: tuple[Problem, ...]


def preload_result(
    cycling: Cycling | None, series: Series, *, level: float, rng: np.random.Generator
) -> PreloadResult | None:
    """Effect of cycling on a series; None where cycling.csv has no row of it.

    Parameters
    ----------
    cycling : Cycling or None
        As read by `read_cycling`.
    series : Series
        The series; its breaks serve where cycling.csv has no strengths.
    level : float
        Probability of the intervals.
    rng : numpy.random.Generator
        Source of randomness.
    """
    if cycling is None or series.name not in cycling.series:
        return None
    problems: list[Problem] = []
    fit, source = None, ""
    try:
        data, source = _strengths(cycling, series)
        fit = fit_preload(data, draws=DRAWS, rng=rng)
    except UNFIT as reason:
        source = ""
        problems.append(Problem("no-preload-effect", f"effect of cycling on strength: {reason}"))
    effects: tuple[ProtocolEffect, ...] = ()
    rated = None
    if fit is not None:
        problems += fit.problems
        effects = tuple(_effect(fit, p, level) for p in _tested(fit.data))
        rated = _rated(fit, series.rating, level)
        if rated is not None:
            problems += protocol_problems(fit, rated.protocol)
    readings, found = _readings(cycling_data(cycling, series.name), level, rng)
    return PreloadResult(source, level, fit, effects, rated, readings, (*problems, *found))


def never_cycled(result: PreloadResult) -> Quantity | None:
    """Strength of a line never cycled over that after the label's protocol."""
    if result.fit is None or result.rated is None:
        return None
    draws = translate_protocol(result.fit, result.rated.protocol, NO_PRELOAD)
    return quantity(draws, result.level)


def _strengths(cycling: Cycling, series: Series) -> tuple[PreloadData, str]:
    """Strengths after cycling from cycling.csv, else from the breaks of one rate."""
    data = cycled_strengths(cycling, series.name)
    if data.strength_N.size:
        return data, "cycling.csv"
    u = np.log10(series.used.strain_rate_per_s)
    best: PreloadData | None = None
    for low in np.unique(u[np.isfinite(u)]):
        try:
            near = preloaded_breaks(series, rate_per_s=(10**low, 10 ** (low + _ONE_RATE)))
        except NotIdentifiedError:
            continue
        rank = (len(_tested(near)), near.strength_N.size)
        if best is None or rank > (len(_tested(best)), best.strength_N.size):
            best = near
    if best is None:
        raise NotIdentifiedError(
            "neither cycling.csv nor breaks.csv has a strength with its preload; break three "
            "specimens without preload and three with"
        )
    return best, "breaks.csv"


def _tested(data: PreloadData) -> list[Protocol]:
    """Protocols with cycles, fewest first."""
    cycled = data.cycles * data.fraction > 0
    pairs = zip(data.cycles[cycled].tolist(), data.fraction[cycled].tolist(), strict=True)
    return [Protocol(n, q) for n, q in sorted(set(pairs))]


def _effect(fit: PreloadFit, protocol: Protocol, level: float) -> ProtocolEffect:
    same = (fit.data.cycles == protocol.cycles) & (fit.data.fraction == protocol.fraction)
    return ProtocolEffect(protocol, int(same.sum()), quantity(np.exp(fit.effect(protocol)), level))


def _rated(fit: PreloadFit, rating: Rating | None, level: float) -> ProtocolEffect | None:
    if rating is None or not rating.preload_cycles or not rating.preload_fraction:
        return None
    return _effect(fit, Protocol(rating.preload_cycles, rating.preload_fraction), level)


def _readings(
    data: CyclingData, level: float, rng: np.random.Generator
) -> tuple[tuple[CycledReading, ...], tuple[Problem, ...]]:
    out: list[CycledReading] = []
    problems: dict[str, Problem] = {}
    for name in QUANTITIES:
        if not np.isfinite(getattr(data, name)).any():
            continue
        try:
            fits = fit_cycling(data, name, rng=rng)
        except UNFIT as reason:
            problems[name] = Problem("no-cycle-curve", f"{reason}", "note")
            continue
        out += [_reading(fit, data, level) for fit in fits]
        problems |= {p.message: p for fit in fits for p in fit.problems}
    return tuple(out), tuple(problems.values())


def _reading(fit: CycleFit, data: CyclingData, level: float) -> CycledReading:
    from scipy.special import stdtrit

    rows = (data.preload_fraction == fit.preload_fraction) & (data.cycle >= 1)
    read = data.cycle[rows & np.isfinite(getattr(data, fit.quantity))]
    ends = (float(read.min()), float(read.max()))
    best = fit.fits[fit.best]
    first, last = fit.curves[fit.best].curve(best.values, np.array(ends))
    # the fit's interval is at 95 %: its width by Student's t carries over to another level
    middle, low, high = fit.change
    dof = max(best.degrees_of_freedom, 1)
    share = float(stdtrit(dof, 0.5 + level / 2) / stdtrit(dof, 0.975))
    ratio = Quantity(middle, middle - share * (middle - low), middle + share * (high - middle))
    return CycledReading(fit, ends, float(first), float(last), ratio)

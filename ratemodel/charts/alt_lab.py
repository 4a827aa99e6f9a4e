"""What the charts of logs, events, creep, preload, lives, plans and comparisons show, in words.

The first sentence serves as the picture's title.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ratemodel.comparing.claims import Interval
from ratemodel.comparing.many import Ranking
from ratemodel.comparing.pair import Comparison
from ratemodel.event import Course
from ratemodel.inference.creep_forecast import CreepForecast
from ratemodel.inference.life import LifeData
from ratemodel.inference.life_bounds import LifeBound
from ratemodel.inference.preload import PreloadFit
from ratemodel.inference.sherby_dorn import SherbyDorn
from ratemodel.models.fast_preload import FastPreload
from ratemodel.models.preload import Protocol
from ratemodel.planning.plan import Plan
from ratemodel.reduction.record import BreakRecord
from ratemodel.reliability import DemandAndStrength
from ratemodel.shown import (
    probability_text,
    quantity,
    rate_text,
    shown_unit,
    time_text,
    unit_text,
)
from ratemodel.units import UNITS, Unit, Units
from ratemodel.words import number_text, quantity_text

if TYPE_CHECKING:
    import pandas as pd

_NOT_A_LOAD = "An estimate, not a working load."


def log_alt(record: BreakRecord, units: Units | str | None = None) -> str:
    """Words for `log_chart`."""
    unit = shown_unit(UNITS["N"], units)
    peak = f"{number_text(record.peak_force_N / unit.factor, 4)} {unit_text(unit)}"
    end = "held at least" if record.censored else f"{record.ended} at"
    parts = [f"Force against time of pull {record.name}.", f"It {end} {peak}."]
    if np.isfinite(record.strain_rate_per_s):
        parts.append(f"Effective strain rate {rate_text(record.strain_rate_per_s)}.")
    for found, noun in ((record.cycles, "preload cycle"), (record.holds, "hold"),
                        (record.drops, "strand drop")):  # fmt: skip
        if found:
            parts.append(f"{_count(len(found), noun)}.")
    parts.append("The force at which one specimen was tested, not a working load.")
    return " ".join(parts)


def course_alt(result: Course, units: Units | str | None = None) -> str:
    """Words for `force_against_time` and `force_against_strain`."""
    unit = shown_unit(UNITS["N"], units)
    top = int(result.force_N.argmax())
    peak = f"{number_text(float(result.force_N[top]) / unit.factor, 3)} {unit_text(unit)}"
    return (
        f"Force in the line during the event {result.name}. It rises to {peak} at "
        f"{100 * float(result.strain[top]):.2g} % strain, "
        f"{time_text(float(result.time_s[top]))} after the line comes taut. {_NOT_A_LOAD}"
    )


def demand_alt(result: DemandAndStrength, units: Units | str | None = None) -> str:
    """Words for `demand_against_strength`."""
    unit = shown_unit(UNITS["N"], units)
    demand, strength = (
        quantity(x / unit.factor, 0.90).text(unit_text(unit))
        for x in (result.demand_N, result.strength_N)
    )
    parts = [
        f"Demand of the event {result.name} against the strength of one line.",
        f"Demand {demand}, strength {strength}, brackets hold 90 %.",
    ]
    if result.odds is not None:
        odds = probability_text(result.odds.probability)
        parts.append(f"Odds that demand exceeds strength: {odds}.")
    return " ".join([*parts, _NOT_A_LOAD])


def creep_alt(result: CreepForecast, units: Units | str | None = None) -> str:
    """Words for `creep_chart`."""
    unit = shown_unit(UNITS["N"], units)
    load = f"{number_text(unit.from_si(result.load_N), 3)} {unit_text(unit)}"
    median, low, high = (100 * float(x[-1]) for x in (result.median, result.low, result.high))
    beyond = float(result.decades_beyond.max())
    return (
        f"Creep strain against time at {load}. After {time_text(float(result.time_s[-1]))} it is "
        f"{quantity_text(median, low, high, '%')}, brackets hold {100 * result.level:g} %. "
        f"{beyond:.1f} decades of it lie beyond the last reading. {_NOT_A_LOAD}"
    )


def sherby_dorn_alt(several: Sequence[SherbyDorn]) -> str:
    """Words for `sherby_dorn_chart`."""
    told = "; ".join(f"{one.curve.specimen or 'unnamed'} {_plateau(one)}" for one in several)
    return f"Creep rate against strain of {_count(len(several), 'specimen')}. {told}."


def _plateau(one: SherbyDorn) -> str:
    rate = rate_text(one.plateau_rate_per_s)
    return f"reaches a plateau of {rate}" if one.plateau_reached else f"still falls, below {rate}"


def preload_alt(result: PreloadFit) -> str:
    """Words for `preload_chart`."""
    data = result.data
    parts = ["Breaking strength after preload cycling, against none."]
    for level in np.unique(data.fraction[data.cycles * data.fraction > 0]):
        most = float(data.cycles[data.fraction == level].max())
        ratio = quantity(np.exp(result.effect(Protocol(most, float(level)))), 0.90).text()
        parts.append(f"{most:g} cycles to {100 * level:.0f} %: times {ratio}.")
    parts.append(
        f"Brackets hold 90 %; {data.strength_N.size} specimens; probability of no effect "
        f"{100 * result.odds['no-effect']:.0f} %. {_NOT_A_LOAD}"
    )
    return " ".join(parts)


def fast_preload_alt(result: FastPreload) -> str:
    """Words for `fast_preload_chart`."""
    bias = 100 * (np.quantile(result.ratio, 0.95, axis=0) - 1)
    good = np.flatnonzero(bias < 0.1)
    i = int(good[np.argmax(result.time_saved_fraction[good])]) if good.size else 0
    return (
        "Machine time saved by a fast preload against the bias of the strength. A preload to "
        f"{100 * result.preload_fraction[i]:.0f} % saves "
        f"{100 * result.time_saved_fraction[i]:.0f} % of the time at a bias of at most "
        f"{max(float(bias[i]), 0.0):.2g} %, by linear damage alone. {_NOT_A_LOAD}"
    )


def life_alt(result: LifeBound, data: LifeData, units: Units | str | None = None) -> str:
    """Words for `life_chart`."""
    unit = shown_unit(UNITS["N"], units)
    i = int(np.argmin(result.load_N))
    load = f"{number_text(float(result.load_N[i]) / unit.factor, 3)} {unit_text(unit)}"
    return (
        f"Time to break against constant load. {_count(data.time_s.size, 'specimen')}, "
        f"{int((~data.broke).sum())} not broken. At {load} half last "
        f"{time_text(float(result.median_s[i]))}; {100 * result.fraction:g} % last longer than "
        f"{time_text(float(result.lower_s[i]))}, with {100 * result.confidence:g} % confidence. "
        f"{_NOT_A_LOAD}"
    )


def coverage_alt(table: pd.DataFrame, nominal: float) -> str:
    """Words for `coverage_chart`."""
    kinds = [c for c in table.columns if c not in ("part", "cell", "campaigns")]
    told = "; ".join(f"{k} {100 * table[k].min():.0f} to {100 * table[k].max():.0f} %"
                     for k in kinds)  # fmt: skip
    return (
        f"Share of intervals that held the truth, promised {100 * nominal:g} %. Over "
        f"{len(table)} kinds of truth: {told}."
    )


def hours_alt(plan: Plan) -> str:
    """Words for `interval_against_hours`."""
    told = "; ".join(
        f"{name} ±{50 * float(width[-1]):.1f} %" for name, width in plan.curve.width.items()
    )
    return (
        f"Expected interval against machine hours for {plan.sheet.series}. After "
        f"{float(plan.curve.hours[-1]):.3g} hours: {told}; {100 * plan.request.level:g} % "
        f"intervals of the {plan.request.question.words}. A forecast from the models."
    )


def design_alt(plan: Plan) -> str:
    """Words for `design_on_rate_axis`."""
    told = "; ".join(f"{n} at {rate_text(c.strain_rate_per_s)} on {c.machine.name}"
                     for c, n in plan.chosen.tests)  # fmt: skip
    return (
        f"What to test next of {plan.sheet.series}. {told}. Rate asked about: "
        f"{rate_text(plan.request.question.strain_rate_per_s)}."
    )


def ratio_alt(result: Comparison) -> str:
    """Words for `ratio_chart`."""
    a, b = result.names
    told = []
    for p in result.points:
        ratio = quantity_text(p.ratio.median, p.ratio.low, p.ratio.high, "")
        claim = f", claim holds with probability {odds_number(p.claim)}" if p.claim else ""
        beyond = ", beyond the tests" if max(p.decades_beyond) > 0.05 else ""
        told.append(f"At {rate_text(p.strain_rate_per_s)} {ratio}{claim}{beyond}.")
    level = 100 * result.settings.level
    return (
        f"Strength of {b} over strength of {a}. {' '.join(told)} Brackets hold {level:g} %. "
        f"{_NOT_A_LOAD}"
    )


def ranking_alt(result: Ranking, unit: Unit) -> str:
    """Words for `ranking_chart`."""
    told = "; ".join(
        f"{p.name} {_in_unit(p.strength, unit)}, strongest with probability {odds_number(p.best)}"
        for p in result.products
    )
    return (
        f"Products compared at {rate_text(result.strain_rate_per_s)}. {told}. Brackets hold "
        f"{100 * result.level:g} %. {_NOT_A_LOAD}"
    )


def _in_unit(strength: Interval, unit: Unit) -> str:
    median, low, high = (unit.from_si(v) for v in (strength.median, strength.low, strength.high))
    return quantity_text(median, low, high, unit_text(unit))


def odds_number(p: float) -> str:
    """A probability with no more certainty than the draws carry."""
    if p > 0.999:
        return "> 0.999"
    if p > 0.99:
        return f"{np.floor(1000 * p) / 1000:.3f}"
    return "< 0.001" if p < 0.001 else number_text(p, 2)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"

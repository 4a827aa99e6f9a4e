"""The use cases' part of results.json."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeAlias, Union

import numpy as np

from ratemodel.analysis import UseResult
from ratemodel.answers import ModelAnswer
from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem
from ratemodel.event import Event
from ratemodel.inference.ratefit import stratified_scatter
from ratemodel.limits import FailureProbability, Limit
from ratemodel.odds import SMALLEST
from ratemodel.shown import Quantity, quantity, shown_unit, strength_quantity
from ratemodel.steps import Explanation
from ratemodel.translation import UseStrength
from ratemodel.units import Unit
from ratemodel.words import cautions, round_down

Json: TypeAlias = Union[
    bool, int, float, str, "Sequence[Json]", "Mapping[str, Json]", "list[Json]", None
]
#: Digits kept when a limit is rounded down.
LIMIT_DIGITS = 4


def use_json(result: UseResult) -> dict[str, Json]:
    """One use case with its event, strength, steps, limits and odds."""
    strength = result.strength
    fit = strength.fit
    unit = shown_unit(strength.unit)
    mean = strength_quantity(strength.mean_ln, fit.level, unit)
    one = strength_quantity(_one_line_ln(strength), fit.level, unit)
    return {
        "name": strength.use.name,
        "series": strength.use.series,
        "kind": strength.use.kind,
        "event": _event(strength),
        f"strength_{unit.symbol}": {
            **quantity_json(mean),
            "specimen_interval": [one.low, one.high],
            "lower_bound": unit.from_si(strength.lower_bound),
        },
        "strength_unit": unit.symbol,
        "level": fit.level,
        "bound": {"fraction": fit.bound.fraction, "confidence": fit.bound.confidence},
        "decades_beyond_data": strength.decades_beyond,
        "steps_start": _end(result.explanation.ln_start, result.explanation.start_name, fit.level,
                            unit),
        "steps": _steps(result.explanation, fit.level),
        "steps_end": _end(result.explanation.ln_end, "one line in use", fit.level, unit),
        "working_load_limit": [limit_json(row, unit) for row in result.limits],
        "failure_probability": _failure(result.failure, fit.level),
        "dominant_uncertainty": [{"name": name, "share": share} for name, share in result.shares],
        "variance": _dominance(result),
        "demand_scale": result.limits.demand_scale,
        "held_load": _held(result, unit),
        "shock_damage": _damage(result),
        "problems": [problem_json(p) for p in (*strength.problems, *result.problems)],
        "cautions": [*cautions(len(fit.series.used))],
    }  # fmt: skip


def quantity_json(q: Quantity) -> dict[str, Json]:
    """A quantity as the contract writes it."""
    return {"median": q.median, "interval": [q.low, q.high]}


def problem_json(problem: Problem) -> Json:
    """A finding as the contract writes it."""
    return {"code": problem.code, "message": problem.message, "severity": problem.severity}


def answer_json(strength: UseStrength, answer: ModelAnswer) -> Json:
    """What one model alone says at a use's median rate, factors included."""
    unit = shown_unit(strength.unit)
    shown = [
        unit.from_si(float(np.exp(x)))
        for x in (answer.ln_mean.median, answer.ln_mean.low, answer.ln_mean.high)
    ]
    return {
        "use": strength.use.name,
        "strain_rate_per_s": float(10 ** np.median(strength.u)),
        f"strength_{unit.symbol}": {"median": shown[0], "interval": shown[1:]},
    }


def limit_json(row: Limit, unit: Unit) -> Json:
    """One working load limit; the value is rounded down."""
    low, high = (unit.from_si(x) for x in row.interval)
    return {
        "policy": row.policy,
        f"value_{unit.symbol}": round_down(unit.from_si(row.value), LIMIT_DIGITS),
        f"interval_{unit.symbol}": [low, high],
        "implied_failure_probability": at_least_smallest(row.implied_failure_probability),
        "informative": row.informative,
        "decades_beyond_data": row.decades_beyond,
        "basis": row.basis,
    }


def _one_line_ln(strength: UseStrength) -> FloatArray:
    """ln of the strength of one line, per draw."""
    spread = stratified_scatter(
        strength.sigma[:, None], strength.batch_sd[:, None], strength.fit.scatter
    )
    return np.asarray(strength.mean_ln + spread[:, 0])


def _event(strength: UseStrength) -> Json:
    event: Event = strength.event
    level = strength.fit.level

    def shown(values: FloatArray | None, factor: float = 1.0) -> Json:
        return None if values is None else quantity_json(quantity(values * factor, level))

    return {
        "peak_force_kN": shown(event.peak_force_N, 1e-3),
        # the rate at which strength is read; for a steady load, of a pull that lasts as long
        "strain_rate_per_s": shown(10**strength.u),
        "time_to_peak_s": shown(event.time_to_peak_s),
        "peak_strain": shown(event.peak_strain),
        "mean_strain_rate_per_s": shown(event.mean_strain_rate_per_s),
        "duration_h": shown(event.duration_s, 1 / 3600.0),
    }


def _end(ln_strength: FloatArray, name: str, level: float, unit: Unit) -> Json:
    q = strength_quantity(ln_strength, level, unit)
    return {"name": name, f"strength_{unit.symbol}": quantity_json(q)}


def _steps(explanation: Explanation, level: float) -> list[Json]:
    return [
        {
            "name": step.name,
            "ratio": quantity_json(quantity(np.exp(step.ln_ratio), level)),
            "origin": step.origin,
        }
        for step in explanation.steps
    ]


def _failure(failure: FailureProbability | None, level: float) -> Json:
    if failure is None:
        return None
    q = quantity(failure.per_draw, level)
    low, middle, high, mean = (
        at_least_smallest(p) for p in (q.low, q.median, q.high, failure.mean)
    )
    return {
        "median": middle,
        "interval": [low, high],
        "mean": mean,
        "smallest_told_apart": SMALLEST,
        "informative": failure.informative,
        "words": failure.words,
    }


def at_least_smallest(probability: float) -> float:
    """A probability as written: below 1e-9 only the assumed tail speaks, and 1e-9 is written."""
    return max(probability, SMALLEST)


def _dominance(result: UseResult) -> Json:
    d = result.dominance
    indices: list[Json] = [
        {"name": name, "first_order": float(first), "total": float(total)}
        for name, first, total in zip(d.names, d.first, d.total, strict=True)
    ]
    return {"of": d.of_what, "indices": indices}


def _held(result: UseResult, unit: Unit) -> Json:
    """Life under the load and the load for the service life, where there are lives to go by."""
    held = result.held
    if held is None:
        return None
    median, low, high = (t / 3600.0 for t in held.life_s)
    ends = [unit.from_si(x) for x in held.working_load_interval_N]
    return {
        "service_life_h": held.duration_s / 3600.0,
        "life_h": {"median": median, "interval": [low, high]},
        "lower_life_h": held.lower_life_s / 3600.0,
        f"working_load_{unit.symbol}": round_down(unit.from_si(held.working_load_N), LIMIT_DIGITS),
        f"working_load_interval_{unit.symbol}": list(ends),
        "fraction": held.fraction,
        "confidence": held.confidence,
    }


def _damage(result: UseResult) -> Json:
    damage = result.damage
    if damage is None:
        return None
    one, low, high = damage.per_shock
    return {
        "per_shock": {"median": one, "interval": [low, high]},
        "shocks": damage.shocks if np.isfinite(damage.shocks) else None,
        "lower_count": damage.lower_count if np.isfinite(damage.lower_count) else None,
        "fraction": damage.fraction,
        "confidence": damage.confidence,
    }

"""Preload cycling and creep of a series in results.json."""

from __future__ import annotations

import numpy as np

from ratemodel.analysis import SeriesResult
from ratemodel.endurance import (
    CreepRate,
    CreepResult,
    CycledReading,
    PreloadResult,
    ProtocolEffect,
    StrainForecast,
)
from ratemodel.endurance.preload import never_cycled
from ratemodel.report.use_json import Json, problem_json, quantity_json
from ratemodel.shown import Quantity

#: Name in results.json, suffix with the unit, SI over that unit.
_READ = {
    "residual_elongation": ("residual_elongation", "", 1.0),
    "stiffness_N": ("stiffness", "_kN", 1e-3),
    "hysteresis_J": ("hysteresis", "_J", 1.0),
}


def endurance_json(result: SeriesResult) -> dict[str, Json]:
    """``preload`` and ``creep`` of a series, each only where there is data."""
    out: dict[str, Json] = {}
    if result.preload is not None:
        out["preload"] = _preload(result.preload)
    if result.creep is not None:
        out["creep"] = _creep(result.creep)
    return out


def _preload(result: PreloadResult) -> Json:
    fit, never = result.fit, never_cycled(result)
    return {
        "level": result.level,
        "source": result.source or None,
        "specimens": 0 if fit is None else int(fit.data.strength_N.size),
        "models": [] if fit is None else [
            {"name": name, "weight": weight} for name, weight in fit.odds.items()
        ],
        "effects": [_effect(e) for e in result.effects],
        "rated": None if result.rated is None else _effect(result.rated),
        "never_cycled_over_rated": None if never is None else quantity_json(never),
        "readings": [_reading(r) for r in result.readings],
        "problems": [problem_json(p) for p in result.problems],
    }  # fmt: skip


def _effect(effect: ProtocolEffect) -> Json:
    return {
        "cycles": effect.protocol.cycles,
        "preload_fraction": effect.protocol.fraction,
        "specimens": effect.specimens,
        "strength_over_no_preload": quantity_json(effect.ratio),
    }


def _reading(reading: CycledReading) -> Json:
    name, unit, factor = _READ[reading.fit.quantity]
    return {
        "quantity": name,
        "preload_fraction": reading.fit.preload_fraction,
        "cycles": [*reading.cycles],
        "curve": reading.fit.curves[reading.fit.best].name,
        f"first{unit}": factor * reading.first,
        f"last{unit}": factor * reading.last,
        "last_over_first": quantity_json(reading.ratio),
    }


def _creep(result: CreepResult) -> Json:
    models: list[Json] = []
    if result.average is not None:
        shares = zip(result.average.members, result.average.weights(), strict=True)
        models = [{"name": m.model.name, "weight": float(w)} for m, w in shares]
    return {
        "level": result.level,
        "models": models,
        "models_without_weight": [*result.left_out],
        "plateau_rates": [_rate(r) for r in result.rates],
        "forecasts": [_forecast(f) for f in result.forecasts],
        "problems": [problem_json(p) for p in result.problems],
    }


def _rate(rate: CreepRate) -> Json:
    return {
        "load_kN": rate.load_N / 1e3,
        "temperature_C": rate.temperature_K - 273.15,
        "runs": rate.runs,
        "broke": rate.broke,
        "last_reading_h": rate.last_time_s / 3600.0,
        "rate_per_s": quantity_json(rate.rate),
        "plateau_reached": rate.reached,
    }


def _forecast(one: StrainForecast) -> Json:
    f = one.forecast
    curve: list[Json] = [
        {"time_h": float(f.time_s[i] / 3600.0), "strain": quantity_json(_at(one, i)),
         "decades_beyond_data": float(f.decades_beyond[i])}
        for i in range(np.size(f.time_s))
    ]  # fmt: skip
    by_load: list[Json] = [
        {"load_kN": load / 1e3, "strain": quantity_json(strain)} for load, strain in one.by_load
    ]
    return {
        "use": one.use or None,
        "load_kN": f.load_N / 1e3,
        "temperature_C": f.temperature_K - 273.15,
        "temperature_origin": one.temperature_origin,
        "duration_h": float(f.time_s[-1] / 3600.0),
        "strain": quantity_json(one.strain),
        "rate_per_s": float(f.rate_median_per_s[-1]),
        "decades_beyond_data": float(f.decades_beyond[-1]),
        "models": [{"name": n, "weight": w, "strain": s} for n, w, s in f.by_model],
        "by_load": by_load,
        "curve": curve,
    }


def _at(one: StrainForecast, i: int) -> Quantity:
    f = one.forecast
    return Quantity(float(f.median[i]), float(f.low[i]), float(f.high[i]))

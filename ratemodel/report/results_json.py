"""results.json: every result of an analysis as plain numbers with the unit in the name."""

from __future__ import annotations

import json
import math
import platform
from collections.abc import Mapping
from importlib.metadata import version
from typing import TypeAlias

import numpy as np

import ratemodel
from ratemodel.analysis import Analysis, SeriesResult, UseResult
from ratemodel.answers import model_answers
from ratemodel.arrays import FloatArray
from ratemodel.inference.priors import Prior, RatePriors
from ratemodel.inference.ratefit import Curve, ModelFit, RateFit
from ratemodel.planning import NextTest
from ratemodel.report.archive_part import archive_json
from ratemodel.report.checks import diagnostics_json, sensitivity_json
from ratemodel.report.endurance_json import endurance_json
from ratemodel.report.use_json import (
    Json,
    answer_json,
    problem_json,
    quantity_json,
    use_json,
)
from ratemodel.shown import quantity, shown_unit
from ratemodel.units import Unit

SCHEMA = 1
Pair: TypeAlias = list[float]


def results(analysis: Analysis) -> dict[str, Json]:
    """All results as dicts, lists, text and finite numbers; what is missing is None.

    Names and nesting are those of the data contract; a name once given keeps its meaning.
    """
    campaign = analysis.campaign
    out: dict[str, Json] = {
        "schema": SCHEMA,
        "campaign": {"name": campaign.name, "tests": campaign.tests, "sha256": campaign.sha256},
        "software": {**software()},
        "seed": analysis.seed,
        "draws": analysis.settings.draws,
        "series": [_series(r, analysis) for r in analysis.series],
        "use_cases": [_use(u) for u in analysis.uses],
        "archive": archive_json(analysis),
        "next_test": _next_test(analysis.next_test),
        "problems": [problem_json(p) for p in analysis.problems],
        "cautions": [*analysis.cautions],
    }
    cleaned = _finite(out)
    assert isinstance(cleaned, dict)
    return cleaned


def results_bytes(analysis: Analysis) -> bytes:
    """`results` as strict JSON text in UTF-8."""
    text = json.dumps(results(analysis), indent=1, allow_nan=False, ensure_ascii=False)
    return (text + "\n").encode("utf-8", "backslashreplace")


def software() -> dict[str, str]:
    """Versions of what made the numbers."""
    names = ("numpy", "scipy", "lmfit")
    return {
        "ratemodel": ratemodel.__version__,
        "python": platform.python_version(),
        **{name: version(name) for name in names},
    }


def _use(result: UseResult) -> Json:
    unit = shown_unit(result.strength.unit)
    return {**use_json(result), "sensitivity": sensitivity_json(result, unit)}


def _series(result: SeriesResult, analysis: Analysis) -> Json:
    fit = result.fit
    series = fit.series
    unit = shown_unit(series.strength_unit)
    low, high = fit.tested
    uses = [u.strength for u in analysis.uses if u.strength.fit is fit]
    answers = [(s, model_answers(s)) for s in uses]
    return {
        "name": series.name,
        "material": series.material,
        "strength_unit": unit.symbol,
        "tests": len(series.used) + len(series.set_aside),
        "used": len(series.used),
        "censored": int((~series.used.broke).sum()),
        "excluded": len(series.set_aside),
        "strain_rate_range_per_s": [low, high],
        "machines": [*fit.data.machines],
        "batches": [*fit.data.batches],
        "scatter": fit.scatter,
        "models": [
            {**_model(m, fit), "answers": [answer_json(s, rows[j]) for s, rows in answers]}
            for j, m in enumerate(fit.models)
        ],
        "curve": _curve(result.curve, unit),
        "level": fit.level,
        "bound": {"fraction": fit.bound.fraction, "confidence": fit.bound.confidence},
        "screening": [
            {"check": f.check, "specimens": [*f.specimens], "verdict": f.verdict,
             "detail": f.detail}
            for f in result.screening
        ],
        "diagnostics": diagnostics_json(result),
        "priors": _priors(fit.priors),
        "problems": [problem_json(p) for p in fit.problems],
        **endurance_json(result),
    }  # fmt: skip


def _model(model: ModelFit, fit: RateFit) -> dict[str, Json]:
    """One model alone: every parameter it has, with what it warns of."""
    draws = model.draws
    columns = {p.name: draws.linear[:, i] for i, p in enumerate(model.model.linear)}
    columns |= {p.name: draws.shape[:, i] for i, p in enumerate(model.model.shape)}
    columns |= {"sigma": draws.sigma, "growth": draws.growth, "batch_sd": draws.batch_sd}
    columns |= {
        f"covariate_{name}": draws.covariates[:, i]
        for i, name in enumerate(fit.data.covariate_names)
    }
    return {
        "name": model.model.name,
        "title": model.model.title,
        "formula": model.model.formula,
        "source": model.model.source,
        "weight": model.weight,
        "log_evidence": model.log_evidence,
        "reference_strain_rate_per_s": float(10**model.model.reference),
        "parameters": {k: quantity_json(quantity(v, fit.level)) for k, v in columns.items()},
        "warnings": [p.message for p in model.problems],
    }


def _curve(curve: Curve, unit: Unit) -> list[Json]:
    def shown(ln_strength: float) -> float:
        return unit.from_si(float(np.exp(ln_strength)))

    def pair(ends: FloatArray) -> Pair:
        return [shown(float(ends[0])), shown(float(ends[1]))]

    name = unit.symbol
    return [
        {
            "strain_rate_per_s": _rate(float(curve.u[i])),
            f"median_{name}": shown(float(curve.median[i])),
            f"mean_interval_{name}": [*pair(curve.mean_interval[:, i])],
            f"specimen_interval_{name}": [*pair(curve.specimen_interval[:, i])],
            f"lower_bound_{name}": shown(float(curve.lower_bound[i])),
            "decades_beyond_data": float(curve.decades_beyond[i]),
        }
        for i in range(curve.u.size)
    ]


def _rate(u: float) -> float:
    """Rate as asked for: 12 digits undo the trip through the logarithm."""
    return float(f"{10**u:.12g}")


def _priors(priors: RatePriors) -> Json:
    rows: list[Json] = [_prior(p) for p in priors.parameters.values()]
    rows += [
        {"name": f"machine {name}" if name else "machine (each)", "unit": "",
         "distribution": {"kind": "normal", "a": 0.0, "b": sd},
         "origin": "calibration, as a fraction of the reading"}
        for name, sd in priors.machine_sd.items()
    ]  # fmt: skip
    return {"parameters": rows, "model_weights": {**priors.weights}}


def _prior(prior: Prior) -> Json:
    row: dict[str, Json] = {
        "name": prior.name,
        "distribution": _distribution(prior.distribution.kind, prior.distribution.a,
                                      prior.distribution.b),
        "unit": prior.unit,
        "origin": prior.origin,
    }  # fmt: skip
    if prior.broad is not None:
        row["broad"] = _distribution(prior.broad.kind, prior.broad.a, prior.broad.b)
        row["broad_weight"] = prior.broad_weight
    return row


def _distribution(kind: str, a: float, b: float) -> Json:
    return {"kind": kind, "a": a, "b": b}


def _next_test(plan: NextTest | None) -> Json:
    if plan is None:
        return None
    return {
        "series": plan.series,
        "strain_rate_per_s": plan.strain_rate_per_s,
        "specimens": plan.specimens,
        "machine_time_h": plan.machine_time_h,
        "expected_interval_ratio": plan.expected_interval_ratio,
        "question": plan.question,
        "candidates": [
            {"strain_rate_per_s": float(10**u), "expected_interval_ratio": float(ratio)}
            for u, ratio in plan.candidates
        ],
    }


def _finite(value: Json) -> Json:
    """The same with every NaN and infinity turned into None."""
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, Mapping):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_finite(v) for v in value]
    return value


__all__ = ["results", "results_bytes", "software"]

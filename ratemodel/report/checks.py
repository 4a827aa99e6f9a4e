"""How the answer moves, and how the fit stands up to its own data: tables and JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ratemodel.analysis import SeriesResult, UseResult
from ratemodel.report.blocks import Block, Table, Text
from ratemodel.report.use_json import Json
from ratemodel.shown import rate_text, shown_unit, unit_text
from ratemodel.units import Unit, Units
from ratemodel.words import CAUTION, limit_text, number_text, quantity_text


def sensitivity_blocks(result: UseResult, units: Units | None = None) -> tuple[Block, ...]:
    """Average strength at the use's rate under every assumption, before the use's factors."""
    unit = shown_unit(result.strength.unit, units)
    answer = result.sensitivity
    rows = []
    for a in answer.answers:
        median, low, high = (unit.from_si(float(np.exp(x))) for x in (a.median, a.low, a.high))
        bound = limit_text(unit.from_si(float(np.exp(a.lower_bound))), unit_text(unit))
        odds = "" if a.weight is None else f"{100 * a.weight:.0f} %"
        rows.append((a.assumption, odds, quantity_text(median, low, high, unit_text(unit)), bound))
    label = result.strength.fit.bound.label
    header = ("assumption", "odds", "average strength", f"lower bound {label}")
    caption = (
        f"How the answer at {rate_text(answer.strain_rate_per_s)} moves, before the factors of use "
        f"{result.strength.use.name}"
    )
    return (Table(caption, header, tuple(rows), (1, 2, 3)), Text(CAUTION, "caution"))


def diagnostics_blocks(result: SeriesResult) -> tuple[Block, ...]:
    """Misfit, leave-one-rate-out, residuals and scatter of one series."""
    name, checks = result.fit.series.name, result.diagnostics
    misfit = tuple(
        (t.model, "cannot be tested" if t.f is None else number_text(t.f),
         f"{max(t.dof[0], 0)}, {t.dof[1]}", "" if t.p is None else number_text(t.p, 2))
        for t in checks.lack_of_fit
    )  # fmt: skip
    left = tuple(
        (rate_text(r.strain_rate_per_s), f"{100 * np.expm1(r.measured_ln - r.predicted_ln):+.1f} %",
         f"{r.z:+.1f}")
        for r in checks.left_out
    )  # fmt: skip
    residual = tuple(
        (r.kind, r.name or "(no name)", str(r.specimens), f"{100 * r.mean:+.1f} %")
        for r in checks.residuals
    )
    scatter = tuple(
        (rate_text(s.strain_rate_per_s), f"{100 * s.sd:.1f} %", number_text(s.p_larger, 2))
        for s in checks.scatter
    )
    return (
        Table(f"Lack of fit of {name} (F test against pure error)",
              ("model", "F", "degrees of freedom", "p"), misfit, (1, 2, 3)),
        Table(f"Each rate of {name} predicted from the others",
              ("rate left out", "measured over predicted", "in standard deviations"), left, (1, 2)),
        Table(f"Mean residual of {name}", ("group", "name", "specimens", "residual"), residual,
              (2, 3)),
        Table(f"Scatter of {name} against what the models expect",
              ("rate", "standard deviation", "probability of a larger one"), scatter, (1, 2)),
    )  # fmt: skip


def sensitivity_json(result: UseResult, unit: Unit) -> Json:
    """Answers under every assumption, in the unit shown."""
    answers: list[Mapping[str, Json]] = []
    for a in result.sensitivity.answers:
        shown = [unit.from_si(float(np.exp(x))) for x in (a.median, a.low, a.high, a.lower_bound)]
        answers.append({
            "assumption": a.assumption, "weight": a.weight,
            f"median_{unit.symbol}": shown[0], f"interval_{unit.symbol}": shown[1:3],
            f"lower_bound_{unit.symbol}": shown[3],
        })  # fmt: skip
    return {"strain_rate_per_s": result.sensitivity.strain_rate_per_s, "answers": answers}


def diagnostics_json(result: SeriesResult) -> Json:
    """All checks of one series."""
    d = result.diagnostics
    rows: dict[str, Sequence[Json]] = {
        "lack_of_fit": [
            {"model": t.model, "f": t.f, "degrees_of_freedom": [*t.dof], "p": t.p}
            for t in d.lack_of_fit
        ],
        "left_out": [
            {"strain_rate_per_s": r.strain_rate_per_s, "z": float(r.z),
             "measured_over_predicted": float(np.exp(r.measured_ln - r.predicted_ln))}
            for r in d.left_out
        ],
        "residuals": [
            {"kind": r.kind, "name": r.name, "mean_ln": r.mean, "specimens": r.specimens}
            for r in d.residuals
        ],
        "scatter": [
            {"strain_rate_per_s": s.strain_rate_per_s, "sd_ln": s.sd, "p_larger": s.p_larger}
            for s in d.scatter
        ],
    }  # fmt: skip
    return rows

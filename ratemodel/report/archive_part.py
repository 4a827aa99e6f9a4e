"""The products of a campaign read together: table, check and JSON."""

from __future__ import annotations

from ratemodel.analysis import Analysis
from ratemodel.report.blocks import Block, Heading, Table, Text
from ratemodel.report.use_json import Json
from ratemodel.shown import rate_text, shown_unit, unit_text
from ratemodel.units import Units
from ratemodel.words import CAUTION, limit_text, number_text, quantity_text


def archive_blocks(analysis: Analysis, units: Units | None = None) -> tuple[Block, ...]:
    """Strength of every product at common rates, those known at one speed only included."""
    shared = analysis.shared
    if shared is None:
        return ()
    rows = []
    for r in shared.rows:
        series = analysis.campaign.series[r.product]
        unit = shown_unit(series.strength_unit, units)
        ends = [unit.from_si(x) for x in (r.mean.median, r.mean.low, r.mean.high)]
        rests = "other products" if r.shared else "its own tests"
        if r.beyond_all > 0:
            rests = f"priors: {number_text(r.beyond_all, 2)} decades beyond every product"
        rows.append((
            r.product, rate_text(r.strain_rate_per_s),
            quantity_text(ends[0], ends[1], ends[2], unit_text(unit)),
            limit_text(unit.from_si(r.lower_bound), unit_text(unit)), rests,
        ))  # fmt: skip
    header = ("product", "strain rate", "average", "lower bound 95/95", "rests on")
    return (
        Heading("All products together"),
        Text("Products share how rate acts on their fibre and construction, so that one known at a "
             "single speed borrows its rate effect from the others. " + shared.score.sentence()),
        Table("Strength by the joint model of all products", header, tuple(rows), (1, 2, 3)),
        Text(CAUTION, "caution"),
    )  # fmt: skip


def archive_json(analysis: Analysis) -> Json:
    """The joint model's strengths (SI) and its check on itself; None where there is none."""
    shared = analysis.shared
    if shared is None:
        return None
    rows: list[Json] = [
        {"product": r.product, "strain_rate_per_s": r.strain_rate_per_s,
         "median_si": r.mean.median, "mean_interval_si": [r.mean.low, r.mean.high],
         "lower_bound_si": r.lower_bound, "decades_beyond_data": r.decades_beyond,
         "decades_beyond_all_products": r.beyond_all, "shared": bool(r.shared)}
        for r in shared.rows
    ]  # fmt: skip
    cells = shared.score.cells
    return {
        "rows": rows,
        "leave_one_product_out": {
            "level": shared.score.level,
            "cells": len(cells),
            "inside": sum(bool(c.inside) for c in cells),
        },
    }

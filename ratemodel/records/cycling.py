"""Preload cycling: cycling.csv."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ratemodel.errors import InputError
from ratemodel.records.breaks import (
    COUNT,
    FORCE,
    PRELOAD,
    SPECIFIC,
    STRENGTH,
    STRESS,
    TEMPERATURE,
)
from ratemodel.records.csvtext import read_table
from ratemodel.records.files import open_folder, read_bytes
from ratemodel.records.layout import Columns, Layout, check_reasons, check_series, lay_out
from ratemodel.records.names import Stem
from ratemodel.records.strength import MEASURED, one_of
from ratemodel.records.tables import Campaign
from ratemodel.records.time_tables import Cycling

FILE = "cycling.csv"
_MEASURES = ("residual_elongation", "stiffness", "hysteresis")
_CYCLING = Columns(
    {
        "cycle": COUNT,
        "preload": PRELOAD,
        "peak_force": FORCE,
        "strength": STRENGTH,
        "peak_stress": STRESS,
        "tenacity": SPECIFIC,
        "residual_elongation": Stem(("ratio",), low=-0.5, low_included=True, high=10.0),
        "stiffness": Stem(("force",)),
        "hysteresis": Stem(("energy",), low_included=True),
        "temperature": TEMPERATURE,
    },
    ("specimen", "series", "broke", "batch", "machine", "excluded", "note"),
    required=("specimen", "series", "cycle", "preload"),
)


def read_cycling(folder: str | Path, campaign: Campaign) -> Cycling | None:
    """Read and check the preload cycling of a campaign.

    Parameters
    ----------
    folder : str or Path
        Campaign folder.
    campaign : Campaign
        The campaign read from it, for the names of its series and the kind of their strength.

    Returns
    -------
    Cycling or None
        None where there is no cycling.csv.

    Raises
    ------
    InputError
        One line: file, row, column, what is wrong, what would be right.
    """
    data = read_bytes(open_folder(folder), FILE)
    if data is None:
        return None
    layout = lay_out(read_table(data, FILE), _CYCLING)
    check_series(layout, tuple(campaign.series))
    check_reasons(layout)
    _check_rows(layout)
    _check_dimension(layout, campaign)
    strength = one_of(layout, MEASURED)
    table = layout.table
    nothing = np.full(len(table), np.nan)
    return Cycling(
        specimen=tuple(layout.text("specimen")),
        series=tuple(layout.text("series")),
        cycle=layout.numbers("cycle"),
        preload_fraction=layout.numbers("preload"),
        strength=nothing if strength is None else layout.numbers(strength),
        broke=tuple(layout.flags("broke", empty=True).tolist()),
        residual_elongation=layout.numbers("residual_elongation"),
        stiffness_N=layout.numbers("stiffness"),
        hysteresis_J=layout.numbers("hysteresis"),
        temperature_K=layout.numbers("temperature"),
        batch=tuple(layout.text("batch")),
        machine=tuple(layout.text("machine")),
        excluded=tuple(layout.text("excluded")),
        note=tuple(layout.text("note")),
        row=tuple(table.lines.tolist()),
    )


def _check_rows(layout: Layout) -> None:
    """Refuse a row without its place (specimen, cycle, preload), without a value, or twice."""
    strength = one_of(layout, MEASURED)
    measured = [name for name in (strength, *_MEASURES) if name and name in layout.matches]
    if not measured:
        raise InputError(
            "nothing measured: no column of peak force, residual elongation, stiffness, hysteresis",
            "at least one, such as peak_force_kN or residual_elongation_percent",
            file=FILE,
            row=layout.table.header_line,
            column="peak_force_kN",
        )
    series_of: dict[str, str] = {}
    seen: set[tuple[str, float]] = set()
    cycle, preload = layout.numbers("cycle"), layout.numbers("preload")
    empty = np.all([np.isnan(layout.numbers(name)) for name in measured], axis=0)
    excluded = layout.text("excluded")
    cells = zip(layout.text("specimen"), layout.text("series"), strict=True)
    for row, (specimen, series) in enumerate(cells):
        if not specimen:
            raise layout.error("specimen", row, "the specimen has no name", "a name")
        if np.isnan(cycle[row]) or cycle[row] != np.floor(cycle[row]):
            raise layout.error("cycle", row, "no whole number of cycles", "a whole number from 0")
        if np.isnan(preload[row]) and cycle[row] > 0:
            raise layout.error("preload", row, "the preload is missing", "a number from 0 to 1.5")
        if empty[row] and not excluded[row]:
            raise layout.error(measured[0], row, "nothing measured in this row", "a value")
        if series_of.setdefault(specimen, series) != series:
            raise layout.error(
                "series", row, f"{specimen} is also in {series_of[specimen]}", "one series only"
            )
        if (specimen, cycle[row]) in seen:
            raise layout.error(
                "cycle", row, f"cycle {cycle[row]:g} of {specimen} stands twice", "it once"
            )
        seen.add((specimen, float(cycle[row])))


def _check_dimension(layout: Layout, campaign: Campaign) -> None:
    name = one_of(layout, MEASURED)
    if name is None:
        return
    values = layout.numbers(name)
    for row, series in enumerate(layout.text("series")):
        wanted = campaign.series[series].strength_unit.dimension
        if np.isfinite(values[row]) and layout.unit(name).dimension != wanted:
            raise layout.error(
                name,
                row,
                f"a {layout.unit(name).dimension}, the series {series} has a {wanted}",
                f"a {wanted}",
            )

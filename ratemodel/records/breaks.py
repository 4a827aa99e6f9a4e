"""The break table: rows of breaks.csv to specimens by series."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray, IntArray
from ratemodel.records.csvtext import read_table
from ratemodel.records.files import check_inside
from ratemodel.records.layout import Columns, Layout, check_reasons, check_series, lay_out
from ratemodel.records.names import Stem
from ratemodel.records.rates import Rates, read_rates
from ratemodel.records.strength import MOST_PER_ROW, Strengths, read_strengths, unfold
from ratemodel.records.tables import Specimens
from ratemodel.units import UNITS, Unit

FILE = "breaks.csv"
FORCE = Stem(("force",))
STRESS = Stem(("stress",))
SPECIFIC = Stem(("specific strength",))
STRENGTH = Stem(("stress", "specific strength"))
LENGTH = Stem(("length",))
RATE = Stem(("rate",))
SPEED = Stem(("speed",))
STRAIN = Stem(("ratio",), high=1.0, bare=UNITS["fraction"])
TEMPERATURE = Stem(("temperature",), high=5000.0)
PRELOAD = Stem(("ratio",), low_included=True, high=1.5)
COUNT = Stem(low_included=True, high=1e12)
SD = {
    "sd_force": Stem(("force",), low_included=True),
    "sd_strength": Stem(("stress", "specific strength"), low_included=True),
}
STEMS: Mapping[str, Stem] = {
    "speed": SPEED,
    "free_length": LENGTH,
    "strain_rate": RATE,
    "time_to_break": Stem(("time",)),
    "strain_at_break": STRAIN,
    "peak_force": FORCE,
    "strength": STRENGTH,
    "peak_stress": STRESS,
    "tenacity": SPECIFIC,
    "mean_force": FORCE,
    "mean_strength": STRENGTH,
    **SD,
    "n": Stem(low=1.0, low_included=True, high=float(MOST_PER_ROW)),
    "preload": PRELOAD,
    "preload_cycles": COUNT,
    "temperature": TEMPERATURE,
    "strands_intact": COUNT,
}
KEPT_TEXTS = ("batch", "machine", "termination", "failure_site", "excluded", "log", "note")
BREAKS = Columns(
    STEMS, ("specimen", "series", "broke", *KEPT_TEXTS), required=("specimen", "series")
)


@dataclass(frozen=True)
class BreakTable:
    """Specimens of one series, kept and set aside, with the unit their strength was written in."""

    used: Specimens
    set_aside: Specimens
    strength_unit: Unit


@dataclass(frozen=True)
class _Rows:
    """Checked columns of the whole table, one entry per row of the file."""

    layout: Layout
    kept: BoolArray
    broke: BoolArray
    strengths: Strengths
    rates: Rates


def read_breaks(
    data: bytes, root: Path, strains: Mapping[str, float | None]
) -> dict[str, BreakTable]:
    """Break table of every series.

    Parameters
    ----------
    data : bytes
        Content of breaks.csv.
    root : Path
        Campaign folder, in whose ``logs/`` the logs named must be.
    strains : mapping
        Names of the series declared, with their strain at break where declared.

    Raises
    ------
    InputError
        Anything in the table is missing, mistyped, twice, or out of range.
    """
    layout = lay_out(read_table(data, FILE), BREAKS)
    check_series(layout, tuple(strains))
    check_reasons(layout)
    _check_logs(layout, root)
    kept = np.array([not cell for cell in layout.text("excluded")], dtype=np.bool_)
    series = layout.text("series")
    declared = {name: np.nan if value is None else value for name, value in strains.items()}
    own_strain = np.array([declared[name] for name in series], dtype=np.float64)
    strengths = read_strengths(layout, kept)
    broke = layout.flags("broke", empty=True)
    censored = np.flatnonzero(strengths.summary & ~broke)
    if censored.size:
        raise layout.error("broke", censored[0], "a summary row that did not break", "yes")
    rows = _Rows(layout, kept, broke, strengths, read_rates(layout, own_strain, kept))
    _check_unique(layout, strengths)
    return _by_series(rows, series)


def _check_logs(layout: Layout, root: Path) -> None:
    cells = layout.text("log")
    found = {
        cell: wrong
        for cell in set(cells)
        if cell and (wrong := check_inside(root, "logs", cell)) is not None
    }
    if found:
        row = next(i for i, cell in enumerate(cells) if cell in found)
        raise layout.error(
            "log",
            row,
            f"{cells[row]!r} is {found[cells[row]]}",
            "the plain name of a file in the folder logs/",
        )


def _check_unique(layout: Layout, strengths: Strengths) -> None:
    """Refuse a specimen without a name or named twice, also once summary rows are unfolded."""
    seen: set[str] = set()
    for row, cell in enumerate(layout.text("specimen")):
        if not cell:
            raise layout.error("specimen", row, "the specimen has no name", "a name, once only")
        names = _names(cell, int(strengths.count[row])) if strengths.summary[row] else (cell,)
        for name in names:
            if name in seen:
                raise layout.error(
                    "specimen", row, f"the specimen {name} stands twice", "each name once"
                )
            seen.add(name)


def _names(cell: str, count: int) -> tuple[str, ...]:
    return tuple(f"{cell}#{k}" for k in range(1, count + 1))


def _by_series(rows: _Rows, series: list[str]) -> dict[str, BreakTable]:
    codes = {name: code for code, name in enumerate(dict.fromkeys(series))}
    code = np.array([codes[name] for name in series])
    order = np.argsort(code, kind="stable")
    groups = np.split(order, np.flatnonzero(np.diff(code[order])) + 1)
    numeric = {
        name: rows.layout.numbers(name)
        for name in ("preload", "preload_cycles", "temperature", "strands_intact")
    }
    found: dict[str, BreakTable] = {}
    for name, mine in zip(codes, groups, strict=True):
        found[name] = BreakTable(
            _specimens(rows, numeric, mine[rows.kept[mine]]),
            _specimens(rows, numeric, mine[~rows.kept[mine]]),
            _unit(rows, mine),
        )
    return found


def _unit(rows: _Rows, mine: IntArray) -> Unit:
    """Find the unit of a series' strength; one dimension only."""
    strengths = rows.strengths
    summary = strengths.summary[mine]
    units = [
        unit
        for unit, there in (
            (strengths.measured_unit, not summary.all()),
            (strengths.summary_unit, summary.any()),
        )
        if unit is not None and there
    ]
    if not units:
        # Only rows set aside without a strength, in a file of means: the file's unit it is.
        units = [u for u in (strengths.summary_unit, strengths.measured_unit) if u is not None]
    if units[0].dimension != units[-1].dimension:
        row = mine[np.flatnonzero(summary)[0]]
        column = "mean_force" if "mean_force" in rows.layout.matches else "mean_strength"
        raise rows.layout.error(
            column,
            row,
            f"a {units[-1].dimension} in a series that has a {units[0].dimension} elsewhere",
            "one kind of strength in a series",
        )
    return units[0]


def _specimens(rows: _Rows, numeric: Mapping[str, FloatArray], mine: IntArray) -> Specimens:
    """Specimens of some rows, summary rows unfolded."""
    layout, strengths = rows.layout, rows.strengths
    source = np.repeat(mine, strengths.count[mine])
    index = source.tolist()

    def text(cells: list[str]) -> tuple[str, ...]:
        return tuple([cells[i] for i in index])

    specimen, strength = _unfolded(layout.text("specimen"), strengths, mine)
    lines = layout.table.lines[source].tolist()
    texts = {name: text(layout.text(name)) for name in KEPT_TEXTS}
    return Specimens(
        specimen=specimen,
        strength=strength,
        broke=rows.broke[source],
        strain_rate_per_s=rows.rates.strain_rate_per_s[source],
        free_length_m=rows.rates.free_length_m[source],
        strain_at_break=rows.rates.strain_at_break[source],
        preload_fraction=numeric["preload"][source],
        preload_cycles=numeric["preload_cycles"][source],
        temperature_K=numeric["temperature"][source],
        strands_intact=numeric["strands_intact"][source],
        summary=strengths.summary[source],
        row=tuple(lines),
        extra={layout.table.header[i]: text(layout.table.columns[i]) for i in layout.others},
        **texts,
    )


def _unfolded(
    cells: list[str], strengths: Strengths, mine: IntArray
) -> tuple[tuple[str, ...], FloatArray]:
    if not strengths.summary[mine].any():
        return tuple([cells[i] for i in mine.tolist()]), strengths.value[mine]
    names: list[str] = []
    values: list[FloatArray] = []
    for i in mine.tolist():
        if strengths.summary[i]:
            count = int(strengths.count[i])
            names.extend(_names(cells[i], count))
            values.append(unfold(float(strengths.value[i]), float(strengths.sd[i]), count))
        else:
            names.append(cells[i])
            values.append(strengths.value[i : i + 1])
    return tuple(names), np.concatenate(values)

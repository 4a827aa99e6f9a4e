"""Creep runs: creep.csv and the curves in creep/."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.records.breaks import FORCE, LENGTH, TEMPERATURE
from ratemodel.records.csvtext import read_table
from ratemodel.records.files import check_inside, open_folder, read_bytes
from ratemodel.records.layout import Columns, Layout, check_series, lay_out
from ratemodel.records.names import Stem
from ratemodel.records.tables import Campaign
from ratemodel.records.time_tables import Creep, CreepRun

FILE = "creep.csv"
FOLDER = "creep"
_RUNS = Columns(
    {"load": FORCE, "free_length": LENGTH, "temperature": TEMPERATURE},
    ("file", "series", "broke", "specimen", "note"),
    required=("file", "series", "load", "broke"),
)
_CURVE = Columns(
    {
        "time": Stem(("time",), low_included=True),
        "strain": Stem(("ratio",), low=-1.0, low_included=True, high=3.0),
        "elongation": Stem(("length",), low=-1e6, low_included=True),
    },
    (),
    required=("time",),
)


def read_creep(folder: str | Path, campaign: Campaign) -> Creep | None:
    """Read and check the creep runs of a campaign.

    Parameters
    ----------
    folder : str or Path
        Campaign folder.
    campaign : Campaign
        The campaign read from it, for the names of its series.

    Returns
    -------
    Creep or None
        None where there is no creep.csv.

    Raises
    ------
    InputError
        One line: file, row, column, what is wrong, what would be right.
    """
    root = open_folder(folder)
    data = read_bytes(root, FILE)
    if data is None:
        return None
    layout = lay_out(read_table(data, FILE), _RUNS)
    check_series(layout, tuple(campaign.series))
    return Creep(_runs(layout, root))


def _runs(layout: Layout, root: Path) -> tuple[CreepRun, ...]:
    files = layout.text("file")
    load = layout.numbers("load")
    length, temperature = layout.numbers("free_length"), layout.numbers("temperature")
    broke = layout.flags("broke", empty=None)
    specimen, note, series = (layout.text(name) for name in ("specimen", "note", "series"))
    runs: list[CreepRun] = []
    seen: set[str] = set()
    for row, file in enumerate(files):
        if file in seen:
            raise layout.error("file", row, f"{file!r} stands twice", "one row per file")
        seen.add(file)
        if np.isnan(load[row]):
            raise layout.error("load", row, "the load is missing", "a number")
        time, strain = _curve(layout, root, row, float(length[row]))
        runs.append(
            CreepRun(
                file=file,
                series=series[row],
                specimen=specimen[row],
                load_N=float(load[row]),
                free_length_m=float(length[row]),
                temperature_K=float(temperature[row]),
                broke=bool(broke[row]),
                time_s=time,
                strain=strain,
                note=note[row],
                row=layout.table.line(row),
            )
        )
    return tuple(runs)


def _curve(
    runs: Layout, root: Path, row: int, free_length_m: float
) -> tuple[FloatArray, FloatArray]:
    """Time (s) and strain of one run."""
    cell = runs.text("file")[row]
    wrong = check_inside(root, FOLDER, cell)
    if wrong:
        raise runs.error(
            "file", row, f"{cell!r} is {wrong}", f"the plain name of a file in {FOLDER}/"
        )
    name = f"{FOLDER}/{cell}"
    layout = lay_out(read_table(read_bytes(root, name) or b"", name), _CURVE)
    given = [stem for stem in ("strain", "elongation") if stem in layout.matches]
    if len(given) != 1:
        raise InputError(
            "both strain and elongation" if given else "neither strain nor elongation",
            "one column, strain_percent or elongation_mm (or another unit)",
            file=name,
            row=layout.table.header_line,
            column="strain_percent",
        )
    time = layout.numbers("time")
    strain = layout.numbers(given[0])
    for stem, values in (("time", time), (given[0], strain)):
        empty = np.flatnonzero(np.isnan(values))
        if empty.size:
            raise layout.error(stem, empty[0], "a value is missing", "a number in every row")
    back = np.flatnonzero(np.diff(time) <= 0)
    if back.size:
        raise layout.error(
            "time", back[0] + 1, "the time does not increase", "each time later than the last"
        )
    if given[0] == "elongation":
        if np.isnan(free_length_m):
            raise runs.error(
                "free_length", row, f"{name} gives elongation without a free length", "a number"
            )
        with np.errstate(over="ignore"):
            strain = strain / free_length_m
        large = np.flatnonzero(~((strain >= -1) & (strain <= 3)))
        if large.size:
            raise layout.error(
                "elongation", large[0], "the elongation is over 3 free lengths", "less"
            )
    return time, strain

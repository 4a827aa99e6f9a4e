"""Text cells to numbers: strict decimal notation, own list of missing marks, no silent repair."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.records.csvtext import Table
from ratemodel.records.names import TINY, Match, Stem, fault

MISSING = frozenset({"", "-", "n/a", "na", "nan"})
_PLAIN = frozenset("0123456789+-.eE")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_COMMA_NUMBER = re.compile(r"[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?")
_LONGEST = 60
_MINUS = "\u2212\u2010\u2011\u2012\u2013\u2014\ufe63\uff0d"


class Where(NamedTuple):
    """A column of a table, for numbers read from it and for messages about them."""

    table: Table
    position: int

    @property
    def cells(self) -> list[str]:
        """Cells of the column."""
        return self.table.columns[self.position]

    def error(self, row: int | np.intp, problem: str, remedy: str) -> InputError:
        """Error about one cell."""
        return InputError(
            problem,
            remedy,
            file=self.table.file,
            row=self.table.line(row),
            column=self.table.header[self.position],
        )


def decimal_comma(table: Table, numeric: Sequence[int]) -> bool:
    """Whether numbers are written with a decimal comma: only in tables separated by ``;``.

    Raises
    ------
    InputError
        Some numbers have a decimal comma and some a point, so that either may mean thousands.
    """
    if table.delimiter != ";":
        return False
    comma = point = None
    for index in numeric:
        where = Where(table, index)
        for row, cell in enumerate(where.cells):
            comma = (where, row) if "," in cell else comma
            point = (where, row) if "." in cell else point
        if comma and point:
            place, row = point
            raise place.error(
                row,
                f"{place.cells[row]!r} has a decimal point where other cells have a decimal comma",
                "one of the two throughout the file",
            )
    return comma is not None


def numbers(where: Where, stem: Stem, match: Match, *, comma: bool) -> FloatArray:
    """Numbers of a column in SI, NaN where the cell is a missing mark.

    Raises
    ------
    InputError
        A cell is no decimal number, is infinite, or is out of the range of its quantity.
    """
    cells = where.cells
    values = _fast(cells)
    if values is None:
        values = np.array([_number(where, row, comma=comma) for row in range(len(cells))])
    if infinite := np.flatnonzero(np.isinf(values)).tolist():
        raise where.error(
            infinite[0], f"{cells[infinite[0]]} is too large", "a number a computer can hold"
        )
    with np.errstate(over="ignore"):
        si: FloatArray = values * match.unit.factor + match.unit.offset
    low = si < stem.low if stem.low_included else si <= stem.low
    if not stem.low_included and stem.low == 0.0:
        low |= si < TINY
    wrong = np.flatnonzero(low | (si > stem.high))
    if wrong.size:
        raise where.error(
            wrong[0], f"{cells[wrong[0]]} {fault(si[wrong[0]])}", stem.rule(match.unit)
        )
    return si


def _fast(cells: list[str]) -> FloatArray | None:
    """Numbers of a column where every cell is plain or empty; None where a closer look is due."""
    if cells and (max(map(len, cells)) > _LONGEST or not set("".join(cells)) <= _PLAIN):
        return None
    try:
        return np.array([float(cell) if cell else math.nan for cell in cells], dtype=np.float64)
    except ValueError:
        return None


def _number(where: Where, row: int, *, comma: bool) -> float:
    cell = where.cells[row]
    if cell.lower() in MISSING:
        return math.nan
    if len(cell) <= _LONGEST:
        if _NUMBER.fullmatch(cell):
            return float(cell)
        if _COMMA_NUMBER.fullmatch(cell):
            if comma:
                return float(cell.replace(",", "."))
            raise where.error(row, f"{cell!r} has a decimal comma", "a decimal point, as in 12.5")
        if cell[0] in _MINUS:
            raise where.error(
                row, f"{cell!r} begins with a typographic minus", "the plain hyphen - as minus"
            )
    shown = cell if len(cell) <= _LONGEST else f"{cell[:_LONGEST]}…"
    raise where.error(
        row,
        f"{shown!r} is not a number",
        "a number such as 12.5, or an empty cell where nothing was measured",
    )

"""Which column of a table holds what: names matched to quantities, the rest kept as text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray
from ratemodel.errors import InputError
from ratemodel.records.cells import MISSING, Where, decimal_comma, numbers
from ratemodel.records.csvtext import Table
from ratemodel.records.names import (
    Match,
    Place,
    Stem,
    canonical,
    expected_names,
    match_name,
    nearest,
)
from ratemodel.units import Unit

_YES = frozenset({"yes", "y", "true", "1"})
_NO = frozenset({"no", "n", "false", "0"})
_NO_REASON = frozenset({*_NO, *MISSING, "none"})


@dataclass(frozen=True)
class Columns:
    """What a table may hold: quantities by stem, text columns, and those it must have."""

    stems: Mapping[str, Stem]
    texts: tuple[str, ...]
    required: tuple[str, ...] = ()
    keep_others: bool = True


@dataclass(frozen=True)
class Layout:
    """A table whose columns are understood."""

    table: Table
    columns: Columns
    matches: Mapping[str, Match]
    texts: Mapping[str, int]
    others: tuple[int, ...]
    comma: bool

    def where(self, name: str) -> Where:
        """Column of a quantity's stem or of a text, for messages; the table must have it."""
        if name in self.matches:
            return Where(self.table, self.table.header.index(self.matches[name].name))
        return Where(self.table, self.texts[name])

    def unit(self, stem: str) -> Unit:
        """Give the unit in which a quantity's column is written."""
        return self.matches[stem].unit

    def numbers(self, stem: str) -> FloatArray:
        """Quantity in SI, NaN where nothing was given; all NaN where there is no such column."""
        if stem not in self.matches:
            return np.full(len(self.table), np.nan)
        return numbers(
            self.where(stem), self.columns.stems[stem], self.matches[stem], comma=self.comma
        )

    def text(self, name: str) -> list[str]:
        """Text column, ``""`` throughout where there is none."""
        return (
            self.table.columns[self.texts[name]] if name in self.texts else [""] * len(self.table)
        )

    def flags(self, name: str, *, empty: bool | None) -> BoolArray:
        """Yes/no column; ``empty`` is what an empty cell means, None that it is an error."""
        cells = self.text(name)
        meaning: dict[str, bool | None] = {cell: _flag(cell, empty) for cell in set(cells)}
        unclear = {cell for cell, value in meaning.items() if value is None}
        if unclear:
            row = next(i for i, cell in enumerate(cells) if cell in unclear)
            raise self.error(name, row, f"{cells[row]!r} is neither yes nor no", "yes or no")
        return np.array([meaning[cell] for cell in cells], dtype=np.bool_)

    def error(self, name: str, row: int | np.intp, problem: str, remedy: str) -> InputError:
        """Error about a row, in a column that may be absent."""
        if name in self.matches or name in self.texts:
            return self.where(name).error(row, problem, remedy)
        return InputError(
            problem, remedy, file=self.table.file, row=self.table.line(row), column=name
        )


def lay_out(table: Table, columns: Columns) -> Layout:
    """Match every column of a table.

    Raises
    ------
    InputError
        A quantity without a proper unit, twice in different units, a required column missing, or
        a name that is nearly a known one.
    """
    place = Place(table.file, table.header_line)
    matches: dict[str, Match] = {}
    texts: dict[str, int] = {}
    others: list[int] = []
    for index, name in enumerate(table.header):
        if name in columns.texts:
            texts[name] = index
            continue
        match = match_name(name, columns.stems, place)
        if match is None:
            _check_other(name, columns, place)
            others.append(index)
        elif match.stem in matches:
            raise place.error(
                name,
                f"{match.stem} is given in two columns, {matches[match.stem].name} and {name}",
                "one of the two",
            )
        else:
            matches[match.stem] = match
    for name in columns.required:
        if name not in matches and name not in texts:
            stem = columns.stems.get(name)
            wanted = name if stem is None else expected_names(name, stem)
            raise place.error(name, f"the column {name} is missing", wanted)
    numeric = [table.header.index(match.name) for match in matches.values()]
    return Layout(table, columns, matches, texts, tuple(others), decimal_comma(table, numeric))


def check_series(layout: Layout, names: Sequence[str]) -> None:
    """Refuse a row whose series is not among ``names``."""
    cells = layout.text("series")
    unknown = set(cells) - set(names)
    if not unknown:
        return
    row = next(i for i, cell in enumerate(cells) if cell in unknown)
    if not cells[row]:
        raise layout.error("series", row, "the series is missing", "a series of campaign.toml")
    remedy = nearest(cells[row], names) or f"a series of campaign.toml: {', '.join(names)}"
    raise layout.error("series", row, f"there is no [series.{cells[row]}] in campaign.toml", remedy)


def check_reasons(layout: Layout) -> None:
    """Refuse an ``excluded`` cell that may as well mean that the row is used."""
    cells = layout.text("excluded")
    unclear = {cell for cell in set(cells) if cell and cell.lower() in _NO_REASON}
    if unclear:
        row = next(i for i, cell in enumerate(cells) if cell in unclear)
        raise layout.error(
            "excluded",
            row,
            f"{cells[row]!r} is no reason",
            "an empty cell where the specimen is used, else the reason why it is not",
        )


def _check_other(name: str, columns: Columns, place: Place) -> None:
    """Refuse a name that is nearly a text column: kept as an extra it would change the numbers."""
    plain = canonical(name)
    close: Sequence[str] = [text for text in columns.texts if text == plain]
    close = close or [text for text in ("broke", "excluded") if nearest(plain, [text], 0.84)]
    known = [*columns.texts, *columns.stems]
    if not close and columns.keep_others:
        return
    guess = close[0] if close else nearest(plain, known)
    remedy = f"{guess}, or a quite different name" if guess else ", ".join(known)
    raise place.error(name, f"{name!r} is no known column", remedy)


def _flag(cell: str, empty: bool | None) -> bool | None:
    word = cell.lower()
    if not word:
        return empty
    return True if word in _YES else False if word in _NO else None

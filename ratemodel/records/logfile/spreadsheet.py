"""XLSX logs; the archive's own directory is judged before anything is unfolded."""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.records.logfile.headings import is_unit_cell
from ratemodel.records.logfile.log import LogMapping
from ratemodel.records.logfile.sniff import MISSING
from ratemodel.records.logfile.source import Loaded, hash_file, missing_extra

MOST_ENTRIES = 2_000
MOST_BYTES = 500_000_000
HIGHEST_RATIO = 200.0
_RATIO_FREE_BYTES = 10_000_000


class SpreadsheetSource:
    """One sheet of a workbook; see `Source`."""

    def __init__(self, path: Path, mapping: LogMapping) -> None:
        self.file = path.name
        judge_archive(path)
        self.sha256 = hash_file(path)
        self.sample_interval_s: float | None = None
        self._rows = self._sheet(path, mapping)
        skip = mapping.skip_rows or 0
        self._first = _first_row(self._rows, skip, self.file)
        self.names, self.units = _header(self._rows, skip, self._first, self.file)

    def _sheet(self, path: Path, mapping: LogMapping) -> list[list[Any]]:
        """Rows of the sheet asked for, or of the only one with numbers."""
        try:
            from python_calamine import CalamineWorkbook
        except ImportError as error:
            raise missing_extra("python-calamine", "an XLSX file") from error
        try:
            book = CalamineWorkbook.from_path(str(path))
            names = list(book.sheet_names)
            if mapping.sheet is not None and mapping.sheet not in names:
                raise InputError(
                    f"no sheet {mapping.sheet!r}", f"one of {', '.join(names[:8])}", file=self.file
                )
            wanted = names if mapping.sheet is None else [mapping.sheet]
            sheets = {n: book.get_sheet_by_name(n).to_python(skip_empty_area=False) for n in wanted}
        except InputError:
            raise
        except Exception as error:  # the reader raises many kinds for a damaged file
            raise InputError(
                f"not readable as a workbook ({error})", "an undamaged XLSX file", file=self.file
            ) from error
        filled = [n for n, rows in sheets.items() if _run_start(rows, 0) is not None]
        if not filled:
            raise InputError(
                "no rows of numbers in the workbook", "a header row above numbers", file=self.file
            )
        if len(filled) > 1:
            raise InputError(
                f"sheets {', '.join(filled[:6])} all hold numbers",
                "sheet in [logs] of campaign.toml naming one of them",
                file=self.file,
            )
        return sheets[filled[0]]

    def load(self, indices: tuple[int, ...]) -> Loaded:
        """Numbers of these columns."""
        body = self._rows[self._first :]
        while body and not any(_is_number(c) for c in body[-1]):
            body = body[:-1]
        columns = [self._column(body, index) for index in indices]
        return Loaded(tuple(columns), len(body))

    def _column(self, body: list[list[Any]], index: int) -> FloatArray:
        values = np.empty(len(body))
        for row, cells in enumerate(body):
            cell = cells[index] if index < len(cells) else ""
            if _is_number(cell):
                values[row] = float(cell)
            elif cell is None or (isinstance(cell, str) and cell.strip() in MISSING):
                values[row] = np.nan
            else:
                raise InputError(
                    f"{str(cell)[:40]!r} is no number",
                    "numbers stored as numbers",
                    file=self.file,
                    row=self._first + row + 1,
                    column=self.names[index],
                )
        return values


def judge_archive(path: Path) -> None:
    """Refuse a workbook whose directory promises more than a log can hold.

    Raises
    ------
    InputError
        For too many entries, too large or too tightly packed contents, encryption, a part with a
        document type (the door to entity bombs), or an archive that is no workbook.
    """
    file = path.name
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
            total = sum(e.file_size for e in entries)
            packed = max(sum(e.compress_size for e in entries), 1)
            limit = None
            if len(entries) > MOST_ENTRIES:
                limit = f"{len(entries)} entries in the archive, at most {MOST_ENTRIES} are read"
            elif total > MOST_BYTES:
                limit = (
                    f"the archive unfolds to {total / 1e6:.0f} MB, at most {MOST_BYTES / 1e6:.0f}"
                )
            elif total > _RATIO_FREE_BYTES and total / packed > HIGHEST_RATIO:
                limit = f"the archive unfolds to {total / packed:.0f} times its size"
            elif any(e.flag_bits & 1 for e in entries):
                limit = "the archive is encrypted"
            if limit is not None:
                raise InputError(limit, "a plain XLSX log, or CSV", file=file)
            if "xl/workbook.xml" not in archive.namelist():
                raise InputError("an archive that is no XLSX workbook", "XLSX or CSV", file=file)
            _judge_parts(archive, entries, file)
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, ValueError) as error:
        raise InputError(
            f"not readable as a workbook ({error})", "an undamaged XLSX file", file=file
        ) from error


def _judge_parts(archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo], file: str) -> None:
    try:
        from defusedxml import DefusedXmlException
        from defusedxml.ElementTree import ParseError, fromstring
    except ImportError as error:
        raise missing_extra("defusedxml", "an XLSX file") from error
    for entry in entries:
        if entry.filename.endswith((".xml", ".rels")):
            with archive.open(entry) as part:
                # a document type stands before the root element
                if b"<!DOCTYPE" in part.read(4096).upper():
                    raise InputError(
                        "a document type inside the workbook", "a plain XLSX", file=file
                    )
    book = archive.getinfo("xl/workbook.xml")
    if book.file_size > 5_000_000:
        raise InputError("a workbook list of several MB", "a plain XLSX log", file=file)
    try:
        fromstring(archive.read(book), forbid_dtd=True)
    except (DefusedXmlException, ParseError, ValueError) as error:
        raise InputError(
            f"not readable as a workbook ({type(error).__name__})", "an undamaged XLSX", file=file
        ) from error


def _is_number(cell: object) -> bool:
    return isinstance(cell, int | float) and not isinstance(cell, bool) and bool(np.isfinite(cell))


def _run_start(rows: Sequence[Sequence[Any]], skip: int) -> int | None:
    """First row of at least three (or all that are left) with two numbers or more."""
    numeric = [sum(_is_number(c) for c in row) >= 2 for row in rows]
    for i in range(skip, len(rows)):
        if numeric[i] and all(numeric[i : i + 3]):
            return i
    return None


def _first_row(rows: list[list[Any]], skip: int, file: str) -> int:
    first = _run_start(rows, skip)
    if first is None:
        raise InputError(
            f"no rows of numbers after row {skip}", "a header row above numbers", file=file
        )
    return first


def _header(
    rows: list[list[Any]], skip: int, first: int, file: str
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    above = [i for i in range(skip, first) if any(str(c).strip() for c in rows[i])]
    if not above:
        raise InputError(
            "there is no header row above the numbers", "a row naming the columns", file=file
        )
    cells = tuple(str(c).strip() for c in rows[above[-1]])
    given = [c for c in cells if c]
    if len(above) > 1 and all(is_unit_cell(c) for c in given):
        return tuple(str(c).strip() for c in rows[above[-2]]), cells
    return cells, ()

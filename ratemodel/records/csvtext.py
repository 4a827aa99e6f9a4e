"""CSV bytes to text cells in columns, every line's fields counted, line numbers kept."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import IntArray
from ratemodel.errors import InputError
from ratemodel.records.files import decode

_CHUNK_ROWS = 20_000
_MEMO_LIMIT = 50_000
_NAME_LIMIT = 200
_MOST_COLUMNS = 500


@dataclass(frozen=True)
class Table:
    """Cells of a CSV file by column, stripped of blanks around them.

    ``lines`` is the physical line on which each row starts, the header being line 1.
    """

    file: str
    header: tuple[str, ...]
    columns: tuple[list[str], ...]
    lines: IntArray
    delimiter: str
    header_line: int

    def __len__(self) -> int:
        return len(self.lines)

    def line(self, index: int | np.intp) -> int:
        """Physical line of a row."""
        return int(self.lines[index])


def read_table(data: bytes, file: str) -> Table:
    """Cells of a CSV file: comma, or semicolon or tab where the header holds no comma.

    Raises
    ------
    InputError
        Not text, quoting broken, a header name empty or twice, or a line with too few or too
        many fields.
    """
    text, encoding = decode(data, file)
    delimiter = _delimiter(text)
    del text
    records = _records(data, encoding, delimiter, file)
    first = next(records, None)
    if first is None:
        raise InputError("the file is empty", "a header line and one row per test", file=file)
    header = [cell.strip() for cell in first[1]]
    if len(header) > _MOST_COLUMNS:
        raise InputError(
            f"{len(header)} columns", f"at most {_MOST_COLUMNS}", file=file, row=first[0]
        )
    columns, lines = _collect(records, len(header), file)
    if not lines:
        raise InputError("the table has no rows", "one row per test", file=file, row=first[0])
    kept = [i for i, name in enumerate(header) if name or any(columns[i])]
    _check_header([header[i] for i in kept], first[0], file)
    return Table(
        file,
        tuple(header[i] for i in kept),
        tuple(columns[i] for i in kept),
        np.array(lines, dtype=np.int64),
        delimiter,
        first[0],
    )


def _delimiter(text: str) -> str:
    header = next((line for line in text[:100_000].splitlines() if line.strip()), "")
    if "," in header:
        return ","
    semicolon, tab = ";" in header, "\t" in header
    if semicolon == tab:
        return ","
    return ";" if semicolon else "\t"


def _records(
    data: bytes, encoding: str, delimiter: str, file: str
) -> Iterator[tuple[int, list[str]]]:
    """Line and cells of every record that is not blank."""
    stream = io.TextIOWrapper(io.BytesIO(data), encoding=encoding, newline="")
    reader = csv.reader(stream, delimiter=delimiter, strict=True)
    start = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as problem:
            raise InputError(
                f"broken quoting ({problem})",
                'cells with a quote or separator inside written as "…", with "" for a quote',
                file=file,
                row=start,
            ) from None
        if cells:
            yield start, cells
        start = reader.line_num + 1


def _collect(
    records: Iterator[tuple[int, list[str]]], width: int, file: str
) -> tuple[list[list[str]], list[int]]:
    """Columns of all rows; equal cells share one string, which keeps a long table small."""
    columns: list[list[str]] = [[] for _ in range(width)]
    memos: list[dict[str, str]] = [{} for _ in range(width)]
    lines: list[int] = []
    chunk: list[list[str]] = []

    def flush() -> None:
        for column, memo, cells in zip(columns, memos, zip(*chunk, strict=True), strict=True):
            stripped = [cell.strip() for cell in cells]
            if len(memo) < _MEMO_LIMIT:
                column.extend(map(memo.setdefault, stripped, stripped))
            else:
                column.extend(stripped)
        chunk.clear()

    for line, cells in records:
        if len(cells) != width:
            if not any(cell.strip() for cell in cells):
                continue
            raise InputError(
                f"{len(cells)} fields where the header has {width}",
                f"{width} fields (a decimal comma or an unquoted separator also shifts them)",
                file=file,
                row=line,
            )
        if any(map(str.strip, cells)):
            chunk.append(cells)
            lines.append(line)
            if len(chunk) == _CHUNK_ROWS:
                flush()
    if chunk:
        flush()
    return columns, lines


def _check_header(header: list[str], line: int, file: str) -> None:
    for position, name in enumerate(header, start=1):
        if not name or len(name) > _NAME_LIMIT:
            raise InputError(
                f"column number {position} has no usable name",
                "a short name in the header of every column",
                file=file,
                row=line,
            )
        if name in header[: position - 1]:
            raise InputError(
                f"the column {name} stands twice", "it once", file=file, row=line, column=name
            )

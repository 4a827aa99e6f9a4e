"""Find the layout of a text log: encoding, delimiter, decimal mark, header, first row of numbers.

Nothing is decided by a single line: the rows of numbers below the header decide, and where two
readings fit them equally the user is asked.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from ratemodel.errors import InputError
from ratemodel.records.logfile.headings import is_unit_cell
from ratemodel.records.logfile.log import LogMapping

MISSING = ("", "NaN", "nan", "NAN", "NA", "N/A", "n/a", "#N/A", "-", "--", "---")
WHITESPACE = "whitespace"
_DELIMITERS = ("\t", ";", ",", "|", WHITESPACE)
_NUMBER = {
    ".": re.compile(r"[+\-−]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"),
    ",": re.compile(r"[+\-−]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?"),
}
_MAX_FIELDS = 1000
_SAMPLE_ROWS = 60
_SAMPLE_LINES = 120


@dataclass(frozen=True)
class Layout:
    """How a text log is laid out; lines are counted from 0 here, from 1 in messages."""

    delimiter: str
    decimal: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    first_row: int
    fields: int


def detect_encoding(head: bytes, told: str | None) -> str:
    """Take the encoding from the mapping, the byte order mark or the bytes themselves.

    UTF-16 without a mark is known by its zero bytes; what is not valid UTF-8 is read as cp1252,
    the superset of Latin-1 that test machine software writes. Numbers are ASCII in both.
    """
    if told is not None:
        return told
    if head.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        return "utf-32"
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    even, odd = head[0:4096:2], head[1:4096:2]
    for part, other, name in ((odd, even, "utf-16-le"), (even, odd, "utf-16-be")):
        if len(part) >= 8 and part.count(0) > 0.8 * len(part) and other.count(0) < 0.1 * len(other):
            return name
    try:
        # the last character may be cut by the end of the head
        head[: len(head) - 4 if len(head) > 4 else None].decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(head) - 8 or len(head) < 16:
            return "cp1252"
    return "utf-8-sig" if head.startswith(b"\xef\xbb\xbf") else "utf-8"


def split_line(line: str, delimiter: str) -> list[str]:
    """Fields of one line, quotes respected."""
    if delimiter == WHITESPACE:
        return line.split()
    if '"' in line:
        try:
            return next(csv.reader([line], delimiter=delimiter), [])
        except csv.Error:
            return line.split(delimiter)
    return line.split(delimiter)


def is_number(field: str, decimal: str) -> bool:
    """Whether a field is one plain number with this decimal mark."""
    return len(field) < 64 and _NUMBER[decimal].fullmatch(field.strip()) is not None


def sniff(lines: Sequence[str], mapping: LogMapping, *, file: str) -> Layout:
    """Find the layout from the first lines of a file.

    Raises
    ------
    InputError
        Where there are no rows of numbers, no header, or more than one way to read them.
    """
    skip = mapping.skip_rows or 0
    short = lines[: skip + _SAMPLE_LINES]
    found = _best(short, skip, mapping) or _best(lines, skip, mapping)
    if found is None:
        raise InputError(
            f"no rows of numbers in the first {len(lines)} lines",
            "a header row, then one row of numbers per sample (delimiter, decimal and skip_rows"
            " can be given in [logs] of campaign.toml)",
            file=file,
        )
    delimiter, decimal, first = found
    rows = [split_line(x, delimiter) for x in lines[first : first + 200] if x.strip()]
    count = len(rows[0])
    if mapping.decimal is None and (delimiter, decimal) != (",", "."):
        _refuse_thousands(rows, decimal, file, first)
    names, units, header_line = _header(lines, skip, first, delimiter)
    while len(names) > count and names[-1] == "":
        names = names[:-1]
    if len(names) < count and all(not any(row[len(names) :]) for row in rows if len(row) == count):
        names = names + ("",) * (count - len(names))
    if not names:
        names = _unnamed(count, mapping, file, first)
    if len(names) != count:
        raise _mismatch(len(names), count, delimiter, file, header_line)
    return Layout(delimiter, decimal, names, units, first, count)


def _best(lines: Sequence[str], skip: int, mapping: LogMapping) -> tuple[str, str, int] | None:
    """Delimiter, decimal mark and first row under which most of the fields are numbers."""
    delimiters = _DELIMITERS if mapping.delimiter is None else (mapping.delimiter,)
    if mapping.delimiter == " ":
        delimiters = (WHITESPACE,)
    decimals = (".", ",") if mapping.decimal is None else (mapping.decimal,)
    best: tuple[float, int, str, str, int] | None = None
    for delimiter in delimiters:
        for decimal in decimals:
            found = _first_run(lines, skip, delimiter, decimal)
            if found is not None:
                first, share, size = found
                if best is None or (round(share, 3), size) > best[:2]:
                    best = (round(share, 3), size, delimiter, decimal, first)
    return None if best is None else best[2:]


def _first_run(
    lines: Sequence[str], skip: int, delimiter: str, decimal: str
) -> tuple[int, float, int] | None:
    """First line from which rows of numbers run, their share of numeric fields, their count."""
    filled = [i for i in range(skip, len(lines)) if lines[i].strip()]
    cache: dict[int, tuple[int, int, int]] = {}

    def counts(line: int) -> tuple[int, int, int]:
        """Fields, numbers and cells that are filled in one line."""
        if line not in cache:
            cells = split_line(lines[line], delimiter)
            if not 2 <= len(cells) <= _MAX_FIELDS:
                cells = []
            numbers = sum(is_number(c, decimal) for c in cells)
            cache[line] = (len(cells), numbers, sum(c.strip() not in MISSING for c in cells))
        return cache[line]

    for position, i in enumerate(filled):
        width = counts(i)[0]
        follow = filled[position : position + 3]
        if all(counts(j)[1] >= 2 and counts(j)[0] == width for j in follow):
            body = [counts(j) for j in filled[position : position + _SAMPLE_ROWS]]
            numbers = sum(n for w, n, _ in body if w == width)
            cells = sum(c for w, _, c in body if w == width)
            return i, numbers / max(cells, 1), numbers
    return None


def _refuse_thousands(rows: list[list[str]], decimal: str, file: str, first: int) -> None:
    """``1,234`` may be 1234 or 1.234: refuse when every marked number could be either."""
    marked = [c.strip().lstrip("+-−") for row in rows for c in row if decimal in c]
    marked = [c for c in marked if is_number(c, decimal)]
    either = re.compile(rf"[1-9]\d{{0,2}}{re.escape(decimal)}\d{{3}}")
    if marked and all(either.fullmatch(c) for c in marked):
        plain = marked[0].replace(decimal, "")
        raise InputError(
            f"{marked[0]!r} may be {plain} or {marked[0].replace(',', '.')}",
            f'decimal = "{decimal}" in [logs] of campaign.toml if {decimal!r} is the decimal mark,'
            " or an export without thousands separators",
            file=file,
            row=first + 1,
        )


def _header(
    lines: Sequence[str], skip: int, first: int, delimiter: str
) -> tuple[tuple[str, ...], tuple[str, ...], int]:
    """Names, units row and line of the header above the first row of numbers."""
    above = [i for i in range(skip, first) if lines[i].strip()]
    if not above:
        return (), (), first
    cells = _header_cells(lines[above[-1]], delimiter)
    given = [c for c in cells if c]
    if len(above) > 1 and given and all(is_unit_cell(c) for c in given):
        names = _header_cells(lines[above[-2]], delimiter)
        if len(names) >= len(given) and len(names) > 1:
            return names, cells, above[-2]
    return cells, (), above[-1]


def _header_cells(line: str, delimiter: str) -> tuple[str, ...]:
    if delimiter == WHITESPACE:
        wide = re.split(r"\t+|\s{2,}", line.strip())
        cells = wide if len(wide) > 1 else line.split()
    else:
        cells = split_line(line, delimiter)
    return tuple(c.strip().strip('"').lstrip("\ufeff").strip() for c in cells)


def _unnamed(count: int, mapping: LogMapping, file: str, first: int) -> tuple[str, ...]:
    """Names for a file without a header, allowed only where columns are told by number."""
    by_number = isinstance(mapping.force_column, int) and (
        isinstance(mapping.time_column, int) or mapping.sample_rate_Hz is not None
    )
    if not by_number:
        raise InputError(
            "there is no header row above the numbers",
            "a row naming the columns, or time_column and force_column as numbers counted from 1"
            " with time_unit and force_unit in [logs] of campaign.toml",
            file=file,
            row=first + 1,
        )
    return tuple(f"column {i + 1}" for i in range(count))


def _mismatch(header: int, count: int, delimiter: str, file: str, line: int) -> InputError:
    remedy = "as many names as columns"
    if delimiter == "," and count > header:
        remedy += " (with a decimal comma the columns need another delimiter, such as a semicolon)"
    problem = f"the header names {header} columns, the rows below hold {count}"
    return InputError(problem, remedy, file=file, row=line + 1)

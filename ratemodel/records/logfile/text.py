"""Delimited text logs: layout, field count, numbers."""

from __future__ import annotations

import csv
import hashlib
import io
import warnings
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, Problem
from ratemodel.records.logfile.chunked import CHUNK_ROWS, Thinner
from ratemodel.records.logfile.fields import BLOCK, FieldCount, blocks_of, count_fields
from ratemodel.records.logfile.log import LogMapping
from ratemodel.records.logfile.sniff import (
    MISSING,
    WHITESPACE,
    Layout,
    detect_encoding,
    is_number,
    sniff,
    split_line,
)
from ratemodel.records.logfile.source import Loaded, hash_file

_HEAD = 1 << 16
_LONGEST_HEAD = 1 << 20
_UNIT_SEPARATOR = "\x1f"


class TextSource:
    """A delimited text file whose layout is known; see `Source`."""

    def __init__(self, path: Path, mapping: LogMapping, *, chunk_above: int) -> None:
        self.path = path
        self.file = path.name
        size = path.stat().st_size
        self.chunked = size > chunk_above
        self._buffer: bytes | None = None
        self.sha256 = ""
        self.sample_interval_s: float | None = None
        head = _read_head(path)
        encoding = detect_encoding(head, mapping.encoding)
        if not _is_plain(head, encoding):
            if self.chunked:
                raise InputError(
                    f"{size / 1e6:.0f} MB in {encoding}, or with quotes or bare carriage returns",
                    "UTF-8 without quotes for a log of this size",
                    file=self.file,
                )
            self._buffer, mapping = self._normalised(encoding, mapping)
            head, encoding = self._buffer[:_LONGEST_HEAD], "utf-8"
        lines = _lines(head, encoding, len(head) < size if self._buffer is None else False)
        self.layout: Layout = sniff(lines, mapping, file=self.file)
        self._sample = lines

    @property
    def names(self) -> tuple[str, ...]:
        """Column names as the file writes them."""
        return self.layout.names

    @property
    def units(self) -> tuple[str, ...]:
        """Cells of the units row."""
        return self.layout.units

    def _normalised(self, encoding: str, mapping: LogMapping) -> tuple[bytes, LogMapping]:
        """Return the whole file as UTF-8 with plain line ends and without quotes."""
        raw = self.path.read_bytes()
        self.sha256 = hashlib.sha256(raw).hexdigest()
        try:
            text = raw.decode(encoding)
        except UnicodeError as error:
            raise InputError(
                f"not readable as {encoding}", "an undamaged text file", file=self.file
            ) from error
        text = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
        if "\x00" in text:
            raise InputError("zero bytes in the text", "a text log", file=self.file)
        if '"' in text[:_HEAD]:
            layout = sniff(text[:_HEAD].split("\n")[:-1] or [text], mapping, file=self.file)
            if layout.delimiter != WHITESPACE:
                rows = (split_line(line, layout.delimiter) for line in text.split("\n"))
                text = "\n".join(_UNIT_SEPARATOR.join(row) for row in rows)
                told = mapping.decimal or layout.decimal
                mapping = replace(mapping, delimiter=_UNIT_SEPARATOR, decimal=told)
        return text.encode("utf-8", "replace"), mapping

    def load(self, indices: tuple[int, ...]) -> Loaded:
        """Numbers of these columns, every line's fields counted first."""
        count = self._count()
        findings = _footer_finding(count)
        nrows = count.rows if count.odd else None
        if not count.ends_in_newline and count.odd and count.odd[-1][0] == count.line - 1:
            findings = (
                Problem("last-line-cut", f"the last line ends early: {count.odd[-1][1]!r}", "note"),
            )
        if self.chunked:
            return self._load_chunked(indices, nrows, findings)
        frame = self._read(indices, nrows=nrows)
        arrays, kept = [], len(frame)
        for index in indices:
            array = self._numbers(frame[index], index)
            kept = min(kept, len(array))
            arrays.append(array)
        if kept < len(frame):
            message = f"{len(frame) - kept} rows of text at the end of the file were left out"
            findings += (Problem("footer-left-out", message, "note"),)
        return Loaded(tuple(a[:kept] for a in arrays), kept, findings)

    def _count(self) -> FieldCount:
        """Count fields; the hash is taken beside that, it leaves the interpreter free."""
        if self._buffer is not None:
            buffer = self._buffer
            parts = (buffer[i : i + BLOCK] for i in range(0, len(buffer), BLOCK))
            return count_fields(parts, self.layout, file=self.file)
        with ThreadPoolExecutor(1) as beside:
            digest = beside.submit(hash_file, self.path)
            count = count_fields(blocks_of(self.path), self.layout, file=self.file)
            self.sha256 = digest.result()
        return count

    def _read(self, indices: tuple[int, ...], **more: Any) -> Any:
        """Hand the body to the C parser; the path itself is fastest where nothing was changed."""
        import pandas as pd

        layout = self.layout
        data = str(self.path) if self._buffer is None else io.BytesIO(self._buffer)
        options: dict[str, Any] = {
            "header": None,
            "names": list(range(layout.fields)),
            "skiprows": layout.first_row,
            "sep": r"\s+" if layout.delimiter == WHITESPACE else layout.delimiter,
            "decimal": layout.decimal,
            "quoting": csv.QUOTE_NONE,
            "na_values": list(MISSING),
            "keep_default_na": False,
            "encoding": "utf-8",
            "encoding_errors": "replace",
        }
        # both options cost a third of the time, so only where they are needed
        if len(set(indices)) < layout.fields:
            options["usecols"] = sorted(set(indices))
        if any(f"{layout.delimiter} " in line for line in self._sample[layout.first_row :]):
            options["skipinitialspace"] = True
        with warnings.catch_warnings():
            # mixed kinds in one column are looked for, and named, afterwards
            warnings.simplefilter("ignore", pd.errors.DtypeWarning)
            try:
                return pd.read_csv(data, **options, **more)  # pyright: ignore
            except (pd.errors.ParserError, pd.errors.EmptyDataError, ValueError) as error:
                raise InputError(
                    f"not readable as a table ({error})",
                    "one row of numbers per sample",
                    file=self.file,
                ) from error

    def _numbers(self, column: Any, index: int) -> FloatArray:
        """One column as floats; text in it is an error unless only a footer follows."""
        if column.dtype.kind in "fiu":
            array = np.asarray(column.to_numpy(dtype=np.float64))
            if not np.isfinite(array.sum()) and np.isinf(array).any():
                self._locate(index)
                raise InputError("an infinite number", "finite numbers", file=self.file)
            return array
        kept = self._locate(index)
        values = [float(str(v).replace(self.layout.decimal, ".")) for v in column[:kept]]
        return np.asarray(values, dtype=np.float64)

    def _lines_of_body(self) -> Iterator[tuple[int, str]]:
        stream: Any = self.path.open("rb") if self._buffer is None else io.BytesIO(self._buffer)
        with stream:
            for number, line in enumerate(stream):
                if number >= self.layout.first_row and line.strip():
                    yield number, line.decode("utf-8", "replace").rstrip("\r\n")

    def _locate(self, index: int) -> int:
        """Rows before a footer of text, or InputError at the first cell that is no number."""
        bad: tuple[int, int, str] | None = None
        lines_after = 0
        for row, (number, line) in enumerate(self._lines_of_body()):
            fields = split_line(line, self.layout.delimiter)
            cell = fields[index].strip() if index < len(fields) else ""
            good = cell in MISSING or self._is_finite(cell)
            if bad is None and not good:
                bad = (row, number, cell)
            elif bad is not None:
                lines_after += 1
                if (good and cell not in MISSING) or lines_after > 50:
                    break
        else:
            if bad is not None and bad[0] > 0 and not any(c.isdigit() for c in bad[2]):
                return bad[0]
        if bad is None:
            raise InputError("a column of no numbers", "numbers", file=self.file)
        raise InputError(
            f"{bad[2][:40]!r} is no number{_hint(bad[2], self.layout.decimal)}",
            f"a finite number with {self.layout.decimal!r} as the decimal mark",
            file=self.file,
            row=bad[1] + 1,
            column=self.names[index],
        )

    def _is_finite(self, cell: str) -> bool:
        if not is_number(cell, self.layout.decimal) or "−" in cell:
            return False
        return bool(np.isfinite(float(cell.replace(self.layout.decimal, "."))))

    def _load_chunked(
        self, indices: tuple[int, ...], nrows: int | None, findings: tuple[Problem, ...]
    ) -> Loaded:
        thinner = Thinner(force=len(indices) - 1, time=0)
        with self._read(indices, chunksize=CHUNK_ROWS, nrows=nrows) as reader:
            for frame in reader:
                thinner.add([self._numbers(frame[i], i) for i in indices])
        arrays, more = thinner.result()
        return Loaded(arrays, thinner.rows, findings + more, thinner.clock)


def _read_head(path: Path) -> bytes:
    with path.open("rb") as stream:
        head = stream.read(_HEAD)
        if head.count(b"\n") < 100 and head.count(b"\r") < 100:
            head += stream.read(_LONGEST_HEAD - _HEAD)
    return head


def _is_plain(head: bytes, encoding: str) -> bool:
    """Whether the C parser can read the file as it lies."""
    import codecs

    name = codecs.lookup(encoding).name
    plain = name in ("utf-8", "utf-8-sig", "ascii", "iso8859-1", "cp1252", "iso8859-15")
    bare_returns = b"\n" not in head and b"\r" in head
    return plain and not bare_returns and b'"' not in head


def _lines(head: bytes, encoding: str, cut: bool) -> list[str]:
    """Whole lines of the head as text."""
    raw = head.split(b"\n")
    if cut and len(raw) > 1:
        raw = raw[:-1]
    return [line.decode(encoding, "replace").lstrip("\ufeff").rstrip("\r") for line in raw[:2000]]


def _footer_finding(count: FieldCount) -> tuple[Problem, ...]:
    if not count.odd:
        return ()
    message = f"{len(count.odd)} lines after the last row of numbers were left out"
    return (Problem("footer-left-out", message, "note"),)


def _hint(cell: str, decimal: str) -> str:
    if "−" in cell:
        return " (its minus sign is a typographic one)"
    if "." in cell and "," in cell:
        return " (thousands separators are not read)"
    if decimal == "." and "," in cell:
        return " (decimal comma?)"
    return ""

"""Count the fields of every line before a number is believed.

CSV readers pad short rows and shift long ones without a word. Each block of the file is reduced
to its delimiters and line ends; a block in which they alternate as they should is right, any other
is looked at line by line.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from ratemodel.errors import InputError
from ratemodel.records.logfile.sniff import WHITESPACE, Layout

BLOCK = 1 << 17
_FOOTER_LINES = 50


@dataclass
class FieldCount:
    """Running result of the check: rows seen, lines that do not fit, blank lines."""

    rows: int = 0
    odd: list[tuple[int, str, int]] = field(default_factory=list)
    line: int = 0
    last_good: int = -1
    ends_in_newline: bool = True


def blocks_of(path: Path) -> Iterator[bytes]:
    """Blocks of the file."""
    with path.open("rb") as stream:
        while block := stream.read(BLOCK):
            yield block


def count_fields(blocks: Iterable[bytes], layout: Layout, *, file: str) -> FieldCount:
    """Check the field count of every line from the first row of numbers on.

    Raises
    ------
    InputError
        For a line with too few or too many fields that more rows of numbers follow.
    """
    result = FieldCount()
    rest = b""
    keep = b'\n\x00"' + (b"" if layout.delimiter == WHITESPACE else layout.delimiter.encode())
    drop = bytes(i for i in range(256) if i not in keep)
    row = b"" if layout.delimiter == WHITESPACE else layout.delimiter.encode() * (layout.fields - 1)
    row += b"\n"
    for block in blocks:
        cut = block.rfind(b"\n") + 1
        if cut == 0:
            rest += block
            if len(rest) > 64 * BLOCK:
                raise InputError(
                    "a line runs on for millions of characters", "a text log", file=file
                )
            continue
        _check(rest + block[:cut] if rest else block[:cut], (drop, row), layout, result, file)
        rest = block[cut:]
    if rest:
        result.ends_in_newline = False
        _check(rest + b"\n", (drop, row), layout, result, file)
    if result.odd and (result.odd[0][0] < result.last_good or len(result.odd) > _FOOTER_LINES):
        raise _odd_line(result.odd[0], layout, file)
    return result


def _check(
    text: bytes, shape: tuple[bytes, bytes], layout: Layout, result: FieldCount, file: str
) -> None:
    drop, row = shape
    start = result.line
    if start < layout.first_row:
        text, start = _after_header(text, start, layout.first_row)
        result.line = start
    skeleton = text.translate(None, drop)
    lines = len(skeleton) // len(row)
    if layout.delimiter != WHITESPACE and skeleton == row * lines:
        result.line += lines
        result.rows += lines
        result.last_good = result.line - 1
        return
    result.line += text.count(b"\n")
    _check_lines(text, start, layout, result, file)


def _after_header(text: bytes, start: int, first_row: int) -> tuple[bytes, int]:
    """Return what follows the header, and the number of its first line."""
    place = 0
    while start < first_row and place < len(text):
        place = text.find(b"\n", place) + 1
        start += 1
    return text[place:], start


def _check_lines(text: bytes, start: int, layout: Layout, result: FieldCount, file: str) -> None:
    delimiter = layout.delimiter.encode()
    for offset, line in enumerate(text.split(b"\n")[:-1]):
        number = start + offset
        if not line.strip():
            continue
        if b"\x00" in line:
            raise InputError("a zero byte in the text", "a text log", file=file, row=number + 1)
        whitespace = layout.delimiter == WHITESPACE
        count = len(line.split()) if whitespace else line.count(delimiter) + 1
        if count == layout.fields:
            result.rows += 1
            result.last_good = number
            continue
        result.odd.append((number, line[:60].decode("utf-8", "replace").strip(), count))
        if len(result.odd) > _FOOTER_LINES and result.last_good > result.odd[0][0]:
            raise _odd_line(result.odd[0], layout, file)
        if len(result.odd) > 1000:
            raise _odd_line(result.odd[0], layout, file)


def _odd_line(odd: tuple[int, str, int], layout: Layout, file: str) -> InputError:
    number, text, count = odd
    return InputError(
        f"{count} field{'s' if count != 1 else ''} in {text!r}",
        f"{layout.fields} fields in every row, as under the header",
        file=file,
        row=number + 1,
    )

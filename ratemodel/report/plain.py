"""Blocks as plain text for a terminal or a notebook without HTML."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from ratemodel.report.blocks import Block, Bullets, Fold, Heading, Picture, Table, Text
from ratemodel.shown import one_line

WIDTH = 96


def to_plain(blocks: Sequence[Block]) -> str:
    """Text of the blocks, wrapped; pictures become their alternative text."""
    return "\n".join(part for part in (_one(b) for b in blocks) if part)


def _one(block: Block) -> str:
    if isinstance(block, Heading):
        title = one_line(block.text)
        return f"\n{title}\n{('=' if block.level == 1 else '-') * len(title)}"
    if isinstance(block, Text):
        mark = {"caution": "Caution: ", "serious": "Serious: "}.get(block.kind, "")
        return textwrap.fill(mark + one_line(block.text), WIDTH)
    if isinstance(block, Bullets):
        return "\n".join(_bullet(item) for item in block.items)
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Picture):
        return textwrap.fill(f"[{block.name}] {one_line(block.alt)}", WIDTH)
    assert isinstance(block, Fold)
    return f"{one_line(block.summary)}\n{to_plain(block.blocks)}"


def _bullet(item: str) -> str:
    return textwrap.fill(
        one_line(item), WIDTH, initial_indent="* ", subsequent_indent="  ", break_long_words=False
    )


def _table(table: Table) -> str:
    rows = [tuple(one_line(c) for c in row) for row in (table.header, *table.rows)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(table.header))]
    lines = [
        "  ".join(
            cell.rjust(w) if i in table.numeric else cell.ljust(w)
            for i, (cell, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
    lines.insert(1, "  ".join("-" * w for w in widths))
    return "\n".join([one_line(table.caption), *(f"  {line}" for line in lines)])

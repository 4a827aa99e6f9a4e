"""Blocks as Markdown; text from data can start no formatting, link or HTML."""

from __future__ import annotations

import re
from collections.abc import Sequence

from ratemodel.report.blocks import Block, Bullets, Fold, Heading, Picture, Table, Text
from ratemodel.shown import one_line

_SPECIAL = re.compile(r"([\\`*_{}\[\]<>#|~$])")
# What would start a list, a quotation or a rule at the beginning of a line.
_START = re.compile(r"^(\s*)([-+=]|\d+[.)](?=\s|$))")
_LINK = re.compile(r"(?i)\b(https?|ftp|mailto|www)([:.])")


def to_markdown(blocks: Sequence[Block]) -> bytes:
    """Markdown (with pipe tables) in UTF-8."""
    text = "\n\n".join(part for part in (_one(b) for b in blocks) if part)
    return (text + "\n").encode("utf-8", "backslashreplace")


def escape(text: str) -> str:
    r"""Text that Markdown shows as it stands.

    Examples
    --------
    >>> print(escape("a|b <c> $x$ *d*"))
    a\|b &lt;c&gt; \$x\$ \*d\*
    """
    flat = one_line(" ".join(text.split()))
    marked = _SPECIAL.sub(r"\\\1", flat.replace("&", "&amp;"))
    # a backslash before < is not honoured everywhere, so entities are used
    marked = marked.replace("\\<", "&lt;").replace("\\>", "&gt;")
    marked = _LINK.sub(lambda m: f"{m[1]}&#{ord(m[2])};", marked)
    return _START.sub(lambda m: f"{m[1]}{m[2][:-1]}\\{m[2][-1]}", marked)


def _one(block: Block) -> str:
    if isinstance(block, Heading):
        return f"{'#' * block.level} {escape(block.text)}"
    if isinstance(block, Text):
        return _text(block)
    if isinstance(block, Bullets):
        return "\n".join(f"* {escape(item)}" for item in block.items)
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Picture):
        return f"![{escape(block.alt)}]({block.name})"
    assert isinstance(block, Fold)
    inner = "\n\n".join(_one(b) for b in block.blocks)
    return f"**{escape(block.summary)}**\n\n{inner}"


def _text(block: Text) -> str:
    text = escape(block.text)
    if block.kind in ("caution", "serious"):
        return f"> **{block.kind.capitalize()}.** {text}"
    return f"**{text}**" if block.kind == "lead" else text


def _table(table: Table) -> str:
    rule = ["--:" if i in table.numeric else ":--" for i in range(len(table.header))]
    rows = [[escape(c) for c in table.header], rule]
    rows += [[escape(c) for c in row] for row in table.rows]
    body = "\n".join(f"| {' | '.join(row)} |" for row in rows)
    return f"{escape(table.caption)}:\n\n{body}"

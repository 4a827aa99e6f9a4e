"""Blocks as HTML: a page that opens offline, or a fragment for a notebook.

Every text is escaped; pictures are data URIs; nothing is fetched from anywhere.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence

from ratemodel.charts.palette import darken
from ratemodel.report.blocks import Block, Bullets, Fold, Heading, Picture, Table, Text
from ratemodel.report.page_style import CSS, FRAGMENT_CSS
from ratemodel.words import html_escape

#: A page may show only what is inside it.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def to_page(blocks: Sequence[Block], *, title: str) -> bytes:
    """A whole page in UTF-8."""
    body = "\n".join(_one(b) for b in blocks)
    page = f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<meta name="color-scheme" content="light dark">
<title>{html_escape(title)}</title>
<style>{CSS}</style>
</head>
<body>
<main>
{body}
</main>
</body>
</html>
"""
    return page.encode("utf-8", "backslashreplace")


def to_fragment(blocks: Sequence[Block]) -> str:
    """HTML for a notebook's output cell, in the notebook's own colours."""
    body = "\n".join(_one(b) for b in blocks)
    return f'<div class="ratemodel"><style>{FRAGMENT_CSS}</style>\n{body}\n</div>'


def image(svg: bytes, alt: str) -> str:
    """An ``<img>`` of an SVG with its alternative text."""
    return f'<img src="{_data_uri(svg)}" alt="{html_escape(alt)}">'


def _one(block: Block) -> str:
    if isinstance(block, Heading):
        return f"<h{block.level}>{html_escape(block.text)}</h{block.level}>"
    if isinstance(block, Text):
        return _text(block)
    if isinstance(block, Bullets):
        items = "".join(f"<li>{html_escape(item)}</li>" for item in block.items)
        return f"<ul>{items}</ul>"
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Picture):
        return _picture(block)
    assert isinstance(block, Fold)
    inner = "\n".join(_one(b) for b in block.blocks)
    return f"<details><summary>{html_escape(block.summary)}</summary>\n{inner}\n</details>"


def _text(block: Text) -> str:
    text = html_escape(block.text)
    if block.kind in ("caution", "serious"):
        word = "Caution" if block.kind == "caution" else "Serious"
        return f'<p class="{block.kind}"><strong>{word}.</strong> {text}</p>'
    return f"<p>{text}</p>" if block.kind == "plain" else f'<p class="{block.kind}">{text}</p>'


def _table(table: Table) -> str:
    # the box scrolls, so a wide table never widens the page; tabindex lets a keyboard scroll it
    name = html_escape(table.caption)
    head = "".join(
        f'<th scope="col"{_class(i, table)}>{html_escape(c)}</th>'
        for i, c in enumerate(table.header)
    )
    rows = "\n".join(
        "<tr>" + "".join(_cell(i, c, table) for i, c in enumerate(row)) + "</tr>"
        for row in table.rows
    )
    return (
        f'<div class="scroll" role="region" aria-label="{name}" tabindex="0">\n<table>'
        f"<caption>{name}</caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}\n</tbody>"
        "</table>\n</div>"
    )


def _cell(column: int, text: str, table: Table) -> str:
    if column == 0:
        return f'<th scope="row"{_class(column, table)}>{html_escape(text)}</th>'
    return f"<td{_class(column, table)}>{html_escape(text)}</td>"


def _class(column: int, table: Table) -> str:
    return ' class="number"' if column in table.numeric else ""


def _picture(picture: Picture) -> str:
    dark = _data_uri(darken(picture.svg))
    return (
        '<figure tabindex="0"><picture><source media="(prefers-color-scheme: dark)" '
        f'srcset="{dark}">{image(picture.svg, picture.alt)}</picture></figure>'
    )


def _data_uri(svg: bytes) -> str:
    return "data:image/svg+xml;base64," + base64.b64encode(svg).decode("ascii")

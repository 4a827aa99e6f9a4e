"""Blocks as a PDF, by the optional package fpdf2."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from ratemodel.charts.style import font_files
from ratemodel.errors import InputError
from ratemodel.report.blocks import Block, Bullets, Fold, Heading, Picture, Table, Text
from ratemodel.shown import one_line

_FONT = "DejaVu"
_NO_DATE = datetime(2000, 1, 1, tzinfo=UTC)
_SIZES = {1: 18, 2: 14, 3: 12}
_BODY, _SMALL, _LINE_MM = 10, 8, 5.0
_PICTURE_MM, _SOME_MM = 118, 40


def check_pdf() -> None:
    """Say what to install, before any work is done.

    Raises
    ------
    InputError
        fpdf2 is not installed.
    """
    try:
        import fpdf  # noqa: F401
    except ImportError as error:
        raise InputError("a PDF needs the package fpdf2, which is not installed",
                         'pip install "ratemodel[pdf]"') from error  # fmt: skip


def to_pdf(blocks: Sequence[Block], images: Mapping[str, bytes], *, title: str) -> bytes:
    """A PDF on A4; ``images`` holds the PNG of every picture by its name.

    Raises
    ------
    InputError
        fpdf2 is not installed.
    """
    check_pdf()
    from fpdf import FPDF

    pdf = FPDF(format="A4")
    pdf.set_creation_date(_NO_DATE)  # the same input gives the same bytes
    pdf.set_title(one_line(title))
    pdf.set_lang("en")
    pdf.set_margin(18)
    for style, path in zip(("", "B"), font_files(), strict=True):
        pdf.add_font(_FONT, style, str(path))
    pdf.add_page()
    _all(pdf, blocks, images)
    return bytes(pdf.output())


def _all(pdf: Any, blocks: Sequence[Block], images: Mapping[str, bytes]) -> None:
    """Blocks in order; a heading never stands alone at the foot of a page."""
    for block, after in zip(blocks, (*blocks[1:], None), strict=True):
        need = _PICTURE_MM if isinstance(after, Picture) else _SOME_MM
        if isinstance(block, Heading | Table) and pdf.will_page_break(need):
            pdf.add_page()
        _one(pdf, block, images)


def _one(pdf: Any, block: Block, images: Mapping[str, bytes]) -> None:
    if isinstance(block, Heading):
        pdf.ln(3 if block.level > 1 else 0)
        _write(pdf, block.text, "B", _SIZES.get(block.level, _BODY))
    elif isinstance(block, Text):
        _text(pdf, block)
    elif isinstance(block, Bullets):
        for item in block.items:
            _write(pdf, f"\u2022 {item}", "", _BODY)
    elif isinstance(block, Table):
        _table(pdf, block)
    elif isinstance(block, Picture):
        pdf.image(io.BytesIO(images[block.name]), w=pdf.epw, alt_text=block.alt)
        pdf.ln(2)
    else:
        assert isinstance(block, Fold)
        _write(pdf, block.summary, "B", _SIZES[2])
        _all(pdf, block.blocks, images)


def _text(pdf: Any, block: Text) -> None:
    if block.kind in ("caution", "serious"):
        word = "Caution" if block.kind == "caution" else "Serious"
        pdf.set_fill_color(255, 244, 229)
        pdf.set_font(_FONT, "", _BODY)
        pdf.multi_cell(0, _LINE_MM, f"{word}. {one_line(block.text)}", fill=True, padding=2,
                       align="L", new_x="LMARGIN", new_y="NEXT")  # fmt: skip
        pdf.set_fill_color(255, 255, 255)
        pdf.ln(2)
        return
    size = _SMALL if block.kind == "small" else _BODY
    _write(pdf, block.text, "B" if block.kind == "lead" else "", size)


def _write(pdf: Any, text: str, style: str, size: int) -> None:
    pdf.set_font(_FONT, style, size)
    pdf.multi_cell(0, _LINE_MM * size / _BODY, one_line(text), align="L", new_x="LMARGIN",
                   new_y="NEXT")  # fmt: skip
    pdf.ln(1.5)


def _table(pdf: Any, block: Table) -> None:
    _write(pdf, block.caption, "B", _SMALL)
    pdf.set_font(_FONT, "", _SMALL)
    align = tuple("RIGHT" if i in block.numeric else "LEFT" for i in range(len(block.header)))
    with pdf.table(line_height=4.0, text_align=align, col_widths=_widths(block),
                   borders_layout="HORIZONTAL_LINES", padding=0.8) as table:  # fmt: skip
        for cells in (block.header, *block.rows):
            row = table.row()
            for cell in cells:
                row.cell(one_line(cell))
    pdf.ln(2)


def _widths(block: Table) -> tuple[float, ...]:
    """Columns as wide as their texts ask, between bounds."""
    widths = []
    for i, head in enumerate(block.header):
        longest = max((len(row[i]) for row in block.rows), default=0)
        words = max((len(w) for w in head.split()), default=1)
        most = 40 if i in block.numeric else 34
        widths.append(float(min(max(8, words, longest), most) + 3))
    return tuple(widths)

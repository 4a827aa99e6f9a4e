"""A post for a blog: findings in plain sentences, pictures, a methods box, data and versions."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from ratemodel.analysis import Analysis, SeriesResult, UseResult
from ratemodel.report.blocks import Block, Bullets, Fold, Heading, Picture, Text
from ratemodel.report.document import headlines, methods, shown_picture
from ratemodel.report.endurance_part import endurance_blocks
from ratemodel.report.html import to_page
from ratemodel.report.markdown import to_markdown
from ratemodel.report.parts import fit_table, limits_table, shares_text
from ratemodel.report.pdf import to_pdf
from ratemodel.report.pictures import draw_post
from ratemodel.report.sentences import (
    demand_sentence,
    fit_sentence,
    label_sentence,
    next_test_sentence,
    use_sentence,
)
from ratemodel.units import Units
from ratemodel.words import CAUTION
from ratemodel.writing import write_folder

NOT_SAID = (
    "It does not say that any line is safe, nor that a line like it will hold.",
    "It says nothing of used, knotted, wet, hot or aged line, nor of another spool than those "
    "tested, beyond what the steps above count.",
    "An interval is what the data and the models leave open. One line in twenty can lie below a "
    "bound that holds for nineteen.",
    "Where a picture is hatched nothing was tested.",
)


def write_post(analysis: Analysis, out: str | Path, *, units: Units | None = None,
               pdf: bool = False) -> tuple[Path, ...]:  # fmt: skip
    """Write post.html, post.md, the pictures in two sizes and, where wanted, post.pdf.

    Raises
    ------
    InputError
        ``pdf`` without the package that makes it; nothing is written then.
    """
    return write_folder(out, render_post(analysis, units=units, pdf=pdf))


def render_post(analysis: Analysis, *, units: Units | None = None, pdf: bool = False
                ) -> dict[str, bytes]:  # fmt: skip
    """Content of every file of a post, by name."""
    pictures, files = draw_post(analysis, units)
    blocks = post(analysis, pictures, units)
    title = analysis.campaign.name
    if pdf:
        files["post.pdf"] = to_pdf(blocks, files, title=title)
    return {**files, "post.md": to_markdown(blocks), "post.html": to_page(blocks, title=title)}


def post(analysis: Analysis, pictures: Mapping[str, Picture], units: Units | None = None
         ) -> tuple[Block, ...]:  # fmt: skip
    """All blocks of a post."""
    units = units or Units()
    out: list[Block] = [Heading(analysis.campaign.name, 1), *headlines(analysis, units)]
    for series in analysis.series:
        out += _series(series, pictures, units)
        out += endurance_blocks(series, pictures, units)
    for use in analysis.uses:
        out += _use(use, pictures, units)
    if analysis.next_test is not None:
        out += [Heading("What should be tested next"), *shown_picture(pictures, "next-test"),
                Text(next_test_sentence(analysis.next_test))]  # fmt: skip
    out += [Heading("What this does not say"), Bullets((*NOT_SAID, *analysis.cautions))]
    out.append(Fold("Methods, data and versions", tuple(methods(analysis)[1:])))
    return tuple(out)


def _series(result: SeriesResult, pictures: Mapping[str, Picture], units: Units) -> list[Block]:
    name = result.fit.series.name
    return [Heading(f"{name}: how speed changes strength"),
            *shown_picture(pictures, f"strength/{name}"),
            Text(f"Tested were {fit_sentence(result.fit)}"), *fit_table(result.fit, units),
            Text("For specimens as tested, not for any use. " + CAUTION, "caution")]  # fmt: skip


def _use(result: UseResult, pictures: Mapping[str, Picture], units: Units) -> list[Block]:
    strength = result.strength
    name = strength.use.name
    said = [demand_sentence(result, units), use_sentence(strength, units),
            label_sentence(result, units)]  # fmt: skip
    return [
        Heading(f"In use: {name}"),
        *(Text(s) for s in said if s is not None),
        Text(CAUTION, "caution"),
        *shown_picture(pictures, f"demand/{name}"),
        Heading(f"Where the {result.explanation.start_name} goes", 3),
        *shown_picture(pictures, f"steps/{name}"),
        Text(shares_text(result)),
        Heading("What each policy would allow", 3),
        *shown_picture(pictures, f"limits/{name}"),
        *limits_table(result.limits.rows, strength, units),
    ]

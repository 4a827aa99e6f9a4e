"""Everything an analysis leaves behind, rendered in memory before the first file is written."""

from __future__ import annotations

from pathlib import Path

from ratemodel.analysis import Analysis
from ratemodel.report.document import document
from ratemodel.report.html import to_page
from ratemodel.report.markdown import to_markdown
from ratemodel.report.pictures import draw_pictures
from ratemodel.report.results_json import results_bytes
from ratemodel.units import Units
from ratemodel.writing import write_folder


def write_report(
    analysis: Analysis, out: str | Path, units: Units | None = None
) -> tuple[Path, ...]:
    """Write results.json, charts and reports into a folder.

    The folder is created where it is missing and never emptied; each file is written whole or not
    at all. results.json comes last, so that it never stands beside older charts.

    Returns
    -------
    tuple of Path
        The files written.
    """
    return write_folder(out, render(analysis, units))


def render(analysis: Analysis, units: Units | None = None) -> dict[str, bytes]:
    """Content of every file, by name."""
    pictures, files = draw_pictures(analysis, units)
    blocks = document(analysis, pictures, units)
    return {
        **files,
        "report.md": to_markdown(blocks),
        "report.html": to_page(blocks, title=analysis.campaign.name),
        "results.json": results_bytes(analysis),
    }

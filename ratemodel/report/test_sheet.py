"""The test sheet: a table for the computer and a page for the machine."""

from __future__ import annotations

import csv
import io

from ratemodel.planning.plan import DesignRow, Plan
from ratemodel.planning.sheet import SheetRow, TestSheet
from ratemodel.shown import speed_text, unit_text
from ratemodel.units import Units
from ratemodel.words import CAUTION, html_escape, neutralise, number_text

#: Columns of breaks.csv, so that a filled sheet can be added to it as it stands.
COLUMNS = (
    "order", "block", "specimen", "series", "batch", "machine", "speed_mm_per_min",
    "free_length_mm", "fast_preload_percent", "fast_preload_N", "fast_preload_speed_mm_per_min",
    "peak_force_kN", "broke", "failure_site", "excluded", "note",
)  # fmt: skip
_MM_PER_MIN = 60_000.0
_STYLE = """
body{font:14px/1.4 sans-serif;color:#111;background:#fff;margin:1.5em;max-width:70em}
h1{font-size:1.4em}h2{font-size:1.1em;margin-top:1.4em}
table{border-collapse:collapse;width:100%}caption{text-align:left;font-weight:bold}
th,td{border:1px solid #777;padding:.3em .5em;text-align:left}td.n{text-align:right}
td.w{min-width:5em}tr.b td{border-top:3px solid #111}
.caution{border:2px solid #111;padding:.6em}
@media print{body{margin:0;font-size:11px}thead{display:table-header-group}tr{break-inside:avoid}}
@page{size:A4 landscape;margin:12mm}
"""


def sheet_csv(sheet: TestSheet) -> str:
    """The sheet as CSV, cells that a spreadsheet could take for a formula made harmless."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in sheet.rows:
        writer.writerow([neutralise(cell) for cell in _cells(sheet, row)])
    return out.getvalue()


def _cells(sheet: TestSheet, row: SheetRow) -> list[str]:
    preload = row.preload_fraction > 0
    return [
        str(row.order), str(row.block), row.specimen, sheet.series, row.spool, row.machine,
        f"{row.speed_m_per_s * _MM_PER_MIN:.6g}", f"{sheet.free_length_m * 1e3:.6g}",
        f"{100 * row.preload_fraction:.0f}" if preload else "",
        f"{row.preload_N:.0f}" if row.preload_N is not None else "",
        f"{row.preload_speed_m_per_s * _MM_PER_MIN:.6g}" if preload else "",
        "", "", "", "", "",
    ]  # fmt: skip


def sheet_html(plan: Plan, units: Units | None = None) -> str:
    """A page that opens offline and prints: the tests in order, with room for what is read."""
    units = units or Units()
    sheet = plan.sheet
    title = f"Test sheet: {sheet.series}"
    rows = "".join(_row(sheet, i, row, units) for i, row in enumerate(sheet.rows))
    found = "".join(f"<li>{html_escape(p.message)}</li>" for p in plan.problems)
    findings = f"<h2>Read before testing</h2><ul>{found}</ul>" if found else ""
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{html_escape(title)}</title><style>{_STYLE}</style></head><body><main>"
        f"<h1>{html_escape(title)}</h1><p>{html_escape(_summary(plan))}</p>"
        f'<p class="caution">{html_escape(CAUTION)}</p>{findings}'
        "<h2>Tests, in this order</h2><p>Pull in the order given: it is random on purpose, and "
        "every block holds every speed. Leave none out silently: write the reason.</p>"
        "<table><caption>Pulls</caption><thead><tr>"
        + "".join(f'<th scope="col">{h}</th>' for h in _heads(units))
        + f"</tr></thead><tbody>{rows}</tbody></table>{comparison_html(plan)}"
        "</main></body></html>\n"
    )


def _heads(units: Units) -> tuple[str, ...]:
    return (
        "No.", "Block", "Specimen", "Spool", "Machine", f"Speed ({unit_text(units.speed)})",
        "Strain rate (1/s)", "Fast preload first", f"Peak force ({unit_text(units.force)})",
        "Broke (yes/no), where", "Note",
    )  # fmt: skip


def _row(sheet: TestSheet, i: int, row: SheetRow, units: Units) -> str:
    new = i > 0 and row.block != sheet.rows[i - 1].block
    preload = "none"
    if row.preload_fraction > 0:
        level = f"{100 * row.preload_fraction:.0f} % of the expected strength"
        if row.preload_N is not None:
            level = f"{number_text(units.force.from_si(row.preload_N))} {unit_text(units.force)}"
        preload = f"to {level} at {speed_text(row.preload_speed_m_per_s, units)}"
    texts = [row.specimen, row.spool, row.machine]
    speed = number_text(units.speed.from_si(row.speed_m_per_s))
    numbers = [speed, number_text(row.strain_rate_per_s, 2)]
    return (
        f'<tr{" class=b" if new else ""}><td class="n">{row.order}</td>'
        f'<td class="n">{row.block}</td>'
        + "".join(f"<td>{html_escape(t)}</td>" for t in texts)
        + "".join(f'<td class="n">{t}</td>' for t in numbers)
        + f'<td>{preload}</td><td class="w"></td><td class="w"></td><td class="w"></td></tr>'
    )


def _summary(plan: Plan) -> str:
    chosen = plan.chosen
    now = ""
    if chosen.ratio is not None:
        now = f", against {spread_text(plan.width_now)} now"
    return (
        f"{chosen.specimens} specimens, {chosen.hours:.1f} machine hours, free length "
        f"{plan.sheet.free_length_m * 1e3:.0f} mm. Question: {plan.request.question.words}. "
        f"Expected {100 * plan.request.level:.0f} % interval after these tests: "
        f"{spread_text(chosen.expected_width)}{now}."
    )


def spread_text(width: float) -> str:
    """Half of an interval of ln S as a percentage of strength.

    Examples
    --------
    >>> spread_text(0.06)
    'about ±3 %'
    """
    return f"about ±{number_text(50 * width, 2)} %" if width < float("inf") else "not known"


def comparison_html(plan: Plan) -> str:
    """The designs side by side."""
    rows = "".join(_design(row) for row in plan.table)
    heads = ("Design", "Specimens", "Machine hours", "Expected interval", "Speeds (1/s)")
    return (
        "<h2>Against other designs for the same machine hours</h2><table><caption>Expected "
        "interval, averaged over the models still alive</caption><thead><tr>"
        + "".join(f'<th scope="col">{h}</th>' for h in heads)
        + f"</tr></thead><tbody>{rows}</tbody></table>"
    )


def _design(row: DesignRow) -> str:
    return (
        f'<tr><td>{html_escape(row.name)}</td><td class="n">{row.specimens}</td>'
        f'<td class="n">{row.hours:.1f}</td><td>{spread_text(row.expected_width)}</td>'
        f"<td>{html_escape(speeds_text(row))}</td></tr>"
    )


def speeds_text(row: DesignRow) -> str:
    """Specimens at each speed and machine, as ``3 at 0.6 on ram``."""
    return "; ".join(
        f"{n} at {number_text(cell.strain_rate_per_s, 2)} on {cell.machine.name}"
        for cell, n in row.tests
    )


def plan_text(plan: Plan) -> str:
    """The plan in a few lines for a terminal or a notebook."""
    lines = [f"{plan.sheet.series}: {_summary(plan)}"]
    lines += [
        f"  {row.name}: {row.specimens} specimens, {row.hours:.1f} h, "
        f"{spread_text(row.expected_width)} ({speeds_text(row)})"
        for row in plan.table
    ]
    lines += [f"  {p.severity}: {p.message}" for p in plan.problems]
    return "\n".join([*lines, CAUTION])


__all__ = ["COLUMNS", "comparison_html", "plan_text", "sheet_csv", "sheet_html", "speeds_text",
           "spread_text"]  # fmt: skip

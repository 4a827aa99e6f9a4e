"""Picture of one machine log with what was found drawn on it."""

from __future__ import annotations

from typing import Literal

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes

from ratemodel.charts.alt_lab import log_alt
from ratemodel.charts.labels import axes_points, spread
from ratemodel.charts.palette import Palette
from ratemodel.charts.placing import place
from ratemodel.charts.style import house_style, new_axes, palette_now
from ratemodel.records.logfile.log import MachineLog
from ratemodel.records.logfile.thin import extremes
from ratemodel.reduction.record import BreakRecord
from ratemodel.shown import rate_text, shown_unit, unit_text
from ratemodel.units import UNITS, Unit, Units
from ratemodel.words import number_text

_DRAWN_BLOCKS = 2_000
_CAUTION = "The force at which one specimen was tested, not a working load."


def log_chart(log: MachineLog, record: BreakRecord, *, ax: Axes | None = None,
              units: Units | str | None = None) -> Axes:  # fmt: skip
    """Draw force against time with peak, rate window, cycles, holds and strand breaks.

    Parameters
    ----------
    log : MachineLog
        The log as read.
    record : BreakRecord
        What it was reduced to.
    ax : Axes, optional
        Where to draw; a figure of its own where none is given.
    units : Units or str, optional
        Unit of force; kN where not given.
    """
    unit = shown_unit(UNITS["N"], units)
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        force = log.force_N
        if any(p.code == "force-sign-reversed" for p in record.findings):
            force = -force
        place(axes, _states(record), own=ax is None, title=(record.name, "Pull {}"))
        # a long log is drawn by its extremes, which look the same
        index = extremes(force, _DRAWN_BLOCKS)
        axes.plot(log.time_s[index], force[index] / unit.factor, color=palette.ink, lw=1.0,
                  label="_force", zorder=2)  # fmt: skip
        axes.margins(x=0.02)
        _draw_window(axes, record, palette)
        _draw_events(axes, record, unit, palette)
        _draw_peak(axes, record, unit, palette)
        axes.margins(y=0.18)
        axes.set_xlabel("time (s)", loc="left")
        axes.set_ylabel(f"force ({unit_text(unit)})")
        axes.set_label(log_alt(record, units))
    return axes


def _states(record: BreakRecord) -> str:
    facts: list[str] = [record.ended]
    if record.censored:
        facts.append("held at least the peak")
    if np.isfinite(record.strain_rate_per_s):
        facts.append(f"effective strain rate {rate_text(record.strain_rate_per_s)}, taken between "
                     "50 % and 100 % of the peak")  # fmt: skip
    serious = [p.code for p in record.findings if p.severity == "serious"]
    if serious:
        facts.append(f"serious: {', '.join(serious)}")
    text = "; ".join(facts)
    return f"{text[:1].upper()}{text[1:]}. Bar at the peak: where the strength lies. {_CAUTION}"


def _draw_window(axes: Axes, record: BreakRecord, palette: Palette) -> None:
    """Shade the stretch the rates come from; mark the ends of slack and bedding-in."""
    start, end = record.window_s
    axes.axvspan(start, end, color=palette.mean, alpha=0.12, lw=0, zorder=0, label="_window")
    left, right = axes.get_xlim()
    late = (start + end) / 2 > left + 0.8 * (right - left)
    at, align = (end, "right") if late else ((start + end) / 2, "center")
    _label(axes, (at, 0.99), "rate taken here", palette.mean, (align, "top"))
    # below the curve, in two rows: the two may lie close together
    marks = ((record.slack_end_s, "slack ends", 0.01), (record.bedding_in_end_s, "bedded in", 0.07))
    for time, text, height in marks:
        axes.axvline(time, color=palette.soft, lw=1.0, ls=(0, (4, 3)), zorder=1, label="_mark")
        _label(axes, (time, height), text, palette.soft, ("left", "bottom"))


def _label(
    axes: Axes,
    at: tuple[float, float],
    text: str,
    colour: str,
    align: tuple[str, Literal["top", "bottom"]],
) -> None:
    """Write a label at a time and a height given as a fraction of the axes."""
    axes.annotate(
        text, at, xycoords=("data", "axes fraction"), xytext=(2, 0), textcoords="offset points",
        color=colour, ha=align[0], va=align[1], parse_math=False,
    )  # fmt: skip


def _draw_events(axes: Axes, record: BreakRecord, unit: Unit, palette: Palette) -> None:
    em = float(mpl.rcParams["font.size"])
    for number, cycle in enumerate(record.cycles, start=1):
        middle = (cycle.start_s + cycle.end_s) / 2
        _note(axes, str(number), (middle, cycle.level_N / unit.factor), (0, 3), palette.use)
    for hold in record.holds:
        level, end = hold.level_N / unit.factor, hold.start_s + hold.duration_s
        axes.plot([hold.start_s, end], [level, level], color=palette.use, lw=0.4 * em, alpha=0.5,
                  solid_capstyle="butt", label="_hold", zorder=1)  # fmt: skip
        middle = (hold.start_s + end) / 2
        _note(axes, f"hold {hold.duration_s:.3g} s", (middle, level), (0, -1.4 * em), palette.use)
    _draw_drops(axes, record, unit, palette)


def _draw_drops(axes: Axes, record: BreakRecord, unit: Unit, palette: Palette) -> None:
    """Sudden losses of force, their labels to the left and none on another."""
    if not record.drops:
        return
    em = float(mpl.rcParams["font.size"])
    before = [d.force_before_N / unit.factor for d in record.drops]
    after = [b - d.drop_N / unit.factor for b, d in zip(before, record.drops, strict=True)]
    low, high = axes.get_ylim()
    first = min(d.time_s for d in record.drops)
    gap = 1.4 * em / axes_points(axes)[1] * (high - low) * 1.36
    for drop, force, at in zip(record.drops, before, spread(after, gap, low, high), strict=True):
        axes.plot(drop.time_s, force, marker="v", color=palette.bound, ls="none", label="_drop",
                  zorder=3)  # fmt: skip
        lost = f"strand? −{drop.drop_N / unit.factor:.3g} {unit_text(unit)}"
        axes.annotate(lost, (first, at), xytext=(-0.8 * em, 0), textcoords="offset points",
                      color=palette.bound, ha="right", va="top", gid="drop")  # fmt: skip


def _note(
    axes: Axes, text: str, at: tuple[float, float], shift: tuple[float, float], colour: str
) -> None:
    """Write beside a point, shifted by so many typographic points."""
    axes.annotate(text, at, xytext=shift, textcoords="offset points", color=colour,
                  ha="center")  # fmt: skip


def _draw_peak(axes: Axes, record: BreakRecord, unit: Unit, palette: Palette) -> None:
    """Mark the peak with the bar in which the strength lies."""
    peak = record.peak_force_N / unit.factor
    low = min(record.peak_low_by_at_most_N / unit.factor, 0.1 * peak)
    high = record.peak_high_by_at_most_N / unit.factor
    axes.errorbar(
        [record.peak_time_s], [peak], yerr=[[high], [low]], marker="o", color=palette.bound,
        capsize=4, lw=1.2, ls="none", label="_peak", zorder=4,
    )  # fmt: skip
    mark = "≥ " if record.censored else ""
    axes.annotate(
        f"peak {mark}{number_text(peak, 4)} {unit_text(unit)}", (record.peak_time_s, peak),
        xytext=(-8, 10), textcoords="offset points", color=palette.bound, weight="bold",
        ha="right", parse_math=False,
    )  # fmt: skip

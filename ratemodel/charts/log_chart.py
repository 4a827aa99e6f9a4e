"""Picture of one machine log with what was found drawn on it."""

from __future__ import annotations

from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ratemodel.records.logfile.log import MachineLog
from ratemodel.records.logfile.thin import extremes
from ratemodel.reduction.record import BreakRecord

# Okabe and Ito's colours, told apart by all kinds of colour vision; marks differ in shape too.
_INK, _BLUE, _ORANGE, _GREEN, _PURPLE = "#222222", "#0072B2", "#D55E00", "#009E73", "#CC79A7"
_DRAWN_BLOCKS = 2_000
_CAUTION = "force at which one specimen was tested, not a working load"


def log_chart(log: MachineLog, record: BreakRecord, *, ax: Axes | None = None) -> Axes:
    """Draw force against time with peak, rate window, cycles, holds and strand breaks.

    Parameters
    ----------
    log : MachineLog
        The log as read.
    record : BreakRecord
        What it was reduced to.
    ax : Axes, optional
        Where to draw; a figure of its own where none is given.
    """
    axes = Figure(figsize=(8.0, 4.5), layout="constrained").add_subplot() if ax is None else ax
    force = log.force_N
    if any(p.code == "force-sign-reversed" for p in record.findings):
        force = -force
    # a long log is drawn by its extremes, which look the same
    index = extremes(force, _DRAWN_BLOCKS)
    axes.plot(log.time_s[index], force[index] / 1e3, color=_INK, lw=1.0, label="_force", zorder=2)
    _draw_window(axes, record)
    _draw_events(axes, record)
    _draw_peak(axes, record)
    axes.set_xlabel("time (s)")
    axes.set_ylabel("force (kN)")
    axes.set_title(_title(record), loc="left", fontsize=10, parse_math=False)
    axes.margins(y=0.18)
    axes.spines[["top", "right"]].set_visible(False)
    return axes


def _title(record: BreakRecord) -> str:
    facts = [record.name, record.ended]
    if record.censored:
        facts.append("held at least the peak")
    if np.isfinite(record.strain_rate_per_s):
        facts.append(f"effective strain rate {record.strain_rate_per_s:.3g} /s")
    serious = [p.code for p in record.findings if p.severity == "serious"]
    lines = [", ".join(facts), _CAUTION]
    if serious:
        lines.insert(1, f"serious: {', '.join(serious)}")
    return "\n".join(lines)


def _draw_window(axes: Axes, record: BreakRecord) -> None:
    """Shade the stretch the rates come from; mark the ends of slack and bedding-in."""
    start, end = record.window_s
    axes.axvspan(start, end, color=_BLUE, alpha=0.12, lw=0, zorder=0)
    _label(axes, ((start + end) / 2, 0.99), "rate taken here", _BLUE, ("center", "top"))
    # below the curve, in two rows: the two may lie close together
    marks = ((record.slack_end_s, "slack ends", 0.01), (record.bedding_in_end_s, "bedded in", 0.06))
    for time, text, height in marks:
        axes.axvline(time, color=_GREEN, lw=1.0, ls=(0, (4, 3)), zorder=1)
        _label(axes, (time, height), text, _GREEN, ("left", "bottom"))


def _label(
    axes: Axes,
    place: tuple[float, float],
    text: str,
    colour: str,
    align: tuple[Literal["left", "center"], Literal["top", "bottom"]],
) -> None:
    """Write a label at a time and a height given as a fraction of the axes."""
    axes.annotate(
        text,
        place,
        xycoords=("data", "axes fraction"),
        xytext=(2, 0),
        textcoords="offset points",
        color=colour,
        fontsize=8,
        ha=align[0],
        va=align[1],
        parse_math=False,
    )


def _draw_events(axes: Axes, record: BreakRecord) -> None:
    for number, cycle in enumerate(record.cycles, start=1):
        middle = (cycle.start_s + cycle.end_s) / 2
        _note(axes, str(number), (middle, cycle.level_N / 1e3), (0, 3), _PURPLE)
    for hold in record.holds:
        level, end = hold.level_N / 1e3, hold.start_s + hold.duration_s
        axes.plot(
            [hold.start_s, end],
            [level, level],
            color=_ORANGE,
            lw=4,
            alpha=0.5,
            solid_capstyle="butt",
            label="_hold",
            zorder=1,
        )
        middle = (hold.start_s + end) / 2
        _note(axes, f"hold {hold.duration_s:.3g} s", (middle, level), (0, -12), _ORANGE)
    for drop in record.drops:
        place = (drop.time_s, drop.force_before_N / 1e3)
        axes.plot(*place, marker="v", color=_ORANGE, ms=7, ls="none", label="_drop", zorder=3)
        _note(axes, f"strand? −{drop.drop_N / 1e3:.3g} kN", place, (-40, 4), _ORANGE)


def _note(
    axes: Axes, text: str, place: tuple[float, float], shift: tuple[float, float], colour: str
) -> None:
    """Write beside a point, shifted by so many typographic points."""
    axes.annotate(
        text,
        place,
        xytext=shift,
        textcoords="offset points",
        color=colour,
        fontsize=8,
        ha="center",
    )


def _draw_peak(axes: Axes, record: BreakRecord) -> None:
    """Mark the peak with the bar in which the strength lies."""
    peak = record.peak_force_N / 1e3
    low = min(record.peak_low_by_at_most_N / 1e3, 0.1 * peak)
    high = record.peak_high_by_at_most_N / 1e3
    axes.errorbar(
        [record.peak_time_s],
        [peak],
        yerr=[[high], [low]],
        marker="o",
        color=_ORANGE,
        ms=5,
        capsize=4,
        lw=1.2,
        ls="none",
        label="_peak",
        zorder=4,
    )
    mark = "≥ " if record.censored else ""
    axes.annotate(
        f"peak {mark}{peak:.4g} kN",
        (record.peak_time_s, peak),
        xytext=(-8, 8),
        textcoords="offset points",
        color=_ORANGE,
        fontsize=9,
        ha="right",
        parse_math=False,
    )

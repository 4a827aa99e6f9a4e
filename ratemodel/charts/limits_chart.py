"""Working load limits by every policy, against the strength they are taken from."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes

from ratemodel.analysis import UseResult
from ratemodel.charts.alt_text import limits_alt, rests_on
from ratemodel.charts.labels import axes_points, room_for, text_width
from ratemodel.charts.palette import Palette
from ratemodel.charts.rowed import lay_rows
from ratemodel.charts.style import house_style, new_axes, palette_now
from ratemodel.limits import Limits
from ratemodel.shown import Quantity, odds_beyond, quantity, shown_unit, unit_text
from ratemodel.units import Unit, Units
from ratemodel.what_if import one_line_ln
from ratemodel.words import limit_text

CAUTION = (
    "Not a permission to load anything: not a substitute for the manufacturer's instructions, "
    "local codes and a competent person; life-safety use needs certified equipment."
)


def limits_chart(
    result: UseResult | Limits, *, ax: Axes | None = None, units: Units | str | None = None
) -> Axes:
    """Draw every policy's limit, what it implies, the event's load and the strength of one line.

    Parameters
    ----------
    result : UseResult or Limits
    ax : Axes, optional
    units : Units or str, optional
        Unit of strength; kN for forces where not given.
    """
    strength = result.strength
    unit = shown_unit(strength.unit, units)
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        rows = _rows(result, unit)
        states = (
            f"Limits rounded down; bars: {100 * strength.fit.level:g} % intervals; "
            f"{rests_on(strength)}. {CAUTION}"
        )
        title = (strength.use.name, "Limits by policy: use {}")
        lay_rows(axes, [r[0] for r in rows], own=ax is None, title=title, states=states)
        if max(_width(r[2]) for r in rows) > 0.5 * axes_points(axes)[0]:
            rows = [(a, b, c.replace(": ", ":\n"), d) for a, b, c, d in rows]
        axes.set_xlim(0, room_for(axes, 0.0, [(r[1].high, r[2]) for r in rows]))
        size = _note_size(axes, rows)
        for row, (_, value, note, kind) in enumerate(rows):
            _draw(axes, row, value, note, (kind, palette, size))
        axes.set_xlabel(f"load or strength ({unit_text(unit)})", loc="left")
        axes.set_label(limits_alt(result, units))
    return axes


def _rows(result: UseResult | Limits, unit: Unit) -> list[tuple[str, Quantity, str, str]]:
    """Name, value, note and kind of each row: load, limits, then strength."""
    strength, symbol = result.strength, unit_text(unit)
    level = strength.fit.level
    rows: list[tuple[str, Quantity, str, str]] = []
    demand = strength.event.peak_force_N
    if demand is not None and unit.dimension == "force":
        q = quantity(demand / unit.factor, level)
        name = "load" if strength.use.kind == "steady" else "event's peak force"
        rows.append((name, q, q.text(symbol), "demand"))
    limits = result if isinstance(result, Limits) else result.limits
    for limit in limits:
        value = limit.value / unit.factor
        odds = odds_beyond(
            limit.implied_failure_probability, strength.decades_beyond, limit.informative
        )
        note = f"{limit_text(value, symbol)}\na line is weaker: {odds}"
        rows.append((_policy(limit.policy), Quantity(value, value, value), note, "limit"))
    bound = strength.lower_bound / unit.factor
    label = strength.fit.bound.label
    rows.append((f"lower bound {label}", Quantity(bound, bound, bound), limit_text(bound, symbol),
                 "bound"))  # fmt: skip
    ln_one = one_line_ln(strength) if isinstance(result, Limits) else result.explanation.ln_end
    one = quantity(np.exp(ln_one) / unit.factor, level)
    rows.append(("one line in use", one, one.text(symbol), "strength"))
    return rows


def _width(note: str) -> float:
    size = float(mpl.rcParams["font.size"])
    return max(text_width(line, size) for line in note.split("\n"))


def _policy(policy: str) -> str:
    first, _, second = policy.partition(" / ")
    if second:
        return f"{first}\nover {second}"
    return policy.replace("target failure ", "target failure\n")


def _note_size(axes: Axes, rows: list[tuple[str, Quantity, str, str]]) -> float:
    """Type size at which the tallest note fits its row; never under 5 points."""
    em = float(mpl.rcParams["font.size"])
    lines = max(note.count("\n") + 1 for _, _, note, _ in rows)
    height = axes_points(axes)[1] / len(rows)
    return min(em, max(5.0, height / (1.3 * lines)))


def _draw(
    axes: Axes, row: int, value: Quantity, note: str, look: tuple[str, Palette, float]
) -> None:
    kind, palette, size = look
    em = float(mpl.rcParams["font.size"])
    colour = {"demand": palette.use, "limit": palette.mean, "bound": palette.bound,
              "strength": palette.ink}[kind]  # fmt: skip
    if kind == "limit":
        axes.barh(row, value.median, height=0.5, color=colour, zorder=2, label="_limit")
    else:
        axes.plot([value.low, value.high], [row, row], color=colour, lw=0.35 * em,
                  solid_capstyle="butt", zorder=2, label=f"_{kind}")  # fmt: skip
        marker = "|" if kind == "bound" else "D"
        axes.plot(value.median, row, marker=marker, color=colour, mew=2.0, zorder=3,
                  label=f"_{kind}")  # fmt: skip
    axes.annotate(note, (value.high, row), xytext=(0.6 * em, 0), textcoords="offset points",
                  va="center", ha="left", color=colour, gid=kind, fontsize=size,
                  annotation_clip=False)  # fmt: skip

"""Demand curve of an event and strength of single lines on one axis of strain rate."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from ratemodel.charts.alt_text import what_if_alt
from ratemodel.charts.palette import Palette
from ratemodel.charts.placing import Named, name_right, place
from ratemodel.charts.rate_axis import RATE_LABEL, draw_rate_ticks
from ratemodel.charts.style import house_style, new_axes, palette_now
from ratemodel.shown import decades_text, shown_unit, unit_text
from ratemodel.units import Unit, Units
from ratemodel.what_if import WhatIf

_DOTS = 150
_CAUTION = (
    "An estimate, not a permission to load anything; life-safety use needs certified equipment."
)


def what_if_chart(answer: WhatIf, *, ax: Axes | None = None, units: Units | str | None = None
                  ) -> Axes:  # fmt: skip
    """Draw what an event asks against what single lines hold at the rate it asks it.

    Parameters
    ----------
    answer : WhatIf
        From `ratemodel.what_if.what_if_answer`.
    ax : Axes, optional
    units : Units or str, optional
        Unit of force; kN where not given.
    """
    strength = answer.strength
    unit = shown_unit(strength.unit, units)
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        place(axes, _states(answer), own=ax is None, title=(strength.use.name, "What if: {}"),
              left=4.6, right=9.6)  # fmt: skip
        axes.set_xscale("log")
        labels = [*_strength(axes, answer, unit, palette), *_demand(axes, answer, unit, palette)]
        _limits(axes, answer, unit)
        name_right(axes, labels)
        low, high = strength.fit.tested
        for start, end in ((axes.get_xlim()[0], low), (high, axes.get_xlim()[1])):
            axes.axvspan(start, end, facecolor=palette.wash, edgecolor=palette.line, hatch="//",
                         lw=0, alpha=0.7, zorder=0, label="_untested")  # fmt: skip
        draw_rate_ticks(axes, RATE_LABEL)
        axes.set_ylabel(f"force ({unit_text(unit)})")
        axes.set_label(what_if_alt(answer, units))
    return axes


def _strength(axes: Axes, answer: WhatIf, unit: Unit, palette: Palette
              ) -> list[Named]:  # fmt: skip
    rate = 10**answer.u
    low, middle, high = np.exp(answer.band) / unit.factor
    bound = np.exp(answer.bound) / unit.factor
    fit = answer.strength.fit
    axes.fill_between(rate, low, high, color=palette.one, alpha=0.4, lw=0, zorder=1,
                      label="single lines")  # fmt: skip
    axes.plot(rate, middle, color=palette.mean, zorder=2, label="_median")
    axes.plot(rate, bound, color=palette.bound, zorder=2, label="_bound")
    return [
        (float(middle[-1]), f"one line, band\n{100 * fit.level:g} % of them", palette.mean),
        (float(bound[-1]), f"lower bound\n{fit.bound.label}", palette.bound),
    ]


def _demand(axes: Axes, answer: WhatIf, unit: Unit, palette: Palette
            ) -> list[Named]:  # fmt: skip
    """Demand curve, and events drawn from the use; a line at the rate where nothing is asked."""
    strength = answer.strength
    force = strength.event.peak_force_N
    if force is None or unit.dimension != "force":
        axes.axvline(10 ** float(np.median(strength.u)), color=palette.use, label="_event")
        return []
    some = slice(None, None, max(force.size // _DOTS, 1))
    axes.plot(10 ** strength.u[some], force[some] / unit.factor, ".", color=palette.use, alpha=0.35,
              zorder=3, mew=0, label="_events")  # fmt: skip
    low, middle, high = np.quantile(force, [0.05, 0.5, 0.95]) / unit.factor
    at = 10 ** float(np.median(strength.u))
    axes.plot([at, at], [low, high], color=palette.use, lw=2.4, zorder=4, label="_event")
    axes.plot(at, middle, "D", color=palette.use, zorder=5, label="_event")
    if answer.path_u.size:
        axes.plot(10**answer.path_u, np.exp(answer.path_ln) / unit.factor, color=palette.use,
                  ls=(0, (5, 2)), lw=1.4, zorder=3, label="_path")  # fmt: skip
    return [(float(middle), "demand of\nthe event", palette.use)]


def _limits(axes: Axes, answer: WhatIf, unit: Unit) -> None:
    """Axes that hold the strength band and most events; they move in steps, not with every one."""
    top = float(np.exp(answer.band.max())) / unit.factor
    force = answer.strength.event.peak_force_N
    if force is not None and unit.dimension == "force":
        top = max(top, float(np.quantile(force, 0.95)) / unit.factor)
    step = 10 ** np.floor(np.log10(top)) / 4
    axes.set_ylim(0, float(np.ceil(1.08 * top / step) * step))
    low, high = np.quantile(answer.strength.u, [0.01, 0.99])
    axes.set_xlim(10 ** min(answer.u[0], float(low) - 0.1),
                  10 ** max(answer.u[-1], float(high) + 0.1))  # fmt: skip


def _states(answer: WhatIf) -> str:
    strength = answer.strength
    path = "Dashed: the event from mild to hard. " if answer.path_u.size else ""
    return (
        f"{len(strength.fit.series.used)} specimens; the event's rate is "
        f"{decades_text(strength.decades_beyond)} (hatched: not tested). {path}{_CAUTION}"
    )

"""Time to break against load."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from ratemodel.charts.alt_lab import life_alt
from ratemodel.charts.palette import Palette
from ratemodel.charts.placing import place
from ratemodel.charts.style import house_style, new_axes, palette_now
from ratemodel.inference.life import LifeData
from ratemodel.inference.life_bounds import LifeBound
from ratemodel.shown import shown_unit, unit_text
from ratemodel.units import UNITS, Unit, Units


def life_chart(result: LifeBound, data: LifeData, *, ax: Axes | None = None,
               units: Units | str | None = None) -> Axes:  # fmt: skip
    """Load against life: specimens, runouts as arrows, median line and lower bound.

    Parameters
    ----------
    result : LifeBound
    data : LifeData
    ax : Axes, optional
    units : Units or str, optional
        Unit of load; kN where not given.
    """
    unit = shown_unit(UNITS["N"], units)
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        place(axes, _states(result, data), own=ax is None, left=5.6,
              title=("", "Life under constant load{}"))  # fmt: skip
        axes.set_xscale("log")
        order = np.argsort(result.load_N)
        load = result.load_N[order] / unit.factor
        axes.plot(result.median_s[order], load, color=palette.mean, label="_median")
        axes.plot(result.lower_s[order], load, color=palette.bound, ls="--", label="_lower")
        _specimens(axes, data, unit, palette)
        _untested(axes, data, unit, palette)
        _names(axes, result, unit, palette)
        axes.set_xlabel("time to break (s)", loc="left")
        axes.set_ylabel(f"load ({unit_text(unit)})")
        axes.set_label(life_alt(result, data, units))
    return axes


def _specimens(axes: Axes, data: LifeData, unit: Unit, palette: Palette) -> None:
    broke = data.broke
    axes.plot(data.time_s[broke], data.load_N[broke] / unit.factor, "o", color=palette.soft, ms=4,
              label="_broke", zorder=3)  # fmt: skip
    axes.plot(data.time_s[~broke], data.load_N[~broke] / unit.factor, ">", color=palette.soft,
              mfc=palette.paper, label="_held", zorder=3)  # fmt: skip
    if (~broke).any():
        i = int(np.flatnonzero(~broke)[0])
        axes.annotate("not broken", (float(data.time_s[i]), float(data.load_N[i]) / unit.factor),
                      xytext=(8, -4), textcoords="offset points", va="top",
                      color=palette.soft)  # fmt: skip


def _untested(axes: Axes, data: LifeData, unit: Unit, palette: Palette) -> None:
    """Hatch loads below the lowest one held."""
    low, lowest = axes.get_ylim()[0], float(data.load_N.min()) / unit.factor
    if lowest <= low:
        return
    axes.axhspan(low, lowest, facecolor=palette.wash, edgecolor=palette.line, hatch="//", lw=0,
                 alpha=0.7, zorder=0, label="_untested")  # fmt: skip
    axes.set_ylim(bottom=low)
    axes.annotate("no test at loads this low", (0.015, 0.02), va="bottom",
                  xycoords="axes fraction",
                  color=palette.ink, style="italic", gid="untested")  # fmt: skip


def _names(axes: Axes, result: LifeBound, unit: Unit, palette: Palette) -> None:
    i = int(np.argsort(result.load_N)[result.load_N.size // 4])
    at = float(result.load_N[i]) / unit.factor
    axes.annotate("median", (float(result.median_s[i]), at), xytext=(10, 0), va="center",
                  textcoords="offset points", color=palette.mean, gid="band")  # fmt: skip
    bound = f"{100 * result.fraction:g} % last longer,\n{100 * result.confidence:g} % confidence"
    axes.annotate(bound, (float(result.lower_s[i]), at), xytext=(-12, 0), va="center",
                  textcoords="offset points", ha="right", color=palette.bound,
                  gid="band")  # fmt: skip


def _states(result: LifeBound, data: LifeData) -> str:
    held = int((~data.broke).sum())
    beyond = float(np.log10(data.load_N.min() / result.load_N.min()))
    below = (
        f"the lowest load drawn is {100 * (1 - 10**-beyond):.0f} % below the lowest tested"
        if beyond > 1e-9
        else "no load drawn below those tested"
    )
    return f"{data.time_s.size} specimens, {held} not broken; {below}. {result.caution}"

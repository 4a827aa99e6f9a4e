"""Creep against time, and creep rate against strain."""

from __future__ import annotations

from collections.abc import Sequence

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes

from ratemodel.charts.alt_lab import creep_alt, sherby_dorn_alt
from ratemodel.charts.labels import axes_points, short, text_width
from ratemodel.charts.palette import Palette
from ratemodel.charts.placing import name_right, place, room_right
from ratemodel.charts.style import MARKERS, house_style, new_axes, palette_now
from ratemodel.inference.creep_forecast import CreepForecast
from ratemodel.inference.sherby_dorn import SherbyDorn
from ratemodel.shown import rate_text, shown_unit, unit_text
from ratemodel.units import UNITS, Units
from ratemodel.words import CAUTION, mathtext_escape, number_text


def creep_chart(result: CreepForecast, *, ax: Axes | None = None, units: Units | str | None = None
                ) -> Axes:  # fmt: skip
    """Strain against time with its interval; dashed and hatched beyond the last reading.

    Parameters
    ----------
    result : CreepForecast
    ax : Axes, optional
    units : Units or str, optional
        Unit of the load; kN where not given.
    """
    unit = shown_unit(UNITS["N"], units)
    load = f"{number_text(unit.from_si(result.load_N), 3)} {unit_text(unit)}"
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        place(axes, _states(result), own=ax is None, title=(load, "Creep at {}"), right=9.5)
        axes.set_xscale("log")
        time = result.time_s
        axes.fill_between(time, 100 * result.low, 100 * result.high, color=palette.mean, alpha=0.3,
                          lw=0, label="interval")  # fmt: skip
        inside = result.decades_beyond == 0
        axes.plot(time[inside], 100 * result.median[inside], color=palette.mean, label="_median")
        for curve in result.curves:
            axes.plot(curve.time_s, 100 * curve.strain, ".", color=palette.bound, ms=4, zorder=3,
                      label="_readings")  # fmt: skip
        axes.set_xlim(time[0] / 1.2, time[-1] * 1.2)
        _beyond(axes, result, palette)
        level = f"{100 * result.level:g} %"
        names = [(100 * float(result.median[-1]), f"median and\n{level} interval", palette.mean)]
        if result.curves:
            last = max(result.curves, key=lambda c: float(c.time_s[-1]))
            names.append((100 * float(last.strain[-1]), "readings", palette.bound))
        name_right(axes, names)
        axes.set_xlabel("time under load (s)", loc="left")
        axes.set_ylabel("strain (%)")
        axes.set_label(creep_alt(result, units))
    return axes


def _beyond(axes: Axes, result: CreepForecast, palette: Palette) -> None:
    """Dash and hatch what was not tested."""
    outside = np.flatnonzero(result.decades_beyond > 0)
    if not len(outside):
        return
    time = result.time_s
    first = max(int(outside[0]) - 1, 0)
    axes.plot(time[first:], 100 * result.median[first:], color=palette.mean, ls=(0, (4, 2.5)),
              label="_beyond")  # fmt: skip
    right = axes.get_xlim()[1]
    axes.axvspan(time[first], right, facecolor=palette.wash, edgecolor=palette.line, hatch="//",
                 lw=0, alpha=0.7, zorder=0, label="_untested")  # fmt: skip
    words = f"not tested: {result.decades_beyond.max():.1f} decades"
    left, em = axes.get_xlim()[0], float(mpl.rcParams["font.size"])
    wide = np.log(right / time[first]) / np.log(right / left) * axes_points(axes)[0]
    upright = wide < 1.15 * text_width(words, em)
    axes.annotate(
        words, (float(np.sqrt(time[first] * right)), 0.03), xycoords=("data", "axes fraction"),
        ha="center", va="bottom", color=palette.ink, style="italic", gid="untested",
        rotation=90 if upright else 0,
        bbox={"facecolor": palette.paper, "edgecolor": "none", "alpha": 0.85, "pad": 1.5},
    )  # fmt: skip


def _states(result: CreepForecast) -> str:
    n = len(result.curves)
    where = "1 curve at this load shown" if n == 1 else f"{n} curves at this load shown"
    if not n:
        outside = any(p.code == "load-beyond-data" for p in result.problems)
        where = "No curve at this load and temperature"
        where += ", the load lies outside the tested ones" if outside else ""
    beyond = float(result.decades_beyond.max())
    until = f"up to {beyond:.1f} decades beyond the last reading" if beyond else "within the test"
    return (
        f"{where}; several creep models averaged; {100 * result.level:g} % "
        f"interval; {until}. {CAUTION}"
    )


def sherby_dorn_chart(result: SherbyDorn | Sequence[SherbyDorn], *, ax: Axes | None = None) -> Axes:
    """Creep rate (log) against strain, one line per specimen, with its plateau.

    Parameters
    ----------
    result : SherbyDorn or sequence of SherbyDorn
    ax : Axes, optional
    """
    several = [result] if isinstance(result, SherbyDorn) else list(result)
    states = (
        f"{len(several)} specimens; each mark is the slope in a window of the readings, its bar "
        'one standard error; no model and no extrapolation. "Below": the rate was still falling '
        f"at the end of the test. {CAUTION}"
    )
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        texts = [_named(one) for one in several]
        place(axes, states, own=ax is None, right=room_right(texts),
              title=("", "Creep rate against strain (Sherby–Dorn){}"))  # fmt: skip
        axes.set_yscale("log")
        names = [_one(axes, i, one, palette) for i, one in enumerate(several)]
        name_right(axes, names)
        axes.set_xlabel("strain (%)", loc="left")
        axes.set_ylabel("creep rate (1/s)")
        axes.set_label(sherby_dorn_alt(several))
    return axes


def _one(axes: Axes, i: int, one: SherbyDorn, palette: Palette) -> tuple[float, str, str]:
    colour = palette.machines[i % len(palette.machines)]
    axes.errorbar(
        100 * one.strain, one.rate_per_s,
        yerr=np.minimum(one.rate_error_per_s, 0.9 * one.rate_per_s), color=colour,
        marker=MARKERS[i % len(MARKERS)], lw=1.2, ms=0.45 * float(mpl.rcParams["font.size"]),
        label=f"_{one.curve.specimen}",
    )  # fmt: skip
    return float(one.rate_per_s[-1]), mathtext_escape(_named(one)), colour


def _named(one: SherbyDorn) -> str:
    kind = "plateau" if one.plateau_reached else "plateau below"
    name = short(one.curve.specimen, 18) or f"{one.curve.load_N / 1e3:.3g} kN"
    return f"{name}:\n{kind} {rate_text(one.plateau_rate_per_s)}"

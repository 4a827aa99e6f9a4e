"""Pictures of an event: its course, and its demand against the strength."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes

from ratemodel.arrays import FloatArray
from ratemodel.charts.alt_lab import course_alt, demand_alt
from ratemodel.charts.palette import Palette
from ratemodel.charts.placing import place
from ratemodel.charts.style import house_style, new_axes, palette_now
from ratemodel.errors import InputError
from ratemodel.event import Course
from ratemodel.reliability import DemandAndStrength
from ratemodel.shown import probability_text, shown_unit, unit_text
from ratemodel.units import UNITS, Units
from ratemodel.words import CAUTION, number_text

_STEPS = 81


def force_against_time(result: Course, *, ax: Axes | None = None,
                       units: Units | str | None = None) -> Axes:  # fmt: skip
    """Force of one shock against time (ms), from the line coming taut, with its peak marked.

    Parameters
    ----------
    result : Course
        From `ratemodel.event.course` or `median_course`.
    ax : Axes, optional
        None: a new figure.
    units : Units or str, optional
        Unit of force; kN where not given.
    """
    with house_style(ax):
        axes = _course(result, result.time_s * 1e3, ax, units)
        axes.set_xlabel("time from the line coming taut (ms)", loc="left")
    return axes


def force_against_strain(result: Course, *, ax: Axes | None = None,
                         units: Units | str | None = None) -> Axes:  # fmt: skip
    """Force of one shock against the strain of the line (%), with its peak marked.

    Parameters
    ----------
    result : Course
        From `ratemodel.event.course` or `median_course`.
    ax : Axes, optional
        None: a new figure.
    units : Units or str, optional
        Unit of force; kN where not given.
    """
    with house_style(ax):
        axes = _course(result, result.strain * 100, ax, units)
        axes.set_xlabel("strain of the line (%)", loc="left")
    return axes


def demand_against_strength(result: DemandAndStrength, *, ax: Axes | None = None,
                            units: Units | str | None = None) -> Axes:  # fmt: skip
    """Distributions of demand and of single specimens' strength on one axis of force.

    Areas are equal, so that the heights may be compared; the odds stand below where they are
    known, with the caution.

    Parameters
    ----------
    result : DemandAndStrength
        Draws of both.
    ax : Axes, optional
        None: a new figure.
    units : Units or str, optional
        Unit of force; kN where not given.

    Raises
    ------
    InputError
        No draws above 0.
    """
    unit = shown_unit(UNITS["N"], units)
    demand, strength = result.demand_N / unit.factor, result.strength_N / unit.factor
    both = np.concatenate([demand, strength])
    if not demand.size or not strength.size or not (both > 0).all():
        raise InputError("demand or strength without draws above 0", "draws of both, above 0")
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        place(axes, _states(result), own=ax is None, left=2.0,
              title=(result.name or "an event", "Demand against strength: {}"))  # fmt: skip
        low, high = np.log(both.min()), np.log(both.max())
        margin = 0.02 * (high - low) + 1e-3
        edges = np.exp(np.linspace(low - margin, high + margin, _STEPS))
        both_looks = (("demand of the event", palette.use, "//"),
                      ("strength of one line", palette.mean, ""))  # fmt: skip
        pairs = zip((demand, strength), both_looks, strict=True)
        tops = [_share(axes, draws, edges, look) for draws, look in pairs]
        axes.set_xscale("log")
        if high - low < np.log(30):
            _plain_ticks(axes, np.exp(low), np.exp(high))
        axes.set_ylim(0, 1.25 * max(tops))
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        axes.set_xlabel(f"force ({unit_text(unit)})", loc="left")
        axes.set_label(demand_alt(result, units))
    return axes


def _share(axes: Axes, draws: FloatArray, edges: FloatArray, look: tuple[str, str, str]) -> float:
    """One distribution with its name over it; returns its height."""
    name, colour, hatch = look
    share = np.histogram(draws, edges)[0] / draws.size
    axes.stairs(share, edges, color=colour, linewidth=1.6)
    axes.stairs(share, edges, fill=True, color=colour, alpha=0.25, hatch=hatch or None, label=name)
    top = float(share.max())
    left, right = np.log(edges[0]), np.log(edges[-1])
    at = float(np.median(draws))
    near = (np.log(at) - left) / (right - left)
    axes.annotate(name, (at, top), xytext=(0, 4), textcoords="offset points", color=colour,
                  weight="bold", gid="name", annotation_clip=False,
                  ha="left" if near < 0.2 else "right" if near > 0.8 else "center")  # fmt: skip
    return top


def _states(result: DemandAndStrength) -> str:
    said = ""
    if result.odds is not None:
        lo, hi = (probability_text(v) for v in result.odds.interval)
        said = (
            f"Odds that demand exceeds strength: {probability_text(result.odds.probability)} "
            f"({100 * result.odds.level:g} % interval: {lo} to {hi}). "
        )
    return (
        f"{said}Heights: share of draws per step of force, {result.demand_N.size} events and "
        f"{result.strength_N.size} lines, read at the event's own rate. {CAUTION}"
    )


def _course(result: Course, x: FloatArray, ax: Axes | None, units: Units | str | None) -> Axes:
    axes, palette = new_axes(ax), palette_now()
    unit = shown_unit(UNITS["N"], units)
    place(axes, f"One shock, every number at its median. {CAUTION}", own=ax is None,
          title=(result.name or "an event", "Force in the line: {}"))  # fmt: skip
    _curve(axes, x, result.force_N / unit.factor, (unit_text(unit), palette))
    axes.set_ylabel(f"force in the line ({unit_text(unit)})")
    axes.set_label(course_alt(result, units))
    return axes


def _curve(axes: Axes, x: FloatArray, force: FloatArray, look: tuple[str, Palette]) -> None:
    symbol, palette = look
    top = int(force.argmax())
    axes.plot(x, force, color=palette.use, label="_force")
    axes.plot(x[top], force[top], "o", color=palette.use, label="_peak")
    em = float(mpl.rcParams["font.size"])
    left = x[top] < 0.35 * float(x.max())
    axes.annotate(f"peak {number_text(float(force[top]), 3)} {symbol}", (x[top], force[top]),
                  textcoords="offset points", xytext=(0.7 * em if left else -0.7 * em, 0.5 * em),
                  ha="left" if left else "right", color=palette.use, weight="bold")  # fmt: skip
    axes.set_xlim(left=0)
    axes.set_ylim(0, 1.15 * float(force[top]))


def _plain_ticks(axes: Axes, low: float, high: float) -> None:
    """Round numbers instead of powers of ten where the axis spans little."""
    from matplotlib.ticker import FixedLocator, MaxNLocator, NullFormatter, ScalarFormatter

    ticks = MaxNLocator(5).tick_values(low, high)
    axes.xaxis.set_major_locator(FixedLocator([float(t) for t in ticks if t > 0]))
    axes.xaxis.set_major_formatter(ScalarFormatter())
    axes.xaxis.set_minor_formatter(NullFormatter())

"""Pictures of an event: its course, and its demand against the strength."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.event import Course
from ratemodel.reliability import DemandAndStrength
from ratemodel.words import CAUTION, mathtext_escape, number_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Dark blue and orange of Okabe and Ito (2008): told apart by the colour-blind and in grey.
_DEMAND, _STRENGTH = "#0072B2", "#D55E00"
_WIDTH = 90


def force_against_time(result: Course, *, ax: Axes | None = None) -> Axes:
    """Force of one shock against time (ms), from the line coming taut, with its peak marked.

    Parameters
    ----------
    result : Course
        From `ratemodel.event.course` or `median_course`.
    ax : Axes, optional
        None: a new figure.

    Returns
    -------
    Axes
    """
    ax = _axes(ax)
    _curve(ax, result.time_s * 1e3, result.force_N)
    ax.set_xlabel("Time from the line coming taut (ms)")
    return _finish(ax, result.name)


def force_against_strain(result: Course, *, ax: Axes | None = None) -> Axes:
    """Force of one shock against the strain of the line (%), with its peak marked.

    Parameters
    ----------
    result : Course
        From `ratemodel.event.course` or `median_course`.
    ax : Axes, optional
        None: a new figure.

    Returns
    -------
    Axes
    """
    ax = _axes(ax)
    _curve(ax, result.strain * 100, result.force_N)
    ax.set_xlabel("Strain of the line (%)")
    return _finish(ax, result.name)


def demand_against_strength(result: DemandAndStrength, *, ax: Axes | None = None) -> Axes:
    """Distributions of demand and of single specimens' strength on one axis of force.

    Areas are equal, so that the heights may be compared; the odds stand in the title where they
    are known, the caution below.

    Parameters
    ----------
    result : DemandAndStrength
        Draws of both.
    ax : Axes, optional
        None: a new figure.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        No draws above 0.
    """
    ax = _axes(ax)
    both = np.concatenate([result.demand_N, result.strength_N]) / 1e3
    if not result.demand_N.size or not result.strength_N.size or not (both > 0).all():
        raise InputError("demand or strength without draws above 0", "draws of both, above 0")
    low, high = np.log(both.min()), np.log(both.max())
    margin = 0.02 * (high - low) + 1e-3
    edges = np.exp(np.linspace(low - margin, high + margin, 81))
    for draws, colour, hatch, label in (
        (result.demand_N, _DEMAND, "//", "demand of the event"),
        (result.strength_N, _STRENGTH, "", "strength of a specimen"),
    ):
        share = np.histogram(draws / 1e3, edges)[0] / draws.size
        ax.stairs(share, edges, color=colour, linewidth=1.6)
        ax.stairs(
            share, edges, fill=True, color=colour, alpha=0.25, hatch=hatch or None, label=label
        )
    ax.set_xscale("log")
    if high - low < np.log(30):
        _plain_ticks(ax, np.exp(low), np.exp(high))
    ax.set_xlabel("Force (kN)")
    ax.set_ylabel("Share of draws per step")
    ax.set_ylim(bottom=0)
    ax.legend(frameon=False)
    title = mathtext_escape(result.name)
    if result.odds is not None:
        lo, hi = (number_text(v, 2) for v in result.odds.interval)
        odds = number_text(result.odds.probability, 2)
        title += f"\nprobability that demand exceeds strength {odds} ({lo} to {hi})"
    ax.set_title(title, fontsize="medium")
    _caution(ax)
    return ax


def _axes(ax: Axes | None) -> Axes:
    if ax is not None:
        return ax
    from matplotlib.figure import Figure

    return Figure(figsize=(7.0, 4.6), layout="constrained").add_subplot()


def _curve(ax: Axes, x: FloatArray, force: FloatArray) -> None:
    ax.plot(x, force / 1e3, color=_DEMAND, linewidth=1.8)
    top = int(force.argmax())
    ax.plot(x[top], force[top] / 1e3, "o", color=_DEMAND)
    ax.annotate(
        f"peak {number_text(float(force[top]) / 1e3, 3)} kN",
        (x[top], force[top] / 1e3),
        textcoords="offset points",
        xytext=(-6, 6),
        ha="right",
    )
    ax.set_ylabel("Force in the line (kN)")
    ax.set_xlim(left=0)
    ax.set_ylim(0, 1.12 * float(force[top]) / 1e3)


def _finish(ax: Axes, name: str) -> Axes:
    ax.grid(alpha=0.25)
    if name:
        ax.set_title(mathtext_escape(name), fontsize="medium")
    _caution(ax)
    return ax


def _plain_ticks(ax: Axes, low: float, high: float) -> None:
    """Round numbers instead of powers of ten where the axis spans little."""
    from matplotlib.ticker import FixedLocator, MaxNLocator, NullFormatter, ScalarFormatter

    ticks = MaxNLocator(7).tick_values(low, high)
    ax.xaxis.set_major_locator(FixedLocator([float(t) for t in ticks if t > 0]))
    ax.xaxis.set_major_formatter(ScalarFormatter())
    ax.xaxis.set_minor_formatter(NullFormatter())


def _caution(ax: Axes) -> None:
    """The caution under the axis label, so that a copied picture keeps it."""
    label = ax.get_xlabel()
    ax.set_xlabel(f"{label}\n\n{textwrap.fill(CAUTION, _WIDTH)}", fontsize="small")

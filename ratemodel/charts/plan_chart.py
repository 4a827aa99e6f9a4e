"""Pictures of a plan: what machine hours buy, and where on the rate axis the tests stand."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from ratemodel.planning.plan import Plan
from ratemodel.words import CAUTION, mathtext_escape

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Okabe and Ito (2008), with a marker each: told apart by the colour-blind and in grey.
_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
_MARKERS = ("o", "s", "^", "D", "v", "P")
_WIDTH = 90


def interval_against_hours(result: Plan, *, ax: Axes | None = None) -> Axes:
    """Expected interval of the answer (± % of strength) against machine hours, by design.

    Parameters
    ----------
    result : Plan
        From `plan_tests`.
    ax : Axes, optional
        None: a new figure.

    Returns
    -------
    Axes
    """
    ax = _axes(ax)
    curve = result.curve
    for i, (name, width) in enumerate(curve.width.items()):
        ax.plot(curve.hours, 50 * width, color=_COLOURS[i], marker=_MARKERS[i], label=name)
    if np.isfinite(result.width_now):
        ax.axhline(50 * result.width_now, color="0.4", linestyle=":", label="now")
    ax.axvline(result.request.hours, color="0.6", linestyle="--", label="budget")
    ax.set_xscale("log")
    seen = [50 * w for w in (*curve.width.values(), np.array([result.width_now]))]
    ax.set_ylim(0, 1.1 * max(float(np.nanmax(w)) for w in seen if np.isfinite(w).any()))
    ax.set_xlabel(_foot("Machine hours"))
    ax.set_ylabel(f"Expected {100 * result.request.level:.0f} % interval (± % of strength)")
    ax.set_title(mathtext_escape(f"{result.sheet.series}: {result.request.question.words}"))
    ax.legend()
    return ax


def design_on_rate_axis(result: Plan, *, ax: Axes | None = None) -> Axes:
    """Specimens of the plan at each strain rate, by machine, with tested rates and the question.

    Parameters
    ----------
    result : Plan
        From `plan_tests`.
    ax : Axes, optional
        None: a new figure.

    Returns
    -------
    Axes
    """
    ax = _axes(ax)
    for i, machine in enumerate(result.request.machines):
        mine = [(c.strain_rate_per_s, n) for c, n in result.chosen.tests if c.machine == machine]
        name = mathtext_escape(machine.name or "(no name)")
        colour = _COLOURS[i % len(_COLOURS)]
        low = machine.speed_min_m_per_s / result.request.free_length_m
        high = machine.speed_max_m_per_s / result.request.free_length_m
        ax.plot([low, high], [-0.6 - 0.5 * i] * 2, color=colour, linewidth=4,
                marker="|", solid_capstyle="butt")  # fmt: skip
        x, n = [m[0] for m in mine], [m[1] for m in mine]
        ax.vlines(x, 0, n, color=colour, linewidth=2)
        ax.plot(x, n, color=colour, marker=_MARKERS[i % len(_MARKERS)], linestyle="none",
                markersize=9, label=f"{name}: {sum(n)} specimens")  # fmt: skip
    known = result.request.known
    if known is not None:
        rates = 10.0**known.data.rates
        ax.plot(rates, np.zeros(rates.size), color="0.3", marker="x", linestyle="none",
                label="tested already")  # fmt: skip
    ax.axvline(result.request.question.strain_rate_per_s, color="0.2", linestyle="--",
               label="rate asked about")  # fmt: skip
    ax.axhline(0, color="0.7", linewidth=0.8)
    most = max(n for _, n in result.chosen.tests)
    ax.set_yticks(np.unique(np.linspace(0, most, 6).round()))
    ax.set_xscale("log")
    ax.set_xlabel(_foot("Strain rate (1/s); bars below the line: what each machine reaches"))
    ax.set_ylabel("Specimens")
    ax.set_title(mathtext_escape(f"{result.sheet.series}: {result.chosen.specimens} specimens, "
                                 f"{result.chosen.hours:.1f} machine hours"))  # fmt: skip
    ax.legend()
    return ax


def _foot(label: str) -> str:
    return f"{label}\n" + textwrap.fill(CAUTION, _WIDTH)


def _axes(ax: Axes | None) -> Axes:
    if ax is not None:
        return ax
    from matplotlib.figure import Figure

    return Figure(figsize=(7.5, 5.0), layout="constrained").subplots()

"""Creep against time, and creep rate against strain."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ratemodel.charts.colours import BLUE, CYCLE, GREY, VERMILION, axes_for
from ratemodel.inference.creep_forecast import CreepForecast
from ratemodel.inference.sherby_dorn import SherbyDorn
from ratemodel.words import mathtext_escape

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def creep_chart(result: CreepForecast, *, ax: Axes | None = None) -> Axes:
    """Strain against time with its interval; dashed and shaded beyond the last reading."""
    ax = axes_for(ax)
    time = result.time_s
    ax.fill_between(time, 100 * result.low, 100 * result.high, color=BLUE, alpha=0.2, lw=0)
    inside = result.decades_beyond == 0
    ax.plot(time[inside], 100 * result.median[inside], color=BLUE, lw=2)
    outside = np.flatnonzero(~inside)
    if len(outside):
        first = max(int(outside[0]) - 1, 0)
        ax.plot(time[first:], 100 * result.median[first:], color=BLUE, lw=2, ls="--")
        ax.axvspan(time[first], time[-1], color=GREY, alpha=0.08, lw=0)
        ax.annotate(
            f"not tested: {result.decades_beyond.max():.1f} decades",
            (float(np.sqrt(time[first] * time[-1])), 0.02),
            xycoords=("data", "axes fraction"),
            ha="center",
            va="bottom",
            color=GREY,
        )
    for curve in result.curves:
        ax.plot(curve.time_s, 100 * curve.strain, ".", color=VERMILION, ms=4)
    if result.curves:
        last = result.curves[0]
        ax.annotate(
            "readings",
            (last.time_s[len(last.time_s) // 2], 100 * last.strain[len(last.strain) // 2]),
            xytext=(0, -14),
            textcoords="offset points",
            color=VERMILION,
        )
    ax.annotate(
        f"median and {result.level:.0%} interval",
        (time[-1], 100 * result.median[-1]),
        xytext=(-6, 6),
        textcoords="offset points",
        ha="right",
        color=BLUE,
    )
    ax.set_xscale("log")
    ax.set_xlabel("time under load (s)")
    ax.set_ylabel("strain (%)")
    ax.set_title(f"Creep at {result.load_N / 1e3:.3g} kN", loc="left")
    return ax


def sherby_dorn_chart(result: SherbyDorn | Sequence[SherbyDorn], *, ax: Axes | None = None) -> Axes:
    """Creep rate (log) against strain, one line per specimen, with its plateau."""
    ax = axes_for(ax)
    several = [result] if isinstance(result, SherbyDorn) else list(result)
    for i, one in enumerate(several):
        colour = CYCLE[i % len(CYCLE)]
        ax.errorbar(
            100 * one.strain,
            one.rate_per_s,
            yerr=np.minimum(one.rate_error_per_s, 0.9 * one.rate_per_s),
            color=colour,
            marker="o",
            ms=4,
            lw=1.5,
        )
        kind = "plateau" if one.plateau_reached else "plateau below"
        name = mathtext_escape(one.curve.specimen) or f"{one.curve.load_N / 1e3:.3g} kN"
        ax.annotate(
            f"{name}: {kind} {one.plateau_rate_per_s:.2g} 1/s",
            (100 * float(one.strain[-1]), float(one.rate_per_s[-1])),
            xytext=(0.98, 0.95 - 0.06 * i),
            textcoords="axes fraction",
            ha="right",
            va="top",
            color=colour,
            arrowprops={"arrowstyle": "-", "color": colour, "lw": 0.5, "alpha": 0.6},
        )
    ax.set_yscale("log")
    ax.set_xlabel("strain (%)")
    ax.set_ylabel("creep rate (1/s)")
    ax.set_title("Creep rate against strain (Sherby-Dorn)", loc="left")
    return ax

"""Time to break against load."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ratemodel.charts.colours import BLUE, GREY, VERMILION, axes_for
from ratemodel.inference.life import LifeData
from ratemodel.inference.life_bounds import LifeBound

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def life_chart(result: LifeBound, data: LifeData, *, ax: Axes | None = None) -> Axes:
    """Load against life: specimens, runouts as arrows, median line and lower bound."""
    ax = axes_for(ax)
    order = np.argsort(result.load_N)
    load = result.load_N[order] / 1e3
    ax.plot(result.median_s[order], load, color=BLUE, lw=2)
    ax.plot(result.lower_s[order], load, color=VERMILION, lw=2, ls="--")
    broke = data.broke
    ax.plot(data.time_s[broke], data.load_N[broke] / 1e3, "o", color=GREY, ms=4)
    ax.plot(data.time_s[~broke], data.load_N[~broke] / 1e3, ">", color=GREY, ms=6, mfc="w")
    ax.annotate(
        "median",
        (float(result.median_s[order][0]), float(load[0])),
        xytext=(4, 4),
        textcoords="offset points",
        color=BLUE,
    )
    ax.annotate(
        f"{result.fraction:.0%} last longer,\n{result.confidence:.0%} confidence",
        (float(result.lower_s[order][0]), float(load[0])),
        xytext=(-4, 4),
        textcoords="offset points",
        ha="right",
        color=VERMILION,
    )
    if (~broke).any():
        i = int(np.flatnonzero(~broke)[0])
        ax.annotate(
            "not broken",
            (float(data.time_s[i]), float(data.load_N[i]) / 1e3),
            xytext=(6, -12),
            textcoords="offset points",
            color=GREY,
        )
    ax.set_xscale("log")
    ax.set_xlabel("time to break (s)")
    ax.set_ylabel("load (kN)")
    ax.set_title("Life under constant load", loc="left")
    ax.text(0.0, -0.2, result.caution, transform=ax.transAxes, fontsize=7, color=GREY)
    return ax

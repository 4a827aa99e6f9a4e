"""Effect of preload cycling on the breaking strength."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ratemodel.charts.colours import CYCLE, GREY, axes_for
from ratemodel.inference.preload import PreloadFit
from ratemodel.models.preload import Protocol

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def preload_chart(result: PreloadFit, *, ax: Axes | None = None) -> Axes:
    """Strength against no preload (ratio) over the number of cycles, one band per level.

    Points are specimens over the fitted strength without preload.
    """
    ax = axes_for(ax)
    data = result.data
    n_max = max(float(data.cycles.max()), 1.0)
    grid = np.concatenate([np.linspace(0, min(5.0, n_max), 11), np.linspace(5.0, n_max, 20)])
    grid = np.unique(grid[grid <= n_max])
    base = float(np.exp(np.median(result.ln_strength)))
    none = data.cycles * data.fraction == 0
    ax.plot(0 * data.strength_N[none], data.strength_N[none] / base, "o", color=GREY, ms=5, mfc="w")
    for i, level in enumerate(np.unique(data.fraction[~none])):
        colour = CYCLE[i % len(CYCLE)]
        effects = np.array([result.effect(Protocol(float(n), float(level))) for n in grid])
        low, middle, high = np.exp(np.quantile(effects, [0.05, 0.5, 0.95], axis=1))
        ax.fill_between(grid, low, high, color=colour, alpha=0.18, lw=0)
        ax.plot(grid, middle, color=colour, lw=2)
        rows = (data.fraction == level) & ~none
        ax.plot(data.cycles[rows], data.strength_N[rows] / base, "o", color=colour, ms=5)
        ax.annotate(
            f"to {level:.0%}",
            (grid[-1], float(middle[-1])),
            xytext=(5, 12 * i - 6),
            textcoords="offset points",
            color=colour,
            annotation_clip=False,
        )
    ax.axhline(1.0, color=GREY, lw=0.8, ls=":")
    none_odds = result.odds["no-effect"]
    ax.set_title(f"Preload cycling: probability of no effect {none_odds:.0%}", loc="left")
    ax.set_xlabel("preload cycles")
    ax.set_ylabel("breaking strength over that without preload")
    return ax

"""Effect of preload cycling on the breaking strength."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from ratemodel.charts.alt_lab import preload_alt
from ratemodel.charts.placing import Named, name_right, place
from ratemodel.charts.style import MARKERS, house_style, new_axes, palette_now
from ratemodel.inference.preload import PreloadFit
from ratemodel.models.preload import Protocol
from ratemodel.words import CAUTION

_LEVEL = 0.90


def preload_chart(result: PreloadFit, *, ax: Axes | None = None) -> Axes:
    """Strength against no preload (ratio) over the number of cycles, one band per level.

    Points are specimens over the fitted strength without preload.

    Parameters
    ----------
    result : PreloadFit
    ax : Axes, optional
    """
    data, odds = result.data, result.odds["no-effect"]
    states = (
        f"{data.strength_N.size} specimens, as ratios to the fitted strength without preload; "
        f"{100 * _LEVEL:g} % intervals, averaged over models; probability that cycling does "
        f"nothing: {100 * odds:.0f} %. Nothing is drawn beyond the cycles tested. {CAUTION}"
    )
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        place(axes, states, own=ax is None, right=6.0,
              title=("", "Preload cycling: what it does to strength{}"))  # fmt: skip
        base = float(np.exp(np.median(result.ln_strength)))
        none = data.cycles * data.fraction == 0
        axes.plot(0 * data.strength_N[none], data.strength_N[none] / base, "o", color=palette.soft,
                  mfc=palette.paper, label="_none", zorder=3)  # fmt: skip
        names: list[Named] = []
        for i, level in enumerate(np.unique(data.fraction[~none])):
            look = (palette.machines[i % len(palette.machines)], MARKERS[i % len(MARKERS)])
            end = _level(axes, result, float(level), base, look)
            names.append((end, f"to {100 * level:.0f} %", look[0]))
        axes.axhline(1.0, color=palette.soft, lw=0.8, ls=":", label="_one")
        axes.set_xlim(-0.03 * max(float(data.cycles.max()), 1), max(float(data.cycles.max()), 1))
        name_right(axes, names)
        axes.set_xlabel("preload cycles", loc="left")
        axes.set_ylabel("strength over that without preload")
        axes.set_label(preload_alt(result))
    return axes


def _level(axes: Axes, result: PreloadFit, level: float, base: float, look: tuple[str, str]
           ) -> float:  # fmt: skip
    """Band and specimens of one preload level; returns where its median ends."""
    colour, marker = look
    data = result.data
    most = max(float(data.cycles.max()), 1.0)
    grid = np.concatenate([np.linspace(0, min(5.0, most), 11), np.linspace(5.0, most, 20)])
    grid = np.unique(grid[grid <= most])
    effects = np.array([result.effect(Protocol(float(n), level)) for n in grid])
    tails = [(1 - _LEVEL) / 2, 0.5, (1 + _LEVEL) / 2]
    low, middle, high = np.exp(np.quantile(effects, tails, axis=1))
    axes.fill_between(grid, low, high, color=colour, alpha=0.18, lw=0, label=f"{level:g}")
    axes.plot(grid, middle, color=colour, label="_median")
    rows = (data.fraction == level) & (data.cycles > 0)
    axes.plot(data.cycles[rows], data.strength_N[rows] / base, marker, color=colour, zorder=3,
              label="_specimens", clip_on=False)  # fmt: skip
    return float(middle[-1])

"""Specimens of a series on a strength-against-rate chart."""

from __future__ import annotations

from collections.abc import Sequence

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.transforms import ScaledTranslation

from ratemodel.charts.labels import axes_points, short, text_width
from ratemodel.charts.palette import Palette
from ratemodel.charts.style import MARKERS
from ratemodel.inference.ratefit import RateFit
from ratemodel.units import Unit
from ratemodel.words import mathtext_escape


def draw_specimens(axes: Axes, fit: RateFit, unit: Unit, palette: Palette) -> None:
    """Draw every specimen by machine, those that held hollow and with an arrow up."""
    data = fit.data
    strength = np.exp(data.y) / unit.factor
    size = float(mpl.rcParams["lines.markersize"])
    for j, name in enumerate(data.machines):
        colour = palette.machines[j % len(palette.machines)]
        marker = MARKERS[j % len(MARKERS)]
        for broke in (True, False):
            mine = (data.machine == j) & (data.broke == broke)
            if not mine.any():
                continue
            rate, y = 10 ** data.u[mine], strength[mine]
            label = mathtext_escape(short(name or "machine not named"))
            named = broke or not bool((data.broke & (data.machine == j)).any())
            # a hollow mark with an arrow: it holds at least this much
            axes.plot(rate, y, marker=marker, ls="none", ms=size, zorder=4, color=colour, alpha=0.9,
                      mfc=colour if broke else palette.paper, mew=0.6 if broke else 1.3,
                      mec=palette.paper if broke else colour,
                      label=label if named else f"_held {label}")  # fmt: skip
            if not broke:
                for x, top in zip(rate, y, strict=True):
                    axes.annotate(
                        "", (x, top), xytext=(0, 2.6 * size), textcoords="offset points",
                        arrowprops={"arrowstyle": "<|-", "color": colour, "lw": 1.2,
                                    "shrinkA": 0, "shrinkB": size / 2},
                        zorder=4, gid="held",
                    )  # fmt: skip


def key_below(axes: Axes, names: Sequence[str], beside: str) -> bool:
    """Whether the key of the machines needs a row of its own below the axis label ``beside``."""
    em = float(mpl.rcParams["font.size"])
    return len(names) > 1 and _key_width(names) + text_width(beside, em) > (
        axes_points(axes)[0] - 1.5 * em
    )


def _key_width(names: Sequence[str]) -> float:
    em = float(mpl.rcParams["font.size"])
    return sum(text_width(short(n), em) + 3.6 * em for n in names)


def draw_key(axes: Axes, names: Sequence[str], *, below: bool) -> None:
    """Key of the machines beside the axis label, or in a row below it."""
    if len(names) < 2:
        return
    figure = axes.get_figure(root=True)
    assert figure is not None
    em = float(mpl.rcParams["font.size"])
    handles = [h for h in axes.lines if h.get_marker() != "None"
               and not str(h.get_label()).startswith("_")]  # fmt: skip
    down = 3.6 * em if below else 1.95 * em
    shift = ScaledTranslation(0, -down / 72, figure.dpi_scale_trans)
    axes.legend(handles=handles, ncols=max(len(handles), 1), borderpad=0,
                loc="upper left" if below else "upper right",
                bbox_to_anchor=(0.0 if below else 1.0, 0.0), bbox_transform=axes.transAxes + shift,
                handletextpad=0.2, columnspacing=1.2, borderaxespad=0)  # fmt: skip


def draw_counts(axes: Axes, fit: RateFit, palette: Palette) -> None:
    """Number of specimens at each tested rate along the bottom; near rates share a number."""
    size = 0.86 * float(mpl.rcParams["font.size"])
    left, right = np.log10(axes.get_xlim())
    wide = axes_points(axes)[0]
    gap = (text_width("n = 00", size) + 6) / wide * (right - left)
    groups: list[list[float]] = []
    for u in np.sort(fit.data.u):
        if groups and u - groups[-1][0] < gap:
            groups[-1].append(float(u))
        else:
            groups.append([float(u)])
    for u in fit.data.rates:
        axes.axvline(10**u, 0, 0.014, color=palette.soft, lw=1.0, label="_lab")
    for group in groups:
        middle = (min(group) + max(group)) / 2
        half = gap / 2
        at = min(max(middle, left + half), right - half)
        axes.annotate(f"n = {len(group)}", (10**at, 0.022), xycoords=("data", "axes fraction"),
                      ha="center", va="bottom", fontsize=size, color=palette.soft, gid="lab",
                      zorder=5, bbox={"facecolor": palette.paper, "edgecolor": "none",
                                      "alpha": 0.8, "pad": 0.5})  # fmt: skip

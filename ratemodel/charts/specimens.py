"""Specimens of a series on a strength-against-rate chart."""

from __future__ import annotations

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
    if len(data.machines) > 1:
        _legend(axes)


def _legend(axes: Axes) -> None:
    """Key of the machines in one row below the axes."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    handles = [h for h in axes.lines if h.get_marker() != "None"
               and not str(h.get_label()).startswith("_")]  # fmt: skip
    shift = ScaledTranslation(0, -1.95 * float(mpl.rcParams["font.size"]) / 72,
                              figure.dpi_scale_trans)  # fmt: skip
    axes.legend(handles=handles, ncols=min(len(handles), 4), loc="upper right", borderpad=0,
                bbox_to_anchor=(1.0, 0.0), bbox_transform=axes.transAxes + shift,
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

"""Fast preload, then slow pull: machine time saved against bias."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ratemodel.charts.colours import BLUE, GREY, VERMILION, axes_for
from ratemodel.models.fast_preload import FastPreload

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_NEGLIGIBLE_PERCENT = 0.1


def fast_preload_chart(result: FastPreload, *, ax: Axes | None = None) -> Axes:
    """Bias of the strength read (log) against machine time saved, with its 90 % band.

    Points are labelled with the preload as a fraction of the strength.
    """
    ax = axes_for(ax)
    saved = 100 * result.time_saved_fraction
    bias = 100 * np.maximum(np.quantile(result.ratio, [0.05, 0.5, 0.95], axis=0) - 1, 1e-9)
    ax.fill_between(saved, bias[0], bias[2], color=BLUE, alpha=0.2, lw=0)
    ax.plot(saved, bias[1], "o-", color=BLUE, lw=2, ms=4)
    step = max(1, len(saved) // 8)
    for i in range(0, len(saved), step):
        ax.annotate(
            f"{result.preload_fraction[i]:.0%}",
            (saved[i], bias[1, i]),
            xytext=(4, -12),
            textcoords="offset points",
            color=BLUE,
        )
    ax.axhline(_NEGLIGIBLE_PERCENT, color=VERMILION, lw=1, ls="--")
    ax.annotate(
        f"{_NEGLIGIBLE_PERCENT:g} % bias",
        (0.01, _NEGLIGIBLE_PERCENT),
        xycoords=("axes fraction", "data"),
        xytext=(0, 3),
        textcoords="offset points",
        color=VERMILION,
    )
    warned = [p.code.replace("-", " ") for p in result.problems]
    if warned:
        ax.annotate(
            "holds for damage only; check: " + ", ".join(warned),
            (0.01, 0.98),
            xycoords="axes fraction",
            va="top",
            color=GREY,
        )
    ax.set_yscale("log")
    ax.set_ylim(bottom=1e-5)
    ax.set_xlabel("machine time saved (%)")
    ax.set_ylabel("bias of the strength (%)")
    ax.set_title("Fast preload, then slow pull", loc="left")
    return ax

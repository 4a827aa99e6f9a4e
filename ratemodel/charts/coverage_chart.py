"""Coverage of a simulation study against what the intervals promise."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#666666")
_MARKERS = ("o", "s", "^", "D", "v")


def coverage_chart(table: pd.DataFrame, *, nominal: float = 0.95, ax: Axes | None = None) -> Axes:
    """Share held per cell, one mark per kind of interval, with the simulation's own 95 % range.

    Parameters
    ----------
    table : DataFrame
        Columns ``cell``, ``campaigns`` and one per kind of interval, as the study writes them.
    """
    from matplotlib.figure import Figure

    if ax is None:
        ax = Figure(figsize=(10, 5.6), layout="constrained").subplots()
    kinds = [c for c in table.columns if c not in ("part", "cell", "campaigns")]
    rows = np.arange(len(table))[::-1]
    for j, kind in enumerate(kinds):
        share = table[kind].to_numpy(float)
        half = 1.96 * np.sqrt(share * (1 - share) / table["campaigns"].to_numpy(float))
        y = rows + 0.14 * (len(kinds) / 2 - j)
        ax.errorbar(share, y, xerr=half, fmt=_MARKERS[j % 5], color=_COLOURS[j % 5], ms=5, lw=1)
        thread = {"arrowstyle": "-", "color": _COLOURS[j % 5], "lw": 0.5}
        ax.annotate(
            kind,
            (share[0], y[0]),
            xytext=(0, 12 + 11 * (len(kinds) - j)),
            fontsize=8,
            textcoords="offset points",
            color=_COLOURS[j % 5],
            ha="center",
            arrowprops=thread,
        )
    ax.axvline(nominal, color="#333333", lw=1)
    ax.set_yticks(rows, [str(c) for c in table["cell"]])
    ax.set_ylim(-0.6, len(table) + 0.9)
    ax.set_xlabel(f"share that held (promised: {nominal:.0%}); bars: 95 % range of the simulation")
    ax.spines[["top", "right"]].set_visible(False)
    return ax

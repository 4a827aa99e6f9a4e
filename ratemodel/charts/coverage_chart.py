"""Coverage of a simulation study against what the intervals promise."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes

from ratemodel.charts.alt_lab import coverage_alt
from ratemodel.charts.rowed import lay_rows
from ratemodel.charts.style import MARKERS, house_style, new_axes, palette_now

if TYPE_CHECKING:
    import pandas as pd


def coverage_chart(table: pd.DataFrame, *, nominal: float = 0.95, ax: Axes | None = None) -> Axes:
    """Share held per cell, one mark per kind of interval, with the simulation's own 95 % range.

    Parameters
    ----------
    table : DataFrame
        Columns ``cell``, ``campaigns`` and one per kind of interval, as the study writes them.
    nominal : float
        Share that the intervals promise.
    ax : Axes, optional
    """
    kinds = coverage_kinds(table)
    cells = [str(c) for c in table["cell"]]
    states = (
        f"Simulated campaigns with known truth, {int(table['campaigns'].min())} or more a row; "
        f"bars: 95 % range of the simulation; line: the promise, {100 * nominal:g} %. Truths of "
        "the study's library, not measurements of cord."
    )
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        lay_rows(axes, cells, own=ax is None, title=("", "Do the intervals keep their promise?{}"),
                 states=states)  # fmt: skip
        colours = (*palette.machines, palette.soft)
        for j, kind in enumerate(kinds):
            share = table[kind].to_numpy(float)
            half = 1.96 * np.sqrt(share * (1 - share) / table["campaigns"].to_numpy(float))
            rows = np.arange(len(cells)) + 0.16 * (j - (len(kinds) - 1) / 2)
            axes.errorbar(share, rows, xerr=half, fmt=MARKERS[j % len(MARKERS)], label=kind, lw=1,
                          color=colours[j % len(colours)],
                          ms=0.5 * float(mpl.rcParams["font.size"]))  # fmt: skip
        axes.axvline(nominal, color=palette.ink, lw=1, label="_nominal")
        axes.set_xlabel("share of intervals that held the truth", loc="left")
        axes.set_ylim(len(cells) - 0.4, -1.3)  # a row for the key
        axes.legend(loc="upper left", ncols=len(kinds), handletextpad=0.1, columnspacing=1.0,
                    borderaxespad=0)  # fmt: skip
        axes.set_label(coverage_alt(table, nominal))
    return axes


def coverage_kinds(table: pd.DataFrame) -> list[str]:
    """Columns that hold a share."""
    return [str(c) for c in table.columns if c not in ("part", "cell", "campaigns")]

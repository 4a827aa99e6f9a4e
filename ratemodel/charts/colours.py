"""Colours that readers with colour-blindness can tell apart, and axes when none are given.

Source: Okabe & Ito, Color Universal Design (2008).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BLUE = "#0072B2"
VERMILION = "#D55E00"
GREEN = "#009E73"
PURPLE = "#CC79A7"
ORANGE = "#E69F00"
SKY = "#56B4E9"
GREY = "#5F5F5F"
CYCLE = (BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY)


def axes_for(ax: Axes | None) -> Axes:
    """Give the axes asked for, or new ones in a figure of their own, outside any global state."""
    if ax is not None:
        return ax
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.0, 4.5), layout="constrained")
    return figure.add_subplot()

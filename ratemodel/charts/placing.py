"""Frame, small text and names beside the axes, for the charts that are one plot each."""

from __future__ import annotations

from collections.abc import Sequence

import matplotlib as mpl
from matplotlib.axes import Axes

from ratemodel.charts.labels import (
    axes_points,
    footer,
    footer_size,
    set_title,
    spread,
    text_width,
    wrapped,
)
from ratemodel.charts.style import frame

#: Value at which a name stands, the name, its colour.
Named = tuple[float, str, str]


def place(axes: Axes, states: str, *, own: bool, title: tuple[str, str], left: float = 5.2,
          right: float = 1.5) -> None:  # fmt: skip
    """Give own axes their frame; title above, what the picture rests on below.

    Parameters
    ----------
    states : str
        Data, level of intervals, extrapolation and caution.
    own : bool
        Whether the figure is the chart's own, so that the frame may be set.
    title : tuple of str
        Name from the data, and words with ``{}`` in its place.
    left, right : float
        Margins in multiples of the type size.
    """
    em = float(mpl.rcParams["font.size"])
    figure = axes.get_figure(root=True)
    assert figure is not None
    whole = float(figure.get_size_inches()[0]) * 72
    text = wrapped(states, whole - (left + 1.5) * em if own else axes_points(axes)[0],
                   footer_size())  # fmt: skip
    if own:
        lines = text.count("\n") + 1
        frame(axes, left=left, right=right, top=2.6, bottom=4.4 + 1.24 * 0.86 * lines)
    set_title(axes, *title)
    footer(axes, text, below=3.7 * em)


def room_right(names: Sequence[str]) -> float:
    """Right margin, in multiples of the type size, that holds names beside the axes."""
    em = float(mpl.rcParams["font.size"])
    return max(text_width(line, em) for name in names for line in name.split("\n")) / em + 1.6


def name_right(axes: Axes, names: Sequence[Named]) -> None:
    """Names of curves at their right ends, outside the axes, none on another.

    The y axis, straight or log, must have its limits already.
    """
    if not names:
        return
    size = float(mpl.rcParams["font.size"])
    high = axes_points(axes)[1]
    to_points = axes.transData.transform
    from_box = axes.transAxes.inverted().transform
    x = axes.get_xlim()[1]
    wanted = [float(from_box(to_points((x, value)))[1]) * high for value, _, _ in names]
    lines = max(text.count("\n") + 1 for _, text, _ in names)
    gap = 1.35 * size * lines
    places = spread(wanted, gap, gap / 2, high - gap / 2)
    for (_, text, colour), at in zip(names, places, strict=True):
        axes.annotate(text, (1.0, at / high), xycoords="axes fraction", xytext=(5, 0),
                      textcoords="offset points", va="center", ha="left", color=colour,
                      gid="band", annotation_clip=False)  # fmt: skip

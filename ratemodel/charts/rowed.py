"""What the charts made of named rows share: frame, names on the left, footer below."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import matplotlib as mpl
from matplotlib.axes import Axes

from ratemodel.charts.labels import (
    axes_points,
    footer,
    footer_size,
    set_title,
    text_width,
    wrapped,
)
from ratemodel.charts.style import frame
from ratemodel.words import mathtext_escape


def lay_rows(axes: Axes, names: Sequence[str], *, own: bool, title: tuple[str, str], states: str,
             right: float = 1.5) -> None:  # fmt: skip
    """Rows 0, 1, … from the top, named on the left; title above, the data stated below.

    Parameters
    ----------
    own : bool
        Whether the figure is the chart's own, so that the frame may be set.
    title : tuple of str
        Name from the data, and words with ``{}`` in its place.
    states : str
        What the picture rests on, and the caution.
    right : float
        Margin on the right in multiples of the type size.
    """
    em = float(mpl.rcParams["font.size"])
    figure = axes.get_figure(root=True)
    assert figure is not None
    whole = float(figure.get_size_inches()[0]) * 72
    if own and _widest(names) > 0.40 * whole:
        letters = int(0.40 * whole / (0.58 * em))
        names = [textwrap.fill(name.replace("\n", " "), letters) for name in names]
    left = _widest(names) / em + 1.8
    text = wrapped(states, whole - 3 * em if own else axes_points(axes)[0], footer_size())
    if own:
        lines = text.count("\n") + 1
        frame(axes, left=left, right=right, top=2.6, bottom=4.4 + 1.24 * 0.86 * lines)
    axes.set_yticks(range(len(names)), [mathtext_escape(n.replace("\u00a0", " ")) for n in names])
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    shift = (left - 1.2) * em if own else 0.0
    set_title(axes, *title, left=shift)
    footer(axes, text, below=3.7 * em, left=shift)


def _widest(names: Sequence[str]) -> float:
    """Width of the longest line in points."""
    size = float(mpl.rcParams["font.size"])
    return max(text_width(line, size) for name in names for line in name.split("\n"))

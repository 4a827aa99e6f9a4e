"""Where texts go so that none lies on another."""

from __future__ import annotations

import textwrap
import warnings
from collections.abc import Sequence

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties
from matplotlib.text import Annotation
from matplotlib.textpath import text_to_path

from ratemodel.words import mathtext_escape


def text_width(text: str, size: float) -> float:
    """Width of one line of text in points."""
    if not text.strip():
        return 0.0  # the library can not measure an empty text
    family = mpl.rcParams["font.family"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a glyph the font lacks has a width all the same
        width, _, _ = text_to_path.get_text_width_height_descent(
            text.replace("\u00a0", " "), FontProperties(family=family, size=size), ismath=False
        )
    return float(width)


def axes_points(axes: Axes) -> tuple[float, float]:
    """Width and height of the axes in points."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    box, (wide, high) = axes.get_position(), figure.get_size_inches()
    return float(box.width * wide * 72), float(box.height * high * 72)


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Positions at least ``gap`` apart, close to the wanted ones, kept in their order.

    Examples
    --------
    >>> spread([1.0, 1.1, 5.0], 1.0, 0.0, 6.0)
    [0.55, 1.55, 5.0]
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    groups: list[list[int]] = []
    centres: list[float] = []
    for i in order:
        groups.append([i])
        centres.append(_inside(wanted[i], 0.0, low, high))
        while len(groups) > 1 and _overlap(groups, centres, gap):
            last = groups.pop()
            centres.pop()
            groups[-1] += last
            middle = sum(wanted[k] for k in groups[-1]) / len(groups[-1])
            centres[-1] = _inside(middle, (len(groups[-1]) - 1) * gap / 2, low, high)
    out = [0.0] * len(wanted)
    for group, centre in zip(groups, centres, strict=True):
        for place, i in enumerate(group):
            out[i] = centre + (place - (len(group) - 1) / 2) * gap
    return out


def _inside(centre: float, half: float, low: float, high: float) -> float:
    return min(max(centre, low + half), max(high - half, low + half))


def _overlap(groups: list[list[int]], centres: list[float], gap: float) -> bool:
    half = gap * (len(groups[-1]) + len(groups[-2])) / 2
    return centres[-1] - centres[-2] < half - 1e-12


def rows(centres: Sequence[float], widths: Sequence[float]) -> list[int]:
    """Row of each label so that labels in one row do not touch; row 0 fills first.

    Examples
    --------
    >>> rows([0.0, 1.0, 5.0], [2.0, 2.0, 2.0])
    [0, 1, 0]
    """
    taken: list[list[tuple[float, float]]] = []
    out = [0] * len(centres)
    for i in sorted(range(len(centres)), key=lambda k: centres[k]):
        start, end = centres[i] - widths[i] / 2, centres[i] + widths[i] / 2
        row = 0
        while row < len(taken) and any(a < end and start < b for a, b in taken[row]):
            row += 1
        if row == len(taken):
            taken.append([])
        taken[row].append((start, end))
        out[i] = row
    return out


def room_for(axes: Axes, low: float, notes: Sequence[tuple[float, str]]) -> float:
    """Right end of a linear axis from ``low`` that leaves room for texts to the right of points.

    Parameters
    ----------
    notes : sequence of (float, str)
        Where each text starts, and the text; the widest of its lines counts.
    """
    em = float(mpl.rcParams["font.size"])
    wide = axes_points(axes)[0]
    ends = [low]
    for x, text in notes:
        # bold type is a tenth wider
        need = 1.12 * max(text_width(line, em) for line in text.split("\n")) + 1.2 * em
        ends.append(low + (x - low) * wide / max(wide - need, 0.15 * wide))
    return max(ends)


def short(text: str, most: int = 26) -> str:
    """Text cut to a length with an ellipsis."""
    flat = " ".join(text.split())
    return flat if len(flat) <= most else flat[: most - 1].rstrip() + "…"


def cut_to(text: str, width: float, size: float) -> str:
    """Text cut with an ellipsis so that it is no wider than ``width`` points."""
    flat = " ".join(text.split())
    if text_width(flat, size) <= width:
        return flat
    letters = len(flat)
    while letters > 1 and text_width(short(flat, letters), size) > width:
        letters -= 1
    return short(flat, letters)


def set_title(axes: Axes, name: str, words: str, *, left: float = 0.0) -> None:
    """Title made of a name from the data, cut where it is too long, and words of our own.

    Parameters
    ----------
    words : str
        Holds ``{}`` where the name goes.
    left : float
        Points by which the title starts left of the axes.
    """
    figure = axes.get_figure(root=True)
    assert figure is not None
    em = float(mpl.rcParams["font.size"])
    size = 1.25 * em
    whole = float(figure.get_size_inches()[0]) * 72
    start = axes.get_position().x0 * whole - left
    room = min(whole - start - em, axes_points(axes)[0] + left + 8 * em)
    # bold type is some tenth wider
    rest = 1.15 * text_width(words.format(""), size)
    shown = words.format(cut_to(name, max((room - rest) / 1.15, 3 * size), size))
    axes.set_title(mathtext_escape(shown), x=-left / axes_points(axes)[0])


def wrapped(text: str, width: float, size: float) -> str:
    """Text in lines of at most about ``width`` points; a number stays with its per cent sign."""
    letters = max(int(width / (0.535 * size)), 24)
    return textwrap.fill(text.replace(" %", "\u00a0%"), letters, break_long_words=True)


def footer_size() -> float:
    """Size of the small text under the axes."""
    return 0.86 * float(mpl.rcParams["font.size"])


def footer(axes: Axes, lines: str, *, below: float, left: float = 0.0) -> Annotation:
    """Small text under the axes that states the data and the caution.

    Parameters
    ----------
    lines : str
        As wrapped by `wrapped`.
    below, left : float
        Points from the lower left corner of the axes down and left to the text.
    """
    return axes.annotate(
        mathtext_escape(lines.replace("\u00a0", " ")), (0, 0), xycoords="axes fraction",
        xytext=(-left, -below),
        textcoords="offset points", va="top", ha="left", fontsize=footer_size(),
        color=mpl.rcParams["xtick.color"], gid="footer", annotation_clip=False, linespacing=1.2,
    )  # fmt: skip


def decade_text(rate: float) -> str:
    """Power of ten with raised figures, as ``10⁻³``, without the cost of a formula.

    Examples
    --------
    >>> decade_text(0.001)
    '10⁻³'
    """
    power = round(float(np.log10(rate))) if rate > 0 else 0
    return "10" + f"{power}".translate(_RAISED)


_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")

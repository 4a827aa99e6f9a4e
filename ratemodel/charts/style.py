"""The house style of every chart: colours told apart by all kinds of colour vision, three sizes.

Nothing global is touched: `style` is a context manager, and figures are made without pyplot.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from typing import Any, Literal, TypeAlias

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from ratemodel.charts.palette import DARK, LIGHT, Palette

Theme: TypeAlias = Literal["light", "dark"]
Size: TypeAlias = Literal["post", "square", "column"]

#: Width and height in inches and dots per inch: 1200 x 675 and 1080 x 1080 pixels, 85 mm column.
SIZES: dict[Size, tuple[float, float, int]] = {
    "post": (8.0, 4.5, 150),
    "square": (7.2, 7.2, 150),
    "column": (85 / 25.4, 85 / 25.4, 300),
}


#: Shapes go with the colours of the machines, so that neither is needed alone.
MARKERS = ("o", "^", "s", "D", "v", "P")
_FONT = {"post": 9.5, "square": 10.5, "column": 6.5}


@contextmanager
def style(theme: Theme = "light", size: Size = "post") -> Iterator[Palette]:
    """House style for the charts drawn inside the ``with`` block.

    Parameters
    ----------
    theme : {"light", "dark"}
    size : {"post", "square", "column"}
        1200 x 675 pixels, 1080 x 1080 pixels, a print column of 85 mm.
    """
    palette = LIGHT if theme == "light" else DARK
    width, height, dpi = SIZES[size]
    font = _FONT[size]
    settings: dict[Any, Any] = {
        "figure.figsize": (width, height), "figure.dpi": dpi, "savefig.dpi": dpi,
        "figure.facecolor": palette.paper, "savefig.facecolor": palette.paper,
        "axes.facecolor": palette.paper, "axes.edgecolor": palette.soft,
        "axes.labelcolor": palette.ink, "text.color": palette.ink,
        "xtick.color": palette.soft, "ytick.color": palette.soft,
        "xtick.labelcolor": palette.ink, "ytick.labelcolor": palette.ink,
        "font.family": "sans-serif", "font.sans-serif": ["DejaVu Sans"], "font.size": font,
        "axes.titlesize": font * 1.25, "axes.titleweight": "bold", "axes.titlelocation": "left",
        "axes.linewidth": 0.08 * font, "axes.labelsize": font,
        "xtick.labelsize": font, "ytick.labelsize": font,
        "axes.labelpad": 0.25 * font, "xtick.major.pad": 0.35 * font,
        "ytick.major.pad": 0.35 * font, "xtick.major.size": 0.35 * font,
        "ytick.major.size": 0.35 * font, "axes.titlepad": 0.55 * font,
        "legend.fontsize": font, "legend.frameon": False, "hatch.linewidth": 0.6,
        "hatch.color": palette.line, "axes.spines.top": False, "axes.spines.right": False,
        "axes.grid": False, "svg.fonttype": "path", "svg.hashsalt": "ratemodel",
        "lines.linewidth": 1.8 if size != "column" else 1.0,
        "lines.markersize": 6.0 if size != "column" else 3.5,
    }  # fmt: skip
    with mpl.rc_context(settings):
        yield palette


def font_files() -> tuple[Path, Path]:
    """Files of the house's type, plain and bold, which come with the drawing library."""
    fonts = Path(mpl.get_data_path()) / "fonts" / "ttf"
    return fonts / "DejaVuSans.ttf", fonts / "DejaVuSans-Bold.ttf"


def palette_now() -> Palette:
    """Colours that fit the background in force: dark ones on light, light ones on dark."""
    red, green, blue = to_rgb(mpl.rcParams["axes.facecolor"])
    return LIGHT if 0.299 * red + 0.587 * green + 0.114 * blue > 0.5 else DARK


def house_style(ax: Axes | None) -> AbstractContextManager[object]:
    """House style, unless the caller brought axes or is inside `style` already."""
    if ax is not None or mpl.rcParams["svg.hashsalt"] == "ratemodel":
        return nullcontext()
    return style()


def new_axes(ax: Axes | None) -> Axes:
    """``ax``, or the axes of a new figure in the style in force."""
    if ax is not None:
        return ax
    return Figure().add_subplot()


def frame(axes: Axes, *, left: float, right: float, top: float, bottom: float) -> None:
    """Give the axes of an own figure their place; margins in multiples of the type size.

    Set by hand since an automatic layout measures every text four times over, which costs more
    than the drawing.
    """
    figure = axes.get_figure(root=True)
    assert figure is not None
    em = float(mpl.rcParams["font.size"]) / 72
    wide, high = figure.get_size_inches()
    x, y = left * em / wide, bottom * em / high
    width, height = 1 - x - right * em / wide, 1 - y - top * em / high
    axes.set_position((x, y, max(width, 0.2), max(height, 0.2)))

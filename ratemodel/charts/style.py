"""The house style of every chart: colours told apart by all kinds of colour vision, three sizes.

Nothing global is touched: `style` is a context manager, and figures are made without pyplot.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Literal, TypeAlias

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure

Theme: TypeAlias = Literal["light", "dark"]
Size: TypeAlias = Literal["post", "square", "column"]

#: Width and height in inches and dots per inch: 1200 x 675 and 1080 x 1080 pixels, 85 mm column.
SIZES: dict[Size, tuple[float, float, int]] = {
    "post": (8.0, 4.5, 150),
    "square": (7.2, 7.2, 150),
    "column": (85 / 25.4, 85 / 25.4 * 0.8, 300),
}


@dataclass(frozen=True)
class Palette:
    """Colours by role; ``marks`` after Okabe and Ito (2008), darkened where text has them."""

    ink: str
    soft: str
    paper: str
    line: str
    wash: str
    mean: str
    one: str
    bound: str
    use: str
    machines: tuple[str, ...]


LIGHT = Palette(
    ink="#1b1b1c", soft="#50565d", paper="#fefefe", line="#c4c9cf", wash="#ebedf0",
    mean="#005a94", one="#7fb2d6", bound="#a83f00", use="#7a3f6e",
    machines=("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#8a6d00", "#35838d"),
)  # fmt: skip
DARK = Palette(
    ink="#e9eaec", soft="#b5bbc2", paper="#16181b", line="#4a5057", wash="#2a2f35",
    mean="#7cc4f5", one="#33627f", bound="#ffa366", use="#e5a9d3",
    machines=("#4db2f0", "#ff8f45", "#2fcf9f", "#e9a3c6", "#d9b93f", "#6cc5d0"),
)  # fmt: skip
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
    settings = {
        "figure.figsize": (width, height), "figure.dpi": dpi, "savefig.dpi": dpi,
        "figure.facecolor": palette.paper, "savefig.facecolor": palette.paper,
        "axes.facecolor": palette.paper, "axes.edgecolor": palette.soft,
        "axes.labelcolor": palette.ink, "text.color": palette.ink,
        "xtick.color": palette.soft, "ytick.color": palette.soft,
        "xtick.labelcolor": palette.ink, "ytick.labelcolor": palette.ink,
        "font.family": "sans-serif", "font.sans-serif": ["DejaVu Sans"], "font.size": font,
        "axes.titlesize": font * 1.25, "axes.titleweight": "bold", "axes.titlelocation": "left",
        "axes.labelsize": font, "xtick.labelsize": font, "ytick.labelsize": font,
        "legend.fontsize": font, "legend.frameon": False, "hatch.linewidth": 0.6,
        "hatch.color": palette.line, "axes.spines.top": False, "axes.spines.right": False,
        "axes.grid": False, "svg.fonttype": "path", "svg.hashsalt": "ratemodel",
        "lines.linewidth": 1.8 if size != "column" else 1.0,
        "lines.markersize": 6.0 if size != "column" else 3.5,
    }  # fmt: skip
    with mpl.rc_context(settings):
        yield palette


def palette_now() -> Palette:
    """Colours that fit the background in force: dark ones on light, light ones on dark."""
    red, green, blue = to_rgb(mpl.rcParams["axes.facecolor"])
    return LIGHT if 0.299 * red + 0.587 * green + 0.114 * blue > 0.5 else DARK


def new_axes(ax: Axes | None) -> Axes:
    """``ax``, or axes of a new figure in the style in force (house style where none is)."""
    if ax is not None:
        return ax
    return Figure(layout="constrained").add_subplot()


def colours(palette: Palette) -> tuple[str, ...]:
    """All colours of a palette in one fixed order."""
    roles = (palette.ink, palette.soft, palette.paper, palette.line, palette.wash, palette.mean,
             palette.one, palette.bound, palette.use, *palette.machines)  # fmt: skip
    return tuple(to_hex(c) for c in roles)

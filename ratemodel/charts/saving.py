"""A figure as bytes: the same input gives the same bytes, and the picture carries its text."""

from __future__ import annotations

import base64
import io
import re
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ratemodel.errors import InputError
from ratemodel.words import html_escape
from ratemodel.writing import write_whole


def save_figure(figure: Figure | Axes, path: str | Path | None, *, alt: str | None = None,
                fmt: Literal["svg", "png", "pdf"] | None = None, px: int | None = None
                ) -> bytes:  # fmt: skip
    """Render a figure, write it where a path is given, and return its bytes.

    Parameters
    ----------
    figure : Figure or Axes
    path : str or Path, optional
        File to write, whole or not at all; None only returns the bytes.
    alt : str, optional
        Alternative text, that of the chart where not given; put into the SVG as title and
        description and into the PNG's and PDF's metadata.
    fmt : {"svg", "png", "pdf"}, optional
        From the path's ending where not given, else PNG.
    px : int, optional
        Width of a PNG in pixels; the figure's own size where not given.
    """
    alt = alt_of(figure) if alt is None else alt
    if isinstance(figure, Axes):
        root = figure.get_figure(root=True)
        assert isinstance(root, Figure)
        figure = root
    kind = fmt or (Path(path).suffix.lstrip(".").lower() if path is not None else "png")
    extra: dict[str, Any] = {}
    if kind == "png":
        extra["dpi"] = px / figure.get_size_inches()[0] if px else figure.dpi
    buffer = io.BytesIO()
    with warnings.catch_warnings(), mpl.rc_context(_FIXED):
        # a name may hold a letter that the font lacks; the picture then shows a box
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure.savefig(buffer, format=kind, metadata=_metadata(kind, alt),
                       facecolor=figure.get_facecolor(), **extra)  # fmt: skip
    data = buffer.getvalue()
    if kind == "svg":
        data = _with_text(data, alt)
    if path is not None:
        write_whole(path, data)
    return data


def alt_of(figure: Figure | Axes) -> str:
    """Alternative text of a chart: every chart leaves it as the label of its axes.

    Raises
    ------
    InputError
        The axes have none, as those of other pictures.
    """
    axes = [figure] if isinstance(figure, Axes) else figure.axes
    told = [str(a.get_label()) for a in axes if a.get_label()]
    if not told:
        raise InputError("a picture without alternative text", 'alt="what it shows, in words"')
    return " ".join(told)


#: The SVG's identifiers come from this salt, so that two runs give the same file.
_FIXED: dict[Any, Any] = {"svg.hashsalt": "ratemodel", "svg.fonttype": "path"}


def _metadata(kind: str, alt: str) -> dict[str, Any]:
    if kind == "svg":
        return {"Date": None, "Creator": None}
    if kind == "pdf":
        return {"CreationDate": None, "Creator": None, "Producer": None, "Subject": alt}
    return {"Software": None, "Description": alt.encode("latin-1", "replace").decode("latin-1")}


def _with_text(svg: bytes, alt: str) -> bytes:
    """The SVG with its text for those who can not see it."""
    text = svg.decode("utf-8")
    title = alt.split(". ")[0].rstrip(".")
    opening = re.search(r"<svg\b[^>]*>", text)
    if opening is None:
        return svg
    tag = opening.group(0)[:-1] + ' role="img" aria-labelledby="alt-title alt-desc">'
    said = (
        f'{tag}\n <title id="alt-title">{html_escape(title)}</title>'
        f'\n <desc id="alt-desc">{html_escape(alt)}</desc>'
    )
    return (text[: opening.start()] + said + text[opening.end() :]).encode("utf-8", "replace")


@dataclass(frozen=True, repr=False)
class Picture:
    """A chart that a notebook shows with its alternative text."""

    data: bytes
    alt: str
    fmt: Literal["svg", "png"] = "svg"

    def _repr_html_(self) -> str:
        # an image of our own: alternative text in a picture's metadata is lost in notebooks
        data = base64.b64encode(self.data).decode("ascii")
        kind = "svg+xml" if self.fmt == "svg" else "png"
        return (
            f'<img src="data:image/{kind};base64,{data}" alt="{html_escape(self.alt)}" '
            'style="max-width:100%">'
        )

    def __repr__(self) -> str:
        return f"<Picture: {self.alt}>"


def picture(figure: Figure | Axes, *, alt: str | None = None, fmt: Literal["svg", "png"] = "svg",
            px: int | None = None) -> Picture:  # fmt: skip
    """A chart as a notebook is to show it, with its alternative text.

    Parameters
    ----------
    figure : Figure or Axes
    alt : str, optional
        Alternative text; that of the chart where not given.
    fmt : {"svg", "png"}
    px : int, optional
        Width of a PNG in pixels; the figure's own size where not given.
    """
    alt = alt_of(figure) if alt is None else alt
    return Picture(save_figure(figure, None, alt=alt, fmt=fmt, px=px), alt, fmt)

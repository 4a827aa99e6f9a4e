"""The dark form of an SVG drawn in the light style, colour for colour."""

from __future__ import annotations

from ratemodel.charts.style import DARK, LIGHT, colours


def darken(svg: bytes) -> bytes:
    """The same picture with every house colour replaced by its dark counterpart."""
    for light, dark in zip(colours(LIGHT), colours(DARK), strict=True):
        svg = svg.replace(light.encode(), dark.encode())
    return svg

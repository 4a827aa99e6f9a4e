"""The house colours, light and dark, and the way from one to the other in a finished picture."""

from __future__ import annotations

from dataclasses import dataclass


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
    machines=("#0072b2", "#d55e00", "#009e73", "#b9628f", "#8a6d00", "#35838d"),
)  # fmt: skip
DARK = Palette(
    ink="#e9eaec", soft="#b5bbc2", paper="#16181b", line="#4a5057", wash="#2a2f35",
    mean="#7cc4f5", one="#33627f", bound="#ffa366", use="#e5a9d3",
    machines=("#4db2f0", "#ff8f45", "#2fcf9f", "#e9a3c6", "#d9b93f", "#6cc5d0"),
)  # fmt: skip


def colours(palette: Palette) -> tuple[str, ...]:
    """All colours of a palette in one fixed order."""
    return (palette.ink, palette.soft, palette.paper, palette.line, palette.wash, palette.mean,
            palette.one, palette.bound, palette.use, *palette.machines)  # fmt: skip


def darken(svg: bytes) -> bytes:
    """An SVG drawn in the light style with every house colour replaced by its dark counterpart."""
    for light, dark in zip(colours(LIGHT), colours(DARK), strict=True):
        svg = svg.replace(light.encode(), dark.encode())
    return svg

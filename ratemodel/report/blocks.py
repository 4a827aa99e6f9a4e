"""Parts of a page, free of any format: rendered to HTML, Markdown and plain text elsewhere.

Text here is plain text from anywhere, data included; each renderer makes it harmless for its
format.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias


@dataclass(frozen=True)
class Heading:
    """A heading; level 1 is the page's title."""

    text: str
    level: int = 2


@dataclass(frozen=True)
class Text:
    """A paragraph: ``lead`` is the finding, ``caution`` and ``serious`` stand out."""

    text: str
    kind: Literal["plain", "lead", "caution", "serious", "small"] = "plain"


@dataclass(frozen=True)
class Bullets:
    """A list."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A table; columns in ``numeric`` are set flush right."""

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[int, ...] = ()


@dataclass(frozen=True)
class Picture:
    """A chart as SVG with its alternative text; ``name`` is its file beside the page."""

    name: str
    svg: bytes
    alt: str


@dataclass(frozen=True)
class Fold:
    """Blocks that a page may hide until asked for."""

    summary: str
    blocks: tuple[Block, ...]


Block: TypeAlias = "Heading | Text | Bullets | Table | Picture | Fold"

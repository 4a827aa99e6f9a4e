"""Take a column name and its unit apart."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ratemodel.units import UNITS, Unit, split_name

# Spellings of one and the same unit; case is never folded in general (mN is not MN).
_ALIASES = {
    "KN": "kN",
    "kn": "kN",
    "Kn": "kN",
    "newton": "N",
    "newtons": "N",
    "Newton": "N",
    "kilonewton": "kN",
    "LBF": "lbf",
    "Lbf": "lbf",
    "lbsf": "lbf",
    "lb-f": "lbf",
    "pound-force": "lbf",
    "KGF": "kgf",
    "kg-f": "kgf",
    "kp": "kgf",
    "MM": "mm",
    "millimeter": "mm",
    "millimetre": "mm",
    "µm": "um",
    "μm": "um",
    "inch": "in",
    "inches": "in",
    "IN": "in",
    "sec": "s",
    "Sec": "s",
    "SEC": "s",
    "secs": "s",
    "second": "s",
    "seconds": "s",
    "Sekunden": "s",
    "msec": "ms",
    "minutes": "min",
    "hours": "h",
    "%": "percent",
}
_LONGEST = 120
_BRACKETED = re.compile(r"^(?P<stem>.*?)[\s_]*[\[(<{](?P<unit>[^\[\](){}<>]*)[\])>}]\s*$")
_MARKED = (
    re.compile(r"^(?P<stem>.*\S)\s*/\s*(?P<unit>\S+)$"),
    re.compile(r"^(?P<stem>.*\S)\s+in\s+(?P<unit>\S+)$"),
    re.compile(r"^(?P<stem>.*?\S)\s*,\s*(?P<unit>\S+)$"),
    re.compile(r"^(?P<stem>.*\S)\s+(?P<unit>(?!in$|min$)\S+)$"),
)


@dataclass(frozen=True)
class Heading:
    """A column name taken apart; ``unit_text`` is what stands where a unit would."""

    name: str
    stem: str
    unit: Unit | None
    unit_text: str


def parse_unit(text: str) -> Unit | None:
    """Read a unit written in a cell, with or without brackets; None where it is none.

    Examples
    --------
    >>> parse_unit("[kN]").symbol, parse_unit("sec").symbol, parse_unit("furlong")
    ('kN', 's', None)
    """
    bare = text.strip().strip("[](){}<>").strip()
    return UNITS.get(_ALIASES.get(bare, bare))


def is_unit_cell(text: str) -> bool:
    """Whether a cell below the header is a unit: known, or in brackets of its own."""
    bare = text.strip()
    return (
        parse_unit(bare) is not None
        or re.fullmatch(r"[\[(<{][^\[\](){}<>]*[\])>}]", bare) is not None
    )


def read_heading(name: str, units_cell: str = "") -> Heading:
    """Take a heading apart; the cell of a units row is used where the heading has no unit."""
    if len(name) > _LONGEST:
        return Heading(name.strip(), "", None, "")
    stem, unit, text = _split(name.strip())
    cell = units_cell.strip().strip("[](){}<>").strip()
    if not text and cell:
        unit, text = parse_unit(cell), cell
    elif text and cell and unit is not None and parse_unit(cell) != unit:
        text, unit = f"{text} and {cell}", None
    return Heading(name.strip(), stem, unit, text)


def _split(name: str) -> tuple[str, Unit | None, str]:
    bracketed = _BRACKETED.match(name)
    if bracketed:
        text = bracketed["unit"].strip()
        return bracketed["stem"], parse_unit(text), text
    for pattern in _MARKED:
        marked = pattern.match(name)
        if marked and parse_unit(marked["unit"]) is not None:
            return marked["stem"], parse_unit(marked["unit"]), marked["unit"]
    stem, unit = split_name(name)
    return stem, unit, "" if unit is None else unit.symbol

"""Names with a unit suffix, matched against the quantities a table or TOML section may hold."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ratemodel.errors import InputError
from ratemodel.units import Unit, split_name, units_of

TINY = 1e-30
HUGE = 1e30
PURE = Unit("", "number", 1.0)


@dataclass(frozen=True)
class Stem:
    """What a quantity may be: dimensions of its unit and range of its value in SI.

    ``dimensions`` empty: a pure number, whose name carries no unit. ``bare``: the unit meant when
    the name carries none. ``low`` itself is allowed only with ``low_included``.
    """

    dimensions: tuple[str, ...] = ()
    low: float = 0.0
    low_included: bool = False
    high: float = HUGE
    bare: Unit | None = None

    def units(self) -> list[str]:
        """Symbols of every unit accepted."""
        return [symbol for dimension in self.dimensions for symbol in units_of(dimension)]

    def rule(self, unit: Unit) -> str:
        """Range in words, in the unit the user wrote."""
        tail = f" {unit.symbol}" if unit.symbol not in ("", "fraction") else ""
        low = f"{unit.from_si(self.low):g}{tail}"
        if self.high < HUGE:
            open_end = "" if self.low_included else "above "
            return f"a number from {open_end}{low} to {unit.from_si(self.high):g}{tail}"
        if self.low_included:
            return f"a number of at least {low}"
        return f"a number above {low}"


def fault(si: float) -> str:
    """Say why a value that its quantity cannot have is refused."""
    real = TINY <= abs(si) <= HUGE or si == 0
    return "is out of range" if real else "is beyond any real value"


@dataclass(frozen=True)
class Match:
    """A name taken apart: the quantity it means and the unit of its values."""

    name: str
    stem: str
    unit: Unit


@dataclass(frozen=True)
class Place:
    """Where a name stands: file, header line of a table, dotted path before a TOML key."""

    file: str
    row: int | None = None
    path: str = ""

    def error(self, name: str, problem: str, remedy: str) -> InputError:
        """Error about a name."""
        return InputError(
            problem, remedy, file=self.file, row=self.row, column=f"{self.path}{name}".rstrip(".")
        )


def match_name(name: str, stems: Mapping[str, Stem], place: Place) -> Match | None:
    """Quantity and unit that ``name`` means, or None where it is no known quantity.

    Raises
    ------
    InputError
        The name is a known quantity with a missing, unknown or unsuitable unit.
    """
    if name in stems:
        stem = stems[name]
        if not stem.dimensions:
            return Match(name, name, PURE)
        if stem.bare is not None:
            return Match(name, name, stem.bare)
        raise place.error(name, f"{name} has no unit", expected_names(name, stem))
    base, unit = split_name(name)
    if unit is not None and base in stems and unit.dimension in stems[base].dimensions:
        return Match(name, base, unit)
    known = _longest_stem(name, stems)
    if known is None:
        return None
    if not stems[known].dimensions:
        problem, remedy = f"{known} is a pure number", f"the name {known}, without a unit"
    else:
        problem = f"{_suffix(name, known)!r} is not a unit of {known}"
        remedy = expected_names(known, stems[known])
    raise place.error(name, problem, remedy)


def expected_names(name: str, stem: Stem) -> str:
    """Every accepted spelling of a quantity's name, as a phrase for a message."""
    if not stem.dimensions:
        return name
    return f"{name}_ with one of the units {', '.join(stem.units())}"


def nearest(name: str, known: Iterable[str], cutoff: float = 0.6) -> str | None:
    """Known name that looks most like ``name``, or None where none does."""
    found = difflib.get_close_matches(name[:100], list(known), n=1, cutoff=cutoff)
    return found[0] if found else None


def spellings(stems: Mapping[str, Stem]) -> list[str]:
    """All names with all units, to look for the nearest one."""
    names: list[str] = []
    for name, stem in stems.items():
        if not stem.dimensions or stem.bare is not None:
            names.append(name)
        names.extend(f"{name}_{symbol}" for symbol in stem.units())
    return names


def canonical(name: str) -> str:
    """Name in small letters with ``_`` between words: how misspelt names are recognised."""
    return re.sub(r"[^0-9a-z]+", "_", name.lower()).strip("_")


def _longest_stem(name: str, stems: Mapping[str, Stem]) -> str | None:
    plain = canonical(name)
    found = [stem for stem in stems if plain == stem or plain.startswith(f"{stem}_")]
    return max(found, key=len) if found else None


def _suffix(name: str, stem: str) -> str:
    return name[len(stem) :].strip("_ ") or name

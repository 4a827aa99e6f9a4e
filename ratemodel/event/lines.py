"""Lines put together: one after another, and side by side with unequal lengths."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Protocol, Self

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.event.checks import columns
from ratemodel.event.laws import Law, Linear, Recorded, Rows, rows_of
from ratemodel.event.roots import increasing_root


class Arrangement(Protocol):
    """Anything that carries a force when its ends are drawn apart by an extension (m)."""

    def force(self, extension: FloatArray) -> FloatArray:
        """Force (N)."""

    def energy(self, extension: FloatArray) -> FloatArray:
        """Energy stored (J)."""

    def stiffness(self, extension: FloatArray) -> FloatArray:
        """Tangent stiffness (N/m)."""

    def extension(self, force: FloatArray) -> FloatArray:
        """Extension at a force (m)."""

    def spring_rate(self) -> FloatArray | None:
        """Constant stiffness (N/m) where the whole is linear, else None."""

    def weight_mass(self) -> FloatArray:
        """Mass of all its lines (kg)."""

    def span(self) -> FloatArray:
        """Unstretched length from end to end (m)."""

    def lines(self) -> tuple[Line, ...]:
        """Return its lines in the order given."""

    def states(self, extension: FloatArray) -> tuple[FloatArray, ...]:
        """Extension of every line (m) at an extension of the whole."""

    def extension_where(self, line: int, force: FloatArray) -> FloatArray:
        """Extension of the whole at which one of its lines carries a force."""

    def take(self, rows: Rows) -> Arrangement:
        """Return the arrangement of some of the draws."""


@dataclass(frozen=True)
class Line:
    """One line: a force–strain law over an unstretched length (m), with its own mass (kg)."""

    law: Law
    length: FloatArray
    mass: FloatArray = field(default_factory=lambda: np.zeros(1))

    def __post_init__(self) -> None:
        length = columns({"line_length": self.length})["line_length"]
        object.__setattr__(self, "length", length)
        object.__setattr__(self, "mass", columns({"line_mass": self.mass})["line_mass"])

    def _strain(self, extension: FloatArray) -> FloatArray:
        return np.maximum(extension, 0.0) / self.length

    def force(self, extension: FloatArray) -> FloatArray:
        """Force (N); a slack line carries none."""
        return self.law.force(self._strain(extension))

    def energy(self, extension: FloatArray) -> FloatArray:
        """Energy stored (J)."""
        return self.length * self.law.energy(self._strain(extension))

    def stiffness(self, extension: FloatArray) -> FloatArray:
        """Tangent stiffness (N/m)."""
        slope = self.law.tangent(self._strain(extension)) / self.length
        return np.where(extension < 0, 0.0, slope)

    def extension(self, force: FloatArray) -> FloatArray:
        """Extension at a force (m)."""
        return self.length * self.law.strain(np.maximum(force, 0.0))

    def spring_rate(self) -> FloatArray | None:
        """EA / L of a linear law."""
        return self.law.stiffness / self.length if isinstance(self.law, Linear) else None

    def weight_mass(self) -> FloatArray:
        """Mass (kg)."""
        return self.mass

    def span(self) -> FloatArray:
        """Unstretched length (m)."""
        return self.length

    def lines(self) -> tuple[Line, ...]:
        """Itself."""
        return (self,)

    def states(self, extension: FloatArray) -> tuple[FloatArray, ...]:
        """Its own extension, never below zero."""
        return (np.maximum(extension, 0.0),)

    def extension_where(self, line: int, force: FloatArray) -> FloatArray:
        """Extension at a force."""
        return self.extension(force)

    def beyond_record(self, extension: FloatArray) -> float:
        """Share of draws whose strain lies beyond the last recorded point."""
        if not isinstance(self.law, Recorded):
            return 0.0
        # A solved strain may miss the last point by rounding: that is not beyond it.
        limit = self.law.strain_points[-1] * (1 + 1e-9)
        return float(np.mean(self._strain(extension) > limit))

    def take(self, rows: Rows) -> Self:
        """Take some of the draws."""
        return replace(
            self,
            law=self.law.take(rows),
            length=rows_of(self.length, rows),
            mass=rows_of(self.mass, rows),
        )


@dataclass(frozen=True)
class Series:
    """Parts one after another (tether and sling): one force, extensions add."""

    parts: tuple[Arrangement, ...]

    def force(self, extension: FloatArray) -> FloatArray:
        """Force (N): the one at which the parts' extensions add up."""
        return np.asarray(self.parts[0].force(self._split(extension)[0]))

    def _split(self, extension: FloatArray) -> tuple[FloatArray, ...]:
        """Extension of every part: the first against the rest, which carries the same force."""
        # Only forces at extensions are asked for: inverting parts within every step would be slow.
        wanted = np.maximum(extension, 0.0)
        first, *others = self.parts
        if not others:
            return (wanted,)
        rest = others[0] if len(others) == 1 else Series(tuple(others))

        def excess(x: FloatArray) -> FloatArray:
            return first.force(x) - rest.force(np.maximum(wanted - x, 0.0))

        def slope(x: FloatArray) -> FloatArray:
            return first.stiffness(x) + rest.stiffness(np.maximum(wanted - x, 0.0))

        shape = np.broadcast_shapes(wanted.shape, first.span().shape, rest.span().shape)
        high = np.broadcast_to(wanted, shape)
        own = increasing_root(excess, slope, np.zeros(shape), np.zeros(shape), high)
        left = np.maximum(wanted - own, 0.0)
        if isinstance(rest, Series) and len(others) > 1:
            return (own, *rest._split(left))
        return own, left

    def energy(self, extension: FloatArray) -> FloatArray:
        """Energy stored (J)."""
        split = self._split(extension)
        return np.asarray(sum(p.energy(x) for p, x in zip(self.parts, split, strict=True)))

    def stiffness(self, extension: FloatArray) -> FloatArray:
        """Tangent stiffness (N/m)."""
        split = zip(self.parts, self._split(extension), strict=True)
        with np.errstate(divide="ignore"):
            return np.asarray(1 / sum(1 / p.stiffness(x) for p, x in split))

    def extension(self, force: FloatArray) -> FloatArray:
        """Extension at a force (m)."""
        return np.asarray(sum(p.extension(force) for p in self.parts))

    def spring_rate(self) -> FloatArray | None:
        """Constant stiffness where every part is linear."""
        rates = [r for p in self.parts if (r := p.spring_rate()) is not None]
        if len(rates) < len(self.parts):
            return None
        return np.asarray(1 / sum(1 / r for r in rates))

    def weight_mass(self) -> FloatArray:
        """Mass of all lines (kg)."""
        return np.asarray(sum(p.weight_mass() for p in self.parts))

    def span(self) -> FloatArray:
        """Unstretched length (m)."""
        return np.asarray(sum(p.span() for p in self.parts))

    def lines(self) -> tuple[Line, ...]:
        """All lines, in order."""
        return tuple(line for p in self.parts for line in p.lines())

    def states(self, extension: FloatArray) -> tuple[FloatArray, ...]:
        """Extension of every line."""
        split = zip(self.parts, self._split(extension), strict=True)
        return tuple(s for p, x in split for s in p.states(x))

    def extension_where(self, line: int, force: FloatArray) -> FloatArray:
        """Extension of the whole at which one of its lines carries a force."""
        place, inner = _owner(self.parts, line)
        part = self.parts[place]
        return self.extension(part.force(part.extension_where(inner, force)))

    def take(self, rows: Rows) -> Self:
        """Take some of the draws."""
        return replace(self, parts=tuple(p.take(rows) for p in self.parts))


@dataclass(frozen=True)
class Parallel:
    """Parts side by side, each with its slack (m): forces add once the slack is taken up.

    Slack is counted from the part that comes taut first, so that the smallest is zero in
    every draw; a common slack is part of the fall, not of the lines.
    """

    parts: tuple[Arrangement, ...]
    slack: tuple[FloatArray, ...]

    def __post_init__(self) -> None:
        if len(self.slack) != len(self.parts) or not self.parts:
            raise InputError(
                f"{len(self.slack)} slacks for {len(self.parts)} parallel parts", "one for each"
            )
        named = columns({f"slack_{i + 1}": s for i, s in enumerate(self.slack)})
        least = np.min(list(named.values()), axis=0)
        object.__setattr__(self, "slack", tuple(s - least for s in named.values()))

    def force(self, extension: FloatArray) -> FloatArray:
        """Force (N)."""
        return np.asarray(sum(p.force(extension - s) for p, s in self._pairs()))

    def energy(self, extension: FloatArray) -> FloatArray:
        """Energy stored (J)."""
        return np.asarray(sum(p.energy(extension - s) for p, s in self._pairs()))

    def stiffness(self, extension: FloatArray) -> FloatArray:
        """Tangent stiffness (N/m)."""
        return np.asarray(sum(p.stiffness(extension - s) for p, s in self._pairs()))

    def extension(self, force: FloatArray) -> FloatArray:
        """Extension at a force (m)."""
        # At the smallest of these one part alone would already carry the whole force.
        high = np.min(np.broadcast_arrays(*(p.extension(force) + s for p, s in self._pairs())), 0)
        return increasing_root(self.force, self.stiffness, force, np.zeros_like(high), high)

    def spring_rate(self) -> FloatArray | None:
        """Constant stiffness where every part is linear and none is slack."""
        rates = [r for p in self.parts if (r := p.spring_rate()) is not None]
        if len(rates) < len(self.parts) or any((s > 0).any() for s in self.slack):
            return None
        return np.asarray(sum(rates))

    def weight_mass(self) -> FloatArray:
        """Mass of all lines (kg)."""
        return np.asarray(sum(p.weight_mass() for p in self.parts))

    def span(self) -> FloatArray:
        """Unstretched length of the shortest part (m)."""
        return np.asarray(np.min(np.broadcast_arrays(*(p.span() for p in self.parts)), axis=0))

    def lines(self) -> tuple[Line, ...]:
        """All lines, in order."""
        return tuple(line for p in self.parts for line in p.lines())

    def states(self, extension: FloatArray) -> tuple[FloatArray, ...]:
        """Extension of every line."""
        return tuple(e for p, s in self._pairs() for e in p.states(extension - s))

    def extension_where(self, line: int, force: FloatArray) -> FloatArray:
        """Extension of the whole at which one of its lines carries a force."""
        place, inner = _owner(self.parts, line)
        return self.parts[place].extension_where(inner, force) + self.slack[place]

    def take(self, rows: Rows) -> Self:
        """Take some of the draws."""
        return replace(
            self,
            parts=tuple(p.take(rows) for p in self.parts),
            slack=tuple(rows_of(s, rows) for s in self.slack),
        )

    def _pairs(self) -> list[tuple[Arrangement, FloatArray]]:
        return list(zip(self.parts, self.slack, strict=True))


def _owner(parts: tuple[Arrangement, ...], line: int) -> tuple[int, int]:
    """Which part holds a line, and the number of the line inside that part."""
    for place, part in enumerate(parts):
        count = len(part.lines())
        if line < count:
            return place, line
        line -= count
    raise InputError(f"line number {line} of an arrangement", "a line that it holds, from 0")

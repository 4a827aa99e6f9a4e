"""Preload cycling (bedding-in): effect on the breaking strength and on what is read per cycle.

Every effect on strength is a special case of

    ln S = a + g q**m (1 - exp(-N / N_s)) - d N q**s

with N preload cycles to the fraction q of the breaking strength: g = d = 0 is no effect, d = 0 the
saturating gain. Given the shape (N_s, m, s) it is linear in a, g, d.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.models.parameter import Parameter

_GAIN = Parameter("gain", "", description="gain of ln S after many cycles to the full strength")
_DAMAGE = Parameter("damage", "per cycle", 0.0, description="loss of ln S per cycle at q = 1")
_CYCLES = Parameter("cycles_to_settle", "cycles", 0.0, description="N_s: 63 % of the gain is in")
_POWER = Parameter("level_exponent", "", 0.0, description="m: how the gain rises with q")
_HARM = Parameter("damage_exponent", "", 0.0, description="s: how the damage rises with q")


@dataclass(frozen=True)
class Protocol:
    """A preload protocol: so many cycles to a fraction of the breaking strength.

    Examples
    --------
    >>> Protocol(3, 0.5)  # EN ISO 2307:2010, clause 9.5
    Protocol(cycles=3, fraction=0.5)
    """

    cycles: float
    fraction: float

    def __post_init__(self) -> None:
        if not (np.isfinite(self.cycles) and self.cycles >= 0 and 0 <= self.fraction <= 1.5):
            raise InputError(
                f"a preload of {self.cycles:g} cycles to {self.fraction:g} of the strength",
                "0 or more cycles to a fraction from 0 to 1.5",
            )


NO_PRELOAD = Protocol(0, 0.0)


@dataclass(frozen=True)
class PreloadModel(ABC):
    """Effect of preload cycling on ln strength, linear given its shape."""

    name: ClassVar[str]
    title: ClassVar[str]
    formula: ClassVar[str]
    source: ClassVar[str]
    linear: ClassVar[tuple[Parameter, ...]] = ()
    shape: ClassVar[tuple[Parameter, ...]] = ()

    @abstractmethod
    def columns(
        self, cycles: FloatArray, fraction: FloatArray, shape: FloatArray
    ) -> list[FloatArray]:
        """Columns multiplying the linear parameters; each (draws, n).

        ``cycles`` and ``fraction`` have shape (n,), ``shape`` (draws, k).
        """

    def curve(
        self, linear: FloatArray, shape: FloatArray, cycles: FloatArray, fraction: FloatArray
    ) -> FloatArray:
        """Change of ln S against no preload, shape (draws, n)."""
        out = np.zeros((len(shape), len(cycles)))
        for j, column in enumerate(self.columns(cycles, fraction, shape)):
            out = out + linear[:, j : j + 1] * column
        return out


@dataclass(frozen=True)
class NoEffect(PreloadModel):
    """Cycling does not change the strength."""

    name: ClassVar[str] = "no-effect"
    title: ClassVar[str] = "no effect of cycling"
    formula: ClassVar[str] = "ln S = a"
    source: ClassVar[str] = "Prado-Novoa et al. 2022, Materials 15:2573 (HMPE braid, none found)"

    def columns(
        self, cycles: FloatArray, fraction: FloatArray, shape: FloatArray
    ) -> list[FloatArray]:
        """No column."""
        return []


@dataclass(frozen=True)
class SaturatingGain(PreloadModel):
    """Gain that settles after some cycles; a negative gain is a loss that settles."""

    name: ClassVar[str] = "saturating-gain"
    title: ClassVar[str] = "gain that settles"
    formula: ClassVar[str] = "ln S = a + g q**m (1 - exp(-N/N_s))"
    source: ClassVar[str] = "common practice, no source: load sharing by bedding-in"
    linear: ClassVar[tuple[Parameter, ...]] = (_GAIN,)
    shape: ClassVar[tuple[Parameter, ...]] = (_CYCLES, _POWER)

    def columns(
        self, cycles: FloatArray, fraction: FloatArray, shape: FloatArray
    ) -> list[FloatArray]:
        """Settled share of the gain at this level."""
        settled = -np.expm1(-cycles / shape[:, :1])
        return [np.asarray(fraction ** shape[:, 1:2] * settled)]


@dataclass(frozen=True)
class GainWithDamage(SaturatingGain):
    """Gain that settles, and damage that every further cycle adds."""

    name: ClassVar[str] = "gain-with-damage"
    title: ClassVar[str] = "gain that settles, with damage by every cycle"
    formula: ClassVar[str] = "ln S = a + g q**m (1 - exp(-N/N_s)) - d N q**s"
    source: ClassVar[str] = "common practice, no source; damage linear in cycles as Miner's rule"
    linear: ClassVar[tuple[Parameter, ...]] = (_GAIN, _DAMAGE)
    shape: ClassVar[tuple[Parameter, ...]] = (_CYCLES, _POWER, _HARM)

    def columns(
        self, cycles: FloatArray, fraction: FloatArray, shape: FloatArray
    ) -> list[FloatArray]:
        """Settled share of the gain, and minus cycles weighted by level."""
        gain = super().columns(cycles, fraction, shape)
        return [*gain, np.asarray(-cycles * fraction ** shape[:, 2:3])]


PRELOAD_MODELS: tuple[PreloadModel, ...] = (NoEffect(), SaturatingGain(), GainWithDamage())


@dataclass(frozen=True)
class CycleCurve(ABC):
    """What one specimen shows from cycle to cycle at one level."""

    name: ClassVar[str]
    formula: ClassVar[str]
    source: ClassVar[str]
    parameters: ClassVar[tuple[Parameter, ...]]

    @abstractmethod
    def curve(self, values: Mapping[str, FloatArray | float], cycle: FloatArray) -> FloatArray:
        """Value at each cycle; parameters (draws, 1) against cycles (n,) give (draws, n)."""

    @abstractmethod
    def guess(self, cycle: FloatArray, y: FloatArray) -> dict[str, float]:
        """Start for a fit."""


@dataclass(frozen=True)
class Settling(CycleCurve):
    """From a first value to a settled one: residual elongation, stiffness, hysteresis."""

    name: ClassVar[str] = "settling"
    formula: ClassVar[str] = "y = settled + (first - settled) exp(-(N - 1)/N_s)"
    source: ClassVar[str] = "first-order settling"
    parameters: ClassVar[tuple[Parameter, ...]] = (
        Parameter("first", "", description="value at the first cycle"),
        Parameter("settled", "", description="value after many cycles"),
        Parameter("cycles_to_settle", "cycles", 0.02, 1e4, description="N_s"),
    )

    def curve(self, values: Mapping[str, FloatArray | float], cycle: FloatArray) -> FloatArray:
        """Fall or rise to the settled value."""
        left = np.exp(-(cycle - 1.0) / values["cycles_to_settle"])
        return np.asarray(values["settled"] + (values["first"] - values["settled"]) * left)

    def guess(self, cycle: FloatArray, y: FloatArray) -> dict[str, float]:
        """First and last readings, and a third of the tested cycles."""
        first, last = _ends(cycle, y)
        span = max(float(cycle.max() - cycle.min()), 1.0)
        return {"first": first, "settled": last, "cycles_to_settle": span / 3}


@dataclass(frozen=True)
class LogCycles(CycleCurve):
    """Even change per tenfold number of cycles."""

    name: ClassVar[str] = "log-cycles"
    formula: ClassVar[str] = "y = first + slope log10 N"
    source: ClassVar[str] = "common practice, no source"
    parameters: ClassVar[tuple[Parameter, ...]] = (
        Parameter("first", "", description="value at the first cycle"),
        Parameter("slope", "per decade", description="change per tenfold cycles"),
    )

    def curve(self, values: Mapping[str, FloatArray | float], cycle: FloatArray) -> FloatArray:
        """Straight line against log10 N."""
        return np.asarray(values["first"] + values["slope"] * np.log10(cycle))

    def guess(self, cycle: FloatArray, y: FloatArray) -> dict[str, float]:
        """First and last readings."""
        first, last = _ends(cycle, y)
        return {"first": first, "slope": (last - first) / max(np.log10(cycle.max()), 0.3)}


@dataclass(frozen=True)
class Steady(CycleCurve):
    """No change from cycle to cycle."""

    name: ClassVar[str] = "steady"
    formula: ClassVar[str] = "y = first"
    source: ClassVar[str] = "null model"
    parameters: ClassVar[tuple[Parameter, ...]] = (
        Parameter("first", "", description="value at every cycle"),
    )

    def curve(self, values: Mapping[str, FloatArray | float], cycle: FloatArray) -> FloatArray:
        """Level line."""
        return np.asarray(values["first"] + 0.0 * cycle)

    def guess(self, cycle: FloatArray, y: FloatArray) -> dict[str, float]:
        """Mean reading."""
        return {"first": float(y.mean())}


CYCLE_CURVES: tuple[CycleCurve, ...] = (Steady(), Settling(), LogCycles())


def _ends(cycle: FloatArray, y: FloatArray) -> tuple[float, float]:
    return float(y[cycle == cycle.min()].mean()), float(y[cycle == cycle.max()].mean())

"""Strength against rate: one class per law of section "candidate rate models".

All laws give the mean of ln S against u = log10(strain rate in 1/s). Slopes are per decade of
rate and, being slopes of ln S, are fractions of strength for small values.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.models.base import RateModel
from ratemodel.models.parameter import Parameter

LN10 = float(np.log(10.0))
#: Test duration over thermal time constant at which half the heat is still inside at the break:
#: the root of (1 - exp(-y)) / y = 1/2.
HALF_HEAT = 1.5936242600400401

_INTERCEPT = Parameter("ln_strength", "", description="ln of the strength at the reference rate")
_SLOPE = Parameter("slope", "per decade", description="change of ln S per decade of rate")
_FIBRE = Parameter(
    "fibre_slope", "per decade", description="change of ln S per decade due to the fibre alone"
)
_DROP = Parameter("drop", "", description="loss of ln S from fully isothermal to adiabatic")
_PLACE = Parameter(
    "place", "log10(1/s)", description="log10 of the strain rate at which half the heat stays"
)


def heat_retained(x: FloatArray) -> FloatArray:
    """Fraction of the heat still inside at the break, against decades from the half point.

    h = (tau/t_b)(1 - exp(-t_b/tau)), with heating power spread evenly over the test; the rate is
    inversely proportional to the time to break t_b, and x = 0 where h = 1/2.

    References
    ----------
    Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), cooling of a cylinder by its
    first eigenvalue (from memory).

    Examples
    --------
    >>> heat_retained(np.array([0.0, 4.0, -4.0])).round(3)
    array([0.5, 1. , 0. ])
    """
    ratio = 10.0 ** np.clip(x, -12.0, 12.0) / HALF_HEAT
    return np.asarray(ratio * -np.expm1(-1.0 / ratio))


@dataclass(frozen=True)
class Constant(RateModel):
    """No rate effect: ln S = a."""

    name: ClassVar[str] = "constant"
    title: ClassVar[str] = "no rate effect"
    formula: ClassVar[str] = "ln S = a"
    source: ClassVar[str] = "null model"
    linear: ClassVar[tuple[Parameter, ...]] = (_INTERCEPT,)

    def columns(self, u: FloatArray, shape: FloatArray) -> list[FloatArray]:
        """No column beside the intercept."""
        return []


@dataclass(frozen=True)
class PowerLaw(RateModel):
    """Power law S proportional to rate**m, with b = m ln 10 per decade."""

    name: ClassVar[str] = "power-law"
    title: ClassVar[str] = "straight line in log strength"
    formula: ClassVar[str] = "ln S = a + b u"
    source: ClassVar[str] = "ASTM C1368 (constant stress-rate testing)"
    linear: ClassVar[tuple[Parameter, ...]] = (_INTERCEPT, _SLOPE)

    def columns(self, u: FloatArray, shape: FloatArray) -> list[FloatArray]:
        """Decades from the reference rate."""
        return [u - self.reference]


@dataclass(frozen=True)
class SemiLog(RateModel):
    """Strength itself linear in log rate: S = S_ref (1 + k u)."""

    name: ClassVar[str] = "semi-log"
    title: ClassVar[str] = "straight line in strength"
    formula: ClassVar[str] = "S = S_ref (1 + k u)"
    source: ClassVar[str] = "textile strength-time law, F1 - F2 = k F1 log10(t2/t1)"
    linear: ClassVar[tuple[Parameter, ...]] = (_INTERCEPT,)
    shape: ClassVar[tuple[Parameter, ...]] = (
        Parameter("k", "per decade", -0.15, 0.4, "fraction of strength per decade of rate"),
    )

    def columns(self, u: FloatArray, shape: FloatArray) -> list[FloatArray]:
        """No column beside the intercept."""
        return []

    def offset(self, u: FloatArray, shape: FloatArray) -> FloatArray:
        """ln(1 + k u), held above 5 % of the reference strength."""
        return np.log(np.maximum(1.0 + shape[:, :1] * (u - self.reference), 0.05))


@dataclass(frozen=True)
class Hinge(RateModel):
    """Rises (or falls) up to a rate and is level above it, with a rounded corner."""

    name: ClassVar[str] = "hinge"
    title: ClassVar[str] = "slope, then level"
    formula: ClassVar[str] = "ln S = a + b min(u - c, 0), rounded over 0.25 decade"
    source: ClassVar[str] = "HMPE yarn levelling off, Russell et al. 2013 (abstract)"
    linear: ClassVar[tuple[Parameter, ...]] = (_INTERCEPT, _SLOPE)
    shape: ClassVar[tuple[Parameter, ...]] = (
        Parameter("corner", "log10(1/s)", description="log10 of the rate where it levels off"),
    )
    rounding: ClassVar[float] = 0.25

    def columns(self, u: FloatArray, shape: FloatArray) -> list[FloatArray]:
        """Rounded min(u - c, 0), shifted to be zero at the reference rate."""
        c, w = shape[:, :1], self.rounding
        ramp = -w * np.logaddexp(0.0, -(u - c) / w)
        return [ramp + w * np.logaddexp(0.0, -(self.reference - c) / w)]


@dataclass(frozen=True)
class Plateau(RateModel):
    """Isothermal strength, a softening step, adiabatic strength."""

    name: ClassVar[str] = "plateau"
    title: ClassVar[str] = "heat step"
    formula: ClassVar[str] = "ln S = a - D h(u - c)"
    source: ClassVar[str] = "heat balance of a cylinder with evenly spread heating"
    linear: ClassVar[tuple[Parameter, ...]] = (_INTERCEPT, _DROP)
    shape: ClassVar[tuple[Parameter, ...]] = (_PLACE,)

    def columns(self, u: FloatArray, shape: FloatArray) -> list[FloatArray]:
        """Heat retained, relative to the reference rate."""
        c = shape[:, :1]
        return [heat_retained(self.reference - c) - heat_retained(u - c)]


@dataclass(frozen=True)
class Competing(RateModel):
    """Fibre that strengthens with rate in a structure that softens with heat."""

    name: ClassVar[str] = "competing"
    title: ClassVar[str] = "fibre slope and heat step"
    formula: ClassVar[str] = "ln S = a + b u - D h(u - c)"
    source: ClassVar[str] = "power law and heat balance together"
    linear: ClassVar[tuple[Parameter, ...]] = (_INTERCEPT, _FIBRE, _DROP)
    shape: ClassVar[tuple[Parameter, ...]] = (_PLACE,)

    def columns(self, u: FloatArray, shape: FloatArray) -> list[FloatArray]:
        """Decades from the reference rate, and heat retained."""
        c = shape[:, :1]
        step = heat_retained(self.reference - c) - heat_retained(u - c)
        return [u - self.reference, step]


@dataclass(frozen=True)
class Kinetic(RateModel):
    """Thermally activated lifetime with linear damage at constant loading rate.

    S = (kT/g) ln(1 + B rate), where B = (g E t0 / kT) exp(U0/kT) in seconds, g the activation
    volume coefficient and E the stiffness. One shape parameter, ln B.
    """

    name: ClassVar[str] = "kinetic"
    title: ClassVar[str] = "thermally activated fracture"
    formula: ClassVar[str] = "S = (kT/g) ln(1 + B rate)"
    source: ClassVar[str] = "Zhurkov 1965 (from memory), with linear damage"
    linear: ClassVar[tuple[Parameter, ...]] = (_INTERCEPT,)
    shape: ClassVar[tuple[Parameter, ...]] = (
        Parameter("ln_B", "ln(s)", 5.0, 200.0, "activation energy over kT, less the attempt rate"),
    )

    def columns(self, u: FloatArray, shape: FloatArray) -> list[FloatArray]:
        """No column beside the intercept."""
        return []

    def offset(self, u: FloatArray, shape: FloatArray) -> FloatArray:
        """ln of ln(1 + B rate), relative to the reference rate."""
        b = shape[:, :1]
        here = np.logaddexp(0.0, b + LN10 * u)
        there = np.logaddexp(0.0, b + LN10 * self.reference)
        return np.asarray(np.log(here) - np.log(there))


@dataclass(frozen=True)
class Quadratic(RateModel):
    """Empirical parabola; never to be extrapolated without saying so."""

    name: ClassVar[str] = "quadratic"
    title: ClassVar[str] = "parabola (empirical)"
    formula: ClassVar[str] = "ln S = a + b u + c u^2"
    source: ClassVar[str] = "empirical"
    linear: ClassVar[tuple[Parameter, ...]] = (
        _INTERCEPT,
        _SLOPE,
        Parameter("curvature", "per decade^2", description="half the change of slope per decade"),
    )

    def columns(self, u: FloatArray, shape: FloatArray) -> list[FloatArray]:
        """First and second power of the decades from the reference rate."""
        x = u - self.reference
        return [x, x * x]


#: Every rate model, in the order in which results list them.
RATE_MODELS: tuple[type[RateModel], ...] = (
    Constant,
    PowerLaw,
    SemiLog,
    Hinge,
    Plateau,
    Competing,
    Kinetic,
    Quadratic,
)

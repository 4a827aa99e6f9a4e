"""Creep under constant load: strain against time, one class per model.

Load enters as f = F / F_ref, temperature as the shift a(T) of time; see `creep_base`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.models.creep_base import (
    ENERGY,
    LOAD_EXPONENT,
    STRAIN0,
    TAU,
    CreepModel,
    CreepPoints,
    Values,
    linear_guess,
    shift,
)
from ratemodel.models.parameter import Parameter


@dataclass(frozen=True)
class Findley(CreepModel):
    """Power of time."""

    name: ClassVar[str] = "findley"
    title: ClassVar[str] = "power of time"
    formula: ClassVar[str] = "strain = f strain0 + f**p A (a t / t_ref)**n"
    source: ClassVar[str] = "Findley, Creep characteristics of plastics (1944); from memory"
    parameters: ClassVar[tuple[Parameter, ...]] = (
        STRAIN0,
        Parameter("amplitude", "", 0.0, np.inf, "creep strain at the reference time, A"),
        Parameter("time_exponent", "", 1e-3, 10.0, "n"),
        LOAD_EXPONENT,
        ENERGY,
    )

    def curve(self, values: Values, points: CreepPoints) -> FloatArray:
        """Instant strain and a power of shifted time."""
        x = shift(values, points) * points.time_s / points.reference_time_s
        grown = values["amplitude"] * x ** values["time_exponent"]
        f = points.load_ratio
        return np.asarray(values["strain0"] * f + f ** values["load_exponent"] * grown)

    def rate(self, values: Values, points: CreepPoints) -> FloatArray:
        """Give n times the creep strain over time."""
        none = {**values, "strain0": 0.0}
        return np.asarray(values["time_exponent"] * self.curve(none, points) / points.time_s)

    def guess(self, points: CreepPoints, strain: FloatArray) -> dict[str, float]:
        """Best of a grid of exponents."""
        x = points.time_s / points.reference_time_s
        return linear_guess(
            points,
            strain,
            ("time_exponent", (0.05, 0.1, 0.2, 0.35, 0.6, 0.9, 2.0, 4.0)),
            lambda n, a: [(a * x) ** n],
            ("amplitude",),
        )

    def to_working(self, values: Values, reference_time_s: float) -> dict[str, FloatArray]:
        """Strain and slope at the reference time in place of strain0 and amplitude."""
        out = super().to_working(values, reference_time_s)
        a, n = out["amplitude"], out["time_exponent"]
        return {**out, "strain0": out["strain0"] + a, "amplitude": a * n}

    def from_working(self, working: Values, reference_time_s: float) -> dict[str, FloatArray]:
        """Back to strain0 and amplitude."""
        out = super().from_working(working, reference_time_s)
        a = out["amplitude"] / out["time_exponent"]
        return {**out, "amplitude": a, "strain0": out["strain0"] - a}


@dataclass(frozen=True)
class Logarithmic(CreepModel):
    """Logarithm of time."""

    name: ClassVar[str] = "logarithmic"
    title: ClassVar[str] = "logarithm of time"
    formula: ClassVar[str] = "strain = f strain0 + f**p b ln(1 + a t / tau)"
    source: ClassVar[str] = "Phillips (1905); from memory"
    parameters: ClassVar[tuple[Parameter, ...]] = (
        STRAIN0,
        Parameter("slope", "", 0.0, np.inf, "strain per e-fold of time, b"),
        TAU,
        LOAD_EXPONENT,
        ENERGY,
    )

    def curve(self, values: Values, points: CreepPoints) -> FloatArray:
        """Instant strain and the logarithm of shifted time."""
        grown = values["slope"] * np.log1p(shift(values, points) * points.time_s / values["tau"])
        f = points.load_ratio
        return np.asarray(values["strain0"] * f + f ** values["load_exponent"] * grown)

    def rate(self, values: Values, points: CreepPoints) -> FloatArray:
        """B f**p a / (tau + a t)."""
        a = shift(values, points)
        scale = values["slope"] * points.load_ratio ** values["load_exponent"]
        return np.asarray(scale * a / (values["tau"] + a * points.time_s))

    def guess(self, points: CreepPoints, strain: FloatArray) -> dict[str, float]:
        """Best of a grid of time constants."""
        t = points.time_s
        grid = tuple(np.geomspace(t.max() * 1e-5, t.max() * 3, 12))
        return linear_guess(
            points, strain, ("tau", grid), lambda tau, a: [np.log1p(a * t / tau)], ("slope",)
        )

    def to_working(self, values: Values, reference_time_s: float) -> dict[str, FloatArray]:
        """Strain at the reference time in place of strain0; ln tau."""
        out = super().to_working(values, reference_time_s)
        grown = out["slope"] * np.log1p(reference_time_s / out["tau"])
        return {**out, "strain0": out["strain0"] + grown, "tau": np.log(out["tau"])}

    def from_working(self, working: Values, reference_time_s: float) -> dict[str, FloatArray]:
        """Back to strain0 and tau."""
        out = super().from_working(working, reference_time_s)
        tau = np.exp(out["tau"])
        grown = out["slope"] * np.log1p(reference_time_s / tau)
        return {**out, "strain0": out["strain0"] - grown, "tau": tau}


@dataclass(frozen=True)
class Burgers(CreepModel):
    """Spring, spring and dashpot side by side, dashpot: primary creep, then a steady rate."""

    name: ClassVar[str] = "burgers"
    title: ClassVar[str] = "primary creep, then a steady rate"
    formula: ClassVar[str] = (
        "strain = f strain0 + f**p (primary (1 - exp(-a t/tau)) + flow a t / t_ref)"
    )
    source: ClassVar[str] = "Burgers (1935); from memory"
    parameters: ClassVar[tuple[Parameter, ...]] = (
        STRAIN0,
        Parameter("primary", "", 0.0, np.inf, "primary creep strain"),
        TAU,
        Parameter("flow", "", 0.0, np.inf, "steady creep strain over the reference time"),
        LOAD_EXPONENT,
        ENERGY,
    )

    def curve(self, values: Values, points: CreepPoints) -> FloatArray:
        """Instant, primary and steady strain."""
        t = shift(values, points) * points.time_s
        grown = values["primary"] * -np.expm1(-t / values["tau"])
        grown = grown + values["flow"] * t / points.reference_time_s
        f = points.load_ratio
        return np.asarray(values["strain0"] * f + f ** values["load_exponent"] * grown)

    def rate(self, values: Values, points: CreepPoints) -> FloatArray:
        """Primary rate that dies away, and the steady rate."""
        a = shift(values, points)
        tau = values["tau"]
        primary = values["primary"] / tau * np.exp(-a * points.time_s / tau)
        steady = values["flow"] / points.reference_time_s
        scale = a * points.load_ratio ** values["load_exponent"]
        return np.asarray(scale * (primary + steady))

    def guess(self, points: CreepPoints, strain: FloatArray) -> dict[str, float]:
        """Best of a grid of time constants."""
        t = points.time_s
        grid = tuple(np.geomspace(max(t[t > 0].min(), t.max() * 1e-4), t.max(), 12))
        return linear_guess(
            points,
            strain,
            ("tau", grid),
            lambda tau, a: [-np.expm1(-a * t / tau), a * t / points.reference_time_s],
            ("primary", "flow"),
        )

    def to_working(self, values: Values, reference_time_s: float) -> dict[str, FloatArray]:
        """Natural log of tau."""
        out = super().to_working(values, reference_time_s)
        return {**out, "tau": np.log(out["tau"])}

    def from_working(self, working: Values, reference_time_s: float) -> dict[str, FloatArray]:
        """Back to tau."""
        out = super().from_working(working, reference_time_s)
        return {**out, "tau": np.exp(out["tau"])}

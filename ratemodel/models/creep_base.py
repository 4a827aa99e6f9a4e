"""What every creep model shares: points, parameters, the shift of time by temperature.

Every model takes load as f = F / F_ref and temperature as a shift of time

    a(T) = exp(-(U/R)(1/T - 1/T_ref)),

so that one set of parameters serves several loads and temperatures. With one load or one
temperature the parameter that would describe the missing dependence is held (load exponent 1,
activation energy 0).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import product
from typing import ClassVar, TypeAlias

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.models.lifetime import GAS_CONSTANT_J_PER_MOL_K
from ratemodel.models.parameter import Parameter

Values: TypeAlias = Mapping[str, FloatArray | float]

STRAIN0 = Parameter("strain0", "", -1.0, 1.0, "strain at once, at the reference load")
LOAD_EXPONENT = Parameter("load_exponent", "", 0.0, 20.0, "creep rises as load to this power")
ENERGY = Parameter("activation_energy", "J/mol", 0.0, 500e3, "how heat speeds creep up")
TAU = Parameter("tau", "s", 0.0, np.inf, "time constant at the reference temperature")


@dataclass(frozen=True)
class CreepReference:
    """Load, temperature and time at which amplitudes are defined."""

    load_N: float
    temperature_K: float
    time_s: float


@dataclass(frozen=True)
class CreepPoints:
    """Where strain is asked: times with their load and temperature.

    Attributes
    ----------
    time_s, load_ratio, inverse_RT : ndarray, shape (n,)
        Time; F/F_ref; (1/T - 1/T_ref)/R in mol/J.
    temperature_ratio : ndarray, shape (n,)
        T/T_ref.
    reference_time_s : float
        Time of the reference.
    """

    time_s: FloatArray
    load_ratio: FloatArray
    inverse_RT: FloatArray
    temperature_ratio: FloatArray
    reference_time_s: float

    def at(self, time_s: FloatArray) -> CreepPoints:
        """Give the same conditions at other times."""
        return replace(self, time_s=time_s)


def creep_points(
    time_s: FloatArray, load_N: FloatArray, temperature_K: FloatArray, reference: CreepReference
) -> CreepPoints:
    """Points from times, loads and temperatures; temperature NaN = the reference's."""
    time, load, kelvin = np.broadcast_arrays(
        np.asarray(time_s, dtype=np.float64),
        np.asarray(load_N, dtype=np.float64),
        np.asarray(temperature_K, dtype=np.float64),
    )
    kelvin = np.where(np.isfinite(kelvin), kelvin, reference.temperature_K)
    inverse = (1.0 / kelvin - 1.0 / reference.temperature_K) / GAS_CONSTANT_J_PER_MOL_K
    return CreepPoints(
        time_s=np.array(time),
        load_ratio=np.array(load / reference.load_N),
        inverse_RT=np.asarray(inverse),
        temperature_ratio=np.asarray(kelvin / reference.temperature_K),
        reference_time_s=reference.time_s,
    )


@dataclass(frozen=True)
class CreepModel(ABC):
    """One creep law."""

    name: ClassVar[str]
    title: ClassVar[str]
    formula: ClassVar[str]
    source: ClassVar[str]
    parameters: ClassVar[tuple[Parameter, ...]]

    @abstractmethod
    def curve(self, values: Values, points: CreepPoints) -> FloatArray:
        """Strain; parameters (draws, 1) against points (n,) give (draws, n)."""

    @abstractmethod
    def rate(self, values: Values, points: CreepPoints) -> FloatArray:
        """Creep rate in 1/s, shapes as in `curve`."""

    @abstractmethod
    def guess(self, points: CreepPoints, strain: FloatArray) -> dict[str, float]:
        """Start for a fit."""

    def needed(self, temperatures: int) -> int:
        """Different combinations of load and temperature needed at least."""
        return 1

    def held(self, loads: int, temperatures: int) -> dict[str, float]:
        """Parameters that cannot be fitted with so many loads and temperatures."""
        out = {}
        if loads < 2:
            out["load_exponent"] = 1.0
        if temperatures < 2:
            out["activation_energy"] = 0.0
        return out

    def to_working(self, values: Values, reference_time_s: float) -> dict[str, FloatArray]:
        """Coordinates in which joint draws are made: better shaped than the parameters."""
        return {k: np.asarray(v, dtype=np.float64) for k, v in values.items()}

    def from_working(self, working: Values, reference_time_s: float) -> dict[str, FloatArray]:
        """Inverse of `to_working`."""
        return {k: np.asarray(v, dtype=np.float64) for k, v in working.items()}


def shift(values: Values, points: CreepPoints) -> FloatArray:
    """Time-temperature shift a(T)."""
    return np.asarray(np.exp(-values["activation_energy"] * points.inverse_RT))


def linear_guess(
    points: CreepPoints,
    strain: FloatArray,
    shape: tuple[str, tuple[float, ...]],
    columns: Callable[[float, FloatArray], list[FloatArray]],
    names: tuple[str, ...],
) -> dict[str, float]:
    """Best of a grid of shape, activation energy and load exponent; the rest is linear."""
    best: tuple[float, dict[str, float]] = (np.inf, {})
    several_T = np.ptp(points.temperature_ratio) > 0
    several_F = np.ptp(points.load_ratio) > 0
    energies = (0.0, 50e3, 100e3, 150e3) if several_T else (0.0,)
    powers = (1.0, 2.0, 4.0) if several_F else (1.0,)
    for value, energy, power in product(shape[1], energies, powers):
        a = np.exp(-energy * points.inverse_RT)
        f = points.load_ratio
        design = np.stack([f, *(f**power * c for c in columns(value, a))], axis=1)
        coefficients = np.linalg.lstsq(design, strain, rcond=None)[0]
        coefficients[1:] = np.maximum(coefficients[1:], 1e-3 * float(np.ptp(strain)) + 1e-12)
        coefficients[0] = float(np.mean((strain - design[:, 1:] @ coefficients[1:]) / f))
        rss = float(np.sum((strain - design @ coefficients) ** 2))
        if rss < best[0]:
            found = dict(zip(("strain0", *names), map(float, coefficients), strict=True))
            extra = {shape[0]: float(value), "load_exponent": power, "activation_energy": energy}
            best = (rss, {**found, **extra})
    return best[1]

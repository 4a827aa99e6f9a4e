"""Life under constant load: one class per law, each linear in its coefficients.

    ln t_f = design(F, T) @ coefficients,   t_f in s, F in N, T in K.

Any positive measure of load (stress in Pa, a vessel's pressure, a voltage) may stand for F as long
as it is the same everywhere; the unit of the coefficients follows it.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.models.parameter import Parameter

BOLTZMANN_J_PER_K = 1.380649e-23  # exact (SI, 2019)
GAS_CONSTANT_J_PER_MOL_K = 8.31446261815324  # exact (SI, 2019)

_LN_LIFE = Parameter("ln_life", "ln s", description="ln of the life at unit load")
_EXPONENT = Parameter("exponent", "", 0.0, description="life exponent n: life falls as load**-n")
_ENERGY = Parameter("activation_energy", "J/mol", 0.0, description="how steeply heat shortens life")


@dataclass(frozen=True)
class LifeLaw(ABC):
    """Law of the life under a load held constant."""

    name: ClassVar[str]
    title: ClassVar[str]
    formula: ClassVar[str]
    source: ClassVar[str]
    parameters: ClassVar[tuple[Parameter, ...]]
    takes_temperature: ClassVar[bool] = False
    takes_load: ClassVar[bool] = True

    @abstractmethod
    def design(self, load_N: FloatArray, temperature_K: FloatArray) -> FloatArray:
        """Design array, shape (n, k)."""

    def ln_life(
        self, coefficients: FloatArray, load_N: FloatArray, temperature_K: FloatArray
    ) -> FloatArray:
        """Natural log of the life in s.

        Parameters
        ----------
        coefficients : ndarray, shape (draws, k)
            In the order of ``parameters``.
        load_N, temperature_K : ndarray, shape (n,)
            Temperature is ignored by laws without one.

        Returns
        -------
        ndarray, shape (draws, n)
        """
        return np.asarray(coefficients @ self.design(load_N, temperature_K).T)

    @abstractmethod
    def ln_mean_rate(
        self, coefficients: FloatArray, start_N: FloatArray, end_N: FloatArray, temperature_K: float
    ) -> FloatArray:
        """Natural log of the mean of 1/t_f while the load goes evenly from start to end, in 1/s.

        Exact. ``start_N`` and ``end_N`` have shape (n,) or (draws, n); the result (draws, n).
        """

    def _temperature(self, temperature_K: FloatArray) -> FloatArray:
        if not np.all(np.isfinite(temperature_K) & (temperature_K > 0)):
            raise InputError(
                f"the law '{self.title}' needs the temperature and it is missing",
                "a temperature above 0 K for every load",
            )
        return temperature_K


def _power_mean(exponent: FloatArray, start_N: FloatArray, end_N: FloatArray) -> FloatArray:
    """Natural log of the mean of F**n over an even change of load, without cancellation."""
    top = np.maximum(start_N, end_N)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        gap = np.where(top > 0, 1.0 - np.minimum(start_N, end_N) / top, 0.0)
        x = (exponent + 1.0) * np.log1p(-gap)
        share = np.where(gap > 0, -np.expm1(x) / ((exponent + 1.0) * gap), 1.0)
        return np.asarray(exponent * np.log(top) + np.log(share))


def _exponential_mean(slope: FloatArray, start_N: FloatArray, end_N: FloatArray) -> FloatArray:
    """Natural log of the mean of exp(b F) over an even change of load, without cancellation."""
    top = np.maximum(start_N, end_N)
    x = slope * np.abs(end_N - start_N)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(np.abs(x) > 0, -np.expm1(-x) / x, 1.0)
        return np.asarray(slope * top + np.log(share))


@dataclass(frozen=True)
class InversePower(LifeLaw):
    """Power law t_f = A F**-n."""

    name: ClassVar[str] = "inverse-power"
    title: ClassVar[str] = "straight line of log life against log load"
    formula: ClassVar[str] = "ln t = ln A - n ln F"
    source: ClassVar[str] = "Basquin-type law; ASTM C1576 (static fatigue)"
    parameters: ClassVar[tuple[Parameter, ...]] = (_LN_LIFE, _EXPONENT)

    def design(self, load_N: FloatArray, temperature_K: FloatArray) -> FloatArray:
        """1 and minus ln F."""
        with np.errstate(divide="ignore"):
            return np.stack([np.ones_like(load_N), -np.log(load_N)], axis=-1)

    def ln_mean_rate(
        self, coefficients: FloatArray, start_N: FloatArray, end_N: FloatArray, temperature_K: float
    ) -> FloatArray:
        """(F2**(n+1) - F1**(n+1)) / ((n+1)(F2 - F1) A)."""
        mean = _power_mean(coefficients[:, 1:2], start_N, end_N)
        return np.asarray(mean - coefficients[:, :1])


@dataclass(frozen=True)
class Exponential(LifeLaw):
    """Exponential law t_f = B exp(-b F)."""

    name: ClassVar[str] = "exponential"
    title: ClassVar[str] = "straight line of log life against load"
    formula: ClassVar[str] = "ln t = ln B - b F"
    source: ClassVar[str] = "Zhurkov (1965) at one temperature"
    parameters: ClassVar[tuple[Parameter, ...]] = (
        Parameter("ln_life", "ln s", description="ln of the life as the load goes to zero"),
        Parameter("slope", "1/N", 0.0, description="loss of ln life per N"),
    )

    def design(self, load_N: FloatArray, temperature_K: FloatArray) -> FloatArray:
        """1 and minus F."""
        return np.stack([np.ones_like(load_N), -load_N], axis=-1)

    def ln_mean_rate(
        self, coefficients: FloatArray, start_N: FloatArray, end_N: FloatArray, temperature_K: float
    ) -> FloatArray:
        """(exp(b F2) - exp(b F1)) / (b (F2 - F1) B)."""
        mean = _exponential_mean(coefficients[:, 1:2], start_N, end_N)
        return np.asarray(mean - coefficients[:, :1])


@dataclass(frozen=True)
class Arrhenius(LifeLaw):
    """Life against temperature alone: t_f = C exp(U / RT)."""

    name: ClassVar[str] = "arrhenius"
    title: ClassVar[str] = "straight line of log life against 1/temperature"
    formula: ClassVar[str] = "ln t = ln C + U/(R T)"
    source: ClassVar[str] = "Arrhenius (1889); Nelson, Accelerated Testing (1990)"
    parameters: ClassVar[tuple[Parameter, ...]] = (_LN_LIFE, _ENERGY)
    takes_temperature: ClassVar[bool] = True
    takes_load: ClassVar[bool] = False

    def design(self, load_N: FloatArray, temperature_K: FloatArray) -> FloatArray:
        """1 and 1/(R T)."""
        t = self._temperature(temperature_K)
        return np.stack([np.ones_like(t), 1.0 / (GAS_CONSTANT_J_PER_MOL_K * t)], axis=-1)

    def ln_mean_rate(
        self, coefficients: FloatArray, start_N: FloatArray, end_N: FloatArray, temperature_K: float
    ) -> FloatArray:
        """Return the same rate at any load."""
        t = self._temperature(np.full(np.shape(start_N)[-1:], temperature_K))
        return -self.ln_life(coefficients, t, t)


@dataclass(frozen=True)
class PowerArrhenius(LifeLaw):
    """Power law in load, Arrhenius in temperature."""

    name: ClassVar[str] = "power-arrhenius"
    title: ClassVar[str] = "log life against log load and 1/temperature"
    formula: ClassVar[str] = "ln t = ln A - n ln F + U/(R T)"
    source: ClassVar[str] = "Nelson, Accelerated Testing (1990), generalised Eyring without product"
    parameters: ClassVar[tuple[Parameter, ...]] = (_LN_LIFE, _EXPONENT, _ENERGY)
    takes_temperature: ClassVar[bool] = True

    def design(self, load_N: FloatArray, temperature_K: FloatArray) -> FloatArray:
        """1, minus ln F and 1/(R T)."""
        t = self._temperature(temperature_K)
        with np.errstate(divide="ignore"):
            columns = [np.ones_like(load_N), -np.log(load_N), 1 / (GAS_CONSTANT_J_PER_MOL_K * t)]
        return np.stack(columns, axis=-1)

    def ln_mean_rate(
        self, coefficients: FloatArray, start_N: FloatArray, end_N: FloatArray, temperature_K: float
    ) -> FloatArray:
        """Give the power law's mean with A taken at the temperature."""
        t = float(self._temperature(np.asarray([temperature_K]))[0])
        heat = coefficients[:, 2:3] / (GAS_CONSTANT_J_PER_MOL_K * t)
        mean = _power_mean(coefficients[:, 1:2], start_N, end_N)
        return np.asarray(mean - coefficients[:, :1] - heat)


@dataclass(frozen=True)
class Zhurkov(LifeLaw):
    """Thermally activated rupture t_f = t0 exp((U0 - gamma F)/kT)."""

    name: ClassVar[str] = "zhurkov"
    title: ClassVar[str] = "thermally activated rupture"
    formula: ClassVar[str] = "ln t = ln t0 + (U0 - gamma F)/(k T)"
    source: ClassVar[str] = "Zhurkov, Int. J. Fract. Mech. 1 (1965) 311"
    parameters: ClassVar[tuple[Parameter, ...]] = (
        Parameter("ln_t0", "ln s", description="ln of the attempt time"),
        Parameter("energy", "J", 0.0, description="barrier at zero load, per bond"),
        Parameter("activation_length", "J/N", 0.0, description="barrier lost per N of line load"),
    )
    takes_temperature: ClassVar[bool] = True

    def design(self, load_N: FloatArray, temperature_K: FloatArray) -> FloatArray:
        """1, 1/(kT) and minus F/(kT)."""
        kt = BOLTZMANN_J_PER_K * self._temperature(temperature_K)
        return np.stack([np.ones_like(load_N), 1.0 / kt, -load_N / kt], axis=-1)

    def ln_mean_rate(
        self, coefficients: FloatArray, start_N: FloatArray, end_N: FloatArray, temperature_K: float
    ) -> FloatArray:
        """Give the exponential law's mean at the temperature."""
        kt = BOLTZMANN_J_PER_K * float(self._temperature(np.asarray([temperature_K]))[0])
        mean = _exponential_mean(coefficients[:, 2:3] / kt, start_N, end_N)
        return np.asarray(mean - coefficients[:, :1] - coefficients[:, 1:2] / kt)


LIFE_LAWS: tuple[LifeLaw, ...] = (
    InversePower(),
    Exponential(),
    Arrhenius(),
    PowerArrhenius(),
    Zhurkov(),
)


def life_law(name: str) -> LifeLaw:
    """Law by name.

    Examples
    --------
    >>> life_law("inverse-power").formula
    'ln t = ln A - n ln F'
    """
    for law in LIFE_LAWS:
        if law.name == name:
            return law
    raise InputError(
        f"there is no law of life named {name}", "one of " + ", ".join(w.name for w in LIFE_LAWS)
    )

"""Strength against rate and temperature: the kinetic law fitted to break tests.

    S = (kT/gamma) ln(1 + (gamma r t0 / kT) exp(U0/kT)),   r the loading rate in N/s.

With one temperature U0 and t0 do the same job, so t0 is held at 1e-13 s; it stays held with several
temperatures unless the user frees it, since the two remain hard to tell apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, NotIdentifiedError, Problem
from ratemodel.inference.importance import importance_draws
from ratemodel.inference.leastsq import BestFit, best_fit
from ratemodel.inference.starts import FitTask, start_parameters
from ratemodel.models.kinetics import (
    ELECTRONVOLT_J,
    kinetic_strength,
    thermal_stress_per_decade,
)
from ratemodel.models.parameter import Parameter

if TYPE_CHECKING:
    import lmfit

_LN_T0 = float(np.log(1e-13))
PARAMETERS = (
    Parameter("energy_eV", "eV", 0.0, 20.0, "barrier U0 per bond at zero load"),
    Parameter("ln_length", "ln J/N", -80.0, 0.0, "ln of gamma, barrier lost per N of line load"),
    Parameter("ln_t0", "ln s", -60.0, 0.0, "ln of the attempt time"),
)


@dataclass(frozen=True)
class KineticData:
    """Break tests at several rates and temperatures, one entry per specimen.

    Attributes
    ----------
    strength_N, loading_rate_N_per_s, temperature_K : ndarray, shape (n,)
        Peak force, rate of loading, temperature.
    """

    strength_N: FloatArray
    loading_rate_N_per_s: FloatArray
    temperature_K: FloatArray

    def __post_init__(self) -> None:
        names = ("strength_N", "loading_rate_N_per_s", "temperature_K")
        columns = [np.array(getattr(self, n), dtype=np.float64) for n in names]
        if len({c.shape for c in columns}) != 1 or columns[0].ndim != 1:
            raise InputError("columns of the break tests differ in length", "one entry each")
        if not all(np.all(np.isfinite(c) & (c > 0)) for c in columns):
            raise InputError(
                "a strength, loading rate or temperature is not above 0",
                "strengths in N, rates in N/s and temperatures in K above 0",
            )
        for name, column in zip(names, columns, strict=True):
            object.__setattr__(self, name, column)


@dataclass(frozen=True)
class KineticFit:
    """Kinetic law fitted to break tests, with joint draws.

    Attributes
    ----------
    best : BestFit
        Least squares on ln S; ``best.lmfit_result`` is lmfit's own.
    draws : mapping of str to ndarray, shape (draws, 1)
        ``energy_eV``, ``ln_length``, ``ln_t0``.
    data : KineticData
        What was fitted.
    problems : tuple of Problem
        What limits its use.
    """

    best: BestFit
    draws: Mapping[str, FloatArray]
    data: KineticData
    problems: tuple[Problem, ...]

    def strength_at(
        self, loading_rate_N_per_s: FloatArray | float, temperature_K: FloatArray | float
    ) -> FloatArray:
        """Draws of the typical strength in N, shape (draws, n)."""
        return _strength(self.draws, np.atleast_1d(loading_rate_N_per_s), temperature_K)

    def force_per_decade(self, temperature_K: float) -> FloatArray:
        """Draws of the rise of strength per tenfold rate in N, shape (draws,)."""
        return thermal_stress_per_decade(np.exp(self.draws["ln_length"][:, 0]), temperature_K)


def kinetic_parameters(data: KineticData) -> lmfit.Parameters:
    """Give the starting parameters, t0 held, to fix, bound or free and hand back to the fit."""
    out = start_parameters(_task(data), None)
    out["ln_t0"].set(value=_LN_T0, vary=False)
    return out


def fit_kinetic(
    data: KineticData,
    *,
    draws: int,
    rng: np.random.Generator,
    user: lmfit.Parameters | None = None,
) -> KineticFit:
    """Fit the kinetic law by least squares on ln S and draw jointly.

    Prior of the draws: flat on the free parameters inside their bounds and on ln scatter.

    Raises
    ------
    NotIdentifiedError
        One rate only, or fewer specimens than parameters.
    """
    rates = np.log10(data.loading_rate_N_per_s)
    if np.ptp(rates) < 0.5:
        raise NotIdentifiedError(
            "the kinetic law needs rates half a decade apart or more; add a slow or a fast pull"
        )
    task = _task(data)
    best = best_fit(task, rng=rng, user=user if user is not None else kinetic_parameters(data))
    if any(best.lmfit_result.params[p.name].expr for p in PARAMETERS):
        raise InputError("a kinetic parameter is tied by an expression", "fixed or bounded ones")
    joint, problems = _draw(task, best, draws, rng)
    return KineticFit(best, joint, data, best.problems + problems + _problems(data))


def _draw(
    task: FitTask, best: BestFit, draws: int, rng: np.random.Generator
) -> tuple[dict[str, FloatArray], tuple[Problem, ...]]:
    fixed = {k: v for k, v in best.values.items() if k not in best.free}
    bounds = np.array(
        [
            [float(best.lmfit_result.params[k].min), float(best.lmfit_result.params[k].max)]
            for k in best.free
        ]
    )

    def values(x: FloatArray) -> dict[str, FloatArray]:
        out = {k: np.full((len(x), 1), v) for k, v in fixed.items()}
        return out | {k: x[:, j : j + 1] for j, k in enumerate(best.free)}

    def log_density(x: FloatArray) -> FloatArray:
        r = np.asarray(task.curve(values(x))) - task.y  # type: ignore[arg-type]
        inside = np.all((x >= bounds[:, 0]) & (x <= bounds[:, 1]), axis=1)
        value = -0.5 * len(task.y) * np.log(np.einsum("ij,ij->i", r, r) / best.sum_of_squares)
        return np.where(inside, value, -np.inf)

    at = np.array([best.values[k] for k in best.free])
    joint = importance_draws(log_density, at, best.covariance, draws=draws, rng=rng)
    return values(joint.values), joint.problems


def _strength(
    values: Mapping[str, FloatArray | float],
    rate: FloatArray,
    temperature_K: FloatArray | float,
) -> FloatArray:
    energy = np.asarray(values["energy_eV"]) * ELECTRONVOLT_J
    length, t0 = np.exp(values["ln_length"]), np.exp(values["ln_t0"])
    return kinetic_strength(rate, temperature_K, energy, length, t0)


def _task(data: KineticData) -> FitTask:
    rate, kelvin, strength = data.loading_rate_N_per_s, data.temperature_K, data.strength_N
    kt = 8.617333262e-5 * float(kelvin.mean())  # eV; CODATA 2018
    slope = np.polyfit(np.log(rate), strength, 1)[0]
    # S gamma / kT = ln(rate gamma t0 / kT) + U0/kT: the slope against ln rate is kT/gamma.
    slope = max(float(slope), 0.002 * float(strength.mean()))
    ln_length = float(np.log(kt * ELECTRONVOLT_J / slope))
    middle = float(np.mean(np.log(rate))) - float(np.log(slope)) + _LN_T0
    energy = kt * (float(strength.mean()) / slope - middle)
    guess = {
        "energy_eV": float(np.clip(energy, 0.05, 15.0)),
        "ln_length": ln_length,
        "ln_t0": _LN_T0,
    }
    return FitTask(
        lambda v: np.log(_strength(v, rate, kelvin)), np.log(strength), PARAMETERS, guess
    )


def _problems(data: KineticData) -> tuple[Problem, ...]:
    if np.ptp(data.temperature_K) >= 10.0:
        return ()
    return (
        Problem(
            "one-temperature",
            "All tests were made within 10 K: what the law says of other temperatures rests on the "
            "attempt time of 1e-13 s alone. Break some specimens cold or warm.",
        ),
    )

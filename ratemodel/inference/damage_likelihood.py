"""Likelihood of break tests and lives under one damage law."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray
from ratemodel.errors import ConvergenceError, InputError
from ratemodel.inference.covariance import jacobian
from ratemodel.inference.life import LifeData, LifeDistribution, log_likelihood_rows

Sharing: TypeAlias = Literal["exponent", "exponent and level", "exponent, level and scatter"]


@dataclass(frozen=True)
class RampData:
    """Break tests at constant rates of loading, one entry per specimen.

    Attributes
    ----------
    strength_N : ndarray, shape (n,)
        Peak force.
    loading_rate_N_per_s : ndarray, shape (n,)
        Rate of loading (stiffness per unit strain times strain rate).
    broke : ndarray of bool, shape (n,)
        False = held at least this much.
    """

    strength_N: FloatArray
    loading_rate_N_per_s: FloatArray
    broke: BoolArray

    def __post_init__(self) -> None:
        strength = np.array(self.strength_N, dtype=np.float64)
        rate = np.array(self.loading_rate_N_per_s, dtype=np.float64)
        broke = np.array(self.broke, dtype=np.bool_)
        if not (strength.ndim == 1 and strength.shape == rate.shape == broke.shape):
            raise InputError("columns of the ramps differ in length", "one entry per specimen")
        if not np.all(np.isfinite(strength) & (strength > 0) & np.isfinite(rate) & (rate > 0)):
            raise InputError("a strength or rate is not above 0", "N and N/s above 0")
        object.__setattr__(self, "strength_N", strength)
        object.__setattr__(self, "loading_rate_N_per_s", rate)
        object.__setattr__(self, "broke", broke)


class DamageLikelihood:
    """Log-likelihood of ln lives and ln strengths for rows of parameters."""

    def __init__(
        self,
        lives: LifeData,
        ramps: RampData,
        distribution: LifeDistribution,
        shared: Sharing,
        reference_N: float,
    ) -> None:
        self.y_life, self.y_ramp = np.log(lives.time_s), np.log(ramps.strength_N / reference_N)
        self.x_life = np.log(lives.load_N / reference_N)
        self.x_ramp = np.log(ramps.loading_rate_N_per_s)
        self.broke_life, self.broke_ramp = lives.broke, ramps.broke
        self.distribution, self.shared = distribution, shared
        self.ln_reference = float(np.log(reference_N))
        self.middle = float(self.x_ramp.mean())

    def __call__(self, rows: FloatArray) -> FloatArray:
        """Log-likelihood of each row of parameters, shape (m,)."""
        level, ln_power, ln_scale = rows[:, :1], rows[:, 1:2], rows[:, 2:3]
        n = np.expm1(ln_power)
        z = (self.y_life - level + n * self.x_life) * np.exp(-ln_scale)
        out = log_likelihood_rows(z, ln_scale[:, 0], self.broke_life, self.distribution)
        slope = np.exp(-ln_power)
        if self.shared == "exponent":
            centre = rows[:, 3:4] - self.ln_reference + slope * (self.x_ramp - self.middle)
        else:
            centre = slope * (ln_power + level + self.x_ramp - self.ln_reference)
        own = self.shared != "exponent, level and scatter"
        ramp_scale = rows[:, -1:] if own else ln_scale - ln_power
        z = (self.y_ramp - centre) * np.exp(-ramp_scale)
        return np.asarray(
            out + log_likelihood_rows(z, ramp_scale[:, 0], self.broke_ramp, self.distribution)
        )


def maximise(
    density: DamageLikelihood, start: FloatArray, shared: Sharing
) -> tuple[FloatArray, float, FloatArray]:
    """Maximise: optimum, its log-likelihood, inverse of the observed information."""
    from scipy.optimize import minimize

    keep = {"exponent": [0, 1, 2, 3, 4], "exponent and level": [0, 1, 2, 4]}.get(shared, [0, 1, 2])

    def loss(at: FloatArray) -> float:
        with np.errstate(over="ignore"):
            value = -float(density(at[None, :])[0])
        return value if np.isfinite(value) else 1e300

    def gradient(at: FloatArray) -> FloatArray:
        return np.asarray(jacobian(lambda p: np.array([loss(p)]), at)[0])

    found = minimize(
        loss,
        start[keep],
        method="Nelder-Mead",
        options={"maxiter": 4000, "xatol": 1e-6, "fatol": 1e-9},
    )
    at = np.asarray(found.x, dtype=np.float64)
    for _ in range(20):
        hess = jacobian(gradient, at)
        step = -np.linalg.solve((hess + hess.T) / 2, gradient(at))
        if not loss(at + step) <= loss(at):
            break
        at = at + step
        if float(np.abs(step).max()) < 1e-9:
            break
    hess = jacobian(gradient, at)
    covariance = np.asarray(np.linalg.inv((hess + hess.T) / 2), dtype=np.float64)
    if np.any(np.diag(covariance) <= 0):
        raise ConvergenceError(
            "ramps and lives could not be fitted together; check that loads and rates are in the "
            "same unit of force, and that strengths rise with rate"
        )
    return at, -loss(at), covariance

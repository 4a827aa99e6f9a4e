"""Linear cumulative damage: one integral for ramps, holds, steps, cycles and recorded logs.

A line breaks when D = integral of dt / t_f(F(t)) reaches 1. The law of life t_f is for one
specimen: with its coefficients at the typical specimen the answer is the typical one; to carry
scatter, add each draw's deviation of ln life to its first coefficient.

References
----------
Palmgren (1924), Miner, J. Appl. Mech. 12 (1945) A159; Bailey (1939) for time under load;
Coleman, J. Appl. Phys. 29 (1958) 968 for fibres (all from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.models.history import LoadHistory
from ratemodel.models.lifetime import LifeLaw

_HALVINGS = 80


@dataclass(frozen=True)
class Break:
    """When and at which load a history breaks the line; infinite time where it does not.

    Attributes
    ----------
    time_s, load_N : ndarray, shape (draws,)
        Time inside the history and load at that time (NaN where it holds).
    """

    time_s: FloatArray
    load_N: FloatArray


def damage_integral(history: LoadHistory, law: LifeLaw, coefficients: FloatArray) -> FloatArray:
    """Damage at the end of a history, 1 = broken; exact on straight pieces.

    Parameters
    ----------
    history : LoadHistory
        Load against time.
    law : LifeLaw
        Law of the life under constant load.
    coefficients : ndarray, shape (draws, k)
        Its coefficients, one row per draw.

    Returns
    -------
    ndarray, shape (draws,)

    Examples
    --------
    A ramp that takes 120 s to the load whose life is 120 s / (n + 1) just breaks:

    >>> from ratemodel.models.history import ramp
    >>> from ratemodel.models.lifetime import InversePower
    >>> n, load = 20.0, 1000.0
    >>> ln_a = np.log(120.0 / (n + 1)) + n * np.log(load)
    >>> d = damage_integral(ramp(load / 120, load), InversePower(), np.array([[ln_a, n]]))
    >>> bool(abs(d[0] - 1) < 1e-12)
    True
    """
    return np.asarray(_segments(history, law, coefficients).sum(axis=1))


def cumulative_damage(history: LoadHistory, law: LifeLaw, coefficients: FloatArray) -> FloatArray:
    """Damage at every point of a history, shape (draws, n)."""
    parts = _segments(history, law, coefficients)
    return np.concatenate([np.zeros((len(parts), 1)), np.cumsum(parts, axis=1)], axis=1)


def expected_break(history: LoadHistory, law: LifeLaw, coefficients: FloatArray) -> Break:
    """First time at which the damage reaches 1.

    A step is taken as instantaneous. Solved inside the breaking piece by halving.
    """
    total = cumulative_damage(history, law, coefficients)
    broken = total[:, -1] >= 1.0
    piece = np.clip(np.argmax(total >= 1.0, axis=1) - 1, 0, None)
    rows = np.arange(len(total))
    rest = 1.0 - total[rows, piece]
    start, end = history.load_N[piece], history.load_N[piece + 1]
    span = history.time_s[piece + 1] - history.time_s[piece]

    def done(fraction: FloatArray) -> FloatArray:
        at = start + fraction * (end - start)
        ln_rate = law.ln_mean_rate(
            coefficients, start[:, None], at[:, None], history.temperature_K
        )[:, 0]
        return np.asarray(_exp(ln_rate) * fraction * span)

    low, high = np.zeros(len(total)), np.ones(len(total))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        below = done(middle) < rest
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    time = history.time_s[piece] + high * span
    load = start + high * (end - start)
    return Break(np.where(broken, time, np.inf), np.where(broken, load, np.nan))


def ramp_strength(
    law: LifeLaw,
    coefficients: FloatArray,
    loading_rate_N_per_s: FloatArray | float,
    *,
    damage: FloatArray | float = 0.0,
    temperature_K: float = float("nan"),
) -> FloatArray:
    """Give the breaking strength on an even pull from zero, after ``damage`` was already done.

    Parameters
    ----------
    law, coefficients
        Law of life and its coefficients, shape (draws, k).
    loading_rate_N_per_s : float or ndarray, shape (m,)
        Rates of loading.
    damage : float or ndarray, shape (draws,)
        Damage before the pull, 0 for a fresh line.
    temperature_K : float
        For laws that take one.

    Returns
    -------
    ndarray, shape (draws, m)
        Strength in N; 0 where the damage is already 1 or more. For the power law this is
        S0 (1 - D)**(1/(n+1)) with S0**(n+1) = (n + 1) A rate.
    """
    rate = np.atleast_1d(np.asarray(loading_rate_N_per_s, dtype=np.float64))
    if not law.takes_load:
        raise InputError(f"the law '{law.title}' does not depend on load", "a law of load")
    if np.any(~(rate > 0)):
        raise InputError("a loading rate is not above 0", "rates in N/s above 0")
    rest = 1.0 - np.broadcast_to(np.asarray(damage, dtype=np.float64), (len(coefficients),))

    def ln_done(ln_load: FloatArray) -> FloatArray:
        load = np.exp(ln_load)
        mean = law.ln_mean_rate(coefficients, np.zeros_like(load), load, temperature_K)
        return np.asarray(mean + ln_load - np.log(rate))

    shape = (len(coefficients), len(rate))
    low, high = np.full(shape, -300.0), np.full(shape, 300.0)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        target = np.log(np.maximum(rest, 0.0))[:, None]
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            below = ln_done(middle) < target
            low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.where(rest[:, None] > 0, np.exp((low + high) / 2), 0.0)


def residual_strength(
    history: LoadHistory,
    law: LifeLaw,
    coefficients: FloatArray,
    loading_rate_N_per_s: FloatArray | float,
) -> FloatArray:
    """Give the breaking strength left after a load history, pulled from zero at a given rate.

    Returns
    -------
    ndarray, shape (draws, m)
        0 where the history itself breaks the line.
    """
    done = damage_integral(history, law, coefficients)
    return ramp_strength(
        law,
        coefficients,
        loading_rate_N_per_s,
        damage=done,
        temperature_K=history.temperature_K,
    )


def _segments(history: LoadHistory, law: LifeLaw, coefficients: FloatArray) -> FloatArray:
    ln_rate = law.ln_mean_rate(
        coefficients, history.load_N[:-1], history.load_N[1:], history.temperature_K
    )
    span = np.diff(history.time_s)
    return np.where(span > 0, _exp(ln_rate) * span, 0.0)


def _exp(x: FloatArray) -> FloatArray:
    with np.errstate(over="ignore", under="ignore"):
        return np.asarray(np.exp(x))

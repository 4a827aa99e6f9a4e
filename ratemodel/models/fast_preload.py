"""Fast preload, then slow pull: machine time saved, against the bias it brings.

A slow pull spends most of its time at loads too low to do damage. Go to the preload P = p S fast
(rate r_p), pull on from there slowly (rate r). Under linear damage the strength read is

    power law        S_p**(n+1) = S**(n+1) + P**(n+1) (1 - r/r_p)
    exponential law  exp(b S_p) = exp(b S) + (exp(b P) - 1)(1 - r/r_p)

Published as an accelerated technique for ceramics (Choi & Gyekenyesi and others, NTRS
20020038559). It holds for damage, not for bedding-in or heat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, Problem


@dataclass(frozen=True)
class FastPreload:
    """What a fast preload saves and what it costs.

    Attributes
    ----------
    preload_fraction : ndarray, shape (n,)
        Preload over the strength of a slow pull without preload.
    ratio : ndarray, shape (draws, n)
        Strength read with the preload over that without.
    time_s, time_saved_fraction : ndarray, shape (n,)
        Machine time of one pull with preload, and the share of the slow pull's time saved, at the
        median draw.
    problems : tuple of Problem
        Where bedding-in or heat would break the formula.
    """

    preload_fraction: FloatArray
    ratio: FloatArray
    time_s: FloatArray
    time_saved_fraction: FloatArray
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class SlowPull:
    """The slow test that is to be shortened.

    Attributes
    ----------
    strength_N : float
        Strength expected on the slow pull.
    slow_rate_N_per_s, fast_rate_N_per_s : float
        Loading rates of the slow pull and of the preload; the fast one may be infinite.
    thermal_time_s : float, optional
        Time constant of heat leaving the line; None = not known.
    bedded_in_fraction : float, optional
        Highest fraction of the strength to which the specimens were cycled before; None = never.
    """

    strength_N: float
    slow_rate_N_per_s: float
    fast_rate_N_per_s: float = float("inf")
    thermal_time_s: float | None = None
    bedded_in_fraction: float | None = None

    def __post_init__(self) -> None:
        if not (self.strength_N > 0 and 0 < self.slow_rate_N_per_s <= self.fast_rate_N_per_s):
            raise InputError(
                f"a slow pull of {self.strength_N:g} N at {self.slow_rate_N_per_s:g} N/s with a "
                f"preload at {self.fast_rate_N_per_s:g} N/s",
                "a strength above 0 and a preload at least as fast as the pull",
            )


def fast_preload_ratio(
    preload_fraction: ArrayLike, exponent: ArrayLike, rate_ratio: float = 0.0
) -> FloatArray:
    """Strength with fast preload over strength without, power law of life.

    (1 + p**(n+1) (1 - r/r_p))**(1/(n+1)); arguments broadcast.

    Parameters
    ----------
    preload_fraction : array_like
        p, from 0 to below 1.
    exponent : array_like
        Life exponent n.
    rate_ratio : float
        Slow over fast loading rate r/r_p; 0 = preload reached at once.

    Examples
    --------
    >>> float(fast_preload_ratio(0.8, 20.0).round(8))
    1.00043729
    """
    p = np.asarray(preload_fraction, dtype=np.float64)
    power = np.asarray(exponent, dtype=np.float64) + 1.0
    return np.asarray(np.exp(np.log1p(p**power * (1.0 - rate_ratio)) / power))


def fast_preload_ratio_exponential(
    preload_fraction: ArrayLike, slope_strength: ArrayLike, rate_ratio: float = 0.0
) -> FloatArray:
    """Strength with fast preload over strength without, exponential law of life.

    Parameters
    ----------
    preload_fraction : array_like
        p, from 0 to below 1.
    slope_strength : array_like
        b S: slope of ln life against load, times the slow strength.
    rate_ratio : float
        r/r_p.
    """
    p = np.asarray(preload_fraction, dtype=np.float64)
    x = np.asarray(slope_strength, dtype=np.float64)
    extra = (np.exp((p - 1.0) * x) - np.exp(-x)) * (1.0 - rate_ratio)
    return np.asarray(1.0 + np.log1p(extra) / x)


def fast_preload(pull: SlowPull, preload_fraction: ArrayLike, exponent: ArrayLike) -> FastPreload:
    """Machine time saved and bias, for a range of preloads.

    Parameters
    ----------
    pull : SlowPull
        The slow test.
    preload_fraction : array_like, shape (n,)
        Preloads to look at, from 0 to below 1.
    exponent : array_like, shape (draws,)
        Draws of the life exponent n.
    """
    p = np.atleast_1d(np.asarray(preload_fraction, dtype=np.float64))
    if np.any(~((p >= 0) & (p < 1))):
        raise InputError("a preload fraction is not between 0 and 1", "fractions in [0, 1)")
    draws = np.atleast_1d(np.asarray(exponent, dtype=np.float64))
    rate_ratio = pull.slow_rate_N_per_s / pull.fast_rate_N_per_s
    ratio = fast_preload_ratio(p, draws[:, None], rate_ratio)
    slow_s = pull.strength_N / pull.slow_rate_N_per_s
    fast_s = p * pull.strength_N / pull.fast_rate_N_per_s
    time_s = fast_s + (np.median(ratio, axis=0) - p) * slow_s
    problems = _bedding_in(pull, p) + _heat(pull, p, slow_s)
    return FastPreload(p, ratio, time_s, 1.0 - time_s / slow_s, problems)


def _bedding_in(pull: SlowPull, p: FloatArray) -> tuple[Problem, ...]:
    done = pull.bedded_in_fraction
    if done is not None and done >= float(p.max()):
        return ()
    state = "never cycled" if done is None else f"cycled to {done:.0%} of the strength only"
    return (
        Problem(
            "bedding-in",
            f"The formula holds for damage, not for bedding-in, and the specimens were {state}: a "
            "fast preload may bed the line in otherwise than a slow pull. Cycle every specimen to "
            "the preload first, or compare three pulls with and three without.",
        ),
    )


def _heat(pull: SlowPull, p: FloatArray, slow_s: float) -> tuple[Problem, ...]:
    tau = pull.thermal_time_s
    if tau is None:
        return (
            Problem(
                "heat-unknown",
                "How fast heat leaves the line is not known: if the slow pull is slow enough to "
                "stay cold and the preload is not, the preload warms the line. Give the diameter "
                "and the material, or hold at the preload until the line is cold.",
                "note",
            ),
        )
    rest_s = float((1.0 - p.max()) * slow_s)
    fast_s = float(p.max()) * pull.strength_N / pull.fast_rate_N_per_s
    if slow_s > tau and fast_s < tau and rest_s < 5.0 * tau:
        return (
            Problem(
                "heat",
                f"The preload ({fast_s:.3g} s) is fast against the {tau:.3g} s in which heat "
                f"leaves the line and only {rest_s:.3g} s remain until the break: the line would "
                "be warmer than on the slow pull. Use a lower preload, or hold at it for "
                f"{5 * tau:.3g} s.",
            ),
        )
    return ()

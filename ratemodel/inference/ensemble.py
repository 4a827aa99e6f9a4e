"""Ensemble sampling, for densities that no single proposal fits.

Walkers move by stretching along the line through another walker, which needs no tuning and does
not mind strongly curved or correlated densities.

References
----------
Goodman & Weare, Comm. App. Math. Comp. Sci. 5 (2010) 65.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ratemodel.arrays import FloatArray

_STRETCH = 2.0


def ensemble_draws(
    log_density: Callable[[FloatArray], FloatArray],
    start: FloatArray,
    *,
    draws: int,
    steps: int,
    rng: np.random.Generator,
) -> tuple[FloatArray, float]:
    """Draw from a density with an ensemble of walkers.

    Parameters
    ----------
    log_density : callable
        ``log_density(values (m, k)) -> (m,)``; -inf where impossible.
    start : ndarray, shape (walkers, k)
        Where the walkers start; an even number of them, all possible.
    draws : int
        Rows wanted.
    steps : int
        Steps of the whole ensemble; the first third is thrown away.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    values : ndarray, shape (draws, k)
        Joint draws.
    effective_size : float
        Independent draws they are worth, from the wander of the ensemble's mean.
    """
    at = start.copy()
    walkers, k = at.shape
    half = walkers // 2
    value = log_density(at)
    kept = []
    for step in range(steps):
        for side in (slice(0, half), slice(half, walkers)):
            others = at[half:] if side.start == 0 else at[:half]
            moved, log_factor = _stretch(at[side], others, rng)
            with np.errstate(all="ignore"):
                new = np.asarray(log_density(moved), dtype=np.float64)
            new = np.where(np.isfinite(new), new, -np.inf)
            accept = np.log(rng.uniform(size=len(moved))) < log_factor + new - value[side]
            at[side] = np.where(accept[:, None], moved, at[side])
            value[side] = np.where(accept, new, value[side])
        if step >= steps // 3:
            kept.append(at.copy())
    chain = np.stack(kept)
    rows = chain.reshape(-1, k)[rng.choice(len(kept) * walkers, draws, replace=True)]
    return rows, min(_effective(chain), float(draws))


def _stretch(
    here: FloatArray, others: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    n, k = here.shape
    z = np.asarray((rng.uniform(size=n) * (_STRETCH - 1) + 1) ** 2 / _STRETCH)
    partner = others[rng.integers(len(others), size=n)]
    return partner + z[:, None] * (here - partner), np.asarray((k - 1) * np.log(z))


def _effective(chain: FloatArray) -> float:
    """Batch means: variance of ten batch means against the variance of single values."""
    steps, walkers, _ = chain.shape
    batches = np.array_split(chain.mean(axis=1), 10)
    means = np.array([b.mean(axis=0) for b in batches])
    single = np.asarray(chain.reshape(-1, chain.shape[2]).var(axis=0))
    spread = np.asarray(means.var(axis=0, ddof=1))
    with np.errstate(divide="ignore", invalid="ignore"):
        size = 10 * single / np.where(spread > 0, spread, np.inf)
    return float(np.clip(np.nanmin(np.where(spread > 0, size, np.inf)), 1.0, steps * walkers))

"""Joint draws from a density known up to a constant: Student-t proposal and resampling.

The proposal sits on the optimum with the curvature's covariance; draws are weighted by density
over proposal and resampled. Where the weights are poor the proposal is moved to the weighted mean
and covariance and the step is repeated; where they stay poor an ensemble takes over, started from
the best proposals.

References
----------
Geweke, Econometrica 57 (1989) 1317 (importance sampling with a multivariate t); Rubin, in
Bayesian Statistics 3 (1988) 395 (sampling-importance-resampling).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from ratemodel.arrays import FloatArray
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.ensemble import ensemble_draws

_ROUNDS = 4
_GOOD_SHARE = 0.3
_POOR = 400.0  # effective draws below which the ensemble takes over
_STEPS = 900


@dataclass(frozen=True)
class JointDraws:
    """Joint draws, equally weighted.

    Attributes
    ----------
    values : ndarray, shape (draws, k)
        One row per draw; rows belong together and are never resampled apart.
    effective_size : float
        Number of independent draws that would be as good.
    log_evidence : float
        ln of the integral of the density.
    problems : tuple of Problem
        Set where the effective size is small.
    """

    values: FloatArray
    effective_size: float
    log_evidence: float
    problems: tuple[Problem, ...]


def importance_draws(
    log_density: Callable[[FloatArray], FloatArray],
    mode: FloatArray,
    covariance: FloatArray,
    *,
    draws: int,
    rng: np.random.Generator,
) -> JointDraws:
    """Draw from a density.

    Parameters
    ----------
    log_density : callable
        ``log_density(values (m, k)) -> (m,)``; -inf where impossible.
    mode : ndarray, shape (k,)
        Centre of the first proposal.
    covariance : ndarray, shape (k, k)
        Its covariance.
    draws : int
        Number of rows wanted.
    rng : numpy.random.Generator

    Raises
    ------
    NotIdentifiedError
        The covariance is unusable or no draw has any density.
    """
    centre, spread = np.asarray(mode, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    dof = 5.0
    for _ in range(_ROUNDS):
        proposed, log_w = _weighed(log_density, (centre, spread, dof), draws, rng)
        top = float(log_w.max())
        w = np.exp(log_w - top)
        evidence = top + float(np.log(w.mean()))
        w /= w.sum()
        size = 1.0 / float(w @ w)
        if size >= _GOOD_SHARE * draws:
            break
        if size > 5 * len(centre):
            centre = w @ proposed
            away = proposed - centre
            spread = 1.2 * (away.T * w) @ away
        else:
            spread, dof = 2.0 * spread, 3.0
    if size >= min(_POOR, 0.1 * draws):
        return JointDraws(proposed[_systematic(w, rng)], size, evidence, ())
    values, size = ensemble_draws(
        log_density, _walkers(proposed, log_w, w), draws=draws, steps=_STEPS, rng=rng
    )
    return JointDraws(values, size, evidence, _said(size, draws))


def _weighed(
    log_density: Callable[[FloatArray], FloatArray],
    proposal: tuple[FloatArray, FloatArray, float],
    draws: int,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    centre, spread, dof = proposal
    proposed, log_q = _propose(centre, spread, (draws, dof), rng)
    with np.errstate(all="ignore"):
        log_w = np.asarray(log_density(proposed), dtype=np.float64) - log_q
    log_w = np.where(np.isfinite(log_w), log_w, -np.inf)
    if not np.isfinite(log_w.max()):
        raise NotIdentifiedError(
            "no draw near the best fit is possible; check bounds and data for a parameter that "
            "the data do not determine"
        )
    return proposed, log_w


def _walkers(proposed: FloatArray, log_w: FloatArray, w: FloatArray) -> FloatArray:
    """Different possible proposals of the highest weight, as starts of an ensemble."""
    count = 2 * max(4 * proposed.shape[1], 24)
    order = np.argsort(-w)[: int(np.sum(np.isfinite(log_w)))][:count]
    if len(order) < count // 2:
        raise NotIdentifiedError(
            "hardly any draw near the best fit is possible; check the bounds, or fix a parameter "
            "that the data do not determine"
        )
    return proposed[order[: len(order) - len(order) % 2]]


def _propose(
    centre: FloatArray, spread: FloatArray, shape: tuple[int, float], rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    draws, dof = shape
    k = len(centre)
    variance = np.diag(spread)
    if not np.all(np.isfinite(spread)) or np.any(variance <= 0):
        raise NotIdentifiedError(
            "the data do not determine every parameter, so no joint draws can be made; fix a "
            "parameter or measure where the curves differ"
        )
    scale = np.sqrt(variance)
    corr = spread / np.outer(scale, scale)
    values, vectors = np.linalg.eigh(corr)
    values = np.maximum(values, 1e-14)
    root = vectors * np.sqrt(values)
    z = rng.standard_normal((draws, k))
    chi = rng.chisquare(dof, draws) / dof
    unit = z / np.sqrt(chi)[:, None]
    proposed = centre + (unit @ root.T) * scale
    log_q = (
        gammaln((dof + k) / 2)
        - gammaln(dof / 2)
        - 0.5 * k * np.log(dof * np.pi)
        - 0.5 * np.sum(np.log(values))
        - np.sum(np.log(scale))
        - 0.5 * (dof + k) * np.log1p(np.sum(unit**2, axis=1) / dof)
    )
    return proposed, np.asarray(log_q)


def _systematic(
    w: FloatArray, rng: np.random.Generator
) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Resample with the least noise, then shuffle so that any part is a fair sample."""
    n = len(w)
    edges = np.cumsum(w)
    edges[-1] = 1.0
    rows = np.searchsorted(edges, (np.arange(n) + rng.uniform()) / n)
    return rng.permutation(rows)


def _said(size: float, draws: int) -> tuple[Problem, ...]:
    if size >= min(1000.0, 0.1 * draws):
        return ()
    return (
        Problem(
            "few-effective-draws",
            f"The {draws} joint draws are worth only {size:.0f} independent ones: intervals are "
            "rough. Ask for more draws, or fix a parameter the data hardly determine.",
        ),
    )

"""Exact posterior of the linear unknowns at every hyper point: normal scatter, nothing censored.

With weights W = 1/(sigma s)^2 and prior precision P, A = X'WX + P is the posterior precision and

    ln p(y | point) = -N ln sigma - sum ln s - (y'Wy + m'Pm - t'At)/2 + (ln|P| - ln|A|)/2

(Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 14.2; constants common to all models
left out). Specimens of one cell enter through their number, mean and sum of squares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.inference.data import RateData
from ratemodel.inference.factor import cholesky_each, solve_each
from ratemodel.inference.hyper import (
    WEAK_SCATTER,
    HyperPoints,
    Problemset,
    full_design,
    linear_prior,
    propose_sigma,
)


@dataclass(frozen=True)
class Conditional:
    """Gaussian (or Gaussian-approximated) linear unknowns at each hyper point.

    Attributes
    ----------
    mean : ndarray, shape (H, P)
    root : ndarray, shape (H, P, P)
        ``mean + root @ z`` with standard normal z is a draw.
    sigma : ndarray, shape (H,)
    log_weight : ndarray, shape (H,)
        ln of marginal likelihood times prior over proposal; -inf where numbers failed.
    unsettled : float
        Share of the weight at points where the search for the mode had not ended.
    """

    mean: FloatArray
    root: FloatArray
    sigma: FloatArray
    log_weight: FloatArray
    unsettled: float = 0.0


def gaussian_conditional(setup: Problemset, points: HyperPoints) -> Conditional:
    """Posterior of the linear unknowns and weight of every hyper point."""
    cells = setup.data.cells
    spread = np.exp(points.growth[:, None] * (cells.u - setup.data.centre))
    weight = cells.count / spread**2
    within = (cells.within / spread**2).sum(axis=1)
    design = full_design(setup, cells.u, setup.effects(cells.first), points.shape)
    target = cells.mean - setup.model.offset(cells.u, points.shape)
    prior_mean, precision = linear_prior(setup, points.batch_sd)
    weighted = design * weight[:, :, None]
    gram = np.swapaxes(weighted, 1, 2) @ design
    right = (np.swapaxes(weighted, 1, 2) @ target[:, :, None])[:, :, 0]
    square = (weight * target**2).sum(axis=1) + within

    start = _start_scatter(setup.data)
    _, _, residual, _ = _solve((gram, right, square), prior_mean, precision, start)
    sigma, log_ratio = propose_sigma(setup, residual, points)
    mean, chol, residual, log_det = _solve((gram, right, square), prior_mean, precision, sigma)
    n = len(setup.data)
    growth_term = points.growth * (setup.data.u - setup.data.centre).sum()
    log_weight = log_ratio - n * np.log(sigma) - growth_term - residual / (2 * sigma**2) + log_det
    inverse = np.linalg.inv(chol)
    return Conditional(mean, np.swapaxes(inverse, 1, 2), sigma, or_none(log_weight))


def or_none(log_weight: FloatArray) -> FloatArray:
    """ln weights with -inf, no weight, where a number failed."""
    return np.where(np.isfinite(log_weight), log_weight, -np.inf)


def _solve(sums: tuple[FloatArray, FloatArray, FloatArray], prior_mean: FloatArray,
           precision: FloatArray, sigma: FloatArray | float
           ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:  # fmt: skip
    """Posterior mean, Cholesky factor, penalised residual (times sigma^2), half log dets."""
    gram, right, square = sums
    s2 = np.broadcast_to(np.asarray(sigma, dtype=float) ** 2, square.shape)
    a = gram / s2[:, None, None]
    index = np.arange(precision.shape[1])
    a[:, index, index] += precision
    b = right / s2[:, None] + precision * prior_mean
    chol, sound = cholesky_each(a)
    mean = solve_each(a, b)
    fit = square / s2 + (precision * prior_mean**2).sum(axis=1) - (b * mean).sum(axis=1)
    diagonal = np.diagonal(chol, axis1=1, axis2=2)
    known = np.where(precision > 0, precision, 1.0)
    log_det = 0.5 * np.log(known).sum(axis=1) - np.log(diagonal).sum(axis=1)
    log_det = np.where(sound, log_det, -np.inf)
    return mean, chol, np.maximum(fit, 0.0) * s2, log_det


def _start_scatter(data: RateData) -> float:
    """Pure-error scatter, or 3 % where there is no replicate."""
    return data.pure_error if data.scatter_seen else WEAK_SCATTER[0]

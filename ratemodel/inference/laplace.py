"""Censored specimens and smallest-extreme-value scatter: a Gaussian proposal, then exact weights.

At every hyper point the posterior of the linear unknowns is log-concave; its mode and curvature
give a Gaussian proposal and an approximate marginal likelihood. Draws made from them are weighted
by the exact joint density and resampled, so the approximation costs efficiency, not correctness
(Tierney & Kadane 1986; sampling importance resampling, Rubin 1988).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from ratemodel.arrays import BoolArray, FloatArray, IntArray
from ratemodel.inference.draws import ModelDraws, assemble, log_mean_exp, spread_rows, systematic
from ratemodel.inference.factor import cholesky_each, solve_each
from ratemodel.inference.gaussian import Conditional, or_none
from ratemodel.inference.hyper import (
    HyperPoints,
    Problemset,
    full_design,
    linear_prior,
    propose_sigma,
)
from ratemodel.records.tables import Scatter

EULER = 0.5772156649015329
SEV_SD = float(np.pi / np.sqrt(6.0))
_LOG_ROOT_2PI = 0.5 * float(np.log(2 * np.pi))
_STEEPEST = 20.0
#: A mode is found when the last step moved no specimen by more than this many standard deviations.
SETTLED = 0.01


def log_density(z: FloatArray, broke: BoolArray, scatter: Scatter) -> FloatArray:
    """ln density (broken) or ln survival (held) of standardised residuals with mean 0, sd 1.

    Examples
    --------
    >>> log_density(np.array([0.0]), np.array([False]), "normal").round(4)
    array([-0.6931])
    """
    return _terms(z, broke, scatter)[0]


def _terms(z: FloatArray, broke: BoolArray, scatter: Scatter
           ) -> tuple[FloatArray, FloatArray, FloatArray]:  # fmt: skip
    """Value, first and negative second derivative of the log density in z."""
    if scatter == "normal":
        tail = log_ndtr(-z)
        hazard = np.exp(-0.5 * z * z - _LOG_ROOT_2PI - tail)
        value = np.where(broke, -0.5 * z * z - _LOG_ROOT_2PI, tail)
        slope = np.where(broke, -z, -hazard)
        bend = np.where(broke, 1.0, hazard * (hazard - z))
        return value, slope, np.maximum(bend, 1e-10)
    w = np.minimum(SEV_SD * z - EULER, 300.0)
    e = np.exp(w)
    value = np.where(broke, np.log(SEV_SD) + w - e, -e)
    slope = np.where(broke, SEV_SD * (1.0 - e), -SEV_SD * e)
    # Curvature is held where it would swamp all others; the slope still says where to go.
    bend = SEV_SD**2 * np.exp(np.minimum(w, _STEEPEST))
    return value, slope, np.maximum(bend, 1e-10)


@dataclass(frozen=True)
class _Rows:
    """Everything per specimen that the exact density needs, at H points."""

    design: FloatArray
    target: FloatArray
    spread: FloatArray
    prior_mean: FloatArray
    precision: FloatArray
    broke: BoolArray
    scatter: Scatter

    def take(self, index: IntArray) -> _Rows:
        return _Rows(
            self.design[index], self.target[index], self.spread[index], self.prior_mean,
            self.precision[index], self.broke, self.scatter,
        )  # fmt: skip

    def log_joint(self, theta: FloatArray, sigma: FloatArray) -> FloatArray:
        """ln likelihood plus ln prior of the linear unknowns (flat terms left out)."""
        scale = sigma[:, None] * self.spread
        z = (self.target - (self.design @ theta[:, :, None])[:, :, 0]) / scale
        value = log_density(z, self.broke, self.scatter)
        value = value + _LOG_ROOT_2PI * self.broke - np.where(self.broke, np.log(scale), 0.0)
        known = self.precision > 0
        prior = 0.5 * np.log(np.where(known, self.precision, 1.0)).sum(axis=1)
        prior -= 0.5 * (self.precision * (theta - self.prior_mean) ** 2).sum(axis=1)
        return np.asarray(value.sum(axis=1) + prior)


def laplace_conditional(setup: Problemset, points: HyperPoints, scatter: Scatter
                        ) -> tuple[Conditional, _Rows]:  # fmt: skip
    """Mode, curvature and approximate weight at every hyper point."""
    data = setup.data
    spread = np.exp(points.growth[:, None] * (data.u - data.centre))
    design = full_design(setup, data.u, setup.effects(), points.shape)
    target = data.y - setup.model.offset(data.u, points.shape)
    mean, precision = linear_prior(setup, points.batch_sd)
    parts = _Rows(design, target, spread, mean, precision, np.asarray(data.broke), scatter)
    residual, start = _residual(parts, len(setup.model.linear))
    sigma, log_ratio = propose_sigma(setup, residual, points)
    modes = _modes(parts, sigma, start=start)
    # The powers of 2 pi of likelihood, priors and Laplace integral leave one common constant.
    log_det = -np.log(np.diagonal(modes.chol, axis1=1, axis2=2)).sum(axis=1)
    log_weight = parts.log_joint(modes.theta, sigma) + log_det + log_ratio
    log_weight = or_none(np.where(modes.sound, log_weight, -np.inf))
    inverse = np.linalg.inv(modes.chol)
    unsettled = _share(log_weight, modes.moved > SETTLED)
    root = np.swapaxes(inverse, 1, 2)
    return Conditional(modes.theta, root, sigma, log_weight, unsettled), parts


def _share(log_weight: FloatArray, chosen: BoolArray) -> float:
    """Share of the weight at the chosen points."""
    if not np.isfinite(log_weight).any():
        return 1.0
    w = np.exp(log_weight - log_weight.max())
    return float(w[chosen].sum() / w.sum())


def _residual(parts: _Rows, terms: int) -> tuple[FloatArray, FloatArray]:
    """What the scatter is proposed from, at each point, as a residual sum of squares; and means.

    First the sum of squares itself, in which a held specimen counts only where it is above; then,
    because that is far from the likeliest scatter where the family is not normal or much is
    censored, (broken specimens less terms) times the square of the scatter at the joint mode.
    """
    sigma = np.full(parts.target.shape[0], 0.03)
    broken = int(parts.broke.sum())
    theta = _start(parts, sigma[:, None] * parts.spread)
    for _ in range(2):
        theta = _modes(parts, sigma, steps=3, start=theta).theta
        gap = (parts.target - (parts.design @ theta[:, :, None])[:, :, 0]) / parts.spread
        gap = np.where(parts.broke, gap, np.maximum(gap, 0.0))
        random = (parts.precision * (theta - parts.prior_mean) ** 2).sum(axis=1)
        residual = (gap**2).sum(axis=1) + random * sigma**2
        sigma = np.sqrt(np.maximum(residual / max(broken - 1, 1), 1e-8))
    if parts.scatter == "normal" and bool(parts.broke.all()):
        return np.asarray(residual), theta
    for _ in range(2):
        sigma = _likeliest_scatter(parts, theta, sigma)
        theta = _modes(parts, sigma, steps=2, start=theta).theta
    return np.asarray(max(broken - terms, 1) * sigma**2), theta


def _likeliest_scatter(parts: _Rows, theta: FloatArray, sigma: FloatArray) -> FloatArray:
    """Scatter with the highest likelihood at fixed means, by guarded Newton steps in ln sigma."""
    r = (parts.target - (parts.design @ theta[:, :, None])[:, :, 0]) / parts.spread
    broken = int(parts.broke.sum())
    for _ in range(8):
        z = r / sigma[:, None]
        _, slope, bend = _terms(z, parts.broke, parts.scatter)
        gradient = -broken - (z * slope).sum(axis=1)
        curvature = (z * slope - z * z * bend).sum(axis=1)
        step = np.where(curvature < 0, -gradient / np.minimum(curvature, -1e-9), np.sign(gradient))
        sigma = sigma * np.exp(np.clip(step, -0.5, 0.5))
    return np.asarray(np.maximum(sigma, 1e-4), dtype=np.float64)


@dataclass(frozen=True)
class _Modes:
    """Modes at H points: where, the factor of the curvature, and how far the search had come.

    ``moved`` is the last step, in standard deviations of the specimen it moves most.
    """

    theta: FloatArray
    chol: FloatArray
    sound: BoolArray
    moved: FloatArray


def _modes(parts: _Rows, sigma: FloatArray, steps: int = 12, start: FloatArray | None = None
           ) -> _Modes:  # fmt: skip
    """Damped Newton to the mode at every point, and the Cholesky factor of the curvature."""
    scale = sigma[:, None] * parts.spread
    design = parts.design
    theta = _start(parts, scale) if start is None else start
    index = np.arange(parts.precision.shape[1])
    for _ in range(steps):
        z = (parts.target - (design @ theta[:, :, None])[:, :, 0]) / scale
        _, slope, bend = _terms(z, parts.broke, parts.scatter)
        weighted = np.swapaxes(design * (bend / scale**2)[:, :, None], 1, 2)
        a = weighted @ design
        a[:, index, index] += parts.precision
        gradient = -(np.swapaxes(design, 1, 2) @ (slope / scale)[:, :, None])[:, :, 0]
        gradient -= parts.precision * (theta - parts.prior_mean)
        step = solve_each(a, gradient)
        # A step that moves any residual by more than 3 standard deviations is shortened.
        moved = np.abs((design @ step[:, :, None])[:, :, 0] / scale).max(axis=1)
        theta = theta + step * np.minimum(1.0, 3.0 / np.maximum(moved, 1e-12))[:, None]
        if float(moved.max()) < 1e-4:  # draws are weighted by the exact density
            break
    return _Modes(theta, *cholesky_each(a), moved)


def _start(parts: _Rows, scale: FloatArray) -> FloatArray:
    """Weighted least squares with every specimen taken as broken.

    Newton from further away can meet residuals of a hundred standard deviations, where the
    curvature of the extreme-value density is one specimen's alone and cannot be inverted.
    """
    weighted = np.swapaxes(parts.design / scale[:, :, None] ** 2, 1, 2)
    index = np.arange(parts.precision.shape[1])
    a = weighted @ parts.design
    a[:, index, index] += parts.precision
    right = (weighted @ parts.target[:, :, None])[:, :, 0] + parts.precision * parts.prior_mean
    return solve_each(a, right)


def weighted_draws(setup: Problemset, points: HyperPoints, approximation: tuple[Conditional, _Rows],
                   count: int, rng: np.random.Generator
                   ) -> tuple[ModelDraws, float, FloatArray]:  # fmt: skip
    """``count`` joint draws resampled to the exact density, ln evidence and their ln weights.

    Twice as many candidates are drawn from the proposal, a multivariate t with 8 degrees of
    freedom about each mode, so that its tails cover the exact density's.
    """
    conditional, parts = approximation
    wanted = 2 * count
    p = setup.size
    index, z = spread_rows(conditional, wanted, rng)
    nu = 8.0
    stretch = np.sqrt(nu / rng.chisquare(nu, wanted))
    z = z * stretch[:, None]
    theta = conditional.mean[index] + np.einsum("dij,dj->di", conditional.root[index], z)
    log_det = np.log(np.abs(np.diagonal(conditional.root, axis1=1, axis2=2))).sum(axis=1)
    log_q = _log_student(z, nu) - log_det[index]
    exact = np.concatenate([
        parts.take(index[block]).log_joint(theta[block], conditional.sigma[index[block]])
        for block in np.array_split(np.arange(wanted), max(1, wanted // 4096))
    ])  # fmt: skip
    approximate = parts.log_joint(conditional.mean, conditional.sigma) + log_det
    correction = exact - p * _LOG_ROOT_2PI - log_q - approximate[index]
    evidence = log_mean_exp(conditional.log_weight) + log_mean_exp(correction)
    keep = systematic(correction, count, rng)
    draws = assemble(setup, points, conditional, (index[keep], theta[keep]))
    return draws, evidence, np.asarray(correction, dtype=np.float64)


def _log_student(z: FloatArray, nu: float) -> FloatArray:
    """ln density of a standard multivariate t, z of shape (draws, p)."""
    from scipy.special import gammaln

    p = z.shape[1]
    constant = gammaln((nu + p) / 2) - gammaln(nu / 2) - 0.5 * p * np.log(nu * np.pi)
    return np.asarray(constant - (nu + p) / 2 * np.log1p((z**2).sum(axis=1) / nu))

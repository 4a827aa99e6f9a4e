"""Quantiles of the averaged answer without sampling: a weighted sum of Gaussians.

Where nothing is censored and the scatter is normal, every hyper point of every model is a Gaussian
with known weight. Quantiles of the mean, of one specimen and of the lower bound are then roots of
sums of normal probabilities, free of the noise of random draws.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.inference.gaussian import Conditional
from ratemodel.inference.hyper import HyperPoints, Problemset
from ratemodel.inference.scatter import weighted_quantile
from ratemodel.models.base import RateModel

#: Components lighter than this share of the whole are left out.
NEGLIGIBLE = 1e-7


@dataclass(frozen=True)
class Mixture:
    """Gaussian components of one model, weights adding to one.

    Attributes
    ----------
    weight, sigma, growth, batch_sd : ndarray, shape (H,)
    mean : ndarray, shape (H, p)
        Linear parameters given the point.
    covariance : ndarray, shape (H, p, p)
    shape : ndarray, shape (H, k)
    """

    model: RateModel
    weight: FloatArray
    mean: FloatArray
    covariance: FloatArray
    shape: FloatArray
    sigma: FloatArray
    growth: FloatArray
    batch_sd: FloatArray

    def moments(self, u: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and standard deviation of mean ln S at log10 rates u (n,), both (H, n)."""
        design = self.model.design(u, self.shape)
        middle = self.model.offset(u, self.shape) + (design @ self.mean[:, :, None])[:, :, 0]
        variance = ((design @ self.covariance) * design).sum(axis=2)
        return middle, np.sqrt(np.maximum(variance, 1e-18))

    def sigma_at(self, u: FloatArray) -> FloatArray:
        """Within-spool scatter, shape (H, n)."""
        x = u - self.model.reference
        return np.asarray(self.sigma[:, None] * np.exp(self.growth[:, None] * x))


def mixture_of(setup: Problemset, points: HyperPoints, conditional: Conditional) -> Mixture:
    """Components of one model from its exact conditional posterior."""
    w = np.exp(conditional.log_weight - conditional.log_weight.max())
    w = w / w.sum()
    keep = w > NEGLIGIBLE
    p = len(setup.model.linear)
    root = conditional.root[keep][:, :p, :]
    return Mixture(
        setup.model, w[keep] / w[keep].sum(), conditional.mean[keep][:, :p],
        root @ np.swapaxes(root, 1, 2), points.shape[keep], conditional.sigma[keep],
        points.growth[keep], points.batch_sd[keep],
    )  # fmt: skip


@dataclass(frozen=True)
class Components:
    """Components of all models at given rates: weights (C,), everything else (C, n)."""

    weight: FloatArray
    mean: FloatArray
    sd: FloatArray
    scatter: FloatArray

    def mean_quantiles(self, fractions: tuple[float, ...]) -> FloatArray:
        """Quantiles of mean ln S, shape (fractions, n)."""
        return weighted_quantile(fractions, self.mean, self.sd, self.weight)

    def specimen_quantiles(self, fractions: tuple[float, ...]) -> FloatArray:
        """Quantiles of ln S of one specimen of an unknown spool, shape (fractions, n)."""
        return weighted_quantile(fractions, self.mean, np.hypot(self.sd, self.scatter), self.weight)

    def bound(self, z: float, confidence: float) -> FloatArray:
        """ln strength exceeded by the specimens above z, with the confidence, shape (n,)."""
        centre = self.mean + z * self.scatter
        rows = weighted_quantile((1 - confidence,), centre, self.sd, self.weight)
        return np.asarray(rows[0])


def components(mixtures: list[tuple[float, Mixture]], u: FloatArray, departure: FloatArray
               ) -> Components:  # fmt: skip
    """Join models with their weights; ``departure`` (n,) is a standard deviation added to all."""
    weight, mean, sd, scatter = [], [], [], []
    for share, mixture in mixtures:
        keep = share * mixture.weight > NEGLIGIBLE
        if not keep.any():
            continue
        middle, spread = mixture.moments(u)
        weight.append(share * mixture.weight[keep])
        mean.append(middle[keep])
        sd.append(np.hypot(spread[keep], departure))
        scatter.append(np.hypot(mixture.sigma_at(u), mixture.batch_sd[:, None])[keep])
    w = np.concatenate(weight)
    return Components(
        w / w.sum(), np.concatenate(mean), np.concatenate(sd), np.concatenate(scatter)
    )

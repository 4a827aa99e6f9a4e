"""Joint draws of one model: rows of parameters, scatter and effects that belong together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri
from scipy.stats import qmc

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.inference.gaussian import Conditional
from ratemodel.inference.hyper import HyperPoints, Problemset
from ratemodel.models.base import RateModel


@dataclass(frozen=True)
class ModelDraws:
    """Joint posterior rows of one model; every array has the draws first.

    Attributes
    ----------
    linear : ndarray, shape (draws, p)
    shape : ndarray, shape (draws, k)
    sigma : ndarray, shape (draws,)
        Standard deviation of ln S at the reference rate, specimen to specimen, one spool.
    growth : ndarray, shape (draws,)
        Change of ln sigma per decade.
    batch_sd : ndarray, shape (draws,)
        Standard deviation of ln S from spool to spool.
    batch, machine : ndarray, shape (draws, number of spools / machines)
        Effects, zero columns where the model has none.
    covariates : ndarray, shape (draws, number of covariates)
        Their coefficients on ln S.
    """

    model: RateModel
    linear: FloatArray
    shape: FloatArray
    sigma: FloatArray
    growth: FloatArray
    batch_sd: FloatArray
    batch: FloatArray
    machine: FloatArray
    covariates: FloatArray

    def __len__(self) -> int:
        return int(self.sigma.size)

    def mean_ln(self, u: FloatArray) -> FloatArray:
        """Mean of ln S, shape (draws, n), for u of shape (n,) or (draws, n)."""
        return self.model.curve(u, self.linear, self.shape)

    def sigma_at(self, u: FloatArray) -> FloatArray:
        """Scatter of ln S within a spool, shape (draws, n)."""
        x = u - self.model.reference
        return np.asarray(self.sigma[:, None] * np.exp(self.growth[:, None] * x))

    def take(self, rows: IntArray) -> ModelDraws:
        """A selection of rows."""
        return ModelDraws(
            self.model, self.linear[rows], self.shape[rows], self.sigma[rows], self.growth[rows],
            self.batch_sd[rows], self.batch[rows], self.machine[rows],
            self.covariates[rows],
        )  # fmt: skip


def systematic(log_weight: FloatArray, count: int, rng: np.random.Generator) -> IntArray:
    """``count`` indices drawn with probability proportional to exp(log_weight), low variance."""
    w = np.exp(log_weight - log_weight.max())
    edges = np.cumsum(w)
    at = (np.arange(count) + rng.uniform()) / count * edges[-1]
    index = np.minimum(np.searchsorted(edges, at), w.size - 1)
    return rng.permutation(index).astype(np.int64)


def spread_rows(conditional: Conditional, count: int, rng: np.random.Generator
                ) -> tuple[IntArray, FloatArray]:  # fmt: skip
    """Hyper-point indices and standard normals from one scrambled Sobol sequence.

    Any leading part of the rows is itself evenly spread, so a model may give only some of them.
    """
    p = conditional.mean.shape[1]
    power = max(int(np.ceil(np.log2(count))), 1)
    v = qmc.Sobol(p + 1, scramble=True, rng=rng).random_base2(power)[:count]
    order = np.argsort(conditional.sigma, kind="stable")
    w = np.exp(conditional.log_weight - conditional.log_weight.max())[order]
    edges = np.cumsum(w)
    at = np.minimum(np.searchsorted(edges, v[:, 0] * edges[-1]), w.size - 1)
    z = np.asarray(ndtri(np.clip(v[:, 1:], 1e-12, 1 - 1e-12)))
    return order[at].astype(np.int64), z


def effective_size(log_weight: FloatArray) -> float:
    """Kish's effective number of equally weighted points, (sum w)^2 / sum w^2."""
    w = np.exp(log_weight - log_weight.max())
    return float(w.sum() ** 2 / (w**2).sum())


def log_mean_exp(log_weight: FloatArray) -> float:
    """ln of the mean of exp(log_weight)."""
    top = float(log_weight.max())
    return top + float(np.log(np.mean(np.exp(log_weight - top))))


def assemble(setup: Problemset, points: HyperPoints, conditional: Conditional,
             rows: tuple[IntArray, FloatArray]) -> ModelDraws:  # fmt: skip
    """Draws from hyper-point indices and the linear unknowns drawn at them."""
    index, theta = rows
    p = len(setup.model.linear)
    q = p + (len(setup.data.batches) if setup.spools else 0)
    m = q + (len(setup.data.machines) if setup.machines else 0)
    return ModelDraws(
        setup.model, theta[:, :p], points.shape[index], conditional.sigma[index],
        points.growth[index], points.batch_sd[index], theta[:, p:q], theta[:, q:m],
        theta[:, m : m + len(setup.data.covariate_names)],
    )  # fmt: skip


def gaussian_draws(setup: Problemset, points: HyperPoints, conditional: Conditional,
                   count: int, rng: np.random.Generator) -> ModelDraws:  # fmt: skip
    """``count`` exact joint draws."""
    index, z = spread_rows(conditional, count, rng)
    theta = conditional.mean[index] + np.einsum("dij,dj->di", conditional.root[index], z)
    return assemble(setup, points, conditional, (index, theta))

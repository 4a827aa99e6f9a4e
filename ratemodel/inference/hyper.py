"""Quasi-random points over what a model is not linear in, and the design that follows from them.

Scatter, growth of the scatter with rate, spool scatter and a model's shape parameters are spread
over a scrambled Sobol sequence through their priors; at each point everything else is Gaussian.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv, gammaln
from scipy.stats import qmc

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.inference.data import RateData
from ratemodel.inference.priors import RatePriors
from ratemodel.models.base import RateModel

#: Prior of the scatter where the data hold no replicate: median 3 %, factor 2 either way.
WEAK_SCATTER = (0.03, 2.0)
GROWTH_ODDS = 0.35


@dataclass(frozen=True)
class Problemset:
    """One model on one set of data with one set of priors: what every step below needs.

    Attributes
    ----------
    growth : bool
        Whether the scatter may change with rate (two or more rates).
    spools : bool
        Whether a spool effect is part of the model.
    """

    model: RateModel
    data: RateData
    priors: RatePriors
    growth: bool
    spools: bool

    @property
    def machines(self) -> bool:
        """Whether machine effects are part of the model: two or more machines."""
        return len(self.data.machines) >= 2

    @property
    def size(self) -> int:
        """Number of linear unknowns: model terms, spools, machines."""
        n = len(self.model.linear)
        n += len(self.data.batches) if self.spools else 0
        n += len(self.data.machines) if self.machines else 0
        return n + len(self.data.covariate_names) + int((self.data.reading_sd > 0).sum())

    def effects(self, rows: IntArray | None = None) -> FloatArray:
        """Columns of spools, machines, covariates and uncertain peaks of some or all specimens.

        Shape (n, q), one row for each of ``rows``, or for every specimen.
        """
        data = self.data
        at = np.arange(len(data)) if rows is None else rows
        blocks = [np.zeros((at.size, 0))]
        if self.spools:
            known = np.arange(len(data.batches))
            blocks.append((data.batch[at, None] == known).astype(float))
        if self.machines:
            known = np.arange(len(data.machines))
            blocks.append((data.machine[at, None] == known).astype(float))
        missed = np.flatnonzero(data.reading_sd > 0)
        own = (at[:, None] == missed).astype(float)
        return np.concatenate([*blocks, data.covariates[at], own], axis=1)


@dataclass(frozen=True)
class HyperPoints:
    """Points over the non-linear unknowns.

    Attributes
    ----------
    cube : ndarray, shape (H, k + 2)
        Prior probabilities of shape, growth and spool scatter at each point.
    log_ratio : ndarray, shape (H,)
        ln(prior / proposal) of the warping of ``cube``.
    """

    shape: FloatArray
    growth: FloatArray
    batch_sd: FloatArray
    uniform_sigma: FloatArray
    cube: FloatArray
    log_ratio: FloatArray

    def __len__(self) -> int:
        return int(self.growth.size)


def hyper_points(setup: Problemset, count: int, rng: np.random.Generator,
                 warp: list[FloatArray] | None = None) -> HyperPoints:  # fmt: skip
    """``count`` points (a power of two) over shape, growth, spool scatter and scatter.

    ``warp`` holds, for each coordinate of the cube, the edges of cells that each receive the same
    number of points; without it the points follow the prior.
    """
    k = len(setup.model.shape)
    v = qmc.Sobol(k + 3, scramble=True, rng=rng).random(count)
    log_ratio = np.zeros(count)
    if warp is not None:
        for j, edges in enumerate(warp):
            cells = edges.size - 1
            cell = np.minimum((v[:, j] * cells).astype(int), cells - 1)
            width = np.diff(edges)[cell]
            v[:, j] = edges[cell] + (v[:, j] * cells - cell) * width
            log_ratio += np.log(width * cells)
    v = np.clip(v, 1e-9, 1 - 1e-9)
    table = setup.priors.parameters
    shape = np.empty((count, k))
    for j, parameter in enumerate(setup.model.shape):
        values = table[parameter.name].from_uniform(v[:, j])
        shape[:, j] = np.clip(values, parameter.lower, parameter.upper)
    growth = np.zeros(count)
    if setup.growth:
        slab = (v[:, k] - GROWTH_ODDS) / (1 - GROWTH_ODDS)
        active = slab > 0
        growth[active] = table["growth"].from_uniform(slab[active])
    batch_sd = np.zeros(count)
    if setup.spools:
        batch_sd = np.abs(table["batch_sd"].from_uniform(v[:, k + 1])) + 1e-6
    return HyperPoints(shape, growth, batch_sd, v[:, k + 2], v[:, : k + 2], log_ratio)


def warp_to(points: HyperPoints, log_weight: FloatArray, cells: int = 32) -> list[FloatArray]:
    """Cell edges that put later points where the posterior is (Lepage 1978, VEGAS).

    One coordinate at a time; a fifth of the points keeps following the prior, so that nothing is
    missed for good.
    """
    w = np.exp(log_weight - log_weight.max())
    edges = np.linspace(0.0, 1.0, cells + 1)
    warp = []
    for j in range(points.cube.shape[1]):
        mass, _ = np.histogram(points.cube[:, j], bins=edges, weights=w)
        mass = np.convolve(np.pad(mass / mass.sum(), 1, mode="edge"), [0.25, 0.5, 0.25], "valid")
        mass = 0.8 * mass / mass.sum() + 0.2 / cells
        cumulative = np.concatenate([[0.0], np.cumsum(mass)])
        warp.append(np.interp(np.linspace(0, 1, cells + 1), cumulative / cumulative[-1], edges))
    return warp


def full_design(setup: Problemset, u: FloatArray, effects: FloatArray, shape: FloatArray
                ) -> FloatArray:  # fmt: skip
    """Design (H, n, P): the model's columns, then those of `Problemset.effects`."""
    base = setup.model.design(u, shape)
    if effects.shape[1] == 0:
        return base
    rest = np.broadcast_to(effects, (*base.shape[:2], effects.shape[1]))
    return np.concatenate([base, rest], axis=2)


def linear_prior(setup: Problemset, batch_sd: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Prior mean (P,) and precision (H, P) of the linear unknowns; 0 precision is flat."""
    mean = [0.0]
    precision = [np.zeros(batch_sd.size)]
    table = setup.priors.parameters
    for parameter in setup.model.linear[1:]:
        centre, sd = table[parameter.name].moments()
        mean.append(centre)
        precision.append(np.full(batch_sd.size, 1.0 / sd**2))
    if setup.spools:
        mean += [0.0] * len(setup.data.batches)
        precision += [1.0 / batch_sd**2] * len(setup.data.batches)
    if setup.machines:
        for name in setup.data.machines:
            mean.append(0.0)
            sd = max(setup.priors.machine(name), 1e-6)
            precision.append(np.full(batch_sd.size, 1.0 / sd**2))
    for name in setup.data.covariate_names:
        centre, sd = table[name].moments()
        mean.append(centre)
        precision.append(np.full(batch_sd.size, 1.0 / sd**2))
    for sd in setup.data.reading_sd[setup.data.reading_sd > 0]:
        mean.append(0.0)
        precision.append(np.full(batch_sd.size, 1.0 / sd**2))
    return np.array(mean), np.stack(precision, axis=1)


def propose_sigma(setup: Problemset, residual: FloatArray, points: HyperPoints
                  ) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Scatter at each point and ln(prior density / proposal density) of ln sigma.

    With replicates the prior is 1/sigma (flat in ln sigma) and the proposal the conditional
    posterior for flat coefficients, sigma^2 = R / chi-square, with a quarter of the degrees of
    freedom taken off so that its tails are heavier than the target's on both sides. Without
    replicates, or with identical ones, the posterior would be improper or a point, and a weak
    log-normal prior takes its place.

    Parameters
    ----------
    residual : ndarray, shape (H,)
        Residual sum of squares at each point, in units of the scatter at the centre.
    """
    data = setup.data
    if not data.scatter_seen:
        from scipy.special import ndtri

        median, factor = WEAK_SCATTER
        sigma = median * np.exp(np.log(factor) * ndtri(points.uniform_sigma))
        # Identical readings tell nothing of the scatter: their part of the likelihood is taken out.
        return sigma, points.log_ratio + data.pure_error_dof * np.log(sigma)
    nu = max(int(data.broke.sum()) - len(setup.model.linear), 1) * 0.75
    x = 2.0 * gammaincinv(nu / 2.0, points.uniform_sigma)
    x = np.maximum(x, 1e-12)
    sigma = np.sqrt(np.maximum(0.75 * residual, 1e-14) / x)
    log_q = np.log(2.0) + (nu / 2) * np.log(x / 2) - x / 2 - gammaln(nu / 2)
    return sigma, points.log_ratio - log_q

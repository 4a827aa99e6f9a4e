"""Quasi-random points over what a model is not linear in, and the design that follows from them.

Scatter, growth of the scatter with rate, spool scatter and a model's shape parameters are spread
over a scrambled Sobol sequence through their priors; at each point everything else is Gaussian.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv, gammaln
from scipy.stats import qmc

from ratemodel.arrays import FloatArray
from ratemodel.inference.data import RateData
from ratemodel.inference.priors import RatePriors
from ratemodel.models.base import RateModel

#: Prior of the scatter where the data hold no replicate: median 3 %, factor 2 either way.
WEAK_SCATTER = (0.03, 2.0)
GROWTH_ODDS = 0.5


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
        return n + (len(self.data.machines) if self.machines else 0)


@dataclass(frozen=True)
class HyperPoints:
    """Points over the non-linear unknowns; ``log_ratio`` is ln(prior / proposal) at each."""

    shape: FloatArray
    growth: FloatArray
    batch_sd: FloatArray
    uniform_sigma: FloatArray

    def __len__(self) -> int:
        return int(self.growth.size)


def hyper_points(setup: Problemset, count: int, rng: np.random.Generator) -> HyperPoints:
    """``count`` points (a power of two) over shape, growth, spool scatter and scatter."""
    k = len(setup.model.shape)
    sobol = qmc.Sobol(k + 3, scramble=True, rng=rng)
    v = np.clip(sobol.random(count), 1e-9, 1 - 1e-9)
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
    return HyperPoints(shape, growth, batch_sd, v[:, k + 2])


def full_design(setup: Problemset, u: FloatArray, rows: tuple[FloatArray, FloatArray],
                shape: FloatArray) -> FloatArray:  # fmt: skip
    """Design (H, n, P) with indicator columns for spools and machines after the model's."""
    base = setup.model.design(u, shape)
    blocks = [base]
    batch, machine = rows
    if setup.spools:
        eye = (batch[:, None] == np.arange(len(setup.data.batches))).astype(float)
        blocks.append(np.broadcast_to(eye, (*base.shape[:2], eye.shape[1])))
    if setup.machines:
        eye = (machine[:, None] == np.arange(len(setup.data.machines))).astype(float)
        blocks.append(np.broadcast_to(eye, (*base.shape[:2], eye.shape[1])))
    return base if len(blocks) == 1 else np.concatenate(blocks, axis=2)


def linear_prior(setup: Problemset, batch_sd: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Prior mean (P,) and precision (H, P) of the linear unknowns; 0 precision is flat."""
    mean = [0.0]
    precision = [np.zeros(batch_sd.size)]
    for parameter in setup.model.linear[1:]:
        d = setup.priors.parameters[parameter.name].distribution
        sd = d.b if d.kind == "normal" else (d.b - d.a) / np.sqrt(12.0)
        mean.append(d.median)
        precision.append(np.full(batch_sd.size, 1.0 / max(sd, 1e-9) ** 2))
    if setup.spools:
        mean += [0.0] * len(setup.data.batches)
        precision += [1.0 / batch_sd**2] * len(setup.data.batches)
    if setup.machines:
        for name in setup.data.machines:
            mean.append(0.0)
            sd = max(setup.priors.machine(name), 1e-6)
            precision.append(np.full(batch_sd.size, 1.0 / sd**2))
    return np.array(mean), np.stack(precision, axis=1)


def propose_sigma(setup: Problemset, residual: FloatArray, points: HyperPoints
                  ) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Scatter at each point and ln(prior density / proposal density) of ln sigma.

    With replicates the prior is 1/sigma (flat in ln sigma) and the proposal the conditional
    posterior for flat coefficients, sigma^2 = R / chi-square, with a quarter of the degrees of
    freedom taken off so that its tails are heavier than the target's on both sides. Without
    replicates the posterior would be improper, and a weak log-normal prior takes its place.

    Parameters
    ----------
    residual : ndarray, shape (H,)
        Residual sum of squares at each point, in units of the scatter at the centre.
    """
    data = setup.data
    if data.pure_error_dof < 1:
        from scipy.special import ndtri

        median, factor = WEAK_SCATTER
        return median * np.exp(np.log(factor) * ndtri(points.uniform_sigma)), np.zeros(len(points))
    nu = max(int(data.broke.sum()) - len(setup.model.linear), 1) * 0.75
    x = 2.0 * gammaincinv(nu / 2.0, points.uniform_sigma)
    x = np.maximum(x, 1e-12)
    sigma = np.sqrt(np.maximum(0.75 * residual, 1e-14) / x)
    log_q = np.log(2.0) + (nu / 2) * np.log(x / 2) - x / 2 - gammaln(nu / 2)
    return sigma, -log_q

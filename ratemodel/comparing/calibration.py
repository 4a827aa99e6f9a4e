r"""Machines that several series share: their error is common, so it cancels in a comparison.

A reading is strength times the machine's calibration, ln reading = ln S + m. In one fit, for given
scatter and shape, the mean of ln S at a rate and the machine effects are jointly normal, so that

.. math:: \mu(u) = f(u) - \sum_k w_k(u)\, m_k

with f independent of all m: f is the mean that the readings would give were every machine right,
and w_k the share of machine k in it (shares sum to 1, since a common error moves the level alone).
The shares are read off the fit's own draws by regression, model by model. Fits are then joined by
giving all of them the same m. For one machine w = 1 and the split is exact for any scatter; for
several it is exact given scatter and shape, and their spread within a model is averaged over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem
from ratemodel.inference.ratefit import RateFit


@dataclass(frozen=True)
class MachineSplit:
    """Mean of ln S of one fit with the machines' part taken apart.

    Attributes
    ----------
    machines : tuple of str
        Keys of the machines; one that has no name is a machine of this series alone.
    free : ndarray, shape (draws, n)
        Mean of ln S were every machine right.
    share : ndarray, shape (draws, n, machines)
        Share w of each machine's error in it.
    prior_sd : ndarray, shape (machines,)
        Calibration standard deviations.
    precision, pull : ndarray, shapes (machines, machines) and (machines,)
        What this fit alone says of the machines beyond the prior: information and information
        times value.
    """

    machines: tuple[str, ...]
    free: FloatArray
    share: FloatArray
    prior_sd: FloatArray
    precision: FloatArray
    pull: FloatArray


def split_machines(fit: RateFit, u: FloatArray) -> MachineSplit:
    """Take the machines' part out of the mean of ln S at log10 rates ``u`` of shape (n,)."""
    names = fit.data.machines or ("",)
    keys = tuple(name or f"(unnamed machine of {fit.series.name})" for name in names)
    sd = np.array([max(fit.priors.machine(name), 1e-6) for name in names])
    mean = fit.mean_ln(u)
    k = len(names)
    if k == 1:
        return MachineSplit(keys, mean, np.ones((*mean.shape, 1)), sd, np.zeros((1, 1)),
                            np.zeros(1))  # fmt: skip
    share = np.empty((*mean.shape, k))
    effects = np.empty((mean.shape[0], k))
    for j, model in enumerate(fit.models):
        mine = fit.owner == j
        if not mine.any():
            continue
        share[mine] = _shares(model.draws.machine, fit.mean_ln(u, alone=j))
        effects[mine] = model.draws.machine[fit.row[mine]]
    free = mean + np.einsum("dnk,dk->dn", share, effects)
    precision, pull = _information(effects, sd)
    return MachineSplit(keys, free, share, sd, precision, pull)


def _shares(effects: FloatArray, mean: FloatArray) -> FloatArray:
    """Regression of the mean on the machine effects, with its sign turned, shape (n, machines)."""
    m = effects - effects.mean(axis=0)
    scale = np.maximum(m.std(axis=0), 1e-12)
    slope = np.linalg.lstsq(m / scale, mean - mean.mean(axis=0), rcond=None)[0]
    return np.asarray(-(slope / scale[:, None]).T)


def _information(effects: FloatArray, sd: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Information on the machines beyond the prior, never negative."""
    scaled = effects / sd
    posterior = np.linalg.inv(np.cov(scaled.T))
    values, vectors = np.linalg.eigh(posterior - np.eye(sd.size))
    # Directions of which the tests say nothing come out as sampling noise around zero.
    seen = values > 0.05
    pull = vectors.T @ (posterior @ scaled.mean(axis=0))
    precision = (vectors * np.where(seen, values, 0.0)) @ vectors.T / np.outer(sd, sd)
    return precision, np.asarray(vectors @ np.where(seen, pull, 0.0)) / sd


@dataclass(frozen=True)
class MachineBelief:
    """What all fits together say of the machines: a normal distribution."""

    machines: tuple[str, ...]
    mean: FloatArray
    covariance: FloatArray

    def columns(self, split: MachineSplit) -> list[int]:
        """Place of a fit's machines among all."""
        return [self.machines.index(name) for name in split.machines]


def join_machines(splits: Sequence[MachineSplit]) -> MachineBelief:
    """Multiply the prior of every machine, once, with what each fit says of it."""
    names = tuple(sorted({name for s in splits for name in s.machines}))
    sd = np.zeros(len(names))
    for s in splits:
        at = [names.index(name) for name in s.machines]
        sd[at] = np.maximum(sd[at], s.prior_sd)
    precision = np.diag(1.0 / sd**2)
    pull = np.zeros(len(names))
    for s in splits:
        at = [names.index(name) for name in s.machines]
        precision[np.ix_(at, at)] += s.precision
        pull[at] += s.pull
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    return MachineBelief(names, covariance @ pull, covariance)


def calibrated(splits: Sequence[MachineSplit], rng: np.random.Generator) -> list[FloatArray]:
    """Mean of ln S of every fit, (draws, n) each, all with the same machine errors in a row."""
    belief = join_machines(splits)
    draws = splits[0].free.shape[0]
    m = rng.multivariate_normal(belief.mean, belief.covariance, size=draws, method="eigh")
    return [s.free - np.einsum("dnk,dk->dn", s.share, m[:, belief.columns(s)]) for s in splits]


def machine_findings(fits: Sequence[RateFit]) -> list[Problem]:
    """Whether the series met on common machines."""
    sets = [set(f.data.machines) - {""} for f in fits]
    out = []
    unnamed = [f.series.name for f, s in zip(fits, sets, strict=True) if not s]
    if unnamed:
        out.append(Problem(
            "machine-not-named",
            f"no machine is named for {', '.join(unnamed)}: each is taken to come from a machine "
            "of its own, whose calibration does not cancel; fill column machine",
        ))  # fmt: skip
    elif not set.intersection(*sets):
        out.append(Problem(
            "no-common-machine",
            "no machine pulled all of these series: calibration does not cancel between them and "
            "is in the interval; pull them on one machine",
        ))  # fmt: skip
    return out

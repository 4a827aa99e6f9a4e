"""The result of a rate analysis: averaged joint draws, each model beside them, and its problems."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.errors import Problem
from ratemodel.inference.data import RateData
from ratemodel.inference.draws import ModelDraws
from ratemodel.inference.mixture import Mixture, components
from ratemodel.inference.priors import RatePriors
from ratemodel.inference.scatter import predictive_quantiles, specimen_quantile, standard_quantile
from ratemodel.models.base import RateModel
from ratemodel.records.tables import Scatter, Series
from ratemodel.showing import Shown

#: Share of the departure between tested speeds: chosen so that 95 % intervals half-way between
#: speeds hold 95 % averaged over the truths of the coverage study.
BETWEEN = 0.6


@dataclass(frozen=True)
class Bound:
    """A lower tolerance bound: at least ``fraction`` stronger, with ``confidence``."""

    fraction: float = 0.95
    confidence: float = 0.95

    @property
    def label(self) -> str:
        """Short name, as ``95/95``."""
        return f"{100 * self.fraction:g}/{100 * self.confidence:g}"


@dataclass(frozen=True)
class ModelFit:
    """One model: its joint draws, evidence and weight in the average.

    Attributes
    ----------
    log_evidence : float
        ln marginal likelihood up to a constant common to all models of one analysis.
    weight : float
        Share in the average.
    effective : float
        Effective number of hyper points behind the draws.
    mixture : Mixture or None
        The same posterior as a weighted sum of Gaussians, where it is exact.
    """

    model: RateModel
    draws: ModelDraws
    log_evidence: float
    weight: float
    effective: float
    problems: tuple[Problem, ...] = ()
    mixture: Mixture | None = None


@dataclass(frozen=True)
class ModelFailure:
    """A model that is not in the average because its numbers failed."""

    name: str
    message: str


@dataclass(frozen=True)
class Pedigree:
    """What a result was made from and with."""

    version: str
    sha256: str
    kept: int
    set_aside: int
    draws: int
    scatter: Scatter


@dataclass(frozen=True, repr=False)
class RateFit(Shown):
    """Strength against rate of one series, averaged over models.

    Row i of the average is row ``row[i]`` of model ``owner[i]``; ``lean[i]`` is its standard
    normal departure from every law away from the tested speeds, ``amplitude[i]`` its size.
    """

    series: Series
    data: RateData
    priors: RatePriors
    models: tuple[ModelFit, ...]
    owner: IntArray
    row: IntArray
    lean: FloatArray
    amplitude: FloatArray
    level: float
    bound: Bound
    pedigree: Pedigree
    problems: tuple[Problem, ...] = ()
    failed: tuple[ModelFailure, ...] = ()

    @property
    def scatter(self) -> Scatter:
        """Family of the specimen-to-specimen scatter."""
        return self.pedigree.scatter

    @property
    def tested(self) -> tuple[float, float]:
        """Lowest and highest tested strain rate, 1/s."""
        return float(10 ** self.data.u.min()), float(10 ** self.data.u.max())

    def decades_beyond(self, u: FloatArray) -> FloatArray:
        """Decades by which log10 rates lie outside the tested range, 0 inside."""
        low, high = self.data.u.min(), self.data.u.max()
        return np.asarray(np.maximum(0.0, np.maximum(u - high, low - u)))

    def departure_scale(self, u: FloatArray) -> FloatArray:
        """Square root of the decades that a random walk tied to the tested speeds has come.

        Beyond the tests it is the root of the decades beyond; between two speeds d1 and d2 decades
        away it is `BETWEEN` times that of a bridge, sqrt(d1 d2 / (d1 + d2)); at a tested speed it
        is 0.
        """
        knots = self.data.rates
        right = np.searchsorted(knots, u)
        low = knots[np.maximum(right - 1, 0)]
        high = knots[np.minimum(right, knots.size - 1)]
        before, after = np.maximum(u - low, 0.0), np.maximum(high - u, 0.0)
        gap = before + after
        bridge = np.where(gap > 0, before * after / np.where(gap > 0, gap, 1.0), 0.0)
        inside = (right > 0) & (right < knots.size)
        return np.asarray(np.sqrt(np.where(inside, BETWEEN**2 * bridge, self.decades_beyond(u))))

    def take(self, rows: IntArray) -> RateFit:
        """The same fit with some of its averaged rows."""
        return replace(self, owner=self.owner[rows], row=self.row[rows], lean=self.lean[rows],
                       amplitude=self.amplitude[rows])  # fmt: skip

    def mean_ln(self, u: FloatArray, *, alone: int | None = None) -> FloatArray:
        """Mean of ln S (SI) in every draw, shape (draws, n).

        Parameters
        ----------
        u : ndarray, shape (n,), or (draws, n) for a rate of its own in each draw
            log10 of the strain rate in 1/s.
        alone : int, optional
            Index of one model to use alone, without the departure term; then u has shape (n,).
        """
        if alone is not None:
            return self.models[alone].draws.mean_ln(u)
        out = np.empty((self.owner.size, u.shape[-1]))
        for j, fit in enumerate(self.models):
            mine = self.owner == j
            if mine.any():
                at = u[mine] if u.ndim == 2 else u
                out[mine] = fit.draws.take(self.row[mine]).mean_ln(at)
        return out + (self.lean * self.amplitude)[:, None] * self.departure_scale(u)

    def sigma_at(self, u: FloatArray, *, alone: int | None = None) -> FloatArray:
        """Within-spool scatter of ln S in every draw, shape (draws, n)."""
        if alone is not None:
            return self.models[alone].draws.sigma_at(u)
        out = np.empty((self.owner.size, u.shape[-1]))
        for j, fit in enumerate(self.models):
            mine = self.owner == j
            if mine.any():
                at = u[mine] if u.ndim == 2 else u
                out[mine] = fit.draws.take(self.row[mine]).sigma_at(at)
        return out

    def batch_sd(self, *, alone: int | None = None) -> FloatArray:
        """Spool-to-spool standard deviation of ln S in every draw, shape (draws,)."""
        if alone is not None:
            return self.models[alone].draws.batch_sd
        out = np.empty(self.owner.size)
        for j, fit in enumerate(self.models):
            mine = self.owner == j
            out[mine] = fit.draws.batch_sd[self.row[mine]]
        return out

    def covariate(self, name: str, rng: np.random.Generator) -> FloatArray:
        """Coefficient of a covariate on ln S, shape (draws,): fitted, or the prior's draws."""
        if name not in self.data.covariate_names:
            centre, sd = self.priors.parameters[name].moments()
            return centre + sd * rng.standard_normal(self.owner.size)
        column = self.data.covariate_names.index(name)
        out = np.empty(self.owner.size)
        for j, fit in enumerate(self.models):
            mine = self.owner == j
            out[mine] = fit.draws.covariates[self.row[mine], column]
        return out

    def machine_effect(self, index: int) -> FloatArray:
        """Calibration error of one machine on ln S, shape (draws,); 0 where there is only one."""
        out = np.zeros(self.owner.size)
        for j, fit in enumerate(self.models):
            if fit.draws.machine.shape[1] > 0:
                mine = self.owner == j
                out[mine] = fit.draws.machine[self.row[mine], index]
        return out

    def curve(self, u: FloatArray, *, alone: int | None = None, level: float | None = None,
              bound: Bound | None = None) -> Curve:  # fmt: skip
        """Median, intervals and lower bound at log10 rates u of shape (n,), on ln S."""
        level, bound = level or self.level, bound or self.bound
        if alone is None and self.exact:
            return self._exact_curve(u, level, bound)
        mean = self.mean_ln(u, alone=alone)
        sigma = self.sigma_at(u, alone=alone)
        spool = self.batch_sd(alone=alone)[:, None]
        some = slice(None, None, max(1, mean.shape[0] // 5000))
        ends = ((1 - level) / 2, (1 + level) / 2)
        s = predictive_quantiles(ends, mean[some], sigma[some], spool[some, 0], self.scatter)
        low = mean + specimen_quantile(1 - bound.fraction, sigma, spool, self.scatter)
        tail = np.array([(1 - level) / 2, 0.5, (1 + level) / 2])
        m = np.quantile(mean, tail, axis=0)
        b = np.quantile(low, 1 - bound.confidence, axis=0)
        return Curve(u, m[1], m[[0, 2]], s, b, self.decades_beyond(u))

    @property
    def exact(self) -> bool:
        """Whether quantiles can be had without sampling: normal scatter, nothing censored."""
        known = all(m.mixture is not None for m in self.models if m.weight > 0)
        return known and float(np.ptp(self.amplitude)) == 0.0

    def _exact_curve(self, u: FloatArray, level: float, bound: Bound) -> Curve:
        mixtures = [(m.weight, m.mixture) for m in self.models if m.mixture is not None]
        c = components(mixtures, u, self.amplitude[0] * self.departure_scale(u))
        tails = ((1 - level) / 2, 0.5, (1 + level) / 2)
        m = c.mean_quantiles(tails)
        s = c.specimen_quantiles((tails[0], tails[2]))
        low = c.bound(float(ndtri(1 - bound.fraction)), bound.confidence)
        return Curve(u, m[1], m[[0, 2]], s, low, self.decades_beyond(u))


@dataclass(frozen=True)
class Curve:
    """Summaries of ln S at log10 rates: all arrays (n,) or (2, n)."""

    u: FloatArray
    median: FloatArray
    mean_interval: FloatArray
    specimen_interval: FloatArray
    lower_bound: FloatArray
    decades_beyond: FloatArray


def stratified_scatter(sigma: FloatArray, spool: FloatArray, scatter: Scatter) -> FloatArray:
    """One specimen's departure from the mean in each draw, shape of ``sigma``.

    Normal scores in a fixed pseudo-random order stand for one specimen per draw: the predictive
    distribution without the noise of simple random numbers. Rows of draws are already exchangeable.
    """
    count = sigma.shape[0]
    v = (np.arange(count) + 0.5) / count
    order = np.random.default_rng(20).permutation(count)
    other = np.random.default_rng(21).permutation(count)
    e = standard_quantile(v, scatter)[order][:, None]
    z = np.asarray(ndtri(v))[other][:, None]
    return np.asarray(sigma * e + spool * z)

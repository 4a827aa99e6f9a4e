"""What is known before the new tests, as a mixture of Gaussians over all models still alive.

Given a model, its shape and the scatter, everything else is Gaussian, so what is known is a
weighted mixture: one part for each hyper point of each model. New tests update every part in
closed form, so no design needs a refit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.inference.data import RateData
from ratemodel.inference.draws import systematic
from ratemodel.inference.gaussian import gaussian_conditional
from ratemodel.inference.hyper import (
    WEAK_SCATTER,
    HyperPoints,
    Problemset,
    hyper_points,
    linear_prior,
    warp_to,
)
from ratemodel.inference.laplace import laplace_conditional
from ratemodel.inference.priors import RatePriors, default_priors
from ratemodel.models.base import RateModel
from ratemodel.models.rate import RATE_MODELS
from ratemodel.planning.lab import PlanRequest
from ratemodel.records.tables import Scatter, Series, Specimens

#: Standard deviation of ln S that stands for a flat prior where nothing has been tested.
FLAT = 1.0
POINTS = 256


@dataclass(frozen=True)
class Part:
    """One model's share: hyper points with Gaussian linear unknowns at each (H points).

    Attributes
    ----------
    weight : ndarray, shape (H,)
        Probability of each point; all parts together sum to 1.
    mean, root : ndarray, shapes (H, P) and (H, P, P)
        ``mean + root @ z`` with standard normal z are the linear unknowns.
    """

    setup: Problemset
    shape: FloatArray
    sigma: FloatArray
    growth: FloatArray
    batch_sd: FloatArray
    weight: FloatArray
    mean: FloatArray
    root: FloatArray

    def take(self, rows: IntArray, weight: FloatArray) -> Part:
        """Some of the points, with new weights."""
        return Part(self.setup, self.shape[rows], self.sigma[rows], self.growth[rows],
                    self.batch_sd[rows], weight, self.mean[rows], self.root[rows])  # fmt: skip

    def sigma_at(self, u: FloatArray) -> FloatArray:
        """Scatter within a spool at log10 rates, shape (H, n)."""
        x = u - self.setup.model.reference
        return np.asarray(self.sigma[:, None] * np.exp(self.growth[:, None] * x))


@dataclass(frozen=True)
class Knowledge:
    """The mixture, and what went into it.

    Attributes
    ----------
    tested : tuple of float, or None
        Lowest and highest tested log10 rate.
    discrepancy : float
        Departure of real cord from every law, per root decade beyond the tested rates.
    """

    parts: tuple[Part, ...]
    scatter: Scatter
    tested: tuple[float, float] | None
    discrepancy: float
    spools: tuple[str, ...]
    data: RateData

    def thinned(self, size: int, rng: np.random.Generator) -> Knowledge:
        """About ``size`` points in all, drawn with probability proportional to weight."""
        weight = np.concatenate([p.weight for p in self.parts])
        if weight.size <= size:
            return self
        with np.errstate(divide="ignore"):
            drawn = systematic(np.log(weight), size, rng)
        count = np.bincount(drawn, minlength=weight.size)
        parts, start = [], 0
        for part in self.parts:
            mine = count[start : start + part.weight.size]
            start += part.weight.size
            rows = np.flatnonzero(mine).astype(np.int64)
            if rows.size:
                parts.append(part.take(rows, mine[rows] / size))
        return replace(self, parts=tuple(parts))


def know(request: PlanRequest, rng: np.random.Generator, points: int = POINTS) -> Knowledge:
    """What is known before the new tests, with every machine and spool of the request in it.

    The calibration of every machine counts, also of one that stood alone so far: its bias could
    not be seen in its own tests, and two machines make it matter.
    """
    if request.known is not None:
        return _from_fit(request, rng, points)
    return _from_priors(request, rng, points)


def _from_fit(request: PlanRequest, rng: np.random.Generator, points: int) -> Knowledge:
    fit = request.known
    assert fit is not None
    spools = request.spools or fit.data.batches
    data = _with_names(fit.data, tuple(m.name for m in request.machines), spools)
    stated = fit.series.batch_sd_fraction is not None
    with_spools = len(data.batches) >= 2 or stated
    parts, evidence = [], []
    alive = [m for m in fit.models if m.weight > 1e-4]
    streams = rng.spawn(len(alive))
    exact = fit.scatter == "normal" and bool(data.broke.all())
    for one, stream in zip(alive, streams, strict=True):
        kind = type(one.model)
        setup = Problemset(kind(data.centre), data, fit.priors, len(data.rates) > 1, with_spools)
        pilot = hyper_points(setup, max(points // 4, 64), stream)
        trial = _conditional(setup, pilot, exact, fit.scatter)[2]
        found = hyper_points(setup, points, stream, warp_to(pilot, trial))
        mean, root, log_weight, sigma = _conditional(setup, found, exact, fit.scatter)
        prior = np.log(max(fit.priors.weights.get(one.model.name, 0.0), 1e-300))
        evidence.append(log_weight + prior - np.log(points))
        parts.append(_part(setup, found, sigma, (mean, root)))
    tested = (float(data.u.min()), float(data.u.max()))
    return Knowledge(_weighted(parts, evidence), fit.scatter, tested, _size(fit.priors), spools,
                     data)  # fmt: skip


def _conditional(setup: Problemset, points: HyperPoints, exact: bool, scatter: Scatter
                 ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:  # fmt: skip
    if exact:
        c = gaussian_conditional(setup, points)
    else:
        c, _ = laplace_conditional(setup, points, scatter)
    return c.mean, c.root, c.log_weight, c.sigma


def _from_priors(request: PlanRequest, rng: np.random.Generator, points: int) -> Knowledge:
    low, high = (float(np.log10(r)) for r in request.rate_range)
    series = request.series or Series("new product", _no_specimens(), _no_specimens())
    priors = request.priors or default_priors(at_rates(series, 10.0**low, 10.0**high))
    names = tuple(m.name for m in request.machines)
    spools = request.spools or ("",)
    data = _empty(names, spools)
    with_spools = len(spools) >= 2 or series.batch_sd_fraction is not None
    chosen = [m for m in RATE_MODELS if not request.models or m.name in request.models]
    chosen = [m for m in chosen if priors.weights.get(m.name, 1.0) > 0 or len(chosen) == 1]
    level = np.log(request.strength_N) if request.strength_N else 0.0
    parts, evidence = [], []
    for kind, stream in zip(chosen, rng.spawn(len(chosen)), strict=True):
        setup = Problemset(_referenced(kind, request), data, priors, low < high, with_spools)
        found = hyper_points(setup, points, stream)
        mean, precision = linear_prior(setup, found.batch_sd)
        precision[:, 0] = FLAT**-2
        root = np.zeros((points, mean.size, mean.size))
        index = np.arange(mean.size)
        root[:, index, index] = precision**-0.5
        centre = np.tile(mean, (points, 1))
        centre[:, 0] = level
        sigma = _weak_scatter(found.uniform_sigma)
        weight = max(priors.weights.get(kind.name, 0.0), 1e-300) if len(chosen) > 1 else 1.0
        evidence.append(np.full(points, np.log(weight / points)))
        parts.append(_part(setup, found, sigma, (centre, root)))
    return Knowledge(_weighted(parts, evidence), series.scatter, None, _size(priors), spools, data)


def _referenced(kind: type[RateModel], request: PlanRequest) -> RateModel:
    low, high = request.rate_range
    return kind(float(np.log10(low * high)) / 2)


def _weak_scatter(v: FloatArray) -> FloatArray:
    from scipy.special import ndtri

    median, factor = WEAK_SCATTER
    return np.asarray(median * np.exp(np.log(factor) * ndtri(v)))


def _part(setup: Problemset, points: HyperPoints, sigma: FloatArray,
          gaussian: tuple[FloatArray, FloatArray]) -> Part:  # fmt: skip
    mean, root = gaussian
    return Part(setup, points.shape, sigma, points.growth, points.batch_sd,
                np.ones(len(points)), mean, root)  # fmt: skip


def _weighted(parts: list[Part], log_weight: list[FloatArray]) -> tuple[Part, ...]:
    top = max(float(w.max()) for w in log_weight)
    total = sum(float(np.exp(w - top).sum()) for w in log_weight)
    return tuple(
        replace(part, weight=np.asarray(np.exp(w - top) / total))
        for part, w in zip(parts, log_weight, strict=True)
    )


def _size(priors: RatePriors) -> float:
    """Root mean square of the departure term's size, over its prior."""
    v = (np.arange(64) + 0.5) / 64
    values = priors.parameters["discrepancy"].from_uniform(v)
    return float(np.sqrt(np.mean(values**2)))


def _with_names(data: RateData, machines: tuple[str, ...], spools: tuple[str, ...]) -> RateData:
    """The same rows with machines and spools added that have no row yet."""
    return replace(
        data,
        machines=data.machines + tuple(m for m in machines if m not in data.machines),
        batches=data.batches + tuple(s for s in spools if s not in data.batches),
    )


def _empty(machines: tuple[str, ...], spools: tuple[str, ...]) -> RateData:
    none, codes = np.zeros(0), np.zeros(0, dtype=np.int64)
    return RateData(none, none, np.zeros(0, dtype=np.bool_), codes, codes, codes, codes, spools,
                    machines, np.zeros((0, 0)))  # fmt: skip


def _no_specimens() -> Specimens:
    return _rows(np.zeros(0))


def _rows(rate: FloatArray) -> Specimens:
    n = rate.size
    text, number = ("",) * n, np.full(n, np.nan)
    return Specimens(
        text, np.ones(n), np.ones(n, dtype=np.bool_), rate, text, text, number, number, number,
        number, number, text, text, number, text, text, text, np.zeros(n, dtype=np.bool_),
        (0,) * n,
    )  # fmt: skip


def at_rates(series: Series, low: float, high: float) -> Series:
    """The product as if pulled at two strain rates (1/s): priors then span what can be tested."""
    return replace(series, used=_rows(np.array([low, high])))

"""Fit every model, weigh them, and join their draws into one answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

import ratemodel
from ratemodel.arrays import FloatArray, IntArray
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.data import RateData, rate_data
from ratemodel.inference.draws import effective_size, gaussian_draws, log_mean_exp
from ratemodel.inference.findings import find_problems
from ratemodel.inference.gaussian import gaussian_conditional
from ratemodel.inference.hyper import Problemset, hyper_points, warp_to
from ratemodel.inference.laplace import laplace_conditional, weighted_draws
from ratemodel.inference.mixture import Mixture, mixture_of
from ratemodel.inference.priors import RatePriors, default_priors
from ratemodel.inference.ratefit import Bound, ModelFit, Pedigree, RateFit
from ratemodel.inference.stacking import stacking_weights
from ratemodel.models.rate import RATE_MODELS
from ratemodel.records.tables import Scatter, Series


@dataclass(frozen=True)
class Settings:
    """How an analysis is run; the defaults are those of the command line.

    Attributes
    ----------
    draws : int
        Averaged joint draws.
    level : float
        Probability held by intervals.
    bound : Bound
        Fraction and confidence of the lower bound.
    models : tuple of str
        Names of the models in the average; empty for all.
    points : int
        Hyper points per model, a power of two.
    averaging : {"evidence", "stacking", "prior"}
        Model weights: posterior probabilities, leave-one-rate-out stacking, or prior weights as
        they stand. Chosen by the coverage study: evidence.
    """

    draws: int = 20_000
    level: float = 0.90
    bound: Bound = field(default_factory=Bound)
    models: tuple[str, ...] = ()
    points: int = 1024
    averaging: Literal["evidence", "stacking", "prior"] = "evidence"


def fit_rate(series: Series, *, rng: np.random.Generator, settings: Settings | None = None,
             options: Mapping[str, object] | None = None, priors: RatePriors | None = None,
             sha256: str = "") -> RateFit:  # fmt: skip
    """Strength against rate with all uncertainty, averaged over the rate models.

    Parameters
    ----------
    series : Series
        One product in one state.
    rng : numpy.random.Generator
        Source of randomness; same seed, same answer.
    settings : Settings, optional
        Draws, level, bound, models.
    options : mapping, optional
        ``Campaign.options``, for machine calibration and priors given by the user.
    priors : RatePriors, optional
        Replaces the default priors and ``options``.
    sha256 : str, optional
        Hash of the data, kept in the pedigree.

    Returns
    -------
    RateFit

    Raises
    ------
    NotIdentifiedError
        No specimen broke.
    """
    settings = settings or Settings()
    priors = priors or default_priors(series, options)
    data = rate_data(series)
    if not data.broke.any():
        raise NotIdentifiedError(f"series {series.name}: no specimen broke; test one to break")
    pedigree = Pedigree(ratemodel.__version__, sha256, len(series.used), len(series.set_aside),
                        settings.draws, series.scatter)  # fmt: skip
    none = np.zeros(0)
    empty = RateFit(series, data, priors, (), none.astype(np.int64), none.astype(np.int64), none,
                    none, settings.level, settings.bound, pedigree)  # fmt: skip
    fit = fit_data(empty, settings, rng)
    return replace(fit, problems=find_problems(fit))


def fit_data(fit: RateFit, settings: Settings, rng: np.random.Generator) -> RateFit:
    """The same analysis run on ``fit.data`` with ``fit.priors``; findings are left as they are."""
    data, priors, series = fit.data, fit.priors, fit.series
    chosen = [m for m in RATE_MODELS if not settings.models or m.name in settings.models]
    spools = _has_spools(series, data)
    streams = rng.spawn(len(chosen) + 1)
    fits = []
    for kind, stream in zip(chosen, streams[1:], strict=True):
        setup = Problemset(kind(data.centre), data, priors, len(data.rates) > 1, spools)
        fits.append(fit_one(setup, series.scatter, settings, stream))
    weights = model_weights(fits, priors)
    if settings.averaging == "stacking" and len(data.rates) > 1:
        quick = replace(settings, averaging="prior", draws=1024, points=256)
        weights = stacking_weights(
            replace(fit, models=tuple(fits)), lambda part: fit_data(part, quick, streams[0])
        )
    elif settings.averaging == "prior":
        weights = model_weights([replace(f, log_evidence=0.0) for f in fits], priors)
    models, owner, row = _allocate(fits, weights, settings.draws, streams[0])
    size = priors.parameters["discrepancy"]
    amplitude = np.abs(size.from_uniform(streams[0].uniform(size=settings.draws)))
    lean = streams[0].standard_normal(settings.draws)
    return replace(fit, models=models, owner=owner, row=row, lean=lean, amplitude=amplitude)


def fit_one(setup: Problemset, scatter: Scatter, settings: Settings, rng: np.random.Generator
            ) -> ModelFit:  # fmt: skip
    """Joint draws and evidence of one model."""
    mixture: Mixture | None = None
    exact = scatter == "normal" and bool(setup.data.broke.all())
    pilot = hyper_points(setup, max(settings.points // 4, 64), rng)
    trial = gaussian_conditional(setup, pilot) if exact else laplace_conditional(
        setup, pilot, scatter)[0]  # fmt: skip
    points = hyper_points(setup, settings.points, rng, warp_to(pilot, trial.log_weight))
    if exact:
        conditional = gaussian_conditional(setup, points)
        evidence = log_mean_exp(conditional.log_weight)
        draws = gaussian_draws(setup, points, conditional, settings.draws, rng)
        effective = effective_size(conditional.log_weight)
        mixture = mixture_of(setup, points, conditional)
    else:
        approximation = laplace_conditional(setup, points, scatter)
        draws, evidence, correction = weighted_draws(
            setup, points, approximation, settings.draws, rng
        )
        share = effective_size(correction) / correction.size
        effective = effective_size(approximation[0].log_weight) * share
    problems = (_thin(effective),) if effective < 60 else ()
    return ModelFit(setup.model, draws, evidence, 0.0, effective, problems, mixture)


def model_weights(fits: Sequence[ModelFit], priors: RatePriors) -> FloatArray:
    """Posterior model probabilities from evidence and prior weight."""
    prior = np.array([priors.weights.get(f.model.name, 0.0) for f in fits])
    if prior.sum() <= 0:
        prior = np.ones(len(fits))
    evidence = np.array([f.log_evidence for f in fits])
    w = prior * np.exp(evidence - evidence[prior > 0].max())
    return np.asarray(w / w.sum())


def _allocate(fits: Sequence[ModelFit], weights: FloatArray, count: int, rng: np.random.Generator
              ) -> tuple[tuple[ModelFit, ...], IntArray, IntArray]:  # fmt: skip
    """Share ``count`` rows among the models and put them in random order."""
    at = (np.arange(count) + rng.uniform()) / count
    owner = np.minimum(np.searchsorted(np.cumsum(weights), at), len(fits) - 1)
    owner = rng.permutation(owner).astype(np.int64)
    row = np.empty(count, dtype=np.int64)
    for j, fit in enumerate(fits):
        mine = owner == j
        row[mine] = np.arange(int(mine.sum())) % len(fit.draws)
    named = tuple(replace(f, weight=float(w)) for f, w in zip(fits, weights, strict=True))
    return named, owner, row


def _has_spools(series: Series, data: RateData) -> bool:
    """A spool effect needs two spools, or a stated spool scatter."""
    return len(data.batches) >= 2 or series.batch_sd_fraction is not None


def _thin(effective: float) -> Problem:
    return Problem(
        "few-effective-points",
        f"only {effective:.0f} effective hyper points carry this model; raise the number of points",
    )

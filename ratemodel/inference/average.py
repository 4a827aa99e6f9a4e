"""Fit every model, weigh them, and join their draws into one answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

import ratemodel
from ratemodel.arrays import FloatArray, IntArray
from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.data import RateData, rate_data
from ratemodel.inference.findings import find_problems
from ratemodel.inference.hyper import Problemset
from ratemodel.inference.onemodel import fit_one, more_points
from ratemodel.inference.priors import RatePriors, default_priors
from ratemodel.inference.ratefit import Bound, ModelFailure, ModelFit, Pedigree, RateFit
from ratemodel.inference.stacking import stacking_weights
from ratemodel.models.base import RateModel
from ratemodel.models.rate import RATE_MODELS
from ratemodel.records.tables import Scatter, Series

#: Weight below which a model with too few effective points is not worth more of them.
HOPELESS = 1e-6


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
        No specimen broke, or no model could be fitted.
    InputError
        A model of an unknown name.
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
    data, priors = fit.data, fit.priors
    streams = rng.spawn(len(chosen_models(settings.models)) + 1)
    fits, failed = _fit_each(fit, settings, streams[1:])
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
    return replace(fit, models=models, owner=owner, row=row, lean=lean, amplitude=amplitude,
                   failed=failed)  # fmt: skip


def _fit_each(fit: RateFit, settings: Settings, streams: Sequence[np.random.Generator]
              ) -> tuple[list[ModelFit], tuple[ModelFailure, ...]]:  # fmt: skip
    """Every chosen model; one whose numbers fail is named and the others carry on."""
    data, failed = fit.data, []
    spools = _has_spools(fit.series, data)
    done: list[tuple[Problemset, ModelFit, np.random.Generator]] = []
    for kind, stream in zip(chosen_models(settings.models), streams, strict=True):
        setup = Problemset(kind(data.centre), data, fit.priors, len(data.rates) > 1, spools)
        try:
            with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
                done.append((setup, fit_one(setup, fit.scatter, settings, stream), stream))
        except (NotIdentifiedError, np.linalg.LinAlgError, FloatingPointError) as error:
            failed.append(ModelFailure(kind.name, str(error)))
    if not done:
        reasons = "; ".join(sorted({f.message for f in failed}))
        raise NotIdentifiedError(
            f"series {fit.series.name}: no model could be fitted ({reasons}); look for impossible "
            "rates or strengths"
        )
    weights = model_weights([one for _, one, _ in done], fit.priors)
    fits = [
        _refined(setup, one, settings, (fit.scatter, stream)) if weight > HOPELESS else one
        for (setup, one, stream), weight in zip(done, weights, strict=True)
    ]
    return fits, tuple(failed)


def _refined(setup: Problemset, one: ModelFit, settings: Settings,
             how: tuple[Scatter, np.random.Generator]) -> ModelFit:  # fmt: skip
    """The same model run again with more hyper points, up to twice, while too few carry weight."""
    scatter, rng = how
    for _ in range(2):
        more = more_points(setup, settings, one.effective, one.mixture is not None)
        if more is None:
            return one
        settings = more
        try:
            again = fit_one(setup, scatter, settings, rng)
        except (NotIdentifiedError, np.linalg.LinAlgError):
            return one
        one = again if again.effective > one.effective else one
    return one


def chosen_models(names: Sequence[str]) -> list[type[RateModel]]:
    """Models of these names in the order of the register; all where none is named.

    Raises
    ------
    InputError
        A name that no model has.
    """
    known = [m.name for m in RATE_MODELS]
    unknown = [n for n in names if n not in known]
    if unknown:
        raise InputError(f"rate model {unknown[0]!r} is not known", "some of " + ", ".join(known))
    return [m for m in RATE_MODELS if not names or m.name in names]


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

"""One model's joint draws and evidence, with more hyper points where too few carry weight."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.draws import ModelDraws, effective_size, gaussian_draws, log_mean_exp
from ratemodel.inference.gaussian import Conditional, gaussian_conditional
from ratemodel.inference.hyper import HyperPoints, Problemset, hyper_points, warp_to
from ratemodel.inference.laplace import laplace_conditional, weighted_draws
from ratemodel.inference.mixture import Mixture, mixture_of
from ratemodel.inference.ratefit import ModelFit
from ratemodel.inference.soundness import shape_problems
from ratemodel.records.tables import Scatter

if TYPE_CHECKING:
    from ratemodel.inference.average import Settings

#: Effective hyper points below which a model is run again with more, and below which it is not
#: to be trusted.
ENOUGH, TOO_FEW = 60.0, 10.0
FACTOR = 4
#: Numbers in the largest array of a run with more points (points x specimens x unknowns): beyond
#: it the finding stands instead of minutes of work.
LARGEST, LARGEST_EXACT = 5e6, 2e7
UNSETTLED = 0.05


@dataclass(frozen=True)
class _Run:
    """One run over hyper points: the conditional posterior, draws, evidence, effective points."""

    points: HyperPoints
    conditional: Conditional
    draws: ModelDraws
    evidence: float
    effective: float
    mixture: Mixture | None


def fit_one(setup: Problemset, scatter: Scatter, settings: Settings, rng: np.random.Generator
            ) -> ModelFit:  # fmt: skip
    """Joint draws and evidence of one model.

    Parameters
    ----------
    setup : Problemset
        Model, data, priors.
    scatter : {"normal", "smallest-extreme-value"}
        Family of the specimen-to-specimen scatter.
    settings : Settings
        Hyper points and draws are read from it.
    rng : numpy.random.Generator

    Raises
    ------
    NotIdentifiedError
        The likelihood can not be evaluated at any hyper point.
    """
    points, draws = settings.points, settings.draws
    exact = scatter == "normal" and bool(setup.data.broke.all())
    pilot = hyper_points(setup, max(points // 4, 64), rng)
    trial = gaussian_conditional(setup, pilot) if exact else laplace_conditional(
        setup, pilot, scatter)[0]  # fmt: skip
    warp = warp_to(pilot, _usable(trial.log_weight))
    found = _run(setup, hyper_points(setup, points, rng, warp), scatter, (draws, rng))
    problems = (
        *_quality(found),
        *shape_problems(setup, found.points, found.conditional.log_weight),
    )
    return ModelFit(setup.model, found.draws, found.evidence, 0.0, found.effective, problems,
                    found.mixture)  # fmt: skip


def more_points(setup: Problemset, settings: Settings, effective: float, exact: bool
                ) -> Settings | None:  # fmt: skip
    """Settings to run a model with again, or None where it has enough or memory forbids more."""
    wanted = settings.points * FACTOR
    rows = setup.data.cells.first.size if exact else len(setup.data)
    largest = LARGEST_EXACT if exact else LARGEST
    if effective >= ENOUGH or wanted * rows * setup.size > largest:
        return None
    return replace(settings, points=wanted)


def _run(setup: Problemset, points: HyperPoints, scatter: Scatter,
         wanted: tuple[int, np.random.Generator]) -> _Run:  # fmt: skip
    draws, rng = wanted
    if scatter == "normal" and bool(setup.data.broke.all()):
        c = gaussian_conditional(setup, points)
        evidence = log_mean_exp(_usable(c.log_weight))
        rows = gaussian_draws(setup, points, c, draws, rng)
        mixture = mixture_of(setup, points, c)
        return _Run(points, c, rows, evidence, effective_size(c.log_weight), mixture)
    approximation = laplace_conditional(setup, points, scatter)
    c = approximation[0]
    _usable(c.log_weight)
    rows, evidence, correction = weighted_draws(setup, points, approximation, draws, rng)
    if not np.isfinite(evidence):
        raise NotIdentifiedError("no draw about the modes has any density")
    share = effective_size(correction) / correction.size
    return _Run(points, c, rows, evidence, effective_size(c.log_weight) * share, None)


def _usable(log_weight: FloatArray) -> FloatArray:
    if not np.isfinite(log_weight).any():
        raise NotIdentifiedError("the likelihood can not be evaluated at any hyper point")
    return log_weight


def _quality(run: _Run) -> list[Problem]:
    """Findings on how well the integral over the hyper points was done."""
    out = []
    if run.effective < ENOUGH:
        out.append(Problem(
            "few-effective-points",
            f"only {run.effective:.0f} effective hyper points of {len(run.points)} carry this "
            "model: its intervals are rough; look for outliers and impossible rows, or raise "
            "Settings.points",
            "serious" if run.effective < TOO_FEW else "caution",
        ))  # fmt: skip
    if run.conditional.unsettled > UNSETTLED:
        out.append(Problem(
            "did-not-converge",
            f"the search for the likeliest parameters had not ended at points that carry "
            f"{100 * run.conditional.unsettled:.0f} % of this model; look for specimens far from "
            "all others, held or broken",
            "serious",
        ))  # fmt: skip
    return out

"""How the answer moves: each model alone, priors halved and doubled, the other scatter family."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ratemodel.errors import Problem
from ratemodel.inference.average import Settings, fit_data
from ratemodel.inference.draws import log_mean_exp
from ratemodel.inference.ratefit import RateFit
from ratemodel.records.tables import Scatter


@dataclass(frozen=True)
class Answer:
    """Strength at one rate under one assumption (ln of the SI strength).

    Attributes
    ----------
    assumption : str
        ``"average"``, a model's name, ``"priors halved"``, ``"priors doubled"`` or a scatter.
    weight : float or None
        Weight in the average, for a model alone.
    median, low, high : float
        ln of the mean strength and its interval at the fit's level.
    lower_bound : float
        ln of the lower tolerance bound.
    """

    assumption: str
    weight: float | None
    median: float
    low: float
    high: float
    lower_bound: float


@dataclass(frozen=True)
class Sensitivity:
    """Answers at one rate under every assumption looked at."""

    strain_rate_per_s: float
    answers: tuple[Answer, ...]
    problems: tuple[Problem, ...]


def sensitivity(fit: RateFit, u: float, *, rng: np.random.Generator) -> Sensitivity:
    """Strength at log10 rate ``u`` under every assumption; refits with fewer draws."""
    at = np.array([u])
    answers = [_answer("average", None, fit, at)]
    for j, model in enumerate(fit.models):
        answers.append(_answer(model.model.name, model.weight, fit, at, alone=j))
    quick = Settings(draws=2048, level=fit.level, bound=fit.bound, points=256)
    halved = fit_data(replace(fit, priors=fit.priors.widened(0.5)), quick, rng)
    doubled = fit_data(replace(fit, priors=fit.priors.widened(2.0)), quick, rng)
    answers += [_answer("priors halved", None, halved, at),
                _answer("priors doubled", None, doubled, at)]  # fmt: skip
    normal = fit.scatter == "normal"
    family: Scatter = "smallest-extreme-value" if normal else "normal"
    series = replace(fit.series, scatter=family)
    pedigree = replace(fit.pedigree, scatter=family)
    other = fit_data(replace(fit, series=series, pedigree=pedigree), quick, rng)
    answers.append(_answer(f"{family} scatter", None, other, at))
    problems = [*_scatter_problem(fit, other), *_prior_problem(answers)]
    return Sensitivity(float(10**u), tuple(answers), tuple(problems))


def log_evidence(fit: RateFit) -> float:
    """ln marginal likelihood averaged over the models with their prior weights."""
    weights = np.array([fit.priors.weights.get(m.model.name, 0.0) for m in fit.models])
    values = np.array([m.log_evidence for m in fit.models])
    used = weights > 0
    if not used.any():
        return log_mean_exp(values)
    top = float(values[used].max())
    share = weights[used] / weights[used].sum()
    return top + float(np.log((share * np.exp(values[used] - top)).sum()))


def _answer(name: str, weight: float | None, fit: RateFit, at: np.ndarray,
            *, alone: int | None = None) -> Answer:  # fmt: skip
    c = fit.curve(at, alone=alone)
    return Answer(name, weight, float(c.median[0]), float(c.mean_interval[0, 0]),
                  float(c.mean_interval[1, 0]), float(c.lower_bound[0]))  # fmt: skip


def _scatter_problem(fit: RateFit, other: RateFit) -> list[Problem]:
    gain = log_evidence(other) - log_evidence(fit)
    if gain < np.log(10.0):
        return []
    return [Problem(
        "other-scatter-fits-better",
        f"{other.scatter} scatter is {np.exp(min(gain, 50.0)):.3g} times as probable as "
        f"{fit.scatter}; set scatter = \"{other.scatter}\" for the series and compare the bounds",
        "caution",
    )]  # fmt: skip


def _prior_problem(answers: list[Answer]) -> list[Problem]:
    table = {a.assumption: a for a in answers}
    base, narrow, wide = table["average"], table["priors halved"], table["priors doubled"]
    half = max((base.high - base.low) / 2, 1e-9)
    moved = max(abs(narrow.median - base.median), abs(wide.median - base.median))
    if moved < half / 2:
        return []
    return [Problem(
        "priors-matter",
        f"halving or doubling the spread of the priors moves the answer by {100 * moved:.1f} %, "
        "over half of its interval's half width: here the priors speak as loudly as the tests",
        "caution",
    )]  # fmt: skip

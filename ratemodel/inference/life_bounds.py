"""From fitted lives to answers: joint draws, lower bounds on life, loads that last.

Prior, stated: flat on ln life at the anchor loads (the lowest and the highest tested; for laws with
temperature a spread of tested conditions) and flat on ln scale. With it the bounds of the classical
one-sample cases equal the exact ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, Problem
from ratemodel.inference.importance import importance_draws
from ratemodel.inference.life import (
    LifeData,
    LifeDistribution,
    LifeFit,
    fit_life,
    log_likelihood_rows,
    standard_quantile,
)
from ratemodel.inference.tails import thin_tail
from ratemodel.models.lifetime import LifeLaw, life_law
from ratemodel.words import CAUTION

PRIOR = "flat on ln life at the lowest and highest tested condition, flat on ln scatter"
_CHUNK = 4_000_000  # numbers held at once


@dataclass(frozen=True)
class LifeDraws:
    """Joint draws of a law of life and its scatter.

    Attributes
    ----------
    law, distribution
        What was fitted.
    coefficients : ndarray, shape (draws, k)
        In the order of ``law.parameters``.
    scale : ndarray, shape (draws,)
        Scatter of ln life.
    log_evidence : float
        ln of the marginal likelihood under ``prior``.
    prior : str
        Prior in words.
    load_range_N : tuple of float
        Lowest and highest tested load.
    problems : tuple of Problem
        From the fit and from drawing.
    """

    law: LifeLaw
    distribution: LifeDistribution
    coefficients: FloatArray
    scale: FloatArray
    log_evidence: float
    prior: str
    load_range_N: tuple[float, float]
    problems: tuple[Problem, ...]

    def ln_life(
        self, load_N: FloatArray, fraction_broken: float = 0.5, temperature_K: float = float("nan")
    ) -> FloatArray:
        """Natural log of the life by which a share of specimens has broken, (draws, n)."""
        load = np.atleast_1d(np.asarray(load_N, dtype=np.float64))
        typical = self.law.ln_life(self.coefficients, load, np.full_like(load, temperature_K))
        e = standard_quantile(fraction_broken, self.distribution)
        return np.asarray(typical + e * self.scale[:, None])


@dataclass(frozen=True)
class LifeMixture:
    """Several laws of life, weighted by how well they explain the lives.

    Attributes
    ----------
    members : tuple of LifeDraws
        One per law and distribution.
    weights : ndarray, shape (m,)
        Posterior odds, equal prior odds.
    problems : tuple of Problem
        Collected from the members.
    """

    members: tuple[LifeDraws, ...]
    weights: FloatArray
    problems: tuple[Problem, ...]

    def ln_life(
        self, load_N: FloatArray, fraction_broken: float = 0.5, temperature_K: float = float("nan")
    ) -> FloatArray:
        """Natural log of life as in `LifeDraws.ln_life`; members enter in proportion."""
        size = len(self.members[0].scale)
        counts = np.floor(np.cumsum(self.weights) * size + 0.5).astype(int)
        parts, before = [], 0
        for member, upto in zip(self.members, counts, strict=True):
            rows = member.ln_life(load_N, fraction_broken, temperature_K)[before:upto]
            parts.append(rows)
            before = upto
        return np.concatenate(parts)

    @property
    def load_range_N(self) -> tuple[float, float]:
        """Lowest and highest tested load."""
        return self.members[0].load_range_N


@dataclass(frozen=True)
class LifeBound:
    """Life at working loads with its lower bound.

    Attributes
    ----------
    load_N : ndarray, shape (n,)
        Working loads.
    median_s, lower_s : ndarray, shape (n,)
        Median life of a typical specimen, and the life that ``fraction`` of all specimens exceed
        with ``confidence``.
    fraction, confidence : float
        As asked.
    caution : str
        To be shown beside the numbers.
    problems : tuple of Problem
        Among them how far the loads lie below the tested ones.
    """

    load_N: FloatArray
    median_s: FloatArray
    lower_s: FloatArray
    fraction: float
    confidence: float
    caution: str
    problems: tuple[Problem, ...]


def draw_life(fit: LifeFit, *, draws: int, rng: np.random.Generator) -> LifeDraws:
    """Joint draws of coefficients and scale, by importance resampling about the optimum."""
    design = fit.law.design(fit.data.load_N, fit.data.temperature_K)
    y, event = np.log(fit.data.time_s), fit.data.broke
    anchors = _anchors(design)
    # Work in ln life at the anchors: well scaled, and the space in which the prior is flat.
    turn = np.eye(len(anchors) + 1)
    turn[:-1, :-1] = anchors
    shape = design @ np.linalg.inv(anchors)
    rows = max(1, _CHUNK // len(y))

    def log_density(values: FloatArray) -> FloatArray:
        out = np.empty(len(values))
        for i in range(0, len(values), rows):
            part = values[i : i + rows]
            z = (y - part[:, :-1] @ shape.T) * np.exp(-part[:, -1:])
            out[i : i + rows] = log_likelihood_rows(z, part[:, -1], event, fit.distribution)
        return out

    mode = turn @ np.append(fit.coefficients, np.log(fit.scale))
    joint = importance_draws(
        log_density, mode, turn @ fit.covariance @ turn.T, draws=draws, rng=rng
    )
    load = fit.data.load_N
    return LifeDraws(
        law=fit.law,
        distribution=fit.distribution,
        coefficients=joint.values[:, :-1] @ np.linalg.inv(anchors).T,
        scale=np.exp(joint.values[:, -1]),
        log_evidence=joint.log_evidence,
        prior=PRIOR,
        load_range_N=(float(load.min()), float(load.max())),
        problems=fit.problems + joint.problems,
    )


def average_life(
    data: LifeData,
    *,
    draws: int,
    rng: np.random.Generator,
    laws: Sequence[LifeLaw] | None = None,
    distributions: Sequence[LifeDistribution] = ("weibull", "lognormal"),
) -> LifeMixture:
    """Average over laws of life and scatter, weighted by marginal likelihood.

    Laws with as many coefficients share one prior, so that their odds are fair. By default: power
    and exponential law at one temperature; power law with Arrhenius and Zhurkov's law where
    several temperatures were tested.
    """
    if laws is None:
        several = len(np.unique(data.temperature_K[np.isfinite(data.temperature_K)])) > 1
        names = ("power-arrhenius", "zhurkov") if several else ("inverse-power", "exponential")
        laws = [life_law(name) for name in names]
    if len({len(law.parameters) for law in laws}) != 1:
        raise InputError(
            "laws with different numbers of coefficients cannot be averaged under a flat prior",
            "laws with as many coefficients each",
        )
    members = tuple(
        draw_life(fit_life(data, law, dist), draws=draws, rng=rng)
        for law in laws
        for dist in distributions
    )
    log_w = np.array([m.log_evidence for m in members])
    w = np.exp(log_w - log_w.max())
    problems = {p.message: p for m in members for p in m.problems}
    return LifeMixture(members, w / w.sum(), tuple(problems.values()))


def life_at_load(
    lives: LifeDraws | LifeMixture,
    load_N: FloatArray,
    *,
    fraction: float = 0.95,
    confidence: float = 0.95,
    temperature_K: float = float("nan"),
) -> LifeBound:
    """Time to break at working loads, with a lower bound.

    ``lower_s`` is a lower tolerance bound: ``fraction`` of all specimens last longer, with
    ``confidence``.
    """
    load = np.atleast_1d(np.asarray(load_N, dtype=np.float64))
    if np.any(~(load > 0)):
        raise InputError("a working load is not above 0", "loads in N above 0")
    middle = lives.ln_life(load, 0.5, temperature_K)
    weak = lives.ln_life(load, 1.0 - fraction, temperature_K)
    return LifeBound(
        load_N=load,
        median_s=np.exp(np.median(middle, axis=0)),
        lower_s=np.exp(np.quantile(weak, 1.0 - confidence, axis=0)),
        fraction=fraction,
        confidence=confidence,
        caution=CAUTION,
        problems=lives.problems
        + beyond_tested(load, lives.load_range_N)
        + thin_tail(len(weak), 1.0 - confidence, "the lower bound of the life"),
    )


def _anchors(design: FloatArray) -> FloatArray:
    """Rows of the design that span it best: pivoted QR."""
    from scipy.linalg import qr

    scaled = design / np.abs(design).max(axis=0)
    pivots = qr(scaled.T, mode="r", pivoting=True)[1]
    return np.asarray(design[pivots[: design.shape[1]]])


def beyond_tested(load: FloatArray, tested: tuple[float, float]) -> tuple[Problem, ...]:
    """Say how far the lowest load lies below the tested ones."""
    below = float(load.min())
    if below >= tested[0]:
        return ()
    return (
        Problem(
            "load-below-tested",
            f"The working load {below:.4g} N lies below the lowest tested load {tested[0]:.4g} N "
            f"by a factor of {tested[0] / below:.2f}: the life there rests on the law, not on "
            "data. Add runouts at lower loads.",
        ),
    )

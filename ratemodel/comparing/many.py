r"""Several products at once: estimates drawn together as far as they are alike, and their ranks.

Estimates y with covariance V (scatter of each, calibration shared by machine):

.. math:: y \mid \theta \sim N(\theta, V), \qquad \theta_i \sim N(\mu, \tau^2)

with mu flat and tau integrated on a grid, exactly (Gelman et al., Bayesian Data Analysis, 3rd ed.
2013, section 5.4, for dependent errors).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.comparing.calibration import (
    MachineSplit,
    calibrated,
    join_machines,
    machine_findings,
    split_machines,
)
from ratemodel.comparing.claims import Interval, interval_of
from ratemodel.errors import InputError, Problem
from ratemodel.inference.ratefit import RateFit

#: Products that one would compare differ by some 20 % (common practice, no source); the tail of
#: the half-Cauchy lets the tests say otherwise (Gelman 2006, Bayesian Analysis 1:515).
BETWEEN_SCALE = 0.2
_GRID = 600

Between: TypeAlias = Literal["flat", "half-cauchy"]


@dataclass(frozen=True)
class Shrunk:
    """Posterior of a group of quantities that share a distribution.

    Attributes
    ----------
    tau, density : ndarray, shape (grid,)
        Between-product standard deviation, and its posterior density.
    theta : ndarray, shape (draws, n)
        Joint draws of the quantities.
    mu : ndarray, shape (draws,)
        Draws of their common mean.
    """

    tau: FloatArray
    density: FloatArray
    theta: FloatArray
    mu: FloatArray


def shrink(estimate: FloatArray, covariance: FloatArray, *, rng: np.random.Generator,
           draws: int = 20_000, between: Between = "half-cauchy", scale: float = BETWEEN_SCALE
           ) -> Shrunk:  # fmt: skip
    """Joint draws of quantities that share a normal distribution.

    Parameters
    ----------
    estimate : ndarray, shape (n,)
    covariance : ndarray, shape (n, n)
        Of the estimates' errors.
    rng : numpy.random.Generator
        Source of randomness.
    draws : int
        Number of joint draws.
    between : {"half-cauchy", "flat"}
        Prior of tau; flat needs 3 quantities.
    scale : float
        Scale of the half-Cauchy, in the unit of the estimates.

    Raises
    ------
    InputError
        Fewer than 2 quantities, or fewer than 3 with a flat prior.
    """
    n = estimate.size
    least = 3 if between == "flat" else 2
    if n < least:
        raise InputError(f"{n} products", f"at least {least} to shrink together")
    spread = float(np.std(estimate)) + float(np.sqrt(np.diag(covariance).max()))
    tau = 8 * spread * np.linspace(0.0, 1.0, _GRID) ** 2
    values, vectors = np.linalg.eigh(covariance)
    values = np.maximum(values, 1e-18)
    # In the eigenvectors of V every tau has a diagonal covariance.
    y, one = vectors.T @ estimate, vectors.T @ np.ones(n)
    inverse = 1.0 / (values + tau[:, None] ** 2)
    information = (inverse * one**2).sum(axis=1)
    centre = (inverse * one * y).sum(axis=1) / information
    residual = (inverse * (y - centre[:, None] * one) ** 2).sum(axis=1)
    ln = 0.5 * (np.log(inverse).sum(axis=1) - np.log(information) - residual)
    if between == "half-cauchy":
        ln -= np.log1p((tau / scale) ** 2)
    density = np.exp(ln - ln.max())
    density /= np.trapezoid(density, tau)
    at = _sample_grid(tau, density, draws, rng)
    sd = 1 / np.sqrt(np.interp(at, tau, information))
    mu = np.interp(at, tau, centre) + sd * rng.standard_normal(draws)
    weight = at[:, None] ** 2 / (values + at[:, None] ** 2)
    mean = weight * y + (1 - weight) * mu[:, None] * one
    z = rng.standard_normal((draws, n))
    return Shrunk(tau, density, (mean + np.sqrt(weight * values) * z) @ vectors.T, mu)


def _sample_grid(x: FloatArray, density: FloatArray, count: int, rng: np.random.Generator
                 ) -> FloatArray:  # fmt: skip
    """Draws from a density given on a grid, linear in between."""
    steps = np.diff(x) * (density[1:] + density[:-1]) / 2
    cumulative = np.concatenate([[0.0], np.cumsum(steps)])
    p = (np.arange(count) + rng.uniform()) / count * cumulative[-1]
    return np.asarray(rng.permutation(np.interp(p, cumulative, x)))


@dataclass(frozen=True)
class RankedProduct:
    """One product among several, at one strain rate (strengths in SI).

    Attributes
    ----------
    alone : Interval
        From its own tests, calibration of its machines included.
    strength : Interval
        Drawn towards the others as far as the tests say they are alike.
    best : float
        Probability that it is the strongest of all in the mean.
    rank : Interval
        1 is the strongest.
    """

    name: str
    alone: Interval
    strength: Interval
    best: float
    rank: Interval


@dataclass(frozen=True)
class Ranking:
    """Several products at one strain rate, the strongest first.

    Attributes
    ----------
    between_sd : Interval
        Standard deviation of ln strength between products.
    ln_strength : ndarray, shape (draws, products)
        Joint draws, in the order of ``products``.
    """

    strain_rate_per_s: float
    level: float
    products: tuple[RankedProduct, ...]
    between_sd: Interval
    ln_strength: FloatArray
    problems: tuple[Problem, ...]

    def stronger(self, first: str, second: str) -> float:
        """Probability that the mean strength of one product exceeds that of another."""
        names = [p.name for p in self.products]
        for name in (first, second):
            if name not in names:
                raise InputError(f"no product {name!r}", "one of " + ", ".join(names))
        i, j = names.index(first), names.index(second)
        return float(np.mean(self.ln_strength[:, i] > self.ln_strength[:, j]))


def compare_many(fits: Sequence[RateFit], rate_per_s: float, *, rng: np.random.Generator,
                 level: float | None = None) -> Ranking:  # fmt: skip
    """Rank products at one strain rate, with shrinkage and common machine calibration.

    Each fit gives its mean of ln S and the variance of its draws (wider than normal for few
    specimens, as it should be); errors of a machine are common to all series pulled on it.

    Parameters
    ----------
    fits : sequence of RateFit
        Two products or more, of comparable kind: a thick and a thin cord are not drawn together,
        the between-product spread sees to that, but nothing is gained either.
    rate_per_s : float
        Strain rate in 1/s.
    rng : numpy.random.Generator
        Source of randomness.
    level : float, optional
        Probability held by intervals; the first fit's by default.

    Raises
    ------
    InputError
        Fewer than two fits, unlike kinds of strength, or a rate not above 0.
    """
    _check(fits, rate_per_s)
    level = level or fits[0].level
    u = np.array([np.log10(rate_per_s)])
    splits = [split_machines(f, u) for f in fits]
    belief = join_machines(splits)
    share = np.zeros((len(fits), len(belief.machines)))
    for row, split in zip(share, splits, strict=True):
        row[belief.columns(split)] = split.share[:, 0].mean(axis=0)
    y = np.array([s.free.mean() for s in splits]) - share @ belief.mean
    own = np.diag([float(s.free.var()) for s in splits])
    shrunk = shrink(y, own + share @ belief.covariance @ share.T, rng=rng)
    theta = shrunk.theta
    ranks = (-theta).argsort(axis=1).argsort(axis=1) + 1
    alone = _alone(splits, rng)
    order = np.argsort(-np.median(theta, axis=0))
    products = tuple(
        RankedProduct(
            fits[i].series.name, interval_of(np.exp(alone[i]), level),
            interval_of(np.exp(theta[:, i]), level), float(np.mean(ranks[:, i] == 1)),
            interval_of(ranks[:, i].astype(np.float64), level),
        )
        for i in order
    )  # fmt: skip
    tau = _sample_grid(shrunk.tau, shrunk.density, theta.shape[0], rng)
    return Ranking(rate_per_s, level, products, interval_of(tau, level), theta[:, order],
                   _findings(fits, u))  # fmt: skip


def _alone(splits: Sequence[MachineSplit], rng: np.random.Generator) -> list[FloatArray]:
    """Draws of every product's mean of ln S from its own tests, calibration included."""
    size = min(s.free.shape[0] for s in splits)
    cut = [replace(s, free=s.free[:size], share=s.share[:size]) for s in splits]
    return [mean[:, 0] for mean in calibrated(cut, rng)]


def _findings(fits: Sequence[RateFit], u: FloatArray) -> tuple[Problem, ...]:
    far = [f.series.name for f in fits if float(f.decades_beyond(u)[0]) > 0.05]
    out = machine_findings(fits)
    if far:
        out.append(Problem(
            "beyond-the-tested-rates",
            f"{', '.join(far)} not tested at this rate: their place rests on the rate models",
        ))  # fmt: skip
    return tuple(out)


def _check(fits: Sequence[RateFit], rate_per_s: float) -> None:
    if len(fits) < 2:
        raise InputError(f"{len(fits)} products", "at least 2 to compare")
    if not 0 < rate_per_s < np.inf:
        raise InputError(f"strain rate {rate_per_s:g}", "a number above 0, in 1/s", column="rate")
    kinds = {f.series.strength_unit.dimension for f in fits}
    if len(kinds) > 1:
        raise InputError(f"strengths are {' and '.join(sorted(kinds))}", "one kind of quantity")

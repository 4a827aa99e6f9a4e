"""Does a set of specimens support a declared rating, by the rule the rating states."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import get_args

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.comparing.calibration import calibrated, split_machines
from ratemodel.comparing.claims import Interval, Verdict, interval_of, verdict
from ratemodel.errors import InputError, Problem
from ratemodel.inference.ratefit import RateFit
from ratemodel.rating import rated_average
from ratemodel.records.tables import Rating, Statistic

_RULES: dict[Statistic, str] = {
    "average": "average of the specimens",
    "mean-2sd": "mean less 2 standard deviations",
    "mean-3sd": "mean less 3 standard deviations",
    "lowest": "lowest of the specimens tested",
}


@dataclass(frozen=True)
class RuleSupport:
    """One reading of the rating.

    Attributes
    ----------
    probability : float
        That the product's statistic at the rating's own rate and state reaches the declared value.
    ratio : Interval
        The product's statistic over the declared value.
    """

    statistic: Statistic
    words: str
    weight: float
    probability: float
    ratio: Interval


@dataclass(frozen=True)
class RatingSupport:
    """How far tests bear out a declared rating.

    Attributes
    ----------
    probability : float
        Over all readings of the rating, by their weights.
    rules : tuple of RuleSupport
        Each reading: one where the rule is declared, four of equal weight where it is not.
    """

    series: str
    rating: Rating
    probability: float
    verdict: Verdict
    rules: tuple[RuleSupport, ...]
    problems: tuple[Problem, ...]
    unit_symbol: str
    value: float

    def sentences(self) -> tuple[str, ...]:
        """The answer in words; the cautions are to stand beside it."""
        head = (
            f"Probability {self.probability:.3f} that {self.series} bears out its declared "
            f"{self.value:.4g} {self.unit_symbol}: {self.verdict}."
        )
        rows = [
            f"Read as {r.words}: probability {r.probability:.3f}; the product's own is "
            f"{r.ratio.median:.3f} times the declared value ({r.ratio.low:.3f} to "
            f"{r.ratio.high:.3f})."
            for r in self.rules
        ]
        return (head, *rows)


def supports_rating(fit: RateFit, rating: Rating | None = None, *, rng: np.random.Generator,
                    lowest_of: int | None = None, confidence: float = 0.95
                    ) -> RatingSupport:  # fmt: skip
    """Probability that the product reaches a declared rating, by the rating's own rule.

    The product's mean is read at the rating's strain rate (or over the likely ones where none is
    declared) and in its state of preload; machine calibration is in it. A declared mean less k
    standard deviations asks for mean (1 - k cv), with the scatter of these tests; a declared lowest
    of n for the expected lowest of n.

    Parameters
    ----------
    fit : RateFit
        Strength against rate of the series.
    rating : Rating, optional
        None: the one declared for the series.
    rng : numpy.random.Generator
        Source of randomness.
    lowest_of : int, optional
        n of "lowest of n", where known; else 3, 5 and 10 alike.
    confidence : float
        Probability from which the rating is called shown.

    Raises
    ------
    InputError
        No rating is declared, or ``lowest_of`` is below 2.
    """
    rating = rating or fit.series.rating
    if rating is None:
        remedy = f"a table [series.{fit.series.name}.rating]"
        raise InputError(f"the series {fit.series.name} declares no rating", remedy)
    u = rated_average(rating, np.zeros(fit.owner.size), rng).u
    mean = _mean_at(fit, u, rng) + _preload(fit, rating, rng)
    scatter = np.sqrt(fit.sigma_at(u[:, None])[:, 0] ** 2 + fit.batch_sd() ** 2)
    readings = list(_RULES) if rating.statistic == "unknown" else [rating.statistic]
    rules = []
    for statistic in readings:
        shift = rated_average(replace(rating, statistic=statistic), scatter, rng).to_average
        if statistic == "lowest" and lowest_of is not None:
            shift = expected_lowest(lowest_of) * scatter
        excess = mean - shift - float(np.log(rating.strength))
        rules.append(_rule(statistic, 1 / len(readings), excess, fit.level))
    probability = sum(r.weight * r.probability for r in rules)
    unit = fit.series.strength_unit
    return RatingSupport(
        fit.series.name, rating, probability, verdict(probability, confidence), tuple(rules),
        _findings(fit, rating, u), unit.symbol, unit.from_si(rating.strength),
    )  # fmt: skip


def _rule(statistic: Statistic, weight: float, excess: FloatArray, level: float) -> RuleSupport:
    """One reading, from draws of ln(statistic of the product / declared value)."""
    return RuleSupport(statistic, _RULES[statistic], weight, float(np.mean(excess >= 0)),
                       interval_of(np.exp(excess), level))  # fmt: skip


def expected_lowest(n: int) -> float:
    """Expected distance of the lowest of n standard normal values below 0.

    Examples
    --------
    >>> round(expected_lowest(5), 4)
    1.163
    """
    from scipy.special import ndtr

    if n < 2:
        raise InputError(f"lowest of {n}", "lowest of 2 or more")
    z = np.linspace(-9.0, 9.0, 4001)
    density = np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)
    return float(-np.trapezoid(z * n * density * ndtr(-z) ** (n - 1), z))


def _mean_at(fit: RateFit, u: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Mean of ln S at a rate of its own in each draw, calibration of a lone machine included."""
    mean = fit.mean_ln(u[:, None])[:, 0]
    if len(fit.data.machines) >= 2:
        return mean
    centre = np.array([fit.data.centre])
    split = split_machines(fit, centre)
    return np.asarray(mean + (calibrated([split], rng)[0] - split.free)[:, 0])


def _preload(fit: RateFit, rating: Rating, rng: np.random.Generator) -> FloatArray:
    """ln of the factor from the state that the fit's mean refers to, to the rating's."""
    cycles = np.nan_to_num(fit.series.used.preload_cycles, nan=0.0)
    tested = bool((cycles > 0).all())
    rated = bool(rating.preload_cycles and rating.preload_cycles > 0)
    if tested == rated:
        return np.zeros(fit.owner.size)
    return (1.0 if rated else -1.0) * fit.covariate("cycled", rng)


def _findings(fit: RateFit, rating: Rating, u: FloatArray) -> tuple[Problem, ...]:
    out = []
    if rating.statistic not in get_args(Statistic)[:-1]:
        out.append(Problem(
            "rating-rule-unknown",
            "the rating states no rule: average, mean less 2 or 3 standard deviations and lowest "
            "of the tests are held equally likely; ask the supplier",
        ))  # fmt: skip
    if rating.strain_rate_per_s is None:
        out.append(Problem(
            "rating-speed-unknown",
            "the rating states no speed: the standard 250 mm/min on 0.15 to 3 m is taken; ask the "
            "supplier",
        ))  # fmt: skip
    far = float(np.median(fit.decades_beyond(u)))
    if far > 0.05:
        out.append(Problem(
            "beyond-the-tested-rates",
            f"the rating's strain rate lies {far:.1f} decades beyond the tested ones; test at it",
            "serious" if far > 1.5 else "caution",
        ))  # fmt: skip
    return (*out, *(p for p in fit.problems if p.code != "calibration-not-seen"))

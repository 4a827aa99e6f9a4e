"""Two series at the same rate, each fitted at its own tested rates: ratio, claim, equivalence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.comparing.calibration import calibrated, split_machines
from ratemodel.comparing.claims import Claim, Interval, interval_of, verdict
from ratemodel.comparing.findings import pair_findings
from ratemodel.errors import InputError, Problem
from ratemodel.inference.draws import effective_size, systematic
from ratemodel.inference.ratefit import RateFit
from ratemodel.inference.scatter import specimen_cdf, standard_quantile

#: Products of one kind scatter alike: ln of the ratio of their scatters has this standard
#: deviation (a factor of 1.65; common practice, no source).
SCATTER_ALIKE = 0.5
_MOST_RATES = 7


@dataclass(frozen=True)
class ComparisonSettings:
    """How two series are compared.

    Attributes
    ----------
    level : float
        Probability held by intervals.
    margin : float
        Fraction within which two strengths count as the same, and by which B may be weaker
        without counting as inferior.
    confidence : float
        Probability from which a statement is called shown.
    scatter_alike : float
        Standard deviation of ln(scatter of B / scatter of A) before the tests are read; infinite
        leaves the scatters unrelated (the Behrens-Fisher solution, which is wider than it need be
        for few specimens), near 0 pools them.
    """

    level: float = 0.95
    margin: float = 0.05
    confidence: float = 0.95
    scatter_alike: float = SCATTER_ALIKE


@dataclass(frozen=True)
class RatePoint:
    """The comparison at one strain rate; strengths are those of B over those of A.

    Attributes
    ----------
    ratio : Interval
        Mean strength of B over mean strength of A (means on the scale of ln S).
    specimen_ratio : Interval
        One new specimen of B over one new specimen of A.
    specimen_stronger : float
        Probability that a random specimen of B is stronger than a random one of A.
    claim : float or None
        Probability that the claim holds for the means; None without a claim.
    claim_specimen : float or None
        Probability that a random specimen of B exceeds one of A by the claim's ratio.
    equivalent : float
        Probability that the ratio of means lies within 1 - margin to 1 + margin.
    not_inferior : float
        Probability that it lies above 1 - margin.
    strength : tuple of Interval
        Mean strength of A and of B (SI).
    decades_beyond : tuple of float
        Decades by which the rate lies beyond the tested rates of A and of B.
    """

    strain_rate_per_s: float
    ratio: Interval
    specimen_ratio: Interval
    specimen_stronger: float
    claim: float | None
    claim_specimen: float | None
    equivalent: float
    not_inferior: float
    strength: tuple[Interval, Interval]
    decades_beyond: tuple[float, float]


@dataclass(frozen=True)
class Comparison:
    """B against A, rate by rate.

    Attributes
    ----------
    ln_ratio : ndarray, shape (draws, rates)
        Joint draws of ln(mean strength of B / mean strength of A).
    """

    a: RateFit
    b: RateFit
    settings: ComparisonSettings
    claim: Claim | None
    points: tuple[RatePoint, ...]
    ln_ratio: FloatArray
    problems: tuple[Problem, ...]

    @property
    def names(self) -> tuple[str, str]:
        """Names of A and B."""
        return self.a.series.name, self.b.series.name

    def sentences(self) -> tuple[str, ...]:
        """Every answer as a sentence; the cautions are to stand beside them."""
        return tuple(line for p in self.points for line in self._lines(p))

    def _lines(self, p: RatePoint) -> list[str]:
        a, b = self.names
        c, level = self.settings.confidence, f"{100 * self.settings.level:g} %"
        m = f"{100 * self.settings.margin:g} %"
        lines = [
            f"At {p.strain_rate_per_s:.3g} /s the mean strength of {b} is {p.ratio.median:.3f} "
            f"times that of {a} ({level} interval {p.ratio.low:.3f} to {p.ratio.high:.3f})."
        ]
        if self.claim is not None and p.claim is not None:
            lines.append(f"Claim: {self.claim.words(a, b)}, in the mean. Probability "
                         f"{_shown(p.claim)}: {verdict(p.claim, c)}.")  # fmt: skip
        lines += [
            f"A random specimen of {b} is stronger than a random one of {a} with probability "
            f"{_shown(p.specimen_stronger)}.",
            f"Means within {m} of each other: probability {_shown(p.equivalent)}, "
            f"{verdict(p.equivalent, c)}. {b} weaker by no more than {m}: probability "
            f"{_shown(p.not_inferior)}, {verdict(p.not_inferior, c)}.",
        ]
        return lines


def compare(fit_a: RateFit, fit_b: RateFit, rates_per_s: Sequence[float] = (), *,
            rng: np.random.Generator, claim: Claim | None = None,
            settings: ComparisonSettings | None = None) -> Comparison:  # fmt: skip
    """Strength of B over strength of A at the same rates, with all uncertainty of both fits.

    The draws of the two fits are paired at random. Machine errors are common to both (see
    `ratemodel.comparing.calibration`): what both series saw of them is joined, and on one common
    machine they cancel. The scatters are held to be alike within ``settings.scatter_alike``, by
    weights on the pairs (sampling importance resampling, Rubin 1988).

    Parameters
    ----------
    fit_a, fit_b : RateFit
        The series that is the yardstick, and the one that is judged.
    rates_per_s : sequence of float
        Strain rates in 1/s; empty for the tested rates of both.
    rng : numpy.random.Generator
        Source of randomness.
    claim : Claim, optional
        From `parse_claim`.
    settings : ComparisonSettings, optional
        Level, margin, confidence.

    Raises
    ------
    InputError
        The series measure different kinds of strength, a rate is not above 0, or a setting is out
        of range.
    """
    settings = settings or ComparisonSettings()
    _check(fit_a, fit_b, settings)
    u = np.log10(_rates(fit_a, fit_b, rates_per_s))
    size = min(fit_a.owner.size, fit_b.owner.size)
    a = fit_a.take(rng.permutation(fit_a.owner.size)[:size].astype(np.int64))
    b = fit_b.take(rng.permutation(fit_b.owner.size)[:size].astype(np.int64))
    means = calibrated([split_machines(a, u), split_machines(b, u)], rng)
    rows, effective = _alike(a, b, settings.scatter_alike, rng)
    a, b = a.take(rows), b.take(rows)
    mean_a, mean_b = means[0][rows], means[1][rows]
    points = tuple(
        _point(_Pair(a, b, mean_a, mean_b, u, settings, claim), i, rng) for i in range(u.size)
    )
    problems = pair_findings(fit_a, fit_b, u, effective)
    return Comparison(fit_a, fit_b, settings, claim, points, mean_b - mean_a, problems)


@dataclass(frozen=True)
class _Pair:
    """Paired rows of two fits with their calibrated means at log10 rates u."""

    a: RateFit
    b: RateFit
    mean_a: FloatArray
    mean_b: FloatArray
    u: FloatArray
    settings: ComparisonSettings
    claim: Claim | None


def _point(pair: _Pair, i: int, rng: np.random.Generator) -> RatePoint:
    at, level, margin = pair.u[i : i + 1], pair.settings.level, pair.settings.margin
    sigma_a, sigma_b = pair.a.sigma_at(at)[:, 0], pair.b.sigma_at(at)[:, 0]
    spool_a, spool_b = pair.a.batch_sd(), pair.b.batch_sd()
    mean = pair.mean_b[:, i] - pair.mean_a[:, i]
    one_a = _specimen(pair.a, sigma_a, spool_a, rng)
    one_b = _specimen(pair.b, sigma_b, spool_b, rng)

    def ahead(ln_by: float) -> float:
        """Probability that B exceeds A by more than a factor, A's scatter integrated."""
        offset = mean + one_b - ln_by
        return float(specimen_cdf(offset, sigma_a, spool_a, pair.a.scatter).mean())

    ln_claim = None if pair.claim is None else float(np.log(pair.claim.ratio))
    ratio = np.exp(mean)
    return RatePoint(
        strain_rate_per_s=float(10 ** pair.u[i]),
        ratio=interval_of(ratio, level),
        specimen_ratio=interval_of(np.exp(mean + one_b - one_a), level),
        specimen_stronger=ahead(0.0),
        claim=None if ln_claim is None else float(np.mean(mean >= ln_claim)),
        claim_specimen=None if ln_claim is None else ahead(ln_claim),
        equivalent=float(np.mean((ratio >= 1 - margin) & (ratio <= 1 + margin))),
        not_inferior=float(np.mean(ratio >= 1 - margin)),
        strength=(interval_of(np.exp(pair.mean_a[:, i]), level),
                  interval_of(np.exp(pair.mean_b[:, i]), level)),
        decades_beyond=(float(pair.a.decades_beyond(at)[0]), float(pair.b.decades_beyond(at)[0])),
    )  # fmt: skip


def _specimen(fit: RateFit, sigma: FloatArray, spool: FloatArray, rng: np.random.Generator
              ) -> FloatArray:  # fmt: skip
    """Departure of one new specimen of an unknown spool from the mean, one in each draw."""
    v = np.clip(rng.uniform(size=sigma.size), 1e-12, 1 - 1e-12)
    e = standard_quantile(v, fit.scatter)
    return np.asarray(sigma * e + spool * rng.standard_normal(sigma.size))


def _alike(a: RateFit, b: RateFit, width: float, rng: np.random.Generator
           ) -> tuple[IntArray, float]:  # fmt: skip
    """Rows of pairs whose scatters are as alike as held beforehand, and their effective number."""
    size = a.owner.size
    if not np.isfinite(width):
        return np.arange(size), float(size)
    centre = np.array([(a.data.centre + b.data.centre) / 2])
    ln = np.log(b.sigma_at(centre)[:, 0] / a.sigma_at(centre)[:, 0])
    weight = -0.5 * (ln / width) ** 2
    return systematic(weight, size, rng), effective_size(weight)


def _rates(a: RateFit, b: RateFit, given: Sequence[float]) -> FloatArray:
    rates = np.asarray(list(given), dtype=np.float64)
    if rates.size:
        if not (np.isfinite(rates).all() and (rates > 0).all()):
            raise InputError(f"strain rates {given!r}", "numbers above 0, in 1/s", column="rate")
        return rates
    tested = np.unique(np.round(np.concatenate([a.data.rates, b.data.rates]), 2))
    if tested.size > _MOST_RATES:
        tested = np.linspace(tested[0], tested[-1], _MOST_RATES)
    return np.asarray(10.0**tested)


def _check(a: RateFit, b: RateFit, settings: ComparisonSettings) -> None:
    kinds = [f.series.strength_unit.dimension for f in (a, b)]
    if kinds[0] != kinds[1]:
        raise InputError(f"{a.series.name} gives {kinds[0]}, {b.series.name} {kinds[1]}",
                         "two series whose strength is the same kind of quantity")  # fmt: skip
    if not 0 < settings.margin < 0.5:
        raise InputError(f"margin {settings.margin:g}", "a fraction above 0 and below 0.5")
    for name, value in (("level", settings.level), ("confidence", settings.confidence)):
        if not 0.5 <= value < 1:
            raise InputError(f"{name} {value:g}", "at least 0.5 and below 1", column=name)
    if not settings.scatter_alike > 0:
        raise InputError(f"scatter_alike {settings.scatter_alike:g}", "a number above 0")


def _shown(p: float) -> str:
    """A probability with no more certainty than the draws carry."""
    if p > 0.999:
        return "above 0.999"
    return "below 0.001" if p < 0.001 else f"{p:.3f}"

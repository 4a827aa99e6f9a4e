"""Screening of a set before it is fitted: flags and comparisons, nothing is ever removed.

Specimens are compared only with others tested alike (strain rate within a tenth of a decade, same
preload, same free length), since strength depends on all of these. Censored specimens and rows
unfolded from a published summary take no part in the tests.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray
from ratemodel.records.tables import Specimens

# Ratios left behind by a wrong unit of force.
_SLIPS = {9.80665: "kgf and N", 4.4482216: "lbf and N", 1000.0: "kN and N"}
_LEAST = 3


@dataclass(frozen=True)
class ScreeningFinding:
    """One check of a set of specimens.

    Attributes
    ----------
    check : str
        Name of the check.
    specimens : tuple of str
        Specimens it points at; all that took part where it points at none in particular.
    verdict : str
        ``"nothing unusual"``, ``"look at these"``, ``"pool"``, ``"do not pool"``, ``"alike"``,
        ``"differ"`` or ``"not comparable"``.
    detail : str
        Numbers behind the verdict.
    """

    check: str
    specimens: tuple[str, ...]
    verdict: str
    detail: str


def screen(specimens: Specimens, *, significance: float = 0.05) -> tuple[ScreeningFinding, ...]:
    """Run every check of this module on the specimens of one series."""
    return (
        *outliers(specimens, significance=significance),
        *pooling(specimens, "batch", significance=significance),
        *pooling(specimens, "machine", significance=significance),
        *sites(specimens, significance=significance),
        *unit_slips(specimens),
    )


def maximum_normed_residual(values: FloatArray, significance: float = 0.05) -> tuple[float, float]:
    """Return the largest |x − mean|/s and its two-sided critical value.

    Critical value (n − 1)/√n · √(t²/(n − 2 + t²)) with t the 1 − α/(2n) quantile of Student's t
    with n − 2 degrees of freedom (Grubbs, 1969, Technometrics 11:1).

    Parameters
    ----------
    values : ndarray, shape (n,)
        At least three values.
    significance : float
        Chance of flagging a sound set of normal values.
    """
    from scipy.special import stdtrit

    n = len(values)
    spread = float(np.std(values, ddof=1))
    if n < _LEAST or spread == 0:
        return 0.0, float("inf")
    statistic = float(np.max(np.abs(values - np.mean(values)))) / spread
    t = float(stdtrit(n - 2, 1 - significance / (2 * n)))
    return statistic, (n - 1) / np.sqrt(n) * float(np.sqrt(t**2 / (n - 2 + t**2)))


def outliers(specimens: Specimens, *, significance: float = 0.05) -> tuple[ScreeningFinding, ...]:
    """Flag outliers among specimens tested alike (maximum normed residual); none is removed."""
    found = []
    for condition in _conditions(specimens):
        values = specimens.strength[condition]
        if len(values) < _LEAST:
            continue
        statistic, critical = maximum_normed_residual(values, significance)
        worst = int(np.argmax(np.abs(values - np.mean(values))))
        flagged = statistic > critical
        names = _names(specimens, condition)
        found.append(
            ScreeningFinding(
                "outlier (maximum normed residual)",
                (names[worst],) if flagged else names,
                "look at these" if flagged else "nothing unusual",
                f"largest normed residual {statistic:.3f} of {len(values)} specimens, critical"
                f" {critical:.3f} at {significance:g}; kept unless its log or record shows why",
            )
        )
    return tuple(found)


def k_sample(groups: Sequence[FloatArray]) -> tuple[float, float]:
    """k-sample Anderson–Darling statistic and its p value (Scholz and Stephens, 1987).

    The p value is interpolated between 0.001 and 0.25 and held there beyond.
    """
    from scipy.stats import anderson_ksamp

    with warnings.catch_warnings():
        # held p values are wanted; the options renamed between releases of the library are not
        warnings.simplefilter("ignore")
        result = anderson_ksamp([np.asarray(g) for g in groups])
    return float(result.statistic), float(result.pvalue)


def pooling(
    specimens: Specimens, by: str, *, significance: float = 0.05
) -> tuple[ScreeningFinding, ...]:
    """Ask whether batches or machines may be pooled.

    Parameters
    ----------
    by : {"batch", "machine"}
        What divides the specimens.
    """
    labels = specimens.batch if by == "batch" else specimens.machine
    check = f"{by} pooling (k-sample Anderson–Darling)"
    if len({x for x in labels if x}) < 2:
        return ()
    found = _compared(specimens, labels, check, significance, ("pool", "do not pool"))
    if found:
        return found
    detail = (
        f"no two of the {by} groups were tested alike (two specimens each): a difference between"
        f" them can not be told from the effect of the rate; test one speed on both"
    )
    return (ScreeningFinding(check, specimens.specimen, "not comparable", detail),)


def sites(specimens: Specimens, *, significance: float = 0.05) -> tuple[ScreeningFinding, ...]:
    """Compare strengths by break site or mode."""
    named = {x for x in specimens.failure_site if x}
    if len(named) < 2:
        return ()
    check = "break sites (k-sample Anderson–Darling)"
    folded = tuple(_fold(x) for x in specimens.failure_site)
    found = _compared(specimens, folded, check, significance, ("alike", "differ"))
    if found:
        return found
    counts = ", ".join(f"{s} {folded.count(s)}" for s in sorted(set(folded)) if s)
    detail = f"too few breaks of one kind tested alike to compare: {counts}"
    return (ScreeningFinding(check, specimens.specimen, "not comparable", detail),)


def unit_slips(specimens: Specimens) -> tuple[ScreeningFinding, ...]:
    """Look for strengths that stand apart from the median by the ratio of two units of force."""
    strength = specimens.strength
    valid = np.isfinite(strength) & (strength > 0) & ~specimens.summary
    if np.count_nonzero(valid) < _LEAST:
        return ()
    apart = np.abs(np.log(np.where(valid, strength, np.nan) / np.median(strength[valid])))
    found = []
    for factor, words in _SLIPS.items():
        hit = valid & (np.abs(apart - np.log(factor)) < 0.15)
        if hit.any():
            detail = f"strength off by a factor near {factor:.4g}: were {words} mixed up?"
            found.append(
                ScreeningFinding("unit slip", _names(specimens, hit), "look at these", detail)
            )
    return tuple(found)


def as_censored(specimens: Specimens, sites: Iterable[str]) -> Specimens:
    """Treat breaks at these sites as right-censored: the rest of the line held at least that.

    As for competing failure modes: a specimen that slipped or broke at the termination says of the
    clear line only that it is stronger. Case and outer blanks of the names do not matter.
    """
    wanted = {_fold(s) for s in sites}
    cut = np.array([_fold(s) in wanted for s in specimens.failure_site], dtype=np.bool_)
    return replace(specimens, broke=specimens.broke & ~cut)


def _fold(site: str) -> str:
    return " ".join(site.casefold().split())


def _names(specimens: Specimens, mask: BoolArray) -> tuple[str, ...]:
    return tuple(s for s, take in zip(specimens.specimen, mask, strict=True) if take)


def _conditions(specimens: Specimens) -> list[BoolArray]:
    """Masks of specimens tested alike, broken ones only, in order of rate."""
    usable = specimens.broke & ~specimens.summary & np.isfinite(specimens.strength)
    rate = np.log10(specimens.strain_rate_per_s)
    keys: dict[tuple[float, ...], list[int]] = {}
    rank = _clusters(rate)
    for i in np.flatnonzero(usable):
        rest = (
            specimens.preload_fraction[i],
            specimens.preload_cycles[i],
            specimens.free_length_m[i],
        )
        key = (float(rank[i]), *(round(float(x), 6) if np.isfinite(x) else -1.0 for x in rest))
        keys.setdefault(key, []).append(int(i))
    masks = []
    for key in sorted(keys):
        mask = np.zeros(len(specimens), dtype=np.bool_)
        mask[keys[key]] = True
        masks.append(mask)
    return masks


def _clusters(rate: FloatArray) -> FloatArray:
    """Put rates into groups, numbered: gaps above a tenth of a decade divide them."""
    rank = np.full(len(rate), -1.0)
    order = [int(i) for i in np.argsort(rate) if np.isfinite(rate[i])]
    group = 0.0
    if order:
        rank[order[0]] = group
    for before, after in pairwise(order):
        group += float(rate[after] - rate[before] > 0.1)
        rank[after] = group
    return rank


def _compared(
    specimens: Specimens,
    labels: Sequence[str],
    check: str,
    significance: float,
    verdicts: tuple[str, str],
) -> tuple[ScreeningFinding, ...]:
    """k-sample comparison of the labelled groups within each condition."""
    found = []
    for condition in _conditions(specimens):
        groups: dict[str, list[float]] = {}
        for i in np.flatnonzero(condition).tolist():
            if labels[i]:
                groups.setdefault(labels[i], []).append(float(specimens.strength[i]))
        large = {k: np.array(v) for k, v in sorted(groups.items()) if len(v) >= 2}
        if len(large) < 2 or len(np.unique(np.concatenate(list(large.values())))) < 2:
            continue
        statistic, p = k_sample(list(large.values()))
        means = ", ".join(f"{k}: {len(v)} of mean {np.mean(v):.5g}" for k, v in large.items())
        differ = p < significance
        chosen = condition & np.array([label in large for label in labels], dtype=np.bool_)
        found.append(
            ScreeningFinding(
                check,
                _names(specimens, chosen),
                verdicts[1] if differ else verdicts[0],
                f"statistic {statistic:.3f}, p {_p_text(p)} ({means}; SI units)",
            )
        )
    return tuple(found)


def _p_text(p: float) -> str:
    """P value as text; the table behind it ends at 0.001 and 0.25."""
    if p <= 0.001:
        return "at most 0.001"
    return "at least 0.25" if p >= 0.25 else f"{p:.3g}"

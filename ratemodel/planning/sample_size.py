"""How many specimens: to see a difference, to demonstrate a lower bound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ratemodel.errors import InputError, NotIdentifiedError

MOST = 1_000_000


@dataclass(frozen=True)
class SampleSize:
    """Number of specimens and what it buys.

    Attributes
    ----------
    question : str
        What the number is for, in words.
    specimens : tuple of int
        Specimens per group (two groups, or one number for each of several spools).
    total : int
        All specimens together.
    power : float
        Probability of seeing what is looked for with these numbers, if it is there.
    """

    question: str
    specimens: tuple[int, ...]
    total: int
    power: float


def power_of_difference(difference: float, scatter: float, specimens: tuple[int, int], *,
                        level: float = 0.95, sides: int = 2) -> float:  # fmt: skip
    r"""Probability that a t test sees a difference between two speeds or two products.

    The test is on ln S, where d % means ln(1 + d/100); with :math:`\delta = \ln(1+d)/\sigma
    \sqrt{n_1 n_2/(n_1+n_2)}` the power is that of the non-central t with n1 + n2 - 2 degrees of
    freedom.

    Parameters
    ----------
    difference : float
        Difference as a fraction, 0.1 for 10 % (or -0.1).
    scatter : float
        Coefficient of variation of single specimens (standard deviation of ln S).
    specimens : tuple of int
        Specimens in each group.
    level : float
        Confidence of the test, 1 minus its chance of a false alarm.
    sides : {1, 2}
        1 where only a difference of the sign of ``difference`` counts.

    Examples
    --------
    >>> round(power_of_difference(0.10, 0.05, (5, 5)), 2)
    0.75
    """
    from scipy.stats import nct, t

    check_numbers(difference=difference, scatter=scatter, level=level, sides=sides)
    first, second = specimens
    if min(first, second) < 1 or first + second < 3:
        return 0.0
    dof = first + second - 2
    shift = abs(np.log1p(difference)) / scatter * np.sqrt(first * second / (first + second))
    edge = t.isf((1 - level) / sides, dof)
    power = nct.sf(edge, dof, shift)
    if sides == 2:
        # The far tail is so small that the non-central t may return NaN for it.
        power = power + np.nan_to_num(nct.cdf(-edge, dof, shift))
    return float(power)


def specimens_for_difference(difference: float, scatter: float, power: float = 0.9, *,
                             level: float = 0.95, sides: int = 2, ratio: float = 1.0
                             ) -> SampleSize:  # fmt: skip
    """Fewest specimens per group that see a difference with a power.

    Parameters
    ----------
    difference, scatter, level, sides
        As in `power_of_difference`.
    power : float
        Wanted probability of seeing it.
    ratio : float
        Specimens in the second group over the first.

    Examples
    --------
    >>> specimens_for_difference(0.10, 0.05).specimens
    (7, 7)
    """
    check_numbers(difference=difference, scatter=scatter, level=level, power=power, sides=sides)
    if not 0 < ratio < np.inf:
        raise InputError(f"ratio of group sizes {ratio:g}", "a number above 0")

    def groups(n: int) -> tuple[int, int]:
        return n, max(int(np.ceil(n * ratio - 1e-9)), 1)

    def reached(n: int) -> float:
        return power_of_difference(difference, scatter, groups(n), level=level, sides=sides)

    n = least_number(reached, power, 2)
    text = f"a difference of {100 * difference:+.3g} % at a scatter of {100 * scatter:.3g} %"
    return SampleSize(text, groups(n), sum(groups(n)), reached(n))


def specimens_for_success_run(fraction: float, confidence: float, failures: int = 0) -> SampleSize:
    r"""Specimens that must hold a load to show that at least ``fraction`` of all do.

    Without failures :math:`n = \ln(1 - c)/\ln p`, rounded up; with r allowed failures the smallest
    n whose binomial probability of r or fewer failures is at most 1 - c. No distribution of
    strength is assumed.

    Parameters
    ----------
    fraction : float
        p, the share of specimens that hold the load.
    confidence : float
        c.
    failures : int
        Specimens that may fail.

    Returns
    -------
    SampleSize
        ``power`` is the probability of passing if exactly a tenth of 1 - p fail.

    References
    ----------
    Lipson & Sheth, Statistical Design and Analysis of Engineering Experiments (1973), success-run
    theorem (from memory); Clopper & Pearson, Biometrika 26 (1934) 404.

    Examples
    --------
    >>> specimens_for_success_run(0.95, 0.95).total
    59
    """
    from scipy.stats import binom

    check_numbers(fraction=fraction, confidence=confidence)
    if failures < 0:
        raise InputError(f"{failures} allowed failures", "0 or more")

    def shown(n: int) -> float:
        return float(1 - binom.cdf(failures, n, 1 - fraction))

    n = least_number(shown, confidence, failures + 1)
    passing = float(binom.cdf(failures, n, (1 - fraction) / 10))
    text = (
        f"at least {100 * fraction:g} % hold the load, with confidence {100 * confidence:g} %, "
        f"{failures} failure(s) allowed"
    )
    return SampleSize(text, (n,), n, passing)


def specimens_for_lower_bound(margin: float, scatter: float, power: float = 0.9, *,
                              fraction: float = 0.95, confidence: float = 0.95
                              ) -> SampleSize:  # fmt: skip
    r"""Specimens whose lower tolerance bound, mean - k s of ln S, reaches a load with a power.

    With :math:`\delta = -\ln(1 - m)/\sigma` standard deviations between mean and load,
    :math:`P(\bar x - k s \ge L) = P(t'_{n-1}(\delta\sqrt n) \ge k\sqrt n)`.

    Parameters
    ----------
    margin : float
        m, by how much the load lies below the mean strength, as a fraction: 0.15 for 85 %.
    scatter, power : float
        Standard deviation of ln S; wanted probability that the bound reaches the load.

    Raises
    ------
    NotIdentifiedError
        The load lies above the strength that ``fraction`` of specimens truly reach.

    References
    ----------
    Faulkenberry & Weeks, Technometrics 10 (1968) 343 (from memory), sample size for tolerance
    limits.
    """
    from scipy.special import ndtri
    from scipy.stats import nct

    from ratemodel.tolerance import one_sided_factor

    check_numbers(fraction=fraction, confidence=confidence, power=power, scatter=scatter)
    if not 0 < margin < 1:
        raise InputError(f"margin {margin:g}", "a fraction of the mean strength between 0 and 1")
    distance = -np.log1p(-margin) / scatter
    if distance <= ndtri(fraction) * (1 + 1e-9):
        raise NotIdentifiedError(
            f"the load lies {distance:.2f} standard deviations below the mean, and "
            f"{100 * fraction:g} % of specimens reach only {ndtri(fraction):.2f}: no number of "
            "tests shows a bound that is not true; lower the load or the fraction"
        )

    def reached(n: int) -> float:
        root = np.sqrt(n)
        k = float(one_sided_factor(n, fraction, confidence))
        return float(nct.sf(k * root, n - 1, distance * root))

    n = least_number(reached, power, 2)
    text = (
        f"lower bound {100 * fraction:g}/{100 * confidence:g} at or above "
        f"{100 * (1 - margin):.3g} % of the mean, scatter {100 * scatter:.3g} %"
    )
    return SampleSize(text, (n,), n, reached(n))


def least_number(reached: Callable[[int], float], wanted: float, start: int) -> int:
    """Smallest n from ``start`` on at which a rising function reaches what is wanted."""
    low, high = start - 1, start
    while reached(high) < wanted:
        low, high = high, high * 2
        if high > MOST:
            raise NotIdentifiedError(
                f"more than {MOST} specimens would be needed; look for a larger effect"
            )
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reached(middle) >= wanted else (middle, high)
    return high


def check_numbers(**given: float) -> None:
    """Refuse numbers that the formulas cannot take, by their names."""
    for name, value in given.items():
        if name == "difference":
            if not (-1 < value < np.inf and value != 0):
                raise InputError(f"difference {value:g}", "a fraction above -1 and not 0")
        elif name == "scatter":
            if not 0 < value < np.inf:
                raise InputError(f"scatter {value:g}", "a standard deviation of ln S above 0")
        elif name == "sides":
            if value not in (1, 2):
                raise InputError(f"sides {value:g}", "1 or 2")
        elif not 0 < value < 1:
            raise InputError(f"{name} {value:g}", "a probability between 0 and 1")


__all__ = [
    "MOST",
    "SampleSize",
    "check_numbers",
    "least_number",
    "power_of_difference",
    "specimens_for_difference",
    "specimens_for_lower_bound",
    "specimens_for_success_run",
]

"""A claim such as "+20%": what it says in words, and how far the tests bear it out."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError

Verdict: TypeAlias = Literal["shown", "not decided", "contradicted"]

_CLAIM = re.compile(r"([+-])([0-9]{1,4}(?:\.[0-9]{1,4})?) ?%")
_MARGIN = re.compile(r"([0-9]{1,2}(?:\.[0-9]{1,4})?) ?%")


@dataclass(frozen=True)
class Claim:
    """What is claimed of B against A.

    Attributes
    ----------
    ratio : float
        Strength of B over strength of A that the claim says is reached or exceeded.
    text : str
        The claim as given.
    """

    ratio: float
    text: str

    def words(self, a: str, b: str) -> str:
        """The claim as a sentence about two named series.

        Examples
        --------
        >>> parse_claim("+20%").words("old", "new")
        'new is at least 20 % stronger than old'
        >>> parse_claim("-5%").words("old", "new")
        'new is at most 5 % weaker than old'
        """
        per_cent = f"{abs(100 * (self.ratio - 1)):.6g} %"
        if self.ratio < 1:
            return f"{b} is at most {per_cent} weaker than {a}"
        if self.ratio == 1:
            return f"{b} is at least as strong as {a}"
        return f"{b} is at least {per_cent} stronger than {a}"


def parse_claim(text: str) -> Claim:
    """Read a claim of B against A: ``+20%`` at least 20 % stronger, ``-5%`` at most 5 % weaker.

    Raises
    ------
    InputError
        Anything but a sign, a number and a per cent sign; a loss of 100 % or more; a gain over
        1000 %.

    Examples
    --------
    >>> parse_claim("+20%").ratio
    1.2
    >>> parse_claim("-2.5 %").ratio
    0.975
    """
    match = _CLAIM.fullmatch(text.strip())
    remedy = "a sign, a number and %, as +20% (at least 20 % stronger) or -5% (at most 5 % weaker)"
    if match is None:
        raise InputError(f"claim {text!r} can not be read", remedy, column="claim")
    percent = float(match[2]) * (1 if match[1] == "+" else -1)
    if not -100 < percent <= 1000:
        raise InputError(f"claim {text!r}", "above -100% and at most +1000%", column="claim")
    return Claim((100 + percent) / 100, text.strip())


def parse_margin(text: str) -> float:
    """Read a margin such as ``5%`` as a fraction above 0 and below 0.5.

    Raises
    ------
    InputError
        Anything else.

    Examples
    --------
    >>> parse_margin("5%")
    0.05
    """
    match = _MARGIN.fullmatch(text.strip())
    if match is None or not 0 < float(match[1]) < 50:
        raise InputError(f"margin {text!r}", "a number above 0 and below 50 and %, as 5%",
                         column="margin")  # fmt: skip
    return float(match[1]) / 100


def verdict(probability: float, confidence: float) -> Verdict:
    """What a probability allows one to say at a confidence.

    Examples
    --------
    >>> verdict(0.97, 0.95), verdict(0.6, 0.95), verdict(0.02, 0.95)
    ('shown', 'not decided', 'contradicted')
    """
    if probability >= confidence:
        return "shown"
    return "contradicted" if probability <= 1 - confidence else "not decided"


@dataclass(frozen=True)
class Interval:
    """Median of a quantity and the ends of its interval."""

    median: float
    low: float
    high: float


def interval_of(draws: FloatArray, level: float) -> Interval:
    """Median and equal-tailed interval of draws of shape (draws,).

    Examples
    --------
    >>> interval_of(np.arange(9.0), 0.5)
    Interval(median=4.0, low=2.0, high=6.0)
    """
    low, median, high = np.quantile(draws, [(1 - level) / 2, 0.5, (1 + level) / 2])
    return Interval(float(median), float(low), float(high))

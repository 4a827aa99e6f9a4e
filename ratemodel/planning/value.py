"""Value of a test: what it is expected to do to an answer, and afterwards what it did."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.ratefit import RateFit
from ratemodel.planning.suggest import outcome_ratios

#: New specimens count as those of the test within this many decades of its rate.
_NEAR = 0.15


@dataclass(frozen=True)
class TestValue:
    """What some specimens at one rate are expected to do to the interval of an answer.

    Attributes
    ----------
    strain_rate_per_s : float
    specimens : int
    width_now : float
        Width of the answer's interval now, on ln S.
    expected_ratio : float
        Expected width after the test over the width now.
    ratio_range : tuple of float
        The ratio lies between these in 8 of 10 outcomes.
    mean_ln, sd_ln : float
        What the mean of ln S (SI) of the new specimens is expected to be, and its uncertainty.
    seen : frozenset of str
        Specimens the expectation rests on.
    """

    __test__ = False  # not a test for pytest to collect

    strain_rate_per_s: float
    specimens: int
    width_now: float
    expected_ratio: float
    ratio_range: tuple[float, float]
    mean_ln: float
    sd_ln: float
    seen: frozenset[str]


@dataclass(frozen=True)
class ValueCheck:
    """An expectation beside what came.

    Attributes
    ----------
    expected_ratio, ratio : float
        Width of the answer's interval after the test over that before, expected and found.
    within : bool
        Whether the ratio found lies where 8 of 10 outcomes were expected.
    specimens : int
        New specimens that broke near the rate of the test.
    departure : float
        Their mean's distance from what was expected, in standard deviations of the expectation.
    words : str
        The verdict in one sentence.
    """

    expected_ratio: float
    ratio: float
    within: bool
    specimens: int
    departure: float
    words: str


def value_of_test(fit: RateFit, target: FloatArray, rate: float, specimens: int = 3) -> TestValue:
    """Expected effect of ``specimens`` more at ``rate`` on the interval of an answer.

    Parameters
    ----------
    fit : RateFit
        What is known.
    target : ndarray, shape (draws,)
        The answer, per draw of ``fit``, as ``UseStrength.mean_ln``.
    rate : float
        Strain rate of the test, 1/s.
    specimens : int
    """
    if not 0 < rate < np.inf or specimens < 1:
        raise InputError(f"{specimens} specimens at {rate:g} /s", "1 or more at a rate above 0")
    if target.shape != fit.owner.shape:
        raise InputError(f"an answer of shape {target.shape}", f"one value for each of the "
                         f"{fit.owner.size} draws of the fit")  # fmt: skip
    u = float(np.log10(rate))
    ratios = outcome_ratios(fit, target, u, specimens)
    mean, sigma = fit.mean_ln(np.array([u]))[:, 0], fit.sigma_at(np.array([u]))[:, 0]
    sd = float(np.sqrt(mean.var() + np.mean(sigma**2) / specimens))
    low, high = (float(q) for q in np.quantile(ratios, [0.1, 0.9]))
    return TestValue(rate, specimens, _width(fit, target), float(ratios.mean()), (low, high),
                     float(mean.mean()), sd, frozenset(fit.series.used.specimen))  # fmt: skip


def check_value(before: TestValue, after: RateFit, target: FloatArray) -> ValueCheck:
    """What the new rows did, against what was expected of them.

    Parameters
    ----------
    before : TestValue
        Made before the test.
    after : RateFit
        The fit with the new rows.
    target : ndarray, shape (draws,)
        The same answer, per draw of ``after``.

    Raises
    ------
    NotIdentifiedError
        No new specimen broke near the rate of the test.
    """
    used = after.series.used
    u = np.log10(used.strain_rate_per_s)
    new = np.array([name not in before.seen for name in used.specimen])
    mine = new & used.broke & (np.abs(u - np.log10(before.strain_rate_per_s)) <= _NEAR)
    count = int(mine.sum())
    if count == 0:
        raise NotIdentifiedError(
            f"no new specimen broke near {before.strain_rate_per_s:.3g} /s; add the rows of the "
            "test and fit again"
        )
    ratio = _width(after, target) / max(before.width_now, 1e-12)
    departure = (float(np.log(used.strength[mine]).mean()) - before.mean_ln) / before.sd_ln
    low, high = before.ratio_range
    within = bool(low <= ratio <= high)
    words = (
        f"{count} new specimens near {before.strain_rate_per_s:.3g} /s: the interval is now "
        f"{100 * ratio:.0f} % of what it was, expected {100 * before.expected_ratio:.0f} % "
        f"({100 * low:.0f} to {100 * high:.0f} % in 8 of 10 cases); their mean lies "
        f"{departure:+.1f} standard deviations from the expectation"
    )
    if abs(departure) > 2.5:
        words += ", a surprise: check the rows and the machine before building on it"
    elif count != before.specimens:
        words += f" (the expectation was for {before.specimens} specimens)"
    return ValueCheck(before.expected_ratio, ratio, within, count, departure, words)


def _width(fit: RateFit, target: FloatArray) -> float:
    tails = [(1 - fit.level) / 2, (1 + fit.level) / 2]
    return float(np.diff(np.quantile(target, tails))[0])

"""What one more test would buy: how much an answer's interval would narrow, expected beforehand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.planning.suggest import SPECIMENS, expected_ratio
from ratemodel.translation import UseStrength

SPEED, SPOOL = "another speed", "another spool"
#: Relative standard uncertainty of a quantity measured with care; common practice, no source.
MEASURED_WITHIN = 0.02
#: Quantities of a use that belong to the line and can be measured once for all.
OF_THE_LINE = ("stiffness", "exponent", "damping", "damping_ratio", "slip_force", "line_weight",
               "line_mass", "sling_stiffness", "second_stiffness")  # fmt: skip
_ROWS = 8000
_SLICES = 32


@dataclass(frozen=True)
class TestWorth:
    """What a further test is expected to bring.

    Attributes
    ----------
    of : str
        What is tested or measured.
    expected_interval_ratio : float
        Expected width of the interval of the answer after it, over its width now; 1 is nothing.
    answer : str
        The answer it is judged by.
    how : str
        What the test is taken to be.
    """

    __test__ = False  # no test case, whatever a test runner makes of the name

    of: str
    expected_interval_ratio: float
    answer: str
    how: str


def one_more_test_of(strength: UseStrength, what: str, *, specimens: int = SPECIMENS) -> TestWorth:
    """Expected narrowing of the mean margin of a use by one more test.

    The outcome of the test is predicted in every joint draw, draws are sorted by it, and the
    interval of the answer is taken within slices of like outcome. The answer is ln(mean strength)
    − ln(demand); a quantity of the event counts as not known, not as varying: where it varies
    from one event to the next (a height of fall), no measurement takes its spread away.

    Parameters
    ----------
    strength : UseStrength
        As translated.
    what : str
        ``"another speed"``, ``"another spool"``, the name of a factor, or of a quantity of the
        event such as ``"stiffness"``.
    specimens : int
        Broken in the test.

    Raises
    ------
    InputError
        No such input.
    """
    some = np.arange(min(strength.mean_ln.size, _ROWS))
    target = _answer(strength)[some]
    name = "ln of mean strength" + ("" if strength.event.peak_force_N is None else " over demand")
    if what == SPEED:
        fit = strength.fit.take(some)
        low = min(float(strength.fit.data.u.min()), float(np.median(strength.u)))
        high = max(float(strength.fit.data.u.max()), float(np.median(strength.u)))
        where = np.linspace(low, high, max(int(np.ceil(4 * (high - low))) + 1, 2))
        ratio = expected_ratio(fit, target, where, specimens)
        best = int(np.argmin(ratio))
        how = f"{specimens} specimens at {10 ** where[best]:.2g} /s, the best rate looked at"
        return TestWorth(what, float(ratio[best]), name, how)
    outcome, how = _outcome(strength, what, specimens)
    ratio_now = _narrowed(target, outcome[some], strength.fit.level)
    return TestWorth(what, ratio_now, name, how)


def worth_of_tests(strength: UseStrength, *, specimens: int = SPECIMENS) -> tuple[TestWorth, ...]:
    """Every test of the line that `one_more_test_of` knows for a use, the most useful first.

    Quantities of the event (mass, fall, closing speed) are left out: they vary, whatever is known.
    """
    uncertain = [n for n in OF_THE_LINE if _varies(strength, n)]
    factors = [n for n, v in strength.factors.items() if np.ptp(v) > 0]
    all_ = [one_more_test_of(strength, w, specimens=specimens)
            for w in (SPEED, SPOOL, *factors, *uncertain)]  # fmt: skip
    return tuple(sorted(all_, key=lambda t: t.expected_interval_ratio))


def _varies(strength: UseStrength, quantity: str) -> bool:
    known = strength.use.quantities.get(quantity)
    return known is not None and known.kind != "fixed"


def _answer(strength: UseStrength) -> FloatArray:
    demand = strength.event.peak_force_N
    return strength.mean_ln if demand is None else strength.mean_ln - np.log(demand)


def _outcome(strength: UseStrength, what: str, specimens: int) -> tuple[FloatArray, str]:
    """What the test would read in every draw."""
    fit, size = strength.fit, strength.mean_ln.size
    noise = np.random.default_rng(11).standard_normal((2, size))
    if what == SPOOL:
        rate = fit.data.rates[int(np.argmin(np.abs(fit.data.rates - np.median(strength.u))))]
        at = np.array([float(rate)])
        mean, sigma = fit.mean_ln(at)[:, 0], fit.sigma_at(at)[:, 0]
        read = mean + fit.batch_sd() * noise[0] + sigma / np.sqrt(specimens) * noise[1]
        return read, f"{specimens} specimens of a spool not tested yet at {10**rate:.2g} /s"
    if what in strength.factors:
        # A ratio of two means, of as many specimens with and without.
        wide = strength.sigma * np.sqrt(2 / specimens)
        how = f"{specimens} specimens with it and {specimens} as tested so far, of one spool"
        return strength.factors[what] + wide * noise[0], how
    given = strength.event.inputs.get(what)
    if given is None:
        known = (SPEED, SPOOL, *strength.factors, *strength.event.inputs)
        raise InputError(f"nothing to test by the name {what}", f"one of {', '.join(known)}")
    how = f"measured with a standard uncertainty of {100 * MEASURED_WITHIN:g} %"
    return given * (1 + MEASURED_WITHIN * noise[0]), how


def _narrowed(target: FloatArray, outcome: FloatArray, level: float) -> float:
    tails = [(1 - level) / 2, (1 + level) / 2]
    now = float(np.diff(np.quantile(target, tails))[0])
    parts = np.array_split(np.argsort(outcome, kind="stable"), _SLICES)
    widths = [float(np.diff(np.quantile(target[s], tails))[0]) for s in parts]
    return float(np.mean(widths)) / max(now, 1e-12)

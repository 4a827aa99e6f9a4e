"""Is the scatter of lives the same at every load? A likelihood-ratio test, said in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from ratemodel.errors import NotIdentifiedError
from ratemodel.inference.life import LifeData, LifeDistribution, regress


@dataclass(frozen=True)
class ShapeTest:
    """Whether the scatter of lives is the same at every condition.

    Attributes
    ----------
    statistic : float
        Twice the gain in log-likelihood from separate scatters.
    degrees_of_freedom : int
        Number of conditions less one.
    p_value : float
        Chance of a statistic as large if the scatter is common.
    conditions : tuple of float
        Loads (N), or temperatures (K) for laws without load.
    shapes : tuple of float
        Weibull shape (or 1/standard deviation of ln life) at each.
    rejected : bool
        True where p_value is below 0.05.
    words : str
        The verdict for a practitioner.
    """

    statistic: float
    degrees_of_freedom: int
    p_value: float
    conditions: tuple[float, ...]
    shapes: tuple[float, ...]
    rejected: bool
    words: str


def common_shape_test(
    data: LifeData, distribution: LifeDistribution = "weibull", *, by: str = "load"
) -> ShapeTest:
    """Likelihood-ratio test of a common scatter, each condition with its own typical life.

    Conditions with fewer than two breaks are left out.

    References
    ----------
    Nelson, Accelerated Testing (1990), section 5.4.
    """
    key = data.load_N if by == "load" else data.temperature_K
    levels = [v for v in np.unique(key[np.isfinite(key)]) if data.broke[key == v].sum() >= 2]
    if len(levels) < 2:
        raise NotIdentifiedError(
            "the scatter can be compared only where two or more conditions have two or more breaks"
        )
    keep = np.isin(key, levels)
    y, event, key = np.log(data.time_s[keep]), data.broke[keep], key[keep]
    dummies = np.stack([(key == v).astype(np.float64) for v in levels], axis=1)
    common = regress(dummies, y, event, distribution)[2]
    separate, shapes = 0.0, []
    for v in levels:
        here = key == v
        _, ln_scale, value, _ = regress(
            np.ones((int(here.sum()), 1)), y[here], event[here], distribution
        )
        separate += value
        shapes.append(float(np.exp(-ln_scale)))
    statistic = max(0.0, 2.0 * (separate - common))
    p = float(chdtrc(len(levels) - 1, statistic))
    conditions = tuple(float(v) for v in levels)
    return ShapeTest(
        statistic=statistic,
        degrees_of_freedom=len(levels) - 1,
        p_value=p,
        conditions=conditions,
        shapes=tuple(shapes),
        rejected=p < 0.05,
        words=_shape_words(p, shapes, conditions, "N" if by == "load" else "K"),
    )


def _shape_words(p: float, shapes: list[float], conditions: tuple[float, ...], unit: str) -> str:
    listed = ", ".join(
        f"{s:.2f} at {c:.4g} {unit}" for s, c in zip(shapes, conditions, strict=True)
    )
    if p >= 0.05:
        return (
            f"The scatter of the lives may be the same at every condition (shape {listed}; such "
            f"differences arise by chance in {p:.0%} of tests): one law with one scatter is fair."
        )
    return (
        f"The scatter of the lives is not the same at every condition (shape {listed}; such "
        f"differences arise by chance in {p:.2g} of tests). A smaller shape means more early "
        "breaks. One law with one scatter hides this: do not use its lower bound at the condition "
        "with the smallest shape without a bound fitted there alone."
    )

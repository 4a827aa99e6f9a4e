"""Plain signal work on force: noise, turning points, sudden drops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem
from ratemodel.records.logfile.thin import extremes

_ENVELOPE_BLOCKS = 2_000
_NOISE_SAMPLES = 60_000
_SEARCH = 4_096


@dataclass(frozen=True, eq=False)
class Signal:
    """A log made ready: tension positive, position growing with the pull, samples in order.

    ``peak`` is the index of the highest force.

    ``position_m`` has the machine's own stretch taken off where its stiffness was stated.
    ``rest_N`` is the force at which the log starts, ``step_s`` the median step of time.
    """

    time_s: FloatArray
    force_N: FloatArray
    position_m: FloatArray | None
    peak: int
    rest_N: float
    noise_N: float
    step_s: float
    findings: tuple[Problem, ...]
    corrections: tuple[str, ...]


def noise_of(force: FloatArray, time: FloatArray, around: int, step: float) -> float:
    """Estimate the standard deviation of the samples about a smooth curve.

    From the median absolute second difference: a ramp has none, a break is one outlier. White
    noise of variance s² gives second differences of variance 6 s². Only samples that follow one
    another by the `step` of the clock count, the extremes of a thinned log do not. The step of
    the digitiser, uniform, sets a floor of step/√12.
    """
    start = max(0, min(around, len(force)) - _NOISE_SAMPLES)
    part = force[start : start + 2 * _NOISE_SAMPLES]
    if len(part) < 5:
        return 0.0
    close = np.diff(time[start : start + 2 * _NOISE_SAMPLES]) <= 1.5 * step
    second = np.abs(np.diff(part, n=2))[close[1:] & close[:-1]]
    if len(second) < 3:
        return 0.0
    sigma = float(np.median(second)) / 0.6745 / np.sqrt(6.0)
    levels = np.diff(np.unique(part[:4000]))
    real = levels[levels > 1e-9 * np.ptp(part)] if len(levels) else levels
    floor = float(real.min()) / np.sqrt(12.0) if len(real) and sigma == 0 else 0.0
    return float(max(sigma, floor))


def turning_points(force: FloatArray, threshold: float) -> tuple[list[int], list[int]]:
    """Tops and bottoms of every swing larger than `threshold`, as indices in order.

    Each top has a bottom after it, except perhaps the last.
    """
    index = extremes(force, _ENVELOPE_BLOCKS)
    values = force[index].tolist()
    tops: list[int] = []
    bottoms: list[int] = []
    high = low = 0
    rising = True
    for i, value in enumerate(values):
        if rising:
            if value > values[high]:
                high = i
            elif values[high] - value > threshold:
                tops.append(int(index[high]))
                rising, low = False, i
        elif value < values[low]:
            low = i
        elif value - values[low] > threshold:
            bottoms.append(int(index[low]))
            rising, high = True, i
    if not rising:
        bottoms.append(int(index[low]))
    return tops, bottoms


def first_above(force: FloatArray, level: float) -> int:
    """Index of the first sample above a level; the length where there is none."""
    start, size = 0, _SEARCH
    while start < len(force):  # in growing blocks: the answer is mostly near the start
        above = force[start : start + size] > level
        if above.any():
            return start + int(np.argmax(above))
        start, size = start + size, size * 4
    return len(force)


def last_below(force: FloatArray, level: float, end: int) -> int:
    """Index of the last sample below a level before `end`; −1 where there is none."""
    stop, size = min(end, len(force)), _SEARCH
    while stop > 0:
        start = max(stop - size, 0)
        below = force[start:stop][::-1] < level
        if below.any():
            return stop - 1 - int(np.argmax(below))
        stop, size = start, size * 4
    return -1


def slope(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Least-squares slope of y on x and its standard error; NaN where x does not move."""
    if len(x) < 2:
        return float("nan"), float("nan")
    dx = x - x.mean()
    spread = float(dx @ dx)
    if spread <= 0 or not np.isfinite(spread):
        return float("nan"), float("nan")
    b = float(dx @ y) / spread
    if len(x) < 3:
        return b, float("nan")
    rest = y - y.mean() - b * dx
    return b, float(np.sqrt(rest @ rest / (len(x) - 2) / spread))

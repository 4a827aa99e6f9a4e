"""Load histories: the load on a line against time, as straight pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError


@dataclass(frozen=True)
class LoadHistory:
    """Load against time, straight between the points.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Never falling; two equal times are a step.
    load_N : ndarray, shape (n,)
        Load at those times. A slack line carries none: negative readings count as 0.
    temperature_K : float
        Constant temperature; NaN where the law of life takes none.
    """

    time_s: FloatArray
    load_N: FloatArray
    temperature_K: float = float("nan")

    def __post_init__(self) -> None:
        time = np.array(self.time_s, dtype=np.float64)
        load = np.array(self.load_N, dtype=np.float64)
        if time.ndim != 1 or time.shape != load.shape or len(time) < 2:
            raise InputError(
                f"a load history of {time.size} times and {load.size} loads",
                "two or more times with as many loads",
            )
        if not (np.all(np.isfinite(time)) and np.all(np.isfinite(load))):
            raise InputError("a time or load of the history is not finite", "finite numbers")
        if np.any(np.diff(time) < 0):
            at = int(np.argmax(np.diff(time) < 0)) + 1
            raise InputError(
                f"time runs back at point {at + 1} of the history", "times in rising order"
            )
        object.__setattr__(self, "time_s", time)
        object.__setattr__(self, "load_N", np.maximum(load, 0.0))

    @property
    def duration_s(self) -> float:
        """Time from the first to the last point."""
        return float(self.time_s[-1] - self.time_s[0])

    def then(self, other: LoadHistory) -> LoadHistory:
        """Put ``other`` straight after this one."""
        shift = self.time_s[-1] - other.time_s[0]
        return replace(
            self,
            time_s=np.concatenate([self.time_s, other.time_s + shift]),
            load_N=np.concatenate([self.load_N, other.load_N]),
        )


def ramp(loading_rate_N_per_s: float, to_N: float, *, start_N: float = 0.0) -> LoadHistory:
    """Load rising evenly.

    Examples
    --------
    >>> ramp(10.0, 500.0).duration_s
    50.0
    """
    if not (loading_rate_N_per_s > 0 and to_N > start_N >= 0):
        raise InputError(
            f"a ramp from {start_N:g} N to {to_N:g} N at {loading_rate_N_per_s:g} N/s",
            "a rate above 0 and an end above the start",
        )
    end = (to_N - start_N) / loading_rate_N_per_s
    return LoadHistory(np.array([0.0, end]), np.array([start_N, to_N]))


def hold(load_N: float, duration_s: float) -> LoadHistory:
    """Constant load."""
    return LoadHistory(np.array([0.0, duration_s]), np.array([load_N, load_N]))


def steps(loads_N: Sequence[float], duration_s: float) -> LoadHistory:
    """Hold loads one after another, each for the same time."""
    loads = np.asarray(loads_N, dtype=np.float64)
    edges = np.arange(len(loads) + 1) * duration_s
    return LoadHistory(np.repeat(edges, 2)[1:-1], np.repeat(loads, 2))


def cycles(low_N: float, high_N: float, period_s: float, count: int) -> LoadHistory:
    """Triangular cycles low-high-low."""
    if count < 1 or not period_s > 0:
        raise InputError(f"{count} cycles of {period_s:g} s", "one or more cycles of positive time")
    times = np.arange(2 * count + 1, dtype=np.float64) * (period_s / 2)
    loads = np.where(np.arange(2 * count + 1) % 2 == 0, low_N, high_N)
    return LoadHistory(times, loads.astype(np.float64))


def sine_cycles(
    low_N: float, high_N: float, period_s: float, count: int, *, points: int = 128
) -> LoadHistory:
    """Sinusoidal cycles, as straight pieces.

    Each straight piece is drawn through the curve. Near the peak it lies below it by at most the
    half range times (2 pi / points)**2 / 8, 0.03 % at 128 points.
    """
    times = np.arange(points * count + 1, dtype=np.float64) * (period_s / points)
    swing = 0.5 - 0.5 * np.cos(2 * np.pi * times / period_s)
    return LoadHistory(times, low_N + (high_N - low_N) * swing)

"""Stretches at constant force or constant position."""

from __future__ import annotations

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.reduction.record import Hold
from ratemodel.reduction.signal import Signal, slope
from ratemodel.reduction.swings import Pull

_BLOCKS = 1_000
_LEAST_LEVEL = 0.05  # of the peak; below it the specimen rests
_LONGER = 10.0  # times the pull would need to cross the band
_SLOWER = 0.2  # of the speed of the pull: a soft start is no hold


def find_holds(signal: Signal, pull: Pull, end: int, free_length_m: float) -> tuple[Hold, ...]:
    """Find where force stays within ± 1 % of the peak far longer than the pull takes to cross that.

    A position that stands still while force relaxes counts as well.
    """
    height = signal.force_N[pull.peak] - signal.rest_N
    if not pull.force_rate > 0 or end < 8:
        return ()
    size = max(end // _BLOCKS, 1)
    whole = (end // size) * size
    time, force = _means(signal.time_s, whole, size), _means(signal.force_N, whole, size)
    half = max(0.01 * height, 4 * signal.noise_N / np.sqrt(size))
    least = _LONGER * 2 * half / pull.force_rate
    runs = _runs(time, force, 2 * half, least)
    if signal.position_m is not None and pull.stiffness > 0:
        position = _means(signal.position_m, whole, size)
        jitter = np.median(np.abs(np.diff(position, n=2))) / 0.6745 / np.sqrt(6)
        still = max(0.002 * height / pull.stiffness, 4 * float(jitter))
        speed = pull.force_rate / pull.stiffness
        runs += _runs(time, position, 2 * still, max(_LONGER * 2 * still / speed, 0.2 * least))
    found = []
    for first, last in _joined(runs):
        hold = _describe(signal, first * size, min((last + 1) * size, end), free_length_m)
        moves = hold.creep_m_per_s
        creeping = not (pull.stiffness > 0 and moves > _SLOWER * pull.force_rate / pull.stiffness)
        if hold.level_N > signal.rest_N + _LEAST_LEVEL * height and creeping:
            found.append(hold)
    return tuple(found)


def _means(values: FloatArray, whole: int, size: int) -> FloatArray:
    return np.asarray(values[:whole].reshape(-1, size).mean(axis=1), dtype=np.float64)


def _runs(time: FloatArray, values: FloatArray, band: float, least: float) -> list[tuple[int, int]]:
    """Longest stretches, from the left, within a band and at least so long and of 5 blocks."""
    runs = []
    start, n = 0, len(values)
    levels, times = values.tolist(), time.tolist()
    while start < n - 4:
        low = high = levels[start]
        stop = start + 1
        while stop < n:
            low, high = min(low, levels[stop]), max(high, levels[stop])
            if high - low > band:
                break
            stop += 1
        if stop - start >= 5 and times[stop - 1] - times[start] >= least:
            runs.append((start, stop - 1))
            start = stop
        else:
            # the sample that broke the band ends every start up to the one nearest to it
            start += 1
    return runs


def _joined(runs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Overlapping or touching runs as one."""
    joined: list[tuple[int, int]] = []
    for first, last in sorted(runs):
        if joined and first <= joined[-1][1] + 2:
            joined[-1] = (joined[-1][0], max(last, joined[-1][1]))
        else:
            joined.append((first, last))
    return joined


def _describe(signal: Signal, start: int, stop: int, free_length_m: float) -> Hold:
    time = signal.time_s[start:stop]
    creep = float("nan")
    if signal.position_m is not None:
        second = slice(len(time) // 2, None)
        creep, _ = slope(time[second], signal.position_m[start:stop][second])
    return Hold(
        level_N=float(np.mean(signal.force_N[start:stop])),
        start_s=float(time[0]),
        duration_s=float(time[-1] - time[0]),
        creep_m_per_s=creep,
        creep_rate_per_s=creep / free_length_m,
    )

"""Preload cycles, sudden drops of force, and how the pull ended."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem
from ratemodel.reduction.record import Cycle, Drop, Ending
from ratemodel.reduction.signal import Signal, last_below, slope, turning_points

_DROP_FRACTION = 0.03  # of the peak, or 8 standard deviations of noise
_BACK = 0.25  # share of the elastic stretch that must come back to call it unloading


@dataclass(frozen=True)
class Pull:
    """Rough facts of the final pull that tell unloading from breaking."""

    peak: int
    force_rate: float
    stiffness: float


@dataclass(frozen=True)
class Fall:
    """A sudden drop between two samples."""

    start: int
    end: int
    size: float


def rough_pull(signal: Signal) -> Pull:
    """Force rate and stiffness from 50 % to 100 % of the peak, as the median over five parts.

    The median leaves out a hold or a strand break in one of them.
    """
    peak = signal.peak
    height = signal.force_N[peak] - signal.rest_N
    shares = (0.5, 0.6, 0.7, 0.8, 0.9)
    marks = [last_below(signal.force_N, signal.rest_N + s * height, peak) + 1 for s in shares]
    marks = sorted({min(m, max(peak - 1, 0)) for m in marks} | {peak})
    rise, took = np.diff(signal.force_N[marks]), np.diff(signal.time_s[marks])
    rate = _middle(rise, took)
    stiffness = float("nan")
    if signal.position_m is not None:
        stiffness = _middle(rise, np.diff(signal.position_m[marks]))
    return Pull(peak, rate, stiffness)


def _middle(rise: FloatArray, way: FloatArray) -> float:
    """Median of the ratios that are positive; NaN without any."""
    good = (way > 0) & (rise > 0)
    return float(np.median(rise[good] / way[good])) if good.any() else float("nan")


def sudden_falls(signal: Signal, pull: Pull) -> list[Fall]:
    """Find drops that happen within half a per cent of the time of the pull.

    A machine that unloads can not do that; where position is known it must not run back either.
    """
    force, time = signal.force_N, signal.time_s
    height = force[pull.peak] - signal.rest_N
    rise_time = height / pull.force_rate if pull.force_rate > 0 else float("nan")
    span = 0.005 * rise_time / signal.step_s if np.isfinite(rise_time) else 1.0
    width = int(min(max(1, round(span)), max(1, len(force) // 20)))
    least = max(_DROP_FRACTION * height, 8 * signal.noise_N)
    if signal.position_m is None:
        least = max(least, 3 * abs(pull.force_rate) * signal.step_s * width)
    down = force[:-width] - force[width:] > least
    if not down.any():
        return []
    hits = np.flatnonzero(down)
    near = time[hits + width] - time[hits] <= 3 * width * signal.step_s
    groups = np.split(hits, np.flatnonzero(np.diff(hits) > width) + 1)
    falls = []
    for group in groups:
        if not near[np.searchsorted(hits, group[0])]:
            continue
        part = force[group[0] : group[-1] + width + 1]
        top = int(np.argmax(part))
        bottom = top + int(np.argmin(part[top:]))
        fall = Fall(int(group[0]) + top, int(group[0]) + bottom, float(part[top] - part[bottom]))
        if fall.size > least and not _runs_back(signal, pull, fall.start, fall.end):
            falls.append(fall)
    return falls


def _runs_back(signal: Signal, pull: Pull, start: int, end: int) -> bool:
    """Whether position gives back part of the elastic stretch while force falls."""
    if signal.position_m is None or not pull.stiffness > 0:
        return False
    drop = signal.force_N[start] - signal.force_N[end]
    back = signal.position_m[start] - signal.position_m[end]
    return bool(back > _BACK * drop / pull.stiffness)


def unloadings(
    signal: Signal, pull: Pull, falls: list[Fall], threshold: float
) -> list[tuple[int, int]]:
    """Tops and bottoms before the peak where the machine took the load off again."""
    tops, bottoms = turning_points(signal.force_N, threshold)
    found = []
    for top, bottom in zip(tops, bottoms, strict=False):
        if bottom >= pull.peak:
            break
        if signal.position_m is not None and pull.stiffness > 0:
            unloaded = _runs_back(signal, pull, top, bottom)
        else:
            sudden = sum(f.size for f in falls if top <= f.start < bottom)
            swing = signal.force_N[top] - signal.force_N[bottom]
            unloaded = bool(sudden < 0.6 * swing)
        if unloaded:
            found.append((top, bottom))
    return _turned(signal, found, pull.peak)


def _turned(signal: Signal, swings: list[tuple[int, int]], peak: int) -> list[tuple[int, int]]:
    """Move each lowest point to where the machine turns: noise moves the lowest force about."""
    if signal.position_m is None or not swings:
        return swings
    ends = [top for top, _ in swings[1:]] + [peak]
    return [
        (top, top + int(np.argmin(signal.position_m[top : end + 1])))
        for (top, _), end in zip(swings, ends, strict=True)
    ]


def describe_cycles(
    signal: Signal, swings: list[tuple[int, int]], lift_off: int
) -> tuple[Cycle, ...]:
    """Level, residual elongation, stiffness and hysteresis energy of each cycle."""
    if not swings:
        return ()
    first = _first_loading(signal, swings[0][0])
    cycles, start = [], lift_off
    for top, bottom in swings:
        cycles.append(_cycle(signal, (start, top, bottom), first))
        start = bottom
    return tuple(cycles)


def _cycle(
    signal: Signal, at: tuple[int, int, int], first: tuple[FloatArray, FloatArray] | None
) -> Cycle:
    start, top, bottom = at
    force, time, position = signal.force_N, signal.time_s, signal.position_m
    level = float(force[top])
    residual = stiffness = energy = float("nan")
    if position is not None and first is not None:
        residual = _residual(signal, position, (top, bottom), first)
        half = max(last_below(force, 0.5 * level, top), start)
        stiffness, _ = slope(position[half + 1 : top + 1], force[half + 1 : top + 1])
        energy = float(np.trapezoid(force[start : bottom + 1], position[start : bottom + 1]))
    return Cycle(level, float(time[start]), float(time[bottom]), residual, stiffness, energy)


def _first_loading(signal: Signal, top: int) -> tuple[FloatArray, FloatArray] | None:
    """Force and position up to the first top, averaged until noise is below 0.25 % of the peak."""
    if signal.position_m is None:
        return None
    height = float(signal.force_N[signal.peak]) - signal.rest_N
    width = int(min(max((signal.noise_N / (0.0025 * height)) ** 2, 1), max(top // 40, 1)))
    return _averaged(signal.force_N[: top + 1], width), _averaged(
        signal.position_m[: top + 1], width
    )


def _averaged(values: FloatArray, width: int) -> FloatArray:
    """Take the moving average over `width` samples."""
    if width <= 1:
        return values
    total = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray((total[width:] - total[:-width]) / width, dtype=np.float64)


def _residual(
    signal: Signal,
    position: FloatArray,
    swing: tuple[int, int],
    first: tuple[FloatArray, FloatArray],
) -> float:
    """Position at the lowest force of a cycle, less that at the same force on first loading.

    Where the cycle runs down to no force at all, half a per cent of the peak takes its place:
    slack is no elongation.
    """
    force = signal.force_N
    top, bottom = swing
    # one sample is off by noise: those before it that lie within noise are averaged
    near = force[bottom - (bottom - top) // 50 : bottom + 1]
    near = near[np.abs(near - force[bottom]) <= 5 * signal.noise_N]
    low = float(np.mean(near)) if len(near) else float(force[bottom])
    least = signal.rest_N + max(
        0.005 * float(force[signal.peak] - signal.rest_N),
        3 * signal.noise_N / np.sqrt(max(len(near), 1)),
    )
    place = float(position[bottom])
    if low < least:
        low = least
        below = np.flatnonzero(force[top : bottom + 1] <= low)
        place = float(position[top + int(below[0])]) if len(below) else place
    at = max(last_below(first[0], low, len(first[0])), 0)
    return place - _between(first, at, min(at + 1, len(first[0]) - 1), low)


def _between(curve: tuple[FloatArray, FloatArray], i: int, j: int, level: float) -> float:
    """Position at a force between two samples."""
    force, position = curve
    low, high = force[i], force[j]
    if high == low:
        return float(position[i])
    share = min(max((level - low) / (high - low), 0.0), 1.0)
    return float(position[i] + share * (position[j] - position[i]))


def how_it_ended(
    signal: Signal, pull: Pull, falls: list[Fall]
) -> tuple[Ending, int, tuple[Problem, ...]]:
    """Broke, stopped under load or unloaded; the index where force is gone; what is unsure."""
    force, peak = signal.force_N, pull.peak
    height = force[peak] - signal.rest_N
    low = signal.rest_N + 0.3 * height
    gone = force[peak:] < low
    if not gone.any():
        return "stopped", len(force) - 1, _still_loaded(signal, peak)
    end = peak + int(np.argmax(gone))
    start = peak + last_below(-force[peak:end], -(signal.rest_N + 0.8 * height), end - peak)
    start = max(start, peak)
    sudden = sum(f.size for f in falls if peak <= f.start < end)
    fall = float(force[start] - force[end])
    if _runs_back(signal, pull, start, end) and sudden < 0.5 * height:
        return "unloaded", end, ()
    if sudden >= 0.3 * height or end - start <= 2:
        return "broke", end, ()
    took = float(signal.time_s[end] - signal.time_s[start])
    ratio = fall / took / pull.force_rate if took > 0 and pull.force_rate > 0 else float("inf")
    if ratio > 5:
        return "broke", end, ()
    message = (
        f"force falls to 30 % of the peak within {took:.3g} s without the machine running back:"
        " slipped or tore; counted as held at least the peak, write broke = yes if it broke"
    )
    return "unclear", end, (Problem("slow-fall", message, "serious"),)


def _still_loaded(signal: Signal, peak: int) -> tuple[Problem, ...]:
    """Say that the log ends while the specimen carries load."""
    if len(signal.force_N) - 1 - peak <= 3:
        message = (
            "the log ends at the peak: if the machine stops recording at a break, write broke ="
            " yes; counted as held at least the peak"
        )
        return (Problem("log-ends-at-peak", message, "serious"),)
    message = "the log ends under load: the specimen held at least the peak"
    return (Problem("stopped-under-load", message, "note"),)


def describe_drops(signal: Signal, pull: Pull, falls: list[Fall], end: int) -> tuple[Drop, ...]:
    """Partial strand breaks: the sudden drops, less the one that ended the pull."""
    height = signal.force_N[pull.peak] - signal.rest_N
    drops = []
    for fall in falls:
        collapse = (
            fall.start >= pull.peak and signal.force_N[fall.end] < signal.rest_N + 0.3 * height
        )
        if fall.start < end and not collapse:
            drops.append(
                Drop(
                    float(signal.time_s[fall.start]),
                    float(signal.force_N[fall.start]),
                    fall.size,
                    fall.start < pull.peak,
                )
            )
    return tuple(drops)

"""The final pull: where it starts, its slopes between 50 % and 100 % of the peak, its energy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem
from ratemodel.reduction.record import Hold
from ratemodel.reduction.signal import Signal, first_above, last_below, slope
from ratemodel.reduction.swings import Fall

_UNEVEN = 0.05
_FEW = 20
_ENOUGH = 100


@dataclass(frozen=True)
class Rise:
    """Numbers of the final pull; see `BreakRecord` for their meaning."""

    lift_off: int
    start: int
    window: tuple[int, int]
    speed_m_per_s: float
    force_rate_N_per_s: float
    stiffness_N_per_m: float
    slack_m: float
    bedding_in_end: int
    elongation_m: float
    energy_J: float
    findings: tuple[Problem, ...]


def lift_off_of(signal: Signal, end: int) -> int:
    """First sample from which force stays above its resting level up to 5 % of the peak."""
    height = signal.force_N[signal.peak] - signal.rest_N
    five = min(first_above(signal.force_N, signal.rest_N + 0.05 * height), end)
    level = _lifted(signal, height)
    return min(last_below(signal.force_N, min(level, signal.rest_N + 0.05 * height), five) + 1, end)


def _lifted(signal: Signal, height: float) -> float:
    """Force that tells load from rest."""
    return signal.rest_N + max(5 * signal.noise_N, 0.005 * height)


def describe_rise(
    signal: Signal,
    last_bottom: int | None,
    lift_off: int,
    holds: tuple[Hold, ...],
    falls: Sequence[Fall],
) -> Rise:
    """Slopes, bedding-in and energy of the pull that leads to the peak."""
    force, time, position = signal.force_N, signal.time_s, signal.position_m
    peak = signal.peak
    start = lift_off
    if last_bottom is not None:
        height = signal.force_N[peak] - signal.rest_N
        start = max(last_bottom, last_below(force, _lifted(signal, height), peak) + 1)
    first, last, findings = _window(signal, start, holds)
    inside = slice(first, last + 1)
    whole, broken = _restored(signal, falls, first, last)
    findings += broken
    rate, _ = slope(time[inside], whole)
    nan = float("nan")
    speed = stiffness = slack = elongation = energy = nan
    if position is not None:
        speed, _ = slope(time[inside], position[inside])
        stiffness, _ = slope(position[inside], whole)
        slack = max(float(position[lift_off] - np.median(position[: max(lift_off // 20, 1)])), 0.0)
        elongation = float(position[peak] - position[lift_off])
        part = slice(start, peak + 1)
        energy = float(np.trapezoid(force[part], position[part]))
        findings += _uneven(signal, first, last)
    if not np.all(np.diff(time[first : last + 1]) >= 0):
        rate = speed = nan
        message = "time runs backwards between 50 % and 100 % of the peak: no rate is given"
        findings += (Problem("rate-unknown", message, "serious"),)
    findings += _sampled(peak - start + 1, last - first + 1)
    return Rise(
        lift_off=lift_off,
        start=start,
        window=(first, last),
        speed_m_per_s=speed,
        force_rate_N_per_s=rate,
        stiffness_N_per_m=stiffness,
        slack_m=slack,
        bedding_in_end=_bedding_in(signal, start, (first, last)),
        elongation_m=elongation,
        energy_J=energy,
        findings=findings,
    )


def _window(
    signal: Signal, start: int, holds: tuple[Hold, ...]
) -> tuple[int, int, tuple[Problem, ...]]:
    """Find the samples between 50 % and 100 % of the peak, the largest rise between holds."""
    peak, time = signal.peak, signal.time_s
    half = signal.rest_N + 0.5 * (signal.force_N[peak] - signal.rest_N)
    first = max(last_below(signal.force_N, half, peak) + 1, start)
    pieces = [(first, peak)]
    for hold in holds:
        begin = int(np.searchsorted(time, hold.start_s))
        end = int(np.searchsorted(time, hold.start_s + hold.duration_s, side="right"))
        cut = []
        for a, b in pieces:
            if end <= a or begin > b:
                cut.append((a, b))
                continue
            cut += [(a, begin - 1)] if begin - 1 > a else []
            cut += [(end, b)] if end < b else []
        pieces = cut or pieces
    best = max(pieces, key=lambda p: float(signal.force_N[p[1]] - signal.force_N[p[0]]))
    if best == (first, peak):
        return (first, _turn(signal, first, peak), ())
    if best[0] == first:
        return (*best, ())  # the hold ended the pull
    message = (
        "a hold lies between 50 % and 100 % of the peak; the rates are those of the largest rise"
        f" without it, {time[best[0]]:.6g} to {time[best[1]]:.6g} s"
    )
    return (*best, (Problem("hold-in-pull", message, "caution"),))


def _restored(
    signal: Signal, falls: Sequence[Fall], first: int, last: int
) -> tuple[FloatArray, tuple[Problem, ...]]:
    """Force in the window with the sudden drops added back, so that slopes are those between."""
    inside = [f for f in falls if first <= f.start and f.end < last]
    force = signal.force_N[first : last + 1]
    if not inside:
        return force, ()
    force = force.copy()
    for fall in inside:
        force[fall.start - first + 1 : fall.end - first] = np.nan
        force[fall.end - first :] += fall.size
    gone = np.isnan(force)
    force[gone] = np.interp(np.flatnonzero(gone), np.flatnonzero(~gone), force[~gone])
    message = (
        f"{len(inside)} sudden drops between 50 % and 100 % of the peak; force rate and stiffness"
        " are those between the drops"
    )
    return force, (Problem("drop-in-pull", message, "caution"),)


def _turn(signal: Signal, first: int, peak: int) -> int:
    """Return where the machine turns, should noise have put the highest sample beyond that."""
    position = signal.position_m
    if position is None:
        return peak
    turn = first + int(np.argmax(position[first : peak + 1]))
    back = float(position[turn] - position[peak])
    turn = turn if turn > first + 2 and back > 0 else peak
    # the machine may have turned between the last two samples
    way, took = np.diff(position[first : turn + 1]), np.diff(signal.time_s[first : turn + 1])
    if (
        len(way) > 3
        and took[-1] > 0
        and way[-1] / took[-1] < 0.9 * way[:-1].sum() / took[:-1].sum()
    ):
        turn -= 1
    return turn


def _uneven(signal: Signal, first: int, last: int) -> tuple[Problem, ...]:
    """Whether the two halves of the window were pulled at different speeds."""
    position, time = signal.position_m, signal.time_s
    assert position is not None
    middle = (first + last) // 2
    early, e1 = slope(time[first : middle + 1], position[first : middle + 1])
    late, e2 = slope(time[middle : last + 1], position[middle : last + 1])
    mean = abs(early + late) / 2
    if not mean > 0:
        return ()
    differ = abs(early - late) / mean
    if differ <= _UNEVEN or not abs(early - late) > 4 * np.hypot(e1, e2):
        return ()
    message = (
        f"the speed was not constant: {early * 1e3:.4g} mm/s, then {late * 1e3:.4g} mm/s between"
        " 50 % and 100 % of the peak"
    )
    return (Problem("speed-not-constant", message, "caution"),)


def _sampled(rise: int, window: int) -> tuple[Problem, ...]:
    """Whether the samples on the rise are enough; 1/N bounds the relative error of the peak."""
    if rise >= _ENOUGH:
        return ()
    severity: Literal["note", "caution"] = "note" if rise >= _FEW else "caution"
    message = (
        f"{rise} samples on the rise: the peak may be read low by up to {100 / max(rise, 1):.2g} %;"
        f" {_ENOUGH} keep it to 1 %"
    )
    found: tuple[Problem, ...] = (Problem("few-samples", message, severity),)
    if window < 3:
        text = f"{window} samples between 50 % and 100 % of the peak: the rates are rough at best"
        found += (Problem("rate-uncertain", text, "serious"),)
    return found


def _bedding_in(signal: Signal, start: int, window: tuple[int, int]) -> int:
    """Return where the final pull joins its straight line for good: within 2 % of the peak."""
    x = signal.time_s if signal.position_m is None else signal.position_m
    first, last = window
    b, _ = slope(x[first : last + 1], signal.force_N[first : last + 1])
    if not np.isfinite(b):
        return first
    inside = slice(first, last + 1)
    level = float(np.mean(signal.force_N[inside]) - b * np.mean(x[inside]))
    part = slice(start, first + 1)
    off = np.abs(signal.force_N[part] - level - b * x[part])
    height = signal.force_N[signal.peak] - signal.rest_N
    far = off > max(0.02 * height, 4 * signal.noise_N)
    return start + (len(far) - int(np.argmax(far[::-1])) if far.any() else 0)

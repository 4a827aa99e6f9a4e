"""How far the breaking strength may lie from the highest sample."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ratemodel.errors import Problem
from ratemodel.records.logfile.timeaxis import GAP
from ratemodel.reduction.record import Ending, ReductionSettings
from ratemodel.reduction.rise import Rise
from ratemodel.reduction.signal import Signal, last_below, slope

_RISK = 1e-4  # chance that noise alone breaks a bound
_EQUAL = 3


@dataclass(frozen=True)
class PeakBound:
    """The strength lies between peak − high and peak + low."""

    low_N: float
    high_N: float
    saturated: bool
    findings: tuple[Problem, ...]


def bound_peak(
    signal: Signal, rise: Rise, ended: tuple[Ending, int], settings: ReductionSettings
) -> PeakBound:
    """Bound the peak from slope times sample interval, lag, noise and offset.

    For every count k of samples before the break, the highest of them lies above the strength
    less k·slope·Δt plus the lowest credible maximum of k noise values; the best k gives the
    bound. Noise lifts the highest sample above the strength by at most its upper quantile
    among the samples within six standard deviations of the top.
    """
    findings: list[Problem] = []
    peak, force, time = signal.peak, signal.force_N, signal.time_s
    steep = _slope_at_peak(signal, rise)
    step = float(time[peak + 1] - time[peak]) if peak + 1 < len(time) else signal.step_s
    step = max(step, signal.step_s)
    gap = step > GAP * signal.step_s
    if gap:
        message = (
            f"samples are missing at the peak ({step:.4g} s at a step of {signal.step_s:.4g} s):"
            " the true peak may lie in between"
        )
        findings.append(Problem("gap-at-peak", message, "serious"))
    low, high = _noise_bounds(signal, steep * step, peak - rise.start + 1)
    lag = _lag(signal, ended, settings, findings)
    low += steep * lag
    low, high = _offset(signal, rise, ended, (low, high), findings)
    spike = _spike(signal, rise, findings)
    high = max(high, spike)
    saturated = _saturated(signal, settings, findings)
    if saturated:
        low = float("inf")
    elif low > 0.01 * force[peak]:
        message = (
            f"the peak may be read low by up to {low:.4g} N ({100 * low / force[peak]:.2g} %):"
            " sample faster"
        )
        findings.append(Problem("peak-uncertain", message, "caution"))
    return PeakBound(low, high, saturated, tuple(findings))


def _slope_at_peak(signal: Signal, rise: Rise) -> float:
    """Steepest credible rise at the peak: over the window, its last fifth, the last samples."""
    force, time, peak = signal.force_N, signal.time_s, signal.peak
    height = force[peak] - signal.rest_N
    found = [abs(rise.force_rate_N_per_s)]
    start = max(last_below(force, signal.rest_N + 0.9 * height, peak), rise.start, 0)
    local, error = slope(time[start : peak + 1], force[start : peak + 1])
    found.append(local + 2 * error if np.isfinite(error) else local)
    if peak - rise.start <= 50 and peak > 0 and time[peak] > time[peak - 1]:
        found.append(float((force[peak] - force[peak - 1]) / (time[peak] - time[peak - 1])))
    real = [f for f in found if np.isfinite(f) and f > 0]
    return max(real) if real else 0.0


def _noise_bounds(signal: Signal, per_step: float, samples: int) -> tuple[float, float]:
    sigma = signal.noise_N
    if sigma <= 0:
        return per_step, 0.0
    counts = np.unique(np.round(np.geomspace(1, max(samples, 1), 60)))
    quantile = ndtri(_RISK ** (1.0 / counts))
    low = float(np.min(counts * per_step - quantile * sigma))
    top = float(signal.force_N[signal.peak])
    # the peak itself counts, also where six deviations are below the last digit of the top
    near = float(max(int(np.count_nonzero(signal.force_N > top - 6 * sigma)), 1))
    return max(low, 0.0), float(-ndtri(_RISK / near)) * sigma


def _lag(
    signal: Signal,
    ended: tuple[Ending, int],
    settings: ReductionSettings,
    findings: list[Problem],
) -> float:
    """Time constant of the force filter: stated, or seen in the fall after a break.

    A first-order filter lets the reading trail a ramp by slope times its time constant, and
    lets it die away to 1/e in one time constant once the load is gone.
    """
    if settings.filter_lag_s is not None:
        return settings.filter_lag_s
    how, end = ended
    if how != "broke":
        return 0.0
    peak, force, time = signal.peak, signal.force_N, signal.time_s
    height = force[peak] - signal.rest_N
    start = last_below(-force[peak : end + 1], -(signal.rest_N + 0.9 * height), end + 1 - peak)
    start = peak + max(start, 0)
    fallen = force[start:] < signal.rest_N + (force[start] - signal.rest_N) / np.e
    took = float(time[start + int(np.argmax(fallen))] - time[start])
    again = force[start:] < signal.rest_N + (force[start] - signal.rest_N) / np.e**2
    later = float(time[start + int(np.argmax(again))] - time[start]) - took
    # a strand break on the way down falls at once below both marks; a filter takes as long again
    if took <= 2.5 * signal.step_s or not again.any() or not 0.4 < later / took < 2.5:
        return 0.0
    message = (
        f"force dies away over {took:.3g} s after the break: a filter (or the break itself) lags;"
        " the bound of the peak was widened by slope times that"
    )
    findings.append(Problem("filter-lag", message, "caution"))
    return took


def _offset(
    signal: Signal,
    rise: Rise,
    ended: tuple[Ending, int],
    bounds: tuple[float, float],
    findings: list[Problem],
) -> tuple[float, float]:
    """Force shown without load: after a clean break, else while the slack is taken up."""
    low, high = bounds
    height = signal.force_N[signal.peak] - signal.rest_N
    how, end = ended
    rest = signal.force_N[: rise.lift_off]
    half = len(rest) // 2
    steady = half >= 4 and (
        abs(float(np.median(rest[:half]) - np.median(rest[half:])))
        <= 0.2 * abs(float(np.median(rest))) + 3 * signal.noise_N / np.sqrt(half)
    )
    if not steady:
        rest = rest[:0]  # a soft start, not a rest
    where = "before the pull (an offset, or a pretension?)"
    if how == "broke" and len(signal.force_N) - end > 8:
        where = "after the break, without load"
        after = signal.force_N[end:]
        # ringing and a lagging filter have gone in the last half
        rest = after[len(after) // 2 :]
    if len(rest) < 4:
        return low, high
    offset = float(np.median(rest))
    if abs(offset) <= max(0.002 * height, 4 * signal.noise_N / np.sqrt(len(rest))):
        return low, high
    if abs(offset) > 0.3 * height:
        return low, high
    message = (
        f"force reads {offset:.4g} N {where}; the peak was not corrected, its bound was widened"
    )
    findings.append(Problem("force-offset", message, "caution"))
    return (low, high + offset) if offset > 0 else (low - offset, high)


def _spike(signal: Signal, rise: Rise, findings: list[Problem]) -> float:
    """Height of a single sample that stands alone above both neighbours."""
    peak, force = signal.peak, signal.force_N
    if not 0 < peak < len(force) - 1:
        return 0.0
    before, after = float(force[peak - 1]), float(force[peak + 1])
    height = float(force[peak]) - signal.rest_N
    above = float(force[peak]) - max(before, after)
    # the slope at the peak may be that of the spike: the usual step between samples is not
    steps = np.abs(np.diff(force[max(rise.start, peak - 2_000) : peak]))
    step = float(np.median(steps)) if len(steps) else height
    usual = max(10 * signal.noise_N, 3 * step, 0.02 * height)
    if above <= usual or abs(before - after) > 0.5 * above:
        return 0.0  # at a break only the sample before is high
    message = (
        f"the highest sample stands alone {above:.4g} N above its neighbours: a spike? Look at the"
        " log; the bound was widened"
    )
    findings.append(Problem("spike-at-peak", message, "serious"))
    return above + usual


def _saturated(signal: Signal, settings: ReductionSettings, findings: list[Problem]) -> bool:
    """Three equal samples at the top while the machine pulls on, or 99 % of the stated range."""
    peak, force = signal.peak, signal.force_N
    top = float(force[peak])
    limit = settings.load_cell_range_N
    if limit is not None and top >= 0.99 * limit:
        message = f"the peak is at {100 * top / limit:.3g} % of the load cell's range"
        findings.append(Problem("saturated", message + ": at least this much", "serious"))
        return True
    equal = force[peak : peak + 10_000] == top
    count = int(np.argmin(equal)) if not equal.all() else len(equal)
    if count < _EQUAL:
        return False
    position = signal.position_m
    if position is not None:
        went = float(position[peak + count - 1] - position[peak])
        before = float(position[peak] - position[max(peak - count + 1, 0)])
        if went < 0.2 * before:
            return False  # held, not cut off
    message = f"{count} equal samples at the top: the load cell or its amplifier was at its limit"
    findings.append(Problem("saturated", message + "; at least this much", "serious"))
    return True

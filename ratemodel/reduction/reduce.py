"""One log to one break record."""

from __future__ import annotations

import numpy as np

from ratemodel.errors import Problem
from ratemodel.records.logfile.log import MachineLog
from ratemodel.reduction.holds import find_holds
from ratemodel.reduction.peak import PeakBound, bound_peak
from ratemodel.reduction.prepare import prepare
from ratemodel.reduction.record import BreakRecord, Cycle, Drop, Ending, Hold, ReductionSettings
from ratemodel.reduction.rise import Rise, describe_rise, lift_off_of
from ratemodel.reduction.signal import Signal
from ratemodel.reduction.swings import (
    Pull,
    describe_cycles,
    describe_drops,
    how_it_ended,
    rough_pull,
    sudden_falls,
    unloadings,
)

_PARTS = tuple[tuple[Cycle, ...], tuple[Hold, ...], tuple[Drop, ...]]


def reduce_log(log: MachineLog, settings: ReductionSettings | None = None) -> BreakRecord:
    """Reduce a machine log to what the break table needs.

    The effective strain rate is the slope of strain over time between 50 % and 100 % of the
    peak force, so slack and bedding-in are left out.

    Raises
    ------
    InputError
        Where no pull can be made out.
    """
    settings = (settings or ReductionSettings()).for_file(log.name)
    settings.check()
    signal = prepare(log, settings)
    pull = rough_pull(signal)
    free_length = settings.free_length_m or float("nan")
    falls = sudden_falls(signal, pull)
    ended, end, findings = how_it_ended(signal, pull, falls)
    lift_off = lift_off_of(signal, pull.peak)
    height = float(signal.force_N[pull.peak]) - signal.rest_N
    threshold = max(settings.cycle_threshold_fraction * height, 8 * signal.noise_N)
    swings = [s for s in unloadings(signal, pull, falls, threshold) if s[0] >= lift_off]
    holds = find_holds(signal, pull, end + 1 if ended == "stopped" else end, free_length)
    rise = describe_rise(signal, swings[-1][1] if swings else None, lift_off, holds, falls)
    bound = bound_peak(signal, rise, (ended, end), settings)
    parts = (
        describe_cycles(signal, swings, lift_off),
        holds,
        describe_drops(signal, pull, falls, end),
    )
    findings = (
        *log.findings,
        *signal.findings,
        *findings,
        *rise.findings,
        *bound.findings,
        *_second_pull(signal, pull, ended, end),
        *_about_length(log, free_length),
    )
    return _record(log, signal, (rise, bound, ended), parts, free_length, findings)


def _record(
    log: MachineLog,
    signal: Signal,
    pull: tuple[Rise, PeakBound, Ending],
    parts: _PARTS,
    free_length: float,
    findings: tuple[Problem, ...],
) -> BreakRecord:
    rise, bound, ended = pull
    time, peak = signal.time_s, signal.peak
    taken = float(time[peak] - time[rise.start])
    return BreakRecord(
        name=log.name,
        sha256=log.sha256,
        peak_force_N=float(signal.force_N[peak]),
        peak_low_by_at_most_N=bound.low_N,
        peak_high_by_at_most_N=bound.high_N,
        peak_time_s=float(time[peak]),
        ended=ended,
        censored=bound.saturated or ended != "broke",
        time_to_peak_s=taken if taken > 0 else float("nan"),
        slack_end_s=float(time[rise.lift_off]),
        slack_m=rise.slack_m,
        bedding_in_end_s=float(time[rise.bedding_in_end]),
        bedding_in_end_N=float(signal.force_N[rise.bedding_in_end]),
        window_s=(float(time[rise.window[0]]), float(time[rise.window[1]])),
        strain_rate_per_s=rise.speed_m_per_s / free_length,
        speed_m_per_s=rise.speed_m_per_s,
        force_rate_N_per_s=rise.force_rate_N_per_s,
        stiffness_N_per_m=rise.stiffness_N_per_m,
        stiffness_N=rise.stiffness_N_per_m * free_length,
        elongation_m=rise.elongation_m,
        strain_at_break=rise.elongation_m / free_length,
        energy_J=rise.energy_J,
        noise_N=signal.noise_N,
        free_length_m=free_length,
        cycles=parts[0],
        holds=parts[1],
        drops=parts[2],
        corrections=signal.corrections,
        findings=findings,
    )


def _second_pull(signal: Signal, pull: Pull, ended: Ending, end: int) -> tuple[Problem, ...]:
    """Force that comes back after the end of the pull."""
    if ended == "stopped" or end + 1 >= len(signal.force_N):
        return ()
    after = signal.force_N[end:]
    height = float(signal.force_N[pull.peak]) - signal.rest_N
    low = int(np.argmin(after))
    if float(after[low:].max()) - signal.rest_N < 0.5 * height:
        return ()
    message = (
        "force comes back to more than half of the peak after the pull had ended: two specimens in"
        " one log? Only the higher pull is described"
    )
    return (Problem("second-pull", message, "serious"),)


def _about_length(log: MachineLog, free_length: float) -> tuple[Problem, ...]:
    if log.position_m is None or np.isfinite(free_length):
        return ()
    message = "the free length is not stated: no strain, strain rate or EA; give free_length_mm"
    return (Problem("no-free-length", message, "caution"),)

"""Put a log the right way up and say what had to be turned."""

from __future__ import annotations

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, Problem
from ratemodel.records.logfile.log import MachineLog
from ratemodel.reduction.record import ReductionSettings
from ratemodel.reduction.signal import Signal, noise_of

_REVERSED = 3.0  # as many times further down than up: tension was recorded negative


def prepare(log: MachineLog, settings: ReductionSettings) -> Signal:
    """Tension positive, position growing with the pull, machine stretch taken off.

    Raises
    ------
    InputError
        Where no pull can be made out at all.
    """
    findings: list[Problem] = []
    corrections: list[str] = []
    force, rest = _tension(log.force_N, findings, corrections)
    peak = int(np.argmax(force))
    noise = noise_of(force, log.time_s, peak, log.sample_interval_s)
    height = float(force[peak])
    if height <= 0 or float(np.ptp(force)) <= max(12 * noise, 1e-9 * abs(height)):
        raise InputError(
            f"no pull: force stays between {force.min():.4g} and {height:.4g} N",
            "a log in which force rises to a peak",
            file=log.name,
            column=log.columns[2],
        )
    if abs(rest) > 0.1 * height:
        findings.append(
            Problem(
                "starts-under-load",
                f"the log starts at {rest:.4g} N: lift-off, slack and the whole time to the peak"
                " were not recorded",
            )
        )
        rest = 0.0
    position = log.position_m
    if position is not None:
        position = _upright(position, force, peak, findings, corrections)
    if position is not None and settings.machine_stiffness_N_per_m is not None:
        stiffness = settings.machine_stiffness_N_per_m
        position = position - force / stiffness
        corrections.append(f"machine stretch at {stiffness / 1e6:.6g} kN/mm taken off")
    return Signal(
        time_s=log.time_s,
        force_N=force,
        position_m=position,
        peak=peak,
        rest_N=rest,
        noise_N=noise,
        step_s=log.sample_interval_s,
        findings=tuple(findings),
        corrections=tuple(corrections),
    )


def _tension(
    force: FloatArray, findings: list[Problem], corrections: list[str]
) -> tuple[FloatArray, float]:
    """Force with tension positive, and its resting level at the start."""
    rest = float(np.median(force[: max(3, min(len(force) // 200, 50))]))
    highest, lowest = float(force.max()), float(force.min())
    if rest - lowest <= _REVERSED * max(highest - rest, 0.0) or lowest >= 0:
        return force, rest
    findings.append(
        Problem("force-sign-reversed", "tension is recorded negative; the sign was turned")
    )
    corrections.append("sign of force turned")
    return -force, -rest


def _upright(
    position: FloatArray,
    force: FloatArray,
    peak: int,
    findings: list[Problem],
    corrections: list[str],
) -> FloatArray | None:
    """Position growing with the pull; None, with a finding, where it never moves."""
    start = position[: max(3, min(len(position) // 200, 50))]
    travel = float(position[peak] - np.median(start))
    if np.ptp(position) == 0:
        findings.append(
            Problem("position-still", "the position never moves: nothing is taken from it")
        )
        return None
    if travel < 0:
        findings.append(
            Problem("position-sign-reversed", "position falls as force rises; its sign was turned")
        )
        corrections.append("sign of position turned")
        return -position
    return position

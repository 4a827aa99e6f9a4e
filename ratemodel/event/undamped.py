"""Undamped shocks: energy balance for the peak, quadrature for the time, no time stepping."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray
from ratemodel.event.lines import Arrangement
from ratemodel.event.motion import Motion, Peak
from ratemodel.event.roots import convex_root

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
_PANELS = (0.0, 0.02, 0.12, 0.4, 1.0)


@dataclass(frozen=True)
class _Stretch:
    """One stretch of the motion: between two extensions, with the energy left at its end."""

    begin: FloatArray
    end: FloatArray
    left: FloatArray


def elastic_peak(line: Arrangement, motion: Motion) -> FloatArray:
    """Extension at which all energy is in the line, slip left out of account (m)."""
    kinetic = 0.5 * motion.mass * motion.speed**2
    return _turning_point(line, motion.start, kinetic, motion.drive)


def solve(line: Arrangement, motion: Motion, half_of: Callable[[FloatArray], FloatArray]) -> Peak:
    """Peak of an undamped shock.

    ½ m v² = ½ m v₀² + D (x − x₀) − (U(x) − U(x₀)); the largest extension is its zero, the time
    the integral of dx / v. At constant slip force the mass slows evenly until it stops or the
    run-out is used up, and then stretches the line on.

    Parameters
    ----------
    line : Arrangement
        What is stretched.
    motion : Motion
        What moves.
    half_of : callable
        Extension at which the watched line carries half of what it carries at an extension.
    """
    top = elastic_peak(line, motion)
    force = line.force(top)
    slips = force > motion.slip_force
    slip_at = np.where(slips, line.extension(np.minimum(motion.slip_force, force)), top)
    slip_at = np.maximum(slip_at, motion.start)
    kinetic = 0.5 * motion.mass * motion.speed**2
    work = motion.drive * (slip_at - motion.start)
    left = kinetic + work - (line.energy(slip_at) - line.energy(motion.start))
    left = np.where(slips, np.maximum(left, 0.0), 0.0)
    run, after, slide, endless = _slide(motion, slips, left)
    goes_on = after > 0
    peak = slip_at
    if goes_on.any():
        peak = np.where(goes_on, _turning_point(line, slip_at, after, motion.drive), slip_at)
    half = np.maximum(half_of(peak), motion.start)
    split = np.minimum(half, slip_at)
    rise = _duration(line, motion, _Stretch(split, slip_at, left))
    time = rise + _left_before(line, motion, split, _Stretch(motion.start, slip_at, left))
    if goes_on.any():
        later = np.clip(half, slip_at, peak)
        last = _Stretch(slip_at, peak, np.zeros_like(peak))
        end = np.where(goes_on, _duration(line, motion, _Stretch(later, peak, last.left)), 0.0)
        middle = np.where(goes_on, _left_before(line, motion, later, last), 0.0)
        time = time + slide + middle + end
        rise = np.where(half > slip_at, end, rise + slide + middle + end)
    return Peak(line.force(peak), peak, half, time, rise, run, endless)


def _turning_point(
    line: Arrangement, start: FloatArray, kinetic: FloatArray, drive: FloatArray
) -> FloatArray:
    stored = line.energy(start)
    tangent = np.maximum(line.stiffness(start), line.force(start) / np.maximum(start, 1e-12))
    finite = np.isfinite(tangent) & (tangent > 0)
    speed_part = np.sqrt(2 * kinetic / np.where(finite, tangent, 1.0))
    step = np.where(finite, speed_part + drive / np.where(finite, tangent, 1.0), 0.0)
    step = np.maximum(step, 1e-6)
    return convex_root(
        lambda x: line.energy(x) - stored - drive * (x - start) - kinetic,
        lambda x: line.force(x) - drive,
        start,
        step,
    )


def _slide(
    motion: Motion, slips: BoolArray, left: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, bool]:
    """Run-out used, kinetic energy after it, time spent, and whether a draw never stops."""
    brake = motion.slip_force - motion.drive
    with np.errstate(invalid="ignore", divide="ignore"):
        needed = np.where(brake > 0, left / brake, np.inf)
    needed = np.where(slips, needed, 0.0)
    run = np.minimum(needed, motion.run_out)
    endless = bool(np.isinf(run).any())
    used_up = slips & (needed > motion.run_out)
    brake = np.where(slips, brake, 0.0)
    run_finite = np.where(np.isfinite(run), run, 0.0)
    after = np.where(used_up, left - brake * run_finite, 0.0)
    speed_in = np.sqrt(2 * left / motion.mass)
    speed_out = np.sqrt(2 * np.maximum(after, 0.0) / motion.mass)
    mean_speed = (speed_in + speed_out) / 2
    moving = mean_speed > 0
    # A slide that ends at rest adds nothing: the peak was reached when it began.
    moving = moving & used_up
    slide = np.where(moving, run_finite / np.where(moving, mean_speed, 1.0), 0.0)
    return run, after, slide, endless


def _left_before(line: Arrangement, motion: Motion, at: FloatArray, whole: _Stretch) -> FloatArray:
    """Time from the beginning of a stretch to a point inside it."""
    stored = line.energy(whole.end) - line.energy(at)
    left = whole.left + stored - motion.drive * (whole.end - at)
    return _duration(line, motion, _Stretch(whole.begin, at, np.maximum(left, 0.0)))


def _duration(line: Arrangement, motion: Motion, stretch: _Stretch) -> FloatArray:
    """Integral of dx / v over one stretch, Gauss–Legendre, 8 nodes on graded panels.

    The speed may vanish like a square root at either end (at the peak; at the start of a load
    let go at rest). With x = a + Y q² from the near end the integrand stays finite there. The
    kinetic energy is counted back from the end of the stretch, where it is known exactly.
    """
    middle = (stretch.begin + stretch.end) / 2
    half = middle - stretch.begin
    stored = line.energy(stretch.end)
    total = np.zeros_like(middle)
    for low, high in itertools.pairwise(_PANELS):
        for node, weight in zip(_NODES, _WEIGHTS, strict=True):
            q = low + (high - low) * (node + 1) / 2
            factor = weight * (high - low) / 2 * 2 * q
            for x in (stretch.begin + half * q**2, stretch.end - half * q**2):
                kinetic = (
                    stretch.left + (stored - line.energy(x)) - motion.drive * (stretch.end - x)
                )
                with np.errstate(divide="ignore", invalid="ignore"):
                    total = total + np.where(
                        half > 0, factor * half * np.sqrt(motion.mass / (2 * kinetic)), 0.0
                    )
    return np.where(np.isfinite(total), total, 0.0)

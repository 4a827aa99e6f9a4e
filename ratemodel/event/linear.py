"""Falls and snatches onto a line of constant stiffness, undamped: closed form."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ratemodel.arrays import FloatArray
from ratemodel.event.checks import columns
from ratemodel.event.motion import Peak
from ratemodel.event.result import STANDARD_GRAVITY_M_PER_S2, Event


@dataclass(frozen=True)
class Spring:
    """A mass on a linear line in SI, each of shape ``(draws,)``.

    ``drive`` is the constant force that keeps acting along the motion (the weight in a fall),
    ``start`` the extension at which the shock begins.
    """

    mass: FloatArray
    speed: FloatArray
    stiffness: FloatArray
    drive: FloatArray
    start: FloatArray


def fall(mass: ArrayLike, fall: ArrayLike, line_length: ArrayLike, stiffness: ArrayLike) -> Event:
    r"""Free fall of a mass onto a linear, undamped line, all draws at once.

    .. math:: F = mg + \sqrt{(mg)^2 + 2\,mg\,(h/L)\,EA}

    Parameters
    ----------
    mass : array_like
        Falling mass m (kg), above 0.
    fall : array_like
        Height h (m) fallen until the line is taut, 0 or above. Gravity acts on while it stretches.
    line_length : array_like
        Unstretched length L (m).
    stiffness : array_like
        EA (N per unit strain).

    Returns
    -------
    Event
        Arrays of shape ``(draws,)``.

    Raises
    ------
    InputError
        Impossible value, or draws of different length.

    References
    ----------
    Wexler, A. (1950), "The theory of belaying", American Alpine Journal 7 (from memory).

    Examples
    --------
    The fall of the dynamic rope test: 80 kg, 4.6 m fall on 2.6 m of rope.

    >>> event = fall(80.0, 4.6, 2.6, 24091.3)
    >>> round(float(event.peak_force_N[0]))
    9000
    """
    v = columns({"mass": mass, "fall": fall, "line_length": line_length, "stiffness": stiffness})
    g = STANDARD_GRAVITY_M_PER_S2
    spring = Spring(
        mass=v["mass"],
        speed=np.sqrt(2 * g * v["fall"]),
        stiffness=v["stiffness"] / v["line_length"],
        drive=v["mass"] * g,
        start=np.zeros_like(v["mass"]),
    )
    return undamped(spring, v["line_length"], "fall")


def snatch(
    mass: ArrayLike,
    closing_speed: ArrayLike,
    line_length: ArrayLike,
    stiffness: ArrayLike,
    *,
    gravity: bool = False,
) -> Event:
    r"""Snatch at a closing speed on a linear, undamped line, all draws at once.

    .. math:: F = v \sqrt{m\,EA / L}

    Parameters
    ----------
    mass, line_length, stiffness : array_like
        As in :func:`fall`.
    closing_speed : array_like
        Speed v (m/s) at the moment the line comes taut.
    gravity : bool
        True where the weight acts along the line while it stretches (vertical snatch).

    Returns
    -------
    Event
        Arrays of shape ``(draws,)``.

    Examples
    --------
    >>> round(float(snatch(100.0, 2.0, 10.0, 40e3).peak_force_N[0]), 1)
    1264.9
    """
    v = columns(
        {
            "mass": mass,
            "closing_speed": closing_speed,
            "line_length": line_length,
            "stiffness": stiffness,
        }
    )
    weight = v["mass"] * STANDARD_GRAVITY_M_PER_S2
    spring = Spring(
        mass=v["mass"],
        speed=v["closing_speed"],
        stiffness=v["stiffness"] / v["line_length"],
        drive=weight if gravity else np.zeros_like(weight),
        start=np.zeros_like(weight),
    )
    return undamped(spring, v["line_length"], "snatch")


def undamped(spring: Spring, length: FloatArray, kind: str) -> Event:
    """Event of an undamped shock on one linear line."""
    peak = solve(spring)
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = (peak.extension - peak.half) / peak.rise_s / length
        mean = (peak.extension - spring.start) / peak.time_s / length
    # Where nothing moves (no fall and no weight) the rates are zero.
    return Event(
        kind=kind,
        peak_force_N=peak.force,
        peak_strain=peak.extension / length,
        time_to_peak_s=peak.time_s,
        strain_rate_per_s=np.where(peak.rise_s > 0, rate, 0.0),
        mean_strain_rate_per_s=np.where(peak.time_s > 0, mean, 0.0),
        initial_strain_rate_per_s=spring.speed / length,
        run_out_m=peak.run_out,
    )


def solve(spring: Spring) -> Peak:
    """Peak and times of an undamped linear shock.

    About the static extension D/k the motion is a cosine of amplitude Y, with
    Y² = (x₀ − D/k)² + (v/ω)²; the times to the peak follow from its phase.
    """
    omega = np.sqrt(spring.stiffness / spring.mass)
    static = spring.drive / spring.stiffness
    offset = spring.start - static
    amplitude = np.hypot(offset, spring.speed / omega)
    top = static + amplitude
    half = np.maximum(top / 2, spring.start)
    # At rest and above the static extension the mass would only swing back: already at its peak.
    time = np.arctan2(spring.speed / omega, offset) / omega
    with np.errstate(invalid="ignore", divide="ignore"):
        cosine = np.clip((half - static) / amplitude, -1.0, 1.0)
    rise = np.where(amplitude > 0, np.minimum(np.arccos(cosine) / omega, time), 0.0)
    none = np.zeros_like(top)
    return Peak(spring.stiffness * top, top, half, np.where(amplitude > 0, time, 0.0), rise, none)

"""Creep rate against strain, straight from the readings (Sherby-Dorn picture)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.creep_curves import CreepCurve


@dataclass(frozen=True)
class SherbyDorn:
    """Creep rate against strain of one curve.

    Attributes
    ----------
    time_s, strain, rate_per_s, rate_error_per_s : ndarray, shape (n,)
        Middle of each window; slope in it with its standard error.
    plateau_rate_per_s : float
        Least rate seen.
    plateau_reached : bool
        True where the rate had stopped falling: over the last half decade of time it fell by less
        than a factor that would bring it down by half in a decade, or rose.
    curve : CreepCurve
        The readings.
    problems : tuple of Problem
        Set where the plateau was not reached or windows were too noisy.

    References
    ----------
    Sherby & Dorn, J. Mech. Phys. Solids 6 (1958) 145; Wilding & Ward, Polymer 19 (1978) 969 (for
    polyethylene; both from memory).
    """

    time_s: FloatArray
    strain: FloatArray
    rate_per_s: FloatArray
    rate_error_per_s: FloatArray
    plateau_rate_per_s: float
    plateau_reached: bool
    curve: CreepCurve
    problems: tuple[Problem, ...]


def sherby_dorn(curve: CreepCurve, *, window_decades: float = 0.35) -> SherbyDorn:
    """Slopes of strain against time in windows even in log time.

    Each window holds at least four readings; its slope is a straight line by least squares. Windows
    whose slope is not above its own standard error are left out and said.

    Raises
    ------
    NotIdentifiedError
        Fewer than three windows with a rate.
    """
    t, e = curve.time_s, curve.strain
    edges = np.arange(np.log10(t[0]), np.log10(t[-1]) + window_decades / 2, window_decades / 2)
    rows, noisy = [], 0
    for edge in edges:
        inside = np.flatnonzero((np.log10(t) >= edge) & (np.log10(t) <= edge + window_decades))
        if len(inside) < 4 or t[inside[0]] == t[inside[-1]]:
            continue
        middle = float(t[inside].mean())
        design = np.stack([np.ones(len(inside)), t[inside] - middle], axis=1)
        (level, slope), rss = np.linalg.lstsq(design, e[inside], rcond=None)[:2]
        spread = float(rss[0]) / (len(inside) - 2) if len(rss) else 0.0
        error = float(np.sqrt(spread / np.sum((t[inside] - middle) ** 2)))
        if slope <= error:
            noisy += 1
            continue
        rows.append((middle, float(level), float(slope), error))
    if len(rows) < 3:
        raise NotIdentifiedError(
            "the creep rate can be read in fewer than three windows of time; read strain more "
            "often, or use wider windows"
        )
    time, strain, rate, error_ = np.array(rows).T
    reached = _levelled(time, rate, error_)
    return SherbyDorn(
        time_s=time,
        strain=strain,
        rate_per_s=rate,
        rate_error_per_s=error_,
        plateau_rate_per_s=float(rate.min()),
        plateau_reached=reached,
        curve=curve,
        problems=_problems(reached, noisy, float(rate.min())),
    )


def _levelled(time: FloatArray, rate: FloatArray, error: FloatArray) -> bool:
    late = np.log10(time) >= np.log10(time[-1]) - 0.7
    if late.sum() < 3:
        return False
    weight = rate[late] / np.maximum(error[late], 0.02 * rate[late])
    slope = float(np.polyfit(np.log10(time[late]), np.log10(rate[late]), 1, w=weight)[0])
    return bool(slope > np.log10(0.5))


def _problems(reached: bool, noisy: int, least: float) -> tuple[Problem, ...]:
    out = []
    if not reached:
        out.append(
            Problem(
                "plateau-not-reached",
                f"The creep rate was still falling at the last reading: {least:.3g} 1/s is an "
                "upper bound of the plateau, not the plateau. Let the test run on.",
            )
        )
    if noisy:
        out.append(
            Problem(
                "rate-in-noise",
                f"In {noisy} windows of time the creep is not above the noise of the readings.",
                "note",
            )
        )
    return tuple(out)

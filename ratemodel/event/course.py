"""Force and strain of one shock against time, for a picture of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.event import tracking
from ratemodel.event.lines import Arrangement
from ratemodel.event.loading import Damping, Mover, Slip
from ratemodel.event.shock import read_case

_STEPS = np.full(1, 128.0)


@dataclass(frozen=True)
class Course:
    """One shock from the line coming taut until the mass is at rest, each of shape ``(points,)``.

    ``force_N`` in the whole arrangement, ``strain`` of the watched line, ``time_s`` from taut.
    """

    time_s: FloatArray
    force_N: FloatArray
    strain: FloatArray
    name: str = ""


def course(
    line: Arrangement,
    mover: Mover,
    *,
    preload: ArrayLike = 0.0,
    damping: Damping | None = None,
    slip: Slip | None = None,
    watch: int = 0,
) -> Course:
    """Follow a single shock; the arguments are those of `shock`, one draw only.

    Raises
    ------
    InputError
        More than one draw.
    """
    case = read_case(line, mover, preload, damping, slip, watch)
    if case.speed.size != 1:
        raise InputError(f"a course of {case.speed.size} draws", "a single draw")
    track = tracking.follow(tracking.system_of(line, case.viscosity, case.motion), _STEPS)
    time, force, extension = [], [], []
    for row in track.rows:
        time.append(row.state.time[0])
        force.append(row.first_force[0])
        extension.append(row.state.extension[0])
        # Both ends of each step, so that a jump (run-out used up) stays a jump.
        end = row.state.time[0] + row.step[0]
        time.append(end)
        force.append(row.last_force[0])
        extension.append(row.end_extension[0])
    states = line.states(np.asarray(extension))[watch]
    length = line.lines()[watch].length
    return Course(np.asarray(time), np.asarray(force), states / length)

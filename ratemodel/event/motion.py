"""What moves, and the state at the largest force: shared by all solvers."""

from __future__ import annotations

from dataclasses import dataclass

from ratemodel.arrays import FloatArray
from ratemodel.event.laws import Rows


@dataclass(frozen=True)
class Motion:
    """What moves and against what, in SI, each of shape ``(draws,)``.

    ``mass`` effective moving mass, ``speed`` at the start, ``drive`` constant force along the
    motion, ``start`` extension at the start, ``slip_force`` and ``run_out`` of the device
    (infinite where there is none).
    """

    mass: FloatArray
    speed: FloatArray
    drive: FloatArray
    start: FloatArray
    slip_force: FloatArray
    run_out: FloatArray

    def take(self, rows: Rows) -> Motion:
        """Take some of the draws."""
        return Motion(*(a[rows] for a in self.__dict__.values()))


@dataclass(frozen=True)
class Peak:
    """State at the largest force and the moments that lead there, each ``(draws,)``.

    ``rise_s`` is the time between the ``half`` extension and the peak.
    """

    force: FloatArray
    extension: FloatArray
    half: FloatArray
    time_s: FloatArray
    rise_s: FloatArray
    run_out: FloatArray
    endless: bool = False

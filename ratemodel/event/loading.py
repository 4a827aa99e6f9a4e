"""What loads a line: the moving mass, the damping, the slipping device."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from ratemodel.event.checks import columns
from ratemodel.event.result import STANDARD_GRAVITY_M_PER_S2


@dataclass(frozen=True)
class Mover:
    """The mass that loads the line (kg) and its closing speed when the line comes taut (m/s).

    ``gravity``: its weight acts along the line. ``steady_load`` (N): a further constant force
    in that direction, such as wind on a kite. Each a number or one per draw.
    """

    mass: ArrayLike
    closing_speed: ArrayLike
    gravity: bool = False
    steady_load: ArrayLike = 0.0

    @classmethod
    def falling(cls, mass: ArrayLike, fall: ArrayLike) -> Self:
        """Build a mass that has fallen freely by ``fall`` (m); gravity acts on: v = √(2 g h)."""
        height = columns({"fall": fall})["fall"]
        return cls(mass, np.sqrt(2 * STANDARD_GRAVITY_M_PER_S2 * height), gravity=True)


@dataclass(frozen=True)
class Damping:
    """Kelvin–Voigt damping, by its time τ (s) or by its ratio to critical damping.

    The viscous force is c ẋ with c = τ k, where k is the stiffness; of a curved line the secant
    to the undamped peak. A ratio ζ means c = 2 ζ √(k m). Lines in series or parallel are given
    the same τ, for which the whole is again of Kelvin–Voigt kind (exact for linear lines).
    """

    time_s: ArrayLike = 0.0
    ratio: ArrayLike = 0.0


@dataclass(frozen=True)
class Slip:
    """Device that holds up to ``force`` (N) and runs out at it for up to ``run_out`` (m).

    An energy absorber, a running anchor. ``run_out`` infinite: it never comes to its end.
    """

    force: ArrayLike
    run_out: ArrayLike = np.inf

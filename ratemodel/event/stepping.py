"""Damped motion of a mass on a curved line and through a slipping device: one step, one stage.

All draws go forward together. Where force would pass the slip force, the device stops, its
run-out ends or the force peaks, the stage of that draw ends and the next begins.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.event.laws import Rows
from ratemodel.event.lines import Arrangement
from ratemodel.event.motion import Motion

STRETCH, SLIP, LAST, DONE = 0, 1, 2, 3
"""Stages: line stretches; device slips; line stretches with the run-out used up; at rest."""


@dataclass(frozen=True)
class State:
    """Time, extension of the line, speed of the mass, run-out and stage, each ``(draws,)``."""

    time: FloatArray
    extension: FloatArray
    speed: FloatArray
    run: FloatArray
    stage: IntArray

    def take(self, rows: IntArray) -> State:
        """Take some of the draws."""
        return State(*(a[rows] for a in self.__dict__.values()))

    def put(self, rows: IntArray, new: State) -> None:
        """Replace some of the draws in place."""
        for name, array in self.__dict__.items():
            array[rows] = getattr(new, name)


@dataclass(frozen=True)
class System:
    """Line, damper (viscosity c in N s/m), moving mass and the scales of force and time."""

    line: Arrangement
    viscosity: FloatArray
    motion: Motion
    force_scale: FloatArray
    time_scale: FloatArray

    def take(self, rows: Rows) -> System:
        """Take some of the draws."""
        return System(
            self.line.take(rows),
            self.viscosity[rows],
            self.motion.take(rows),
            self.force_scale[rows],
            self.time_scale[rows],
        )

    def free_force(self, s: State) -> FloatArray:
        """Force of line and damper if nothing slipped (N)."""
        return self.line.force(s.extension) + self.viscosity * s.speed

    def force(self, s: State) -> FloatArray:
        """Force in the line (N)."""
        return np.where(s.stage == SLIP, self.motion.slip_force, self.free_force(s))

    def step_length(self, s: State, steps: int) -> FloatArray:
        """Step (s): a share of the time scale, longer where a slip at even force takes long."""
        with np.errstate(divide="ignore", invalid="ignore"):
            stable = 0.5 * self.motion.mass / self.viscosity
            brake = (self.motion.slip_force - self.motion.drive) / self.motion.mass
            stop = np.where(brake > 0, s.speed / brake, np.inf)
            end = (self.motion.run_out - s.run) / s.speed
        h = np.minimum(self.time_scale / steps, stable)
        slip = np.minimum(stop, np.where(np.isnan(end), np.inf, end)) / 8
        return np.where((s.stage == SLIP) & np.isfinite(slip), np.maximum(h, slip), h)

    def advance(self, s: State, h: FloatArray) -> State:
        """State after a step ``h`` within the present stage."""
        x, v = self._stretching(s.extension, s.speed, h)
        run = s.run
        slipping = s.stage == SLIP
        if slipping.any():
            x_slip, v_slip, grown = self._slipping(s, h)
            x, v = np.where(slipping, x_slip, x), np.where(slipping, v_slip, v)
            run = np.where(slipping, run + grown, run)
        return State(s.time + h, x, v, run, s.stage)

    def _stretching(
        self, x: FloatArray, v: FloatArray, h: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Classical Runge–Kutta step of fourth order (Kutta 1901)."""

        def pull(x: FloatArray, v: FloatArray) -> FloatArray:
            return (self.motion.drive - self.line.force(x) - self.viscosity * v) / self.motion.mass

        a1 = pull(x, v)
        v2 = v + h / 2 * a1
        a2 = pull(x + h / 2 * v, v2)
        v3 = v + h / 2 * a2
        a3 = pull(x + h / 2 * v2, v3)
        v4 = v + h * a3
        a4 = pull(x + h * v3, v4)
        return x + h / 6 * (v + 2 * v2 + 2 * v3 + v4), v + h / 6 * (a1 + 2 * a2 + 2 * a3 + a4)

    def _slipping(self, s: State, h: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """At constant force the mass slows evenly; the line relaxes towards the slip force.

        Relaxation: x' = (F_s − f(x)) / c, see `_relaxed`; one step and two half steps are
        extrapolated to third order (Richardson 1911).
        """
        slip_force = np.where(s.stage == SLIP, self.motion.slip_force, 0.0)
        slow = (self.motion.drive - slip_force) / self.motion.mass
        whole = self._relaxed(s.extension, slip_force, h)
        halves = self._relaxed(self._relaxed(s.extension, slip_force, h / 2), slip_force, h / 2)
        x = (4 * halves - whole) / 3
        travel = s.speed * h + slow * h**2 / 2
        return x, s.speed + slow * h, travel - (x - s.extension)

    def _relaxed(self, x: FloatArray, slip_force: FloatArray, h: FloatArray) -> FloatArray:
        """Extension after relaxing for ``h`` towards the slip force.

        Linearised over the step and solved exactly, so that a weak damper (fast relaxation)
        costs no small steps.
        """
        k = np.clip(self.line.stiffness(x), 1e-12 * self.force_scale, 1e300)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            part = np.where(self.viscosity > 0, -np.expm1(-k / self.viscosity * h), 1.0)
        return x + (slip_force - self.line.force(x)) / k * part

    def growth(self, s: State) -> FloatArray:
        """Dimensionless rate of the force in a stretching stage, cut off at ± 1000."""
        with np.errstate(invalid="ignore", divide="ignore"):
            pull = (self.motion.drive - self.free_force(s)) / self.motion.mass
            growth = self.line.stiffness(s.extension) * s.speed + self.viscosity * pull
        # A soft law starts with a vertical tangent: the force then certainly grows.
        growth = np.where(np.isnan(growth), np.inf, growth)
        return np.clip(growth * self.time_scale / self.force_scale, -1e3, 1e3)

    def margin(self, s: State) -> FloatArray:
        """Positive until the stage ends: the nearest of its possible endings.

        Stretching ends when the mass stops or the slip force is reached, slipping when the
        device stops or its run-out is used up.
        """
        speed_scale = self.force_scale * self.time_scale / self.motion.mass
        stop = s.speed / speed_scale
        with np.errstate(invalid="ignore", divide="ignore"):
            reach = (self.motion.slip_force - self.free_force(s)) / self.force_scale
            stretch = np.where(s.stage == STRETCH, np.minimum(stop, reach), stop)
            if not (s.stage == SLIP).any():
                return stretch
            lack = self.motion.slip_force - self.line.force(s.extension)
            creep = np.where(self.viscosity > 0, lack / self.viscosity, 0.0)
            left = (self.motion.run_out - s.run) / (speed_scale * self.time_scale)
        slip = np.minimum((s.speed - creep) / speed_scale, left)
        return np.where(s.stage == SLIP, slip, stretch)

    def next_stage(self, s: State) -> IntArray:
        """Stage after the present one has ended at this state."""
        scale = 1e-9 * self.force_scale
        slips = self.free_force(s) >= self.motion.slip_force - scale
        full = s.run >= self.motion.run_out * (1 - 1e-9)
        after_stretch = np.where(slips, np.where(self.motion.run_out > 0, SLIP, LAST), DONE)
        after_slip = np.where(full, LAST, DONE)
        after = np.select([s.stage == STRETCH, s.stage == SLIP], [after_stretch, after_slip], DONE)
        return after.astype(np.int64)

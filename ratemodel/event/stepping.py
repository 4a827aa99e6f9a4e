"""Damped motion of a mass on a curved line and through a slipping device: one step, one stage.

All draws go forward together. Where force would pass the slip force, the device stops, its
run-out ends or the force peaks, the stage of that draw ends and the next begins.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray, IntArray
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


def joined(states: list[State]) -> State:
    """Draws of several states in one."""
    names = tuple(states[0].__dict__)
    return State(*(np.concatenate([getattr(s, n) for s in states]) for n in names))


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

    def step_length(self, s: State, steps: FloatArray) -> FloatArray:
        """Step (s): a share of the time scale, longer where a slip at even force takes long."""
        with np.errstate(divide="ignore", invalid="ignore"):
            stable = 0.5 * self.motion.mass / self.viscosity
            brake = (self.motion.slip_force - self.motion.drive) / self.motion.mass
            stop = np.where(brake > 0, s.speed / brake, np.inf)
            end = (self.motion.run_out - s.run) / s.speed
        # A softening law starts with a vertical tangent: small steps at first.
        ease = np.minimum(1.0, 0.1 + 3 * s.time / self.time_scale)
        h = np.minimum(ease * self.time_scale / steps, stable)
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

    @property
    def capped(self) -> bool:
        """Whether any draw has a slipping device."""
        return bool(np.isfinite(self.motion.slip_force).any())

    def growth(self, s: State, free: FloatArray | None = None) -> FloatArray:
        """Dimensionless rate of the force in a stretching stage, cut off at ± 1000.

        ``free`` is `free_force` where it is known already.
        """
        free = self.free_force(s) if free is None else free
        with np.errstate(invalid="ignore", divide="ignore"):
            pull = (self.motion.drive - free) / self.motion.mass
            growth = self.line.stiffness(s.extension) * s.speed + self.viscosity * pull
        # A soft law starts with a vertical tangent: the force then certainly grows.
        growth = np.where(np.isnan(growth), np.inf, growth)
        return np.clip(growth * self.time_scale / self.force_scale, -1e3, 1e3)

    def margin(self, s: State) -> FloatArray:
        """Positive until the stage ends: the nearest of its possible endings.

        Stretching ends when the mass stops or the slip force is reached, slipping when the
        device stops or its run-out is used up.
        """
        if not self.capped:
            return s.speed / self._speed_scale
        return np.minimum(*self.endings(s))

    @property
    def _speed_scale(self) -> FloatArray:
        return self.force_scale * self.time_scale / self.motion.mass

    def endings(self, s: State) -> tuple[FloatArray, FloatArray]:
        """How far, dimensionless, from coming to rest, and from the device's limit."""
        scale = self._speed_scale
        slipping = s.stage == SLIP
        line = self.line.force(s.extension)
        with np.errstate(invalid="ignore", divide="ignore"):
            lack = self.motion.slip_force - line
            creep = np.where(slipping & (self.viscosity > 0), lack / self.viscosity, 0.0)
            reach = (lack - self.viscosity * s.speed) / self.force_scale
            left = (self.motion.run_out - s.run) / (scale * self.time_scale)
        limit = np.select([s.stage == STRETCH, slipping], [reach, left], np.inf)
        return (s.speed - creep) / scale, limit

    def stopped(self, s: State) -> BoolArray:
        """Whether a stretching mass moves back, with the slip force not reached."""
        if not self.capped:
            return s.speed < 0
        below = (s.stage != STRETCH) | (self.free_force(s) < self.motion.slip_force)
        return np.asarray((s.stage != SLIP) & (s.speed < 0) & below)

    def next_stage(self, s: State) -> IntArray:
        """Stage after the present one has ended at this state."""
        if not self.capped:
            return np.full_like(s.stage, DONE)
        rest, limit = self.endings(s)
        at_limit = limit <= rest
        after_stretch = np.where(at_limit, np.where(self.motion.run_out > 0, SLIP, LAST), DONE)
        after_slip = np.where(at_limit, LAST, DONE)
        after = np.select([s.stage == STRETCH, s.stage == SLIP], [after_stretch, after_slip], DONE)
        return after.astype(np.int64)

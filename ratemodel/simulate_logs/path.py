"""The noise-free log as knots of time, crosshead position, stretch and force."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.simulate_logs.truth import LogAnswer, LogTruth

_KNOTS = 400


@dataclass(frozen=True, eq=False)
class LogPath:
    """Knots of the noise-free log, and the indices that the answers refer to."""

    time: FloatArray
    machine: FloatArray
    stretch: FloatArray
    force: FloatArray
    lift_off: int
    bottoms: tuple[int, ...]
    peak: int


class _Builder:
    """Appends knots of crosshead position, stretch and force; time follows from the speed."""

    def __init__(self, truth: LogTruth) -> None:
        self.truth = truth
        total = truth.strain_at_break * truth.free_length_m
        self.toe = truth.toe_fraction * total
        self.toe_force = 0.1 * truth.peak_N
        straight = total - self.toe * (1 - np.exp(-truth.peak_N / self.toe_force))
        self.stiffness = truth.peak_N / straight
        self.speed = truth.strain_rate_per_s * truth.free_length_m
        self.time = [0.0]
        self.machine = [-truth.slack_m]
        self.stretch = [-truth.slack_m]
        self.force = [0.0]

    def law(self, force: FloatArray | float) -> FloatArray:
        """Elongation of a fresh specimen at a force."""
        f = np.asarray(force, dtype=np.float64)
        elongation: FloatArray = f / self.stiffness + self.toe * (1 - np.exp(-f / self.toe_force))
        return elongation

    def move(self, stretch: FloatArray, force: FloatArray) -> None:
        """Drive the crosshead through these knots at its one speed."""
        k = self.truth.machine_stiffness_N_per_m
        machine = stretch + (0.0 if k is None else force / k)
        way = np.abs(np.diff(np.concatenate([[self.machine[-1]], machine])))
        self.time.extend((self.time[-1] + np.cumsum(way) / self.speed).tolist())
        self.machine.extend(machine.tolist())
        self.stretch.extend(stretch.tolist())
        self.force.extend(force.tolist())

    def jump(self, force: float) -> None:
        """Let force change at once, the crosshead standing where it is."""
        self.wait(0.0, 0.0, force)

    def wait(self, duration: float, creep: float, force: float) -> None:
        """Let time pass; the crosshead follows the creep."""
        k = self.truth.machine_stiffness_N_per_m
        self.time.append(self.time[-1] + duration)
        self.stretch.append(self.stretch[-1] + creep)
        step = creep if k is None or duration > 0 else 0.0
        self.machine.append(self.machine[-1] + step)
        self.force.append(force)


def path_of(truth: LogTruth) -> LogPath:
    """Build the noise-free log of a truth."""
    build = _Builder(truth)
    if truth.slack_m > 0:
        build.move(np.array([0.0]), np.array([0.0]))
    lift_off = len(build.time) - 1
    bottoms, residual, low = _cycle(build, truth)
    residual, lost = _hold_and_drops(build, truth, residual, low)
    peak = len(build.time) - 1
    _end(build, truth, residual, lost)
    return LogPath(
        np.array(build.time),
        np.array(build.machine),
        np.array(build.stretch),
        np.array(build.force),
        lift_off,
        bottoms,
        peak,
    )


def _cycle(build: _Builder, truth: LogTruth) -> tuple[tuple[int, ...], float, float]:
    """Preload cycles; indices of their lowest points, residual elongation, force left."""
    preload = truth.preload
    if preload is None or preload.cycles == 0:
        return (), 0.0, 0.0
    low, top = preload.low_fraction * truth.peak_N, preload.level_fraction * truth.peak_N
    bottoms, residual, start = [], 0.0, 0.0
    for number in range(1, preload.cycles + 1):
        up = np.linspace(start, top, _KNOTS)
        build.move(residual + build.law(up), up)
        reached = residual + float(build.law(top))
        residual = preload.residual_m * (1 - np.exp(-number / preload.cycles_to_settle))
        down = np.linspace(top, low, _KNOTS)
        share = ((down - low) / (top - low)) ** (1 / preload.unloading_power)
        bottom = residual + float(build.law(low))
        build.move(bottom + (reached - bottom) * share, down)
        bottoms.append(len(build.time) - 1)
        start = low
    return tuple(bottoms), residual, low


def _hold_and_drops(
    build: _Builder, truth: LogTruth, residual: float, start: float
) -> tuple[float, float]:
    """Pull to the peak; residual elongation and force lost to strand breaks come back."""
    events: list[tuple[float, float | None]] = [(q, d) for q, d in truth.drops]
    if truth.hold is not None:
        events.append((truth.hold.level_fraction, None))
    force, lost = start, 0.0
    for level, drop in sorted(events, key=lambda e: e[0]):
        force = _pull(build, force, level * truth.peak_N, (residual, lost))
        if drop is None and truth.hold is not None:
            creep = truth.hold.creep_rate_per_s * truth.free_length_m * truth.hold.duration_s
            build.wait(truth.hold.duration_s, creep, force)
            residual += creep
        elif drop is not None:
            lost += drop * truth.peak_N
            force -= drop * truth.peak_N
            build.jump(force)
    _pull(build, force, truth.peak_N, (residual, lost))
    return residual, lost


def _pull(build: _Builder, start: float, end: float, state: tuple[float, float]) -> float:
    residual, lost = state
    force = np.linspace(start, end, _KNOTS)
    build.move(residual + build.law(force + lost), force)
    return end


def _end(build: _Builder, truth: LogTruth, residual: float, lost: float) -> None:
    peak = truth.peak_N
    tail = truth.tail_fraction * truth.strain_at_break * truth.free_length_m
    if truth.ending == "stopped":
        build.wait(tail / build.speed, 0.0, peak)
        return
    if truth.ending == "unloaded":
        down = np.linspace(peak, 0.0, _KNOTS)
        build.move(residual + build.law(down + lost) - build.law(lost), down)
        build.wait(tail / build.speed, 0.0, 0.0)
        return
    left = peak
    for share in truth.late_drops:
        left -= share * peak
        build.jump(left)
        # a little further pull on the strands that are left
        more = np.linspace(left, left * 1.02, 20)
        reached = build.stretch[-1]
        build.move(reached + (more - left) / build.stiffness, more)
        left *= 1.02
    build.jump(0.0)
    speed_tail = build.machine[-1] + np.linspace(0.0, tail, 20)[1:]
    build.time.extend((build.time[-1] + (speed_tail - build.machine[-1]) / build.speed).tolist())
    build.machine.extend(speed_tail.tolist())
    build.stretch.extend(speed_tail.tolist())
    build.force.extend([0.0] * len(speed_tail))


def answer(truth: LogTruth) -> LogAnswer:
    """Say what is true of the log of this specimen, from its noise-free path."""
    path, build = path_of(truth), _Builder(truth)
    start = path.bottoms[-1] if path.bottoms else path.lift_off
    # energy and hysteresis as areas under the noise-free curve
    edges = (path.lift_off, *path.bottoms)
    loops = tuple(
        float(np.trapezoid(path.force[a : b + 1], path.stretch[a : b + 1]))
        for a, b in pairwise(edges)
    )
    preload = truth.preload
    residual = (
        tuple(
            preload.residual_m * (1 - float(np.exp(-n / preload.cycles_to_settle)))
            for n in range(1, preload.cycles + 1)
        )
        if preload is not None
        else ()
    )
    part = slice(start, path.peak + 1)
    share = 1.0
    if truth.machine_stiffness_N_per_m is not None:
        share = 1 / (1 + build.stiffness / truth.machine_stiffness_N_per_m)
    return LogAnswer(
        peak_N=truth.peak_N,
        speed_m_per_s=build.speed * share,
        strain_rate_per_s=truth.strain_rate_per_s * share,
        stiffness_N_per_m=build.stiffness,
        elongation_m=float(path.stretch[path.peak] - path.stretch[path.lift_off]),
        energy_J=float(np.trapezoid(path.force[part], path.stretch[part])),
        time_to_peak_s=float(path.time[path.peak] - path.time[start]),
        residual_m=residual,
        hysteresis_J=loops,
    )

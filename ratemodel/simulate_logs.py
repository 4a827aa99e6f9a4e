"""Machine logs with known truth, for tests, studies and the demonstration.

The specimen lengthens with force as x(F) = F/K + a (1 − exp(−F/F_a)): a soft start (bedding-in)
that joins a straight line. The crosshead moves at one speed throughout; slack, preload cycles with
residual elongation and hysteresis, a hold with creep, strand breaks, the frame's own stretch, and
what logger and load cell do to the reading are laid on top.
"""

from __future__ import annotations

import csv
import hashlib
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.records.logfile.log import MachineLog

_KNOTS = 400


@dataclass(frozen=True)
class PreloadTruth:
    """Cycles before the pull, as fractions of the peak; residual elongation saturates."""

    cycles: int = 5
    level_fraction: float = 0.5
    low_fraction: float = 0.03
    residual_m: float = 0.002
    cycles_to_settle: float = 2.0
    unloading_power: float = 1.6


@dataclass(frozen=True)
class HoldTruth:
    """A hold at constant force during the final pull, as a fraction of the peak."""

    level_fraction: float = 0.4
    duration_s: float = 60.0
    creep_rate_per_s: float = 1e-6


@dataclass(frozen=True)
class LogTruth:
    """What is true of a specimen, a machine and a logger.

    ``drops`` are (fraction of the peak at which, fraction of the peak lost) before the peak,
    ``late_drops`` fractions of the peak lost one after another after it. ``ending`` "broke" ends
    at the peak, "stopped" stands still there and the log ends, "unloaded" drives back.
    ``tail_fraction`` is what the log goes on for, in units of the elongation at break.
    ``saturation_N`` clips the reading; ``filter_lag_s`` is the time constant of a first-order
    filter.
    """

    peak_N: float = 12_000.0
    free_length_m: float = 0.5
    strain_at_break: float = 0.035
    strain_rate_per_s: float = 0.01
    sample_rate_Hz: float = 100.0
    toe_fraction: float = 0.2
    slack_m: float = 0.003
    force_noise_N: float = 0.0
    position_noise_m: float = 0.0
    preload: PreloadTruth | None = None
    hold: HoldTruth | None = None
    drops: tuple[tuple[float, float], ...] = ()
    late_drops: tuple[float, ...] = ()
    ending: Literal["broke", "stopped", "unloaded"] = "broke"
    tail_fraction: float = 0.15
    machine_stiffness_N_per_m: float | None = None
    force_offset_N: float = 0.0
    force_sign: Literal[1, -1] = 1
    saturation_N: float | None = None
    filter_lag_s: float = 0.0


@dataclass(frozen=True)
class LogAnswer:
    """What a reduction of the log should find."""

    peak_N: float
    speed_m_per_s: float
    strain_rate_per_s: float
    stiffness_N_per_m: float
    elongation_m: float
    energy_J: float
    time_to_peak_s: float
    residual_m: tuple[float, ...]
    hysteresis_J: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class _Path:
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


def _path(truth: LogTruth) -> _Path:
    build = _Builder(truth)
    if truth.slack_m > 0:
        build.move(np.array([0.0]), np.array([0.0]))
    lift_off = len(build.time) - 1
    bottoms, residual, low = _cycle(build, truth)
    residual, lost = _hold_and_drops(build, truth, residual, low)
    peak = len(build.time) - 1
    _end(build, truth, residual, lost)
    return _Path(
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
    path, build = _path(truth), _Builder(truth)
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


def simulate_log(
    truth: LogTruth, rng: np.random.Generator, *, name: str = "simulated.csv"
) -> MachineLog:
    """Sample the log of one specimen; the clock starts anywhere within a step."""
    path = _path(truth)
    step = 1.0 / truth.sample_rate_Hz
    # a stopped log ends at the peak itself
    time = np.arange(rng.uniform() * step, path.time[-1], step)
    # knots at one time (a break) are taken in order: before it the old force, after it the new
    knots = path.time + np.arange(len(path.time)) * 1e-15 * path.time[-1]
    force = _filtered(time, knots, path, truth)
    position = np.interp(time, knots, path.machine) + truth.slack_m
    force = force + truth.force_offset_N + truth.force_noise_N * rng.standard_normal(len(time))
    position = position + truth.position_noise_m * rng.standard_normal(len(time))
    if truth.saturation_N is not None:
        force = np.clip(force, -truth.saturation_N, truth.saturation_N)
    force = np.asarray(truth.force_sign * force, dtype=np.float64)
    digest = hashlib.sha256(
        b"".join(np.ascontiguousarray(a).tobytes() for a in (time, position, force))
    )
    return MachineLog(
        name=name,
        time_s=np.asarray(time, dtype=np.float64),
        position_m=np.asarray(position, dtype=np.float64),
        force_N=force,
        columns=("time_s", "position_mm", "force_kN"),
        raw_columns=("time_s", "position_mm", "force_kN"),
        sha256=digest.hexdigest(),
        sample_interval_s=step,
        rows=len(time),
    )


def _filtered(time: FloatArray, knots: FloatArray, path: _Path, truth: LogTruth) -> FloatArray:
    """Force at the sample times, through the first-order filter if there is one."""
    if truth.filter_lag_s <= 0:
        return np.asarray(np.interp(time, knots, path.force), dtype=np.float64)
    from scipy.signal import lfilter

    fine = min(truth.filter_lag_s / 20, 1 / truth.sample_rate_Hz)
    grid = np.arange(0.0, path.time[-1] + fine, fine)
    decay = np.exp(-fine / truth.filter_lag_s)
    smooth = lfilter([1 - decay], [1, -decay], np.interp(grid, knots, path.force))
    return np.asarray(np.interp(time, grid, smooth), dtype=np.float64)


def write_log_csv(log: MachineLog, path: str | Path) -> Path:
    """Write a log as the campaign folder has it: ``time_s``, ``position_mm``, ``force_kN``."""
    out = Path(path)
    columns = [log.time_s, log.force_N / 1e3]
    names = ["time_s", "force_kN"]
    if log.position_m is not None:
        columns.insert(1, log.position_m * 1e3)
        names.insert(1, "position_mm")
    with out.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream, lineterminator="\n").writerow(names)
        np.savetxt(stream, np.column_stack(columns), fmt="%.10g", delimiter=",")
    return out


def random_truth(rng: np.random.Generator) -> LogTruth:
    """Draw a truth over three decades of sample rate and of noise, for tests and studies.

    The pull holds 30 to 30 000 samples; noise is 1e-5 to 1e-2 of the peak; a third of the
    specimens do not break; half were preloaded.
    """
    rate = float(10 ** rng.uniform(-4, 1))
    strain = float(rng.uniform(0.02, 0.12))
    peak = float(10 ** rng.uniform(2.5, 5.5))
    length = float(rng.uniform(0.2, 3.0))
    truth = LogTruth(
        peak_N=peak,
        free_length_m=length,
        strain_at_break=strain,
        strain_rate_per_s=rate,
        sample_rate_Hz=float(10 ** rng.uniform(1.5, 4.5)) * rate / strain,
        toe_fraction=float(rng.uniform(0.0, 0.3)),
        slack_m=float(rng.uniform(0.0, 0.3)) * strain * length,
        force_noise_N=float(10 ** rng.uniform(-5, -2)) * peak,
        position_noise_m=1e-5 * strain * length,
    )
    if rng.uniform() < 0.5:
        truth = replace(
            truth,
            preload=PreloadTruth(
                cycles=int(rng.integers(1, 13)),
                level_fraction=float(rng.uniform(0.25, 0.8)),
                low_fraction=float(rng.uniform(0.01, 0.08)),
                residual_m=float(rng.uniform(0.02, 0.15)) * strain * length,
            ),
        )
    kind = rng.uniform()
    if kind < 0.17:
        return replace(truth, ending="stopped", tail_fraction=float(rng.choice([0.0, 0.2])))
    return replace(truth, ending="unloaded") if kind < 0.34 else truth

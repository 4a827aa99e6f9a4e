"""What the logger makes of the noise-free log, and the file it writes."""

from __future__ import annotations

import csv
import hashlib
from pathlib import Path

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.records.logfile.log import MachineLog
from ratemodel.simulate_logs.path import LogPath, path_of
from ratemodel.simulate_logs.truth import LogTruth


def simulate_log(
    truth: LogTruth, rng: np.random.Generator, *, name: str = "simulated.csv"
) -> MachineLog:
    """Sample the log of one specimen; the clock starts anywhere within a step."""
    path = path_of(truth)
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


def _filtered(time: FloatArray, knots: FloatArray, path: LogPath, truth: LogTruth) -> FloatArray:
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

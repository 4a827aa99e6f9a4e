"""What is true of a specimen, a machine and a logger."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np


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


def random_truth(rng: np.random.Generator) -> LogTruth:
    """Draw a truth over three decades of sample rate and of noise, for tests and studies.

    The pull holds 30 to 30 000 samples; noise is some 1e-5 to 1e-2 of the peak; a third of the
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
        force_noise_N=float(10 ** rng.uniform(-5.1, -1.9)) * peak,
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

"""The simulated log against what can be worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ratemodel.records.logfile import read_log
from ratemodel.simulate_logs import (
    LogTruth,
    PreloadTruth,
    answer,
    simulate_log,
    write_log_csv,
)

RNG_SEED = 12


def _rng():
    return np.random.default_rng(RNG_SEED)


def test_a_straight_specimen_is_a_triangle():
    truth = LogTruth(
        peak_N=1000,
        free_length_m=2.0,
        strain_at_break=0.05,
        toe_fraction=0,
        slack_m=0.01,
        strain_rate_per_s=0.01,
        sample_rate_Hz=1000,
    )
    exact = answer(truth)
    assert exact.stiffness_N_per_m == pytest.approx(1000 / 0.1)
    assert exact.elongation_m == pytest.approx(0.1)
    assert exact.energy_J == pytest.approx(0.5 * 1000 * 0.1)
    assert exact.time_to_peak_s == pytest.approx(5.0)
    log = simulate_log(truth, _rng())
    peak = int(np.argmax(log.force_N))
    # slack of 10 mm and a pull of 100 mm at 20 mm/s
    assert log.time_s[peak] == pytest.approx(5.5, abs=0.0011)
    assert 1000 - 200 * 0.001 - 1e-9 <= log.force_N[peak] <= 1000
    assert np.all(log.force_N[peak + 1 :] == 0)


def test_soft_start_follows_its_law():
    """x(F) = F/K + a (1 − exp(−F/F_a)) with a = 0.2 of the elongation, F_a = 0.1 of the peak."""
    truth = LogTruth(toe_fraction=0.2, sample_rate_Hz=500)
    log = simulate_log(truth, _rng())
    total = truth.strain_at_break * truth.free_length_m
    a = 0.2 * total
    k = truth.peak_N / (total - a * (1 - math.exp(-10)))
    rising = (log.force_N > 100) & (log.time_s <= log.time_s[np.argmax(log.force_N)])
    force = log.force_N[rising]
    expected = truth.slack_m + force / k + a * (1 - np.exp(-force / (0.1 * truth.peak_N)))
    np.testing.assert_allclose(log.position_m[rising], expected, atol=2e-4 * total)


def test_hysteresis_of_a_cycle_by_hand():
    """Straight specimen, first cycle: triangle up, ∫ F dx down with x ∝ share^(1/m)."""
    preload = PreloadTruth(
        cycles=1, level_fraction=0.5, low_fraction=0.05, residual_m=0.002, unloading_power=2.0
    )
    truth = LogTruth(peak_N=1000, toe_fraction=0, preload=preload)
    k = truth.peak_N / (truth.strain_at_break * truth.free_length_m)
    residual = 0.002 * (1 - math.exp(-1 / 2))
    width = 500 / k - (residual + 50 / k)
    up = 0.5 * 500 * 500 / k
    # F − 50 = 450 (x/width)²: its mean over the way is a third
    down = (50 + 450 / 3) * width
    exact = answer(truth)
    assert exact.residual_m == (pytest.approx(residual),)
    assert exact.hysteresis_J[0] == pytest.approx(up - down, rel=1e-3)


def test_filter_lags_a_ramp_by_slope_times_its_time_constant():
    truth = LogTruth(toe_fraction=0, slack_m=0, filter_lag_s=0.1, sample_rate_Hz=1000)
    log = simulate_log(truth, _rng())
    slope = truth.peak_N / (truth.strain_at_break / truth.strain_rate_per_s)
    late = (log.time_s > 1.0) & (log.time_s < 3.4)
    np.testing.assert_allclose(slope * log.time_s[late] - log.force_N[late], slope * 0.1, rtol=1e-2)


def test_written_and_read_again(tmp_path):
    log = simulate_log(LogTruth(force_noise_N=7, force_sign=-1, force_offset_N=3), _rng())
    again = read_log(write_log_csv(log, tmp_path / "a.csv"))
    np.testing.assert_allclose(again.time_s, log.time_s, rtol=1e-9)
    np.testing.assert_allclose(again.position_m, log.position_m, rtol=1e-8, atol=1e-14)
    np.testing.assert_allclose(again.force_N, log.force_N, rtol=1e-8, atol=1e-6)
    assert again.raw_columns == ("time_s", "position_mm", "force_kN")


def test_the_same_seed_gives_the_same_log():
    truth = LogTruth(force_noise_N=5)
    assert simulate_log(truth, _rng()).sha256 == simulate_log(truth, _rng()).sha256

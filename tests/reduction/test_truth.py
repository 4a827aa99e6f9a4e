"""Logs with known truth over three decades of sample rate and of noise.

The truth is that of the simulation (`ratemodel.simulate_logs`), whose law, cycles and answers are
checked by hand in tests/test_simulate_logs.py; the reduction shares no formula with it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ratemodel.reduction import ReductionSettings, reduce_log
from ratemodel.simulate_logs import (
    HoldTruth,
    LogTruth,
    PreloadTruth,
    answer,
    random_truth,
    simulate_log,
)

SEED = 20261125
COUNT = 240


@pytest.fixture(scope="module")
def reduced():
    rng = np.random.default_rng(SEED)
    cases = []
    for _ in range(COUNT):
        truth = random_truth(rng)
        log = simulate_log(truth, rng)
        settings = ReductionSettings(free_length_m=truth.free_length_m)
        cases.append((truth, answer(truth), reduce_log(log, settings)))
    return cases


def test_the_logs_span_three_decades_of_rate_and_noise(reduced):
    samples = [t.sample_rate_Hz * t.strain_at_break / t.strain_rate_per_s for t, _, _ in reduced]
    noise = [t.force_noise_N / t.peak_N for t, _, _ in reduced]
    assert len(reduced) >= 200
    assert max(samples) / min(samples) > 900
    assert max(noise) / min(noise) > 900


def test_the_peak_lies_within_its_stated_bound(reduced):
    for truth, _, record in reduced:
        low = record.peak_force_N - record.peak_high_by_at_most_N
        high = record.peak_force_N + record.peak_low_by_at_most_N
        assert low <= truth.peak_N <= high


def test_the_bound_of_the_peak_is_no_wider_than_it_need_be(reduced):
    """A step of slope and five standard deviations of noise to either side always do."""
    for truth, _, record in reduced:
        step = record.force_rate_N_per_s / truth.sample_rate_Hz
        room = 1.5 * step + 5.5 * truth.force_noise_N
        assert record.peak_low_by_at_most_N <= room
        # noise is read from second differences, which few samples of a soft start feed as well
        assert record.peak_high_by_at_most_N <= 5.5 * truth.force_noise_N + 0.2 * step


def test_the_effective_rate_is_within_two_per_cent(reduced):
    for _, truth, record in reduced:
        assert record.strain_rate_per_s == pytest.approx(truth.strain_rate_per_s, rel=0.02)


def test_cycle_counts_are_exact(reduced):
    for truth, _, record in reduced:
        assert len(record.cycles) == (truth.preload.cycles if truth.preload else 0)


def test_survivors_are_recognised(reduced):
    for truth, _, record in reduced:
        assert record.ended == truth.ending
        assert record.censored == (truth.ending != "broke")


def test_no_strand_break_is_seen_where_none_was(reduced):
    assert all(record.drops == () for _, _, record in reduced)


def test_stiffness_energy_and_elongation(reduced):
    for truth, exact, record in reduced:
        assert record.stiffness_N_per_m == pytest.approx(exact.stiffness_N_per_m, rel=0.03)
        assert record.energy_J == pytest.approx(exact.energy_J, rel=0.1)
        # lift-off is seen late by what 0.5 % of the peak or five standard deviations stretch
        missed = (0.005 + 6 * truth.force_noise_N / truth.peak_N) * 12
        samples = truth.sample_rate_Hz * truth.strain_at_break / truth.strain_rate_per_s
        room = (
            missed * truth.strain_at_break * truth.free_length_m + 3 * exact.elongation_m / samples
        )
        assert abs(record.elongation_m - exact.elongation_m) <= room


def test_residual_elongation_and_hysteresis_of_each_cycle(reduced):
    for truth, exact, record in reduced:
        scale = truth.strain_at_break * truth.free_length_m
        for cycle, residual, loop in zip(
            record.cycles, exact.residual_m, exact.hysteresis_J, strict=True
        ):
            assert abs(cycle.residual_m - residual) < 0.05 * scale
            assert abs(cycle.hysteresis_J - loop) < 0.05 * exact.energy_J


def test_without_position_cycles_and_ends_are_still_told():
    rng = np.random.default_rng(SEED + 1)
    for _ in range(60):
        truth = random_truth(rng)
        log = replace(simulate_log(truth, rng), position_m=None)
        record = reduce_log(log)
        assert len(record.cycles) == (truth.preload.cycles if truth.preload else 0)
        # a slow fall without position may be anything: "unclear" is right for an unloading
        assert record.censored == (truth.ending != "broke")
        assert np.isnan(record.strain_rate_per_s)


BASE = LogTruth(sample_rate_Hz=300, force_noise_N=10, position_noise_m=1e-6)
SETTINGS = ReductionSettings(free_length_m=BASE.free_length_m)


def test_strand_breaks_before_and_after_the_peak():
    truth = replace(BASE, drops=((0.6, 0.05), (0.85, 0.08)), late_drops=(0.2, 0.15))
    record = reduce_log(simulate_log(truth, np.random.default_rng(1)), SETTINGS)
    assert [d.before_peak for d in record.drops] == [True, True, False, False]
    np.testing.assert_allclose(
        [d.drop_N / truth.peak_N for d in record.drops], [0.05, 0.08, 0.2, 0.15], atol=0.012
    )
    assert record.ended == "broke"
    exact = answer(truth)
    assert record.strain_rate_per_s == pytest.approx(exact.strain_rate_per_s, rel=0.02)
    assert record.stiffness_N_per_m == pytest.approx(exact.stiffness_N_per_m, rel=0.05)


@pytest.mark.parametrize("level", [0.3, 0.7])
def test_a_hold_is_found_with_its_creep_rate_and_kept_out_of_the_rate(level):
    hold = HoldTruth(level, 30.0, 3e-5)
    truth = replace(BASE, hold=hold)
    record = reduce_log(simulate_log(truth, np.random.default_rng(2)), SETTINGS)
    (found,) = record.holds
    assert found.level_N == pytest.approx(level * truth.peak_N, rel=0.01)
    assert found.duration_s == pytest.approx(30.0, rel=0.02)
    assert found.creep_rate_per_s == pytest.approx(3e-5, rel=0.05)
    assert record.strain_rate_per_s == pytest.approx(truth.strain_rate_per_s, rel=0.02)
    assert ("hold-in-pull" in {p.code for p in record.findings}) == (level > 0.5)


def test_machine_stretch_is_taken_off_when_its_stiffness_is_stated():
    exact_specimen = answer(BASE)
    machine = 2.0 * exact_specimen.stiffness_N_per_m
    truth = replace(BASE, machine_stiffness_N_per_m=machine)
    log = simulate_log(truth, np.random.default_rng(3))
    raw = reduce_log(log, SETTINGS)
    corrected = reduce_log(log, replace(SETTINGS, machine_stiffness_N_per_m=machine))
    # springs in series: the crosshead sees 1/(1/k_s + 1/k_m); the specimen's rate is two thirds
    assert raw.strain_rate_per_s == pytest.approx(truth.strain_rate_per_s, rel=0.01)
    assert corrected.strain_rate_per_s == pytest.approx(truth.strain_rate_per_s * 2 / 3, rel=0.02)
    assert raw.stiffness_N_per_m == pytest.approx(
        exact_specimen.stiffness_N_per_m * 2 / 3, rel=0.02
    )
    assert corrected.stiffness_N_per_m == pytest.approx(exact_specimen.stiffness_N_per_m, rel=0.02)
    assert corrected.energy_J == pytest.approx(exact_specimen.energy_J, rel=0.02)
    assert "machine stretch" in corrected.corrections[0]


@pytest.mark.parametrize("stated", [True, False])
def test_a_filter_lag_widens_the_bound(stated):
    truth = replace(BASE, filter_lag_s=0.05, force_noise_N=1.0)
    log = simulate_log(truth, np.random.default_rng(4))
    record = reduce_log(log, replace(SETTINGS, filter_lag_s=0.05) if stated else SETTINGS)
    short = truth.peak_N - record.peak_force_N
    assert short > 0.01 * truth.peak_N  # the filter hides this much
    assert short <= record.peak_low_by_at_most_N <= 2.5 * short
    assert ("filter-lag" in {p.code for p in record.findings}) != stated


def test_saturation_is_at_least_this_much():
    truth = replace(BASE, saturation_N=10_000.0)
    record = reduce_log(simulate_log(truth, np.random.default_rng(5)), SETTINGS)
    assert record.censored
    assert record.peak_low_by_at_most_N == np.inf
    stated = reduce_log(
        simulate_log(BASE, np.random.default_rng(5)), replace(SETTINGS, load_cell_range_N=12_050.0)
    )
    assert stated.censored
    assert "saturated" in {p.code for p in stated.findings}


@pytest.mark.parametrize("offset", [150.0, -150.0])
def test_an_offset_widens_the_bound_and_is_not_corrected(offset):
    truth = replace(BASE, force_offset_N=offset)
    record = reduce_log(simulate_log(truth, np.random.default_rng(6)), SETTINGS)
    low = record.peak_force_N - record.peak_high_by_at_most_N
    high = record.peak_force_N + record.peak_low_by_at_most_N
    assert low <= truth.peak_N <= high
    assert record.peak_force_N == pytest.approx(truth.peak_N + offset, rel=0.01)
    assert "force-offset" in {p.code for p in record.findings}


def test_sign_of_force_does_not_matter():
    truth = replace(BASE, preload=PreloadTruth(cycles=3))
    up = reduce_log(simulate_log(truth, np.random.default_rng(7)), SETTINGS)
    log = simulate_log(truth, np.random.default_rng(7))
    down = reduce_log(replace(log, force_N=-log.force_N), SETTINGS)
    assert down.peak_force_N == up.peak_force_N
    assert down.strain_rate_per_s == up.strain_rate_per_s
    assert len(down.cycles) == 3
    assert "sign of force turned" in down.corrections


def test_units_of_time_and_length_scale_through():
    """The same log in other units: a rate per minute is sixty times that per second."""
    log = simulate_log(replace(BASE, preload=PreloadTruth()), np.random.default_rng(8))
    one = reduce_log(log, SETTINGS)
    slow = replace(log, time_s=log.time_s * 60, sample_interval_s=log.sample_interval_s * 60)
    sixty = reduce_log(slow, SETTINGS)
    assert sixty.strain_rate_per_s * 60 == pytest.approx(one.strain_rate_per_s, rel=1e-9)
    assert sixty.energy_J == pytest.approx(one.energy_J, rel=1e-9)
    assert len(sixty.cycles) == len(one.cycles)


def test_slow_fall_with_the_machine_pulling_on_is_unclear():
    log = simulate_log(replace(BASE, ending="stopped", tail_fraction=0), np.random.default_rng(9))
    n = 600
    step = log.sample_interval_s
    time = np.r_[log.time_s, log.time_s[-1] + step * np.arange(1, n + 1)]
    position = np.r_[log.position_m, log.position_m[-1] + 0.005 * step * np.arange(1, n + 1)]
    force = np.r_[log.force_N, log.force_N[-1] * np.linspace(1, 0.05, n)]
    record = reduce_log(replace(log, time_s=time, position_m=position, force_N=force), SETTINGS)
    assert record.ended == "unclear"
    assert record.censored
    assert "slow-fall" in {p.code for p in record.findings}

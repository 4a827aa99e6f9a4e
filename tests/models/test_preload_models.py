"""Preload models written out one number at a time."""

import math

import numpy as np
import pytest

from ratemodel.models.preload import GainWithDamage, LogCycles, NoEffect, SaturatingGain, Settling

CYCLES, LEVEL = np.array([0.0, 1.0, 5.0, 20.0]), np.array([0.0, 0.3, 0.5, 0.7])


def test_gain_and_damage_are_their_formulas():
    g, d, settle, m, s = 0.12, 0.004, 2.5, 1.5, 4.0
    gain = [g * q**m * (1 - math.exp(-n / settle)) for n, q in zip(CYCLES, LEVEL, strict=True)]
    loss = [d * n * q**s for n, q in zip(CYCLES, LEVEL, strict=True)]
    up = SaturatingGain().curve(np.array([[g]]), np.array([[settle, m]]), CYCLES, LEVEL)
    both = GainWithDamage().curve(np.array([[g, d]]), np.array([[settle, m, s]]), CYCLES, LEVEL)
    assert up[0] == pytest.approx(gain)
    assert both[0] == pytest.approx(np.array(gain) - np.array(loss))
    assert (NoEffect().curve(np.zeros((1, 0)), np.zeros((1, 0)), CYCLES, LEVEL) == 0).all()


def test_settling_and_log_cycles_are_their_formulas():
    n = np.array([1.0, 2.0, 10.0])
    values = {"first": 3.0, "settled": 5.0, "cycles_to_settle": 4.0}
    assert Settling().curve(values, n) == pytest.approx([5 - 2 * math.exp(-(k - 1) / 4) for k in n])
    line = LogCycles().curve({"first": 3.0, "slope": 0.5}, n)
    assert line == pytest.approx([3 + 0.5 * math.log10(k) for k in n])
    assert Settling().guess(n, np.array([1.0, 1.5, 2.0]))["cycles_to_settle"] == 3.0

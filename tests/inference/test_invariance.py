"""What must not change an answer: order of rows, unit of force, other series, a second run."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made import series

import ratemodel as rm
from ratemodel.inference.data import speeds_of
from ratemodel.records.tables import Specimens

QUICK = rm.Settings(draws=2000, points=256)
U = np.repeat([-3.2, -1.1, 0.3], 4)
Y = 9.0 - 0.02 * U + 0.03 * np.random.default_rng(2).standard_normal(12)
KW = {"batch": ["a", "b", "c", "a"] * 3, "machine": ["slow"] * 4 + ["fast"] * 8}
AT = np.array([-3.2, -2.0, 0.3, 2.0])


def shuffled(s, order):
    columns = {}
    for name in Specimens.__dataclass_fields__:
        value = getattr(s.used, name)
        if name == "extra":
            continue
        columns[name] = tuple(value[i] for i in order) if isinstance(value, tuple) else value[order]
    return replace(s, used=Specimens(**columns))


def curve(s, seed=7):
    return rm.fit_rate(s, rng=np.random.default_rng(seed), settings=QUICK).curve(AT)


@settings(max_examples=8, deadline=None)
@given(st.permutations(range(12)))
def test_order_of_rows_changes_nothing(order):
    s = series(U, Y, **KW)
    a, b = curve(s), curve(shuffled(s, list(order)))
    assert np.array_equal(a.median, b.median)
    assert np.array_equal(a.lower_bound, b.lower_bound)


@pytest.mark.parametrize("held", [False, True])
def test_unit_of_force_changes_nothing_but_the_unit(held):
    """Pound-force for newton: ln S shifts by ln 4.448 and nothing else."""
    broke = np.arange(12) % 5 != 0 if held else None
    shift = np.log(4.4482216152605)
    a, b = curve(series(U, Y, broke=broke, **KW)), curve(series(U, Y + shift, broke=broke, **KW))
    for name in ("median", "mean_interval", "specimen_interval", "lower_bound"):
        assert getattr(b, name) == pytest.approx(getattr(a, name) + shift, abs=2e-3), name


def test_same_seed_same_answer_other_seed_same_to_sampling_error():
    s = series(U, Y, **KW)
    a, b, c = curve(s, 1), curve(s, 1), curve(s, 2)
    assert np.array_equal(a.mean_interval, b.mean_interval)
    assert not np.array_equal(a.mean_interval, c.mean_interval)
    width = np.diff(a.mean_interval, axis=0)[0]
    assert np.all(np.abs(a.mean_interval - c.mean_interval) < 0.15 * width)


def test_rate_in_other_units_gives_the_same_curve_shifted():
    s = series(U, Y, **KW)
    a = rm.fit_rate(s, rng=np.random.default_rng(3), settings=QUICK).curve(AT)
    moved = series(U + 1.0, Y, **KW)
    b = rm.fit_rate(moved, rng=np.random.default_rng(3), settings=QUICK).curve(AT + 1.0)
    assert b.median == pytest.approx(a.median, abs=0.01)


def test_bands_are_nested_and_grow_beyond_the_tests():
    fit = rm.fit_rate(series(U, Y, **KW), rng=np.random.default_rng(3))
    c = fit.curve(np.linspace(-5, 3, 50))
    assert np.all(c.specimen_interval[0] < c.mean_interval[0])
    assert np.all(c.mean_interval[1] < c.specimen_interval[1])
    assert np.all(c.lower_bound < c.median)
    width = np.diff(c.mean_interval, axis=0)[0]
    beyond = c.u > U.max()
    assert np.all(np.diff(width[beyond]) > 0)
    assert c.decades_beyond[-1] == pytest.approx(2.7)


def test_draws_are_joint_rows():
    """The difference of a rate from itself has no spread; marginals resampled apart would have."""
    fit = rm.fit_rate(series(U, Y, **KW), rng=np.random.default_rng(3), settings=QUICK)
    twice = fit.mean_ln(np.array([-1.1, -1.1]))
    assert np.ptp(twice[:, 0] - twice[:, 1]) == 0.0
    own = fit.mean_ln(np.full((2000, 1), -1.1))
    assert own[:, 0] == pytest.approx(twice[:, 0], abs=1e-12)


def test_logged_rates_of_one_speed_are_one_speed():
    jitter = 0.01 * np.random.default_rng(1).standard_normal(8)
    u = np.repeat([-3.0, -1.0], 4) + jitter
    assert np.array_equal(speeds_of(u), np.repeat([0, 1], 4))
    y = 9.0 + 0.02 * np.random.default_rng(4).standard_normal(8)
    exact = rm.fit_rate(series(np.round(u), y), rng=np.random.default_rng(1), settings=QUICK)
    logged = rm.fit_rate(series(u, y), rng=np.random.default_rng(1), settings=QUICK)
    assert not [p for p in logged.problems if p.code == "no-replicates"]
    a, b = (f.curve(np.array([-3.0])).mean_interval for f in (exact, logged))
    assert b == pytest.approx(a, abs=0.006)

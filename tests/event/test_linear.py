"""Linear undamped falls and snatches against computed tables, limits and an integrator."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from ratemodel.errors import InputError
from ratemodel.event import STANDARD_GRAVITY_M_PER_S2 as G
from ratemodel.event import fall, snatch

REFERENCE = Path(__file__).parents[1] / "reference" / "fall_check_values.csv"
positive = st.floats(0.1, 1e3)


def _rows() -> list[dict[str, float]]:
    lines = [r for r in REFERENCE.read_text(encoding="utf-8").splitlines() if r[0] != "#"]
    return [{k: float(v) for k, v in row.items()} for row in csv.DictReader(lines)]


@pytest.mark.parametrize("row", _rows(), ids=lambda r: f"{r['impact_force_kN']}kN")
def test_fall_check_values(row: dict[str, float]) -> None:
    # Table computed outside this project from F = mg + sqrt((mg)^2 + 2 m g (h/L) EA), 80 kg, 4.6 m
    # on 2.6 m. Its mean_strain_rate is peak strain over the time from taut to peak. The printed
    # digits limit the comparison where they are coarser than 1e-4: half a unit of the last place.
    event = fall(80.0, 4.6, 2.6, row["EA_kN"] * 1e3)
    pairs = [
        (event.peak_force_N[0] / 1e3, row["impact_force_kN"], 0.5e-4),
        (event.peak_strain[0] * 100, row["peak_strain_pct"], 0.5e-2),
        (event.time_to_peak_s[0], row["time_taut_to_peak_s"], 0.5e-4),
        (event.mean_strain_rate_per_s[0], row["mean_strain_rate_per_s"], 0.5e-4),
        (event.initial_strain_rate_per_s[0], row["initial_strain_rate_per_s"], 0.5e-4),
    ]
    for ours, printed, half_unit in pairs:
        assert ours == pytest.approx(printed, abs=1.02 * half_unit + 1e-6 * printed)
    assert event.peak_force_N[0] / 1e3 == pytest.approx(row["impact_force_kN"], rel=1e-4)


def _integrate(m: float, v: float, k: float, drive: float) -> tuple[float, float, float]:
    def stop(t: float, y: np.ndarray) -> float:
        return y[1]

    stop.terminal, stop.direction = True, -1

    def half(t: float, y: np.ndarray) -> float:
        return y[0] - level[0]

    level = [0.0]
    rhs = lambda t, y: [y[1], (drive - k * y[0]) / m]  # noqa: E731
    kw = {"rtol": 1e-11, "atol": 1e-13, "method": "DOP853"}
    end = 4 * np.pi / np.sqrt(k / m)
    first = solve_ivp(rhs, (0, end), [0.0, v], events=[stop], **kw)
    peak, t_peak = first.y_events[0][0][0], first.t_events[0][0]
    level[0] = peak / 2
    second = solve_ivp(rhs, (0, t_peak), [0.0, v], events=[half], **kw)
    return k * peak, t_peak, (peak / 2) / (t_peak - second.t_events[0][0])


@pytest.mark.parametrize("gravity", [False, True])
def test_times_and_rates_equal_integrator(gravity: bool) -> None:
    m, v, length, ea = 65.0, 3.0, 4.0, 30e3
    event = snatch(m, v, length, ea, gravity=gravity)
    force, time, speed = _integrate(m, v, ea / length, m * G if gravity else 0.0)
    assert event.peak_force_N[0] == pytest.approx(force, rel=1e-8)
    assert event.time_to_peak_s[0] == pytest.approx(time, rel=1e-8)
    assert event.strain_rate_per_s[0] == pytest.approx(speed / length, rel=1e-8)


def test_load_let_go_on_a_taut_line_doubles_the_weight() -> None:
    # Suddenly applied load: twice the static force after half a period (textbook statics).
    event = fall([80.0, 20.0], 0.0, 3.0, 50e3)
    np.testing.assert_allclose(event.peak_force_N, 2 * np.array([80.0, 20.0]) * G, rtol=1e-12)
    period = 2 * np.pi * np.sqrt(np.array([80.0, 20.0]) * 3.0 / 50e3)
    np.testing.assert_allclose(event.time_to_peak_s, period / 2, rtol=1e-12)


@given(positive, positive, st.floats(0, 50), st.floats(0.1, 100), st.floats(1.0, 10.0))
def test_stiffer_or_higher_never_lowers_the_force(
    mass: float, stiff: float, height: float, length: float, more: float
) -> None:
    low = fall(mass, height, length, stiff * 1e3).peak_force_N[0]
    assert fall(mass, height, length, stiff * 1e3 * more).peak_force_N[0] >= low * (1 - 1e-12)
    assert fall(mass, height * more, length, stiff * 1e3).peak_force_N[0] >= low * (1 - 1e-12)


@given(positive, positive, st.floats(0, 50), st.floats(0.1, 100))
def test_energy_balance(mass: float, stiff: float, height: float, length: float) -> None:
    event = fall(mass, height, length, stiff * 1e3)
    stretch = event.peak_strain[0] * length
    stored = 0.5 * event.peak_force_N[0] * stretch
    assert stored == pytest.approx(mass * G * (height + stretch), rel=1e-9)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((0.0, 1.0, 1.0, 1e4), "mass is 0 in 1 of 1 draws"),
        ((80.0, -1.0, 1.0, 1e4), "fall 0 or above"),
        ((80.0, 1.0, float("nan"), 1e4), "line_length is missing"),
        (([80.0, 81.0], [1.0, 2.0, 3.0], 1.0, 1e4), "different length"),
        (([[80.0]], 1.0, 1.0, 1e4), "of shape"),
    ],
)
def test_impossible_input(args: tuple[object, ...], words: str) -> None:
    with pytest.raises(InputError, match=words):
        fall(*args)

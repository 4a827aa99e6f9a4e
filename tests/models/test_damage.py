"""The damage integral against computed published-algebra tables and closed forms."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ratemodel.errors import InputError
from ratemodel.models.damage import (
    cumulative_damage,
    damage_integral,
    expected_break,
    ramp_strength,
    residual_strength,
)
from ratemodel.models.fast_preload import (
    SlowPull,
    fast_preload,
    fast_preload_ratio,
    fast_preload_ratio_exponential,
)
from ratemodel.models.history import LoadHistory, cycles, hold, ramp, sine_cycles, steps
from ratemodel.models.lifetime import LIFE_LAWS, Exponential, InversePower, Zhurkov, life_law
from ratemodel.models.quadrature import break_on_ramp, damage_by_quadrature

REFERENCE = Path(__file__).resolve().parents[1] / "reference"


def _rows(name):
    lines = [w for w in (REFERENCE / name).read_text().splitlines() if not w.startswith("#")]
    return list(csv.DictReader(lines))


def _law(row):
    """Law and coefficients of one row: life F**-n, or exp(-B (F - 1))."""
    k = float(row["n_or_B"])
    if row["rule"] == "power":
        return InversePower(), np.array([[0.0, k]])
    return Exponential(), np.array([[k, k]])


def _ln_life(law, coefficients):
    return lambda load: law.ln_life(coefficients, load, np.full_like(load, np.nan))[0]


@pytest.mark.parametrize("row", _rows("cumulative_damage_check_values.csv"), ids=str)
def test_ramp_strength_of_the_table(row):
    """Computed table of linear cumulative damage (see its header), to 1e-6, two ways."""
    law, c = _law(row)
    rate, strength = float(row["ramp_rate"]), float(row["strength"])
    numeric = break_on_ramp(_ln_life(law, c), rate, (0.01, 10.0))
    assert numeric == pytest.approx(strength, rel=1e-6)
    assert numeric / rate == pytest.approx(float(row["time_to_break"]), rel=1e-6)
    assert ramp_strength(law, c, rate)[0, 0] == pytest.approx(strength, rel=1e-8)
    found = expected_break(ramp(rate, 5.0), law, c)
    assert found.load_N[0] == pytest.approx(strength, rel=1e-8)
    assert found.time_s[0] == pytest.approx(float(row["time_to_break"]), rel=1e-6)
    life = np.exp(_ln_life(law, c)(np.array([numeric])))[0]
    k = float(row["n_or_B"])
    factor = k + 1 if row["rule"] == "power" else k * numeric
    assert life * factor * rate / numeric == pytest.approx(float(row["identity_ratio"]), rel=1e-6)


@pytest.mark.parametrize("row", _rows("preload_factor_check_values.csv"), ids=str)
def test_fast_preload_of_the_table(row):
    """Computed table of the preload factor (formula attributed there to Choi & Salem 1997)."""
    n, p = float(row["n"]), float(row["alpha_preload_over_strength_without_preload"])
    expected = float(row["strength_ratio_with_over_without"])
    law, c = InversePower(), np.array([[0.0, n]])
    ln_life = _ln_life(law, c)
    plain = break_on_ramp(ln_life, 0.01, (0.01, 10.0))
    with_preload = break_on_ramp(ln_life, 0.01, (0.01, 10.0), start_N=p * plain)
    assert with_preload / plain == pytest.approx(expected, rel=1e-6)
    history = LoadHistory(
        np.array([0.0, 0.0, 1e4]), np.array([0.0, p * plain, p * plain + 1e4 * 0.01])
    )
    found = expected_break(history, law, c)
    assert found.load_N[0] / plain == pytest.approx(expected, rel=1e-6)
    assert fast_preload_ratio(p, n) == pytest.approx(expected, rel=1e-8)


def test_finite_preload_rate_by_the_integral():
    n, p, slow, fast = 12.0, 0.85, 0.01, 0.3
    law, c = InversePower(), np.array([[0.0, n]])
    s = ramp_strength(law, c, slow)[0, 0]
    history = ramp(fast, p * s).then(ramp(slow, 3 * s, start_N=p * s))
    found = expected_break(history, law, c).load_N[0]
    assert found / s == pytest.approx(float(fast_preload_ratio(p, n, slow / fast)), rel=1e-9)


def test_exponential_twin_by_the_integral():
    b, p, slow, fast = 30.0, 0.9, 0.01, 0.5
    law, c = Exponential(), np.array([[b, b]])
    # Damage below the exponential law's zero-load rate counts too: exact with exp(bS) - 1.
    s = ramp_strength(law, c, slow)[0, 0]
    history = ramp(fast, p * s).then(ramp(slow, 3 * s, start_N=p * s))
    found = expected_break(history, law, c).load_N[0]
    ratio = float(fast_preload_ratio_exponential(p, b * s, slow / fast))
    assert found / s == pytest.approx(ratio, rel=1e-9)


COEFFICIENTS = {
    "inverse-power": [2.0, 15.0],
    "exponential": [12.0, 0.004],
    "arrhenius": [-20.0, 60e3],
    "power-arrhenius": [-10.0, 8.0, 60e3],
    "zhurkov": [-25.0, 1.6e-19, 2e-23],
}
HISTORIES = {
    "ramp": ramp(3.0, 2000.0),
    "hold": hold(1200.0, 50.0),
    "steps": steps([500.0, 900.0, 1500.0, 300.0], 20.0),
    "cycles": cycles(100.0, 1500.0, 4.0, 25),
    "log": LoadHistory(np.linspace(0, 9, 400), 900 + 500 * np.sin(np.linspace(0, 40, 400)) ** 3),
}


@pytest.mark.parametrize("kind", sorted(HISTORIES))
@pytest.mark.parametrize("law", LIFE_LAWS, ids=lambda w: w.name)
def test_exact_pieces_equal_the_quadrature(law, kind):
    c = np.array([COEFFICIENTS[law.name]])
    base = HISTORIES[kind]
    history = LoadHistory(base.time_s, base.load_N, 300.0)
    exact = damage_integral(history, law, c)[0]
    numeric = damage_by_quadrature(
        history, lambda load: law.ln_life(c, load, np.full_like(load, 300.0))[0]
    )
    assert exact == pytest.approx(numeric, rel=1e-9)


def test_sine_log_against_the_bessel_function():
    """Mean of exp(b F) over a sine is exp(b mean) I0(b amplitude) (Abramowitz & Stegun 9.6.16)."""
    from scipy.special import i0

    law, b = Exponential(), 0.02
    history = sine_cycles(200.0, 600.0, 10.0, 3, points=4096)
    got = damage_integral(history, law, np.array([[0.0, b]]))[0]
    assert got == pytest.approx(30.0 * np.exp(b * 400.0) * i0(b * 200.0), rel=1e-5)


def test_nearly_constant_piece_does_not_cancel():
    law, c = InversePower(), np.array([[np.log(100.0) + 30 * np.log(1000.0), 30.0]])
    history = LoadHistory(np.array([0.0, 100.0]), np.array([1000.0, 1000.0 * (1 + 1e-15)]))
    assert damage_integral(history, law, c)[0] == pytest.approx(1.0, rel=1e-12)


@settings(max_examples=50, deadline=None)
@given(st.floats(3, 60), st.floats(0.1, 0.99), st.floats(1e-3, 1e3), st.integers(1, 6))
def test_damage_adds_over_pieces_and_residual_follows_the_closed_form(n, share, rate, parts):
    law = InversePower()
    c = np.array([[np.log(60.0) + n * np.log(800.0), n]])
    whole = hold(800.0, 60.0 * share)
    split = hold(800.0, 60.0 * share / parts)
    for _ in range(parts - 1):
        split = split.then(hold(800.0, 60.0 * share / parts))
    done = damage_integral(whole, law, c)[0]
    assert done == pytest.approx(share, rel=1e-10)
    assert damage_integral(split, law, c)[0] == pytest.approx(done, rel=1e-10)
    fresh = ramp_strength(law, c, rate)[0, 0]
    left = residual_strength(split, law, c, rate)[0, 0]
    assert left == pytest.approx(fresh * (1 - share) ** (1 / (n + 1)), rel=1e-9)


def test_a_history_that_holds_says_so():
    law, c = InversePower(), np.array([[np.log(1e6) + 20 * np.log(500.0), 20.0]])
    found = expected_break(hold(500.0, 1e5), law, c)
    assert np.isinf(found.time_s[0])
    assert np.isnan(found.load_N[0])
    assert cumulative_damage(hold(500.0, 1e5), law, c)[0].tolist() == pytest.approx([0.0, 0.1])
    broken = residual_strength(hold(500.0, 2e6), law, c, 10.0)
    assert broken[0, 0] == 0.0


def test_kinetic_ramp_equals_the_kinetic_formula():
    """The damage integral of Zhurkov's law gives the closed form of models.kinetics."""
    from ratemodel.models.kinetics import kinetic_strength

    c = np.array([[np.log(1e-13), 2.4e-19, 45e-30]])
    rate = np.array([1e4, 1e7, 1e10])
    for temperature in (253.0, 300.0, 340.0):
        by_integral = ramp_strength(Zhurkov(), c, rate, temperature_K=temperature)[0]
        closed = kinetic_strength(rate, temperature, 2.4e-19, 45e-30, 1e-13)
        np.testing.assert_allclose(by_integral, closed, rtol=1e-9)


def test_fast_preload_saves_time_and_warns():
    pull = SlowPull(1e4, 1.0, 1e3, thermal_time_s=2000.0)
    plan = fast_preload(pull, [0.0, 0.5, 0.8], [20.0, 30.0, 40.0])
    assert plan.ratio.shape == (3, 3)
    assert np.all(plan.ratio[:, 2] - 1 < 1e-3)  # n >= 20 and p <= 0.8: bias below 0.1 %
    assert plan.time_saved_fraction[2] == pytest.approx(0.8, abs=0.01)
    assert plan.time_saved_fraction[0] == 0.0
    assert {q.code for q in plan.problems} == {"bedding-in", "heat"}
    quiet = SlowPull(1e4, 1.0, 1e3, thermal_time_s=1.0, bedded_in_fraction=0.85)
    assert fast_preload(quiet, [0.8], [20.0]).problems == ()
    with pytest.raises(InputError, match=r"expected fractions in \[0, 1\)"):
        fast_preload(quiet, [1.0], [20.0])


def test_bad_histories_are_refused():
    with pytest.raises(InputError, match="time runs back at point 3"):
        LoadHistory(np.array([0.0, 2.0, 1.0]), np.zeros(3))
    with pytest.raises(InputError, match="not finite"):
        LoadHistory(np.array([0.0, 2.0]), np.array([0.0, np.nan]))
    with pytest.raises(InputError, match="needs the temperature"):
        damage_integral(hold(1.0, 1.0), Zhurkov(), np.array([[0.0, 1.0, 1.0]]))
    with pytest.raises(InputError, match="no law of life named miner"):
        life_law("miner")
    with pytest.raises(InputError, match="does not depend on load"):
        ramp_strength(life_law("arrhenius"), np.array([[0.0, 1.0]]), 1.0)

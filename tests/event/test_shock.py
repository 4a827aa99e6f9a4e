"""General shocks against scipy's integrator at tight tolerance, energy balance, limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ratemodel.errors import InputError
from ratemodel.event import STANDARD_GRAVITY_M_PER_S2 as G
from ratemodel.event import (
    Damping,
    Line,
    Linear,
    Mover,
    Parallel,
    PowerLaw,
    Recorded,
    Series,
    Slip,
    fall,
    shock,
)

M, L, V = 80.0, 4.0, 5.4
RECORD = Recorded(np.array([0.01, 0.03, 0.06, 0.10]), np.array([300.0, 2e3, 6e3, 14e3]))
LAWS = {
    "linear": Linear(60e3),
    "stiffening": PowerLaw(300e3, 1.6),
    "softening": PowerLaw(30e3, 0.8),
    "recorded": RECORD,
}


def law_of(line: Line) -> object:
    return lambda x: float(np.squeeze(line.force(np.array([x]))))


def check(event: object, answer: object, length: float, row: int = 0) -> None:
    got = [event.peak_force_N, event.peak_strain * length, event.time_to_peak_s]
    got.append(event.strain_rate_per_s * length)
    want = [answer.force, answer.extension, answer.time, answer.speed]
    np.testing.assert_allclose([g[row] for g in got], want, rtol=2e-5)


@pytest.mark.parametrize("ratio", [0.0, 0.02, 0.3, 1.0, 4.0])
@pytest.mark.parametrize("law", LAWS)
def test_equals_integrator(integrate: object, law: str, ratio: float) -> None:
    line = Line(LAWS[law], L)
    free = shock(line, Mover(M, V, gravity=True))
    k = free.peak_force_N[0] / (free.peak_strain[0] * L)
    c = 2 * ratio * np.sqrt(k * M)
    event = shock(line, Mover(M, V, gravity=True), damping=Damping(ratio=ratio))
    check(event, integrate(law_of(line), M, V, M * G, c), L)
    same = shock(line, Mover(M, V, gravity=True), damping=Damping(time_s=c / k))
    np.testing.assert_allclose(same.peak_force_N, event.peak_force_N, rtol=1e-12)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("ratio", [0.0, 0.2, 2.0])
def test_load_let_go_at_rest(integrate: object, law: str, ratio: float) -> None:
    # No closing speed: the speed vanishes at both ends of the motion.
    line = Line(LAWS[law], L)
    free = shock(line, Mover.falling(M, 0.0))
    c = 2 * ratio * np.sqrt(free.peak_force_N[0] / (free.peak_strain[0] * L) * M)
    event = shock(line, Mover.falling(M, 0.0), damping=Damping(ratio=ratio))
    # The integrator needs a push to leave the dead point; 1e-6 m/s changes nothing that counts.
    check(event, integrate(law_of(line), M, 1e-6, M * G, c), L)


def test_general_solvers_equal_the_closed_form_all_over() -> None:
    # A power law of exponent 1 goes through quadrature and stepping, a linear line does not.
    rng = np.random.default_rng(3)
    n = 300
    k, length, mass = rng.uniform(1e4, 1e6, n), rng.uniform(0.5, 50, n), rng.uniform(1, 500, n)
    speed, pull, ratio = rng.uniform(0, 15, n), rng.uniform(0, 2e3, n), 10 ** rng.uniform(-4, 1, n)
    fields = ("peak_force_N", "peak_strain", "time_to_peak_s", "strain_rate_per_s")
    for damping in (None, Damping(ratio=ratio)):
        for mover in (Mover(mass, speed, gravity=True), Mover(mass, speed, steady_load=pull)):
            one, other = (
                shock(Line(law, length), mover, preload=pull, damping=damping)
                for law in (Linear(k), PowerLaw(k, 1.0))
            )
            for name in fields:
                np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=1e-4)
    heights = 10.0 ** np.arange(-12, 3)
    one = fall(M, heights, L, 6e4)
    other = shock(Line(PowerLaw(6e4, 1.0), L), Mover.falling(M, heights))
    for name in fields:
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=5e-5)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("ratio", [0.0, 0.1])
def test_preload(integrate: object, law: str, ratio: float) -> None:
    line = Line(LAWS[law], L)
    mover = Mover(M, V, steady_load=900.0)
    start = float(line.extension(np.array([900.0]))[0])
    top = shock(line, mover, preload=900.0)
    c = 2 * ratio * np.sqrt(top.peak_force_N[0] / (top.peak_strain[0] * L) * M)
    event = shock(line, mover, preload=900.0, damping=Damping(ratio=ratio))
    check(event, integrate(law_of(line), M, V, 900.0, c, start), L)


@pytest.mark.parametrize("law", ["linear", "stiffening", "recorded"])
@pytest.mark.parametrize("ratio", [0.02, 0.3])
@pytest.mark.parametrize("run_out", [0.1, 3.0])
def test_slip_equals_integrator(
    integrate_slip: object, law: str, ratio: float, run_out: float
) -> None:
    line = Line(LAWS[law], L)
    mover = Mover(M, V, gravity=True)
    free = shock(line, mover)
    c = 2 * ratio * np.sqrt(free.peak_force_N[0] / (free.peak_strain[0] * L) * M)
    event = shock(line, mover, damping=Damping(ratio=ratio), slip=Slip(2500.0, run_out))
    force, time, run = integrate_slip(law_of(line), (M, V, M * G), c, (2500.0, run_out))
    got = [event.peak_force_N[0], event.time_to_peak_s[0], event.run_out_m[0]]
    np.testing.assert_allclose(got, [force, time, run], rtol=1e-4)


@pytest.mark.parametrize("run_out", [0.1, 3.0])
def test_undamped_slip_is_the_limit_of_weak_damping(run_out: float) -> None:
    line, mover = Line(LAWS["stiffening"], L), Mover(M, V, gravity=True)
    weak = shock(line, mover, damping=Damping(ratio=1e-5), slip=Slip(2500.0, run_out))
    none = shock(line, mover, slip=Slip(2500.0, run_out))
    for name in ("peak_force_N", "time_to_peak_s", "strain_rate_per_s", "run_out_m"):
        np.testing.assert_allclose(getattr(none, name), getattr(weak, name), rtol=2e-4)


def test_slip_holds_the_force_and_takes_the_energy() -> None:
    event = shock(Line(Linear(60e3), L), Mover.falling(M, [1.0, 2.0]), slip=Slip(3000.0))
    np.testing.assert_allclose(event.peak_force_N, 3000.0, rtol=1e-12)
    stretch = 3000.0 * L / 60e3
    balance = M * G * (np.array([1.0, 2.0]) + stretch + event.run_out_m)
    np.testing.assert_allclose(0.5 * 3000.0 * stretch + 3000.0 * event.run_out_m, balance)


def test_slip_below_the_weight_never_stops() -> None:
    event = shock(Line(Linear(60e3), L), Mover.falling(M, 1.0), slip=Slip(500.0))
    assert [p.code for p in event.problems] == ["no-peak"]
    damped = shock(
        Line(Linear(60e3), L), Mover.falling(M, 1.0), slip=Slip(500.0), damping=Damping(ratio=0.1)
    )
    assert [p.code for p in damped.problems] == ["no-peak"]


laws = st.one_of(
    st.builds(Linear, st.floats(1e4, 1e6)),
    st.builds(PowerLaw, st.floats(1e4, 1e6), st.floats(0.6, 3.0)),
)


@settings(max_examples=40, deadline=None)
@given(laws, laws, st.floats(0.5, 20), st.floats(0, 20), st.floats(0, 0.3), st.booleans())
def test_energy_balance(a: object, b: object, length: float, h: float, slack: float, side: bool):
    lines = (Line(a, length), Line(b, length / 2))
    whole = Parallel(lines, (0.0, slack)) if side else Series(lines)
    first, second = (shock(whole, Mover.falling(M, h), watch=i) for i in (0, 1))
    x1, x2 = first.peak_strain[0] * length, second.peak_strain[0] * length / 2
    stored = sum(
        float(line.energy(np.array([x]))[0]) for line, x in zip(lines, (x1, x2), strict=True)
    )
    assert stored == pytest.approx(M * G * (h + (x1 if side else x1 + x2)), rel=1e-6)
    if side:
        assert x2 == pytest.approx(max(x1 - slack, 0.0), abs=1e-9 * length)
    else:
        assert first.peak_force_N[0] == pytest.approx(second.peak_force_N[0], rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(
    st.floats(1e4, 1e6),
    st.floats(0.6, 3.0),
    st.floats(0.0, 20.0),
    st.floats(1.0, 5.0),
    st.sampled_from([0.0, 0.02]),
)
def test_stiffer_or_higher_never_lowers_the_force(
    k: float, p: float, h: float, more: float, tau: float
) -> None:
    event = shock(
        Line(PowerLaw([k, k, k * more], p), L),
        Mover.falling(M, [h, h * more, h]),
        damping=None if tau == 0 else Damping(ratio=tau),
    )
    low, higher, stiffer = event.peak_force_N
    assert higher >= low * (1 - 1e-7)
    assert stiffer >= low * (1 - 1e-7)


def test_series_and_parallel_of_linear_lines_are_one_linear_line() -> None:
    # Springs: compliances add in series, stiffnesses in parallel.
    a, b = Line(Linear(40e3), 6.0), Line(Linear(90e3), 1.5)
    k = 1 / (6.0 / 40e3 + 1.5 / 90e3)
    alone = fall(M, 2.0, 1.0, k)
    for ratio in (0.0, 0.1):
        series = shock(Series((a, b)), Mover.falling(M, 2.0), damping=Damping(ratio=ratio))
        one = shock(Line(Linear(k), 1.0), Mover.falling(M, 2.0), damping=Damping(ratio=ratio))
        np.testing.assert_allclose(series.peak_force_N, one.peak_force_N, rtol=1e-12)
        share = (6.0 / 40e3) * k / 6.0
        np.testing.assert_allclose(
            series.strain_rate_per_s, one.strain_rate_per_s * share, rtol=1e-9
        )
    np.testing.assert_allclose(one.initial_strain_rate_per_s, alone.initial_strain_rate_per_s)
    both = shock(Parallel((a, b), (0.0, 0.0)), Mover.falling(M, 2.0), watch=1)
    whole = fall(M, 2.0, 1.0, 40e3 / 6.0 + 90e3 / 1.5)
    part = (90e3 / 1.5) / (40e3 / 6.0 + 90e3 / 1.5)
    np.testing.assert_allclose(both.peak_force_N, whole.peak_force_N * part, rtol=1e-12)


def test_slack_line_against_integrator(integrate: object) -> None:
    a, b = Line(PowerLaw(200e3, 1.3), 4.0), Line(Linear(80e3), 4.1)
    whole = Parallel((a, b), (0.0, 0.1))
    answer = integrate(law_of(whole), M, V, M * G)
    for watch, line in enumerate((a, b)):
        event = shock(whole, Mover(M, V, gravity=True), watch=watch)
        assert event.time_to_peak_s[0] == pytest.approx(answer.time, rel=1e-4)
        own = float(line.force(np.array([answer.extension - (0.0, 0.1)[watch]]))[0])
        assert event.peak_force_N[0] == pytest.approx(own, rel=1e-6)
    loose = shock(Parallel((a, b), (0.0, 3.0)), Mover(M, V, gravity=True), watch=1)
    assert loose.peak_force_N[0] == 0.0
    assert loose.strain_rate_per_s[0] == 0.0


def test_line_weight_adds_a_third_of_its_mass() -> None:
    # Rayleigh's rule for the uniformly stretching spring, horizontal: v sqrt((m + M/3) k).
    event = shock(Line(Linear(60e3), L, mass=6.0), Mover(M, V))
    np.testing.assert_allclose(event.peak_force_N, V * np.sqrt((M + 2.0) * 60e3 / L))
    heavy = shock(Line(Linear(60e3), L, mass=60.0), Mover(M, V))
    assert [p.code for p in heavy.problems] == ["line-heavy-for-its-load"]


def test_draws_are_independent_of_their_neighbours() -> None:
    k = np.geomspace(50e3, 900e3, 20_000)
    some = [0, 9_000, 19_999]
    for kw in ({}, {"damping": Damping(ratio=0.1)}, {"slip": Slip(4e3, 0.1)}):
        many = shock(Line(PowerLaw(k, 1.4), L), Mover.falling(M, 1.5), **kw)
        few = shock(Line(PowerLaw(k[some], 1.4), L), Mover.falling(M, 1.5), **kw)
        np.testing.assert_allclose(many.strain_rate_per_s[some], few.strain_rate_per_s, rtol=1e-9)


@pytest.mark.parametrize(
    ("kw", "words"),
    [
        ({"damping": Damping(0.1, 0.1)}, "one of the two"),
        ({"damping": Damping(ratio=50.0)}, "at most 10 times"),
        ({"preload": 5e3, "slip": Slip(3e3)}, "preload above the slip force"),
        ({"watch": 1}, "a line of the arrangement"),
        ({"slip": Slip(0.0)}, "slip_force is 0"),
    ],
)
def test_impossible_setups(kw: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        shock(Line(Linear(60e3), L), Mover.falling(M, 1.0), **kw)


def test_undamped_slip_is_the_limit_of_weak_damping_all_over() -> None:
    # Quadrature on one side, stepping on the other; draws that stop and draws that run out.
    rng = np.random.default_rng(3)
    n = 300
    k, length, mass = rng.uniform(1e4, 1e6, n), rng.uniform(0.5, 50, n), rng.uniform(1, 500, n)
    mover = Mover(mass, rng.uniform(0, 15, n), gravity=True)
    device = Slip(mass * G + rng.uniform(100, 9e3, n), 10.0 ** rng.uniform(-4, 0.5, n))
    none, weak = (
        shock(Line(PowerLaw(k, 1.5), length), mover, slip=device, damping=damping)
        for damping in (None, Damping(ratio=1e-6))
    )
    used = np.isclose(none.run_out_m, device.run_out)
    assert 50 < used.sum() < 250
    for name in ("peak_force_N", "time_to_peak_s", "strain_rate_per_s", "peak_strain"):
        np.testing.assert_allclose(getattr(none, name), getattr(weak, name), rtol=2e-3)
    np.testing.assert_allclose(none.run_out_m, weak.run_out_m, rtol=1e-3, atol=1e-5)

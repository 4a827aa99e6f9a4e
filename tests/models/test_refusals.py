"""Histories, laws and pulls that make no sense are refused; the smallest that do are taken."""

import numpy as np
import pytest

from ratemodel.errors import ConvergenceError, InputError
from ratemodel.models.damage import damage_integral, ramp_strength
from ratemodel.models.fast_preload import SlowPull, fast_preload
from ratemodel.models.history import LoadHistory, cycles, hold, ramp, sine_cycles
from ratemodel.models.lifetime import life_law
from ratemodel.models.quadrature import break_on_ramp, damage_by_quadrature

POWER = life_law("inverse-power")
C = np.array([[151.0, 20.0]])


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: LoadHistory([0.0], [1.0]), "1 times and 1 loads"),
        (lambda: LoadHistory([0.0, 1.0], [1.0]), "2 times and 1 loads"),
        (lambda: LoadHistory([[0.0, 1.0]], [[1.0, 2.0]]), "two or more times"),
        (lambda: LoadHistory([0.0, np.inf], [1.0, 1.0]), "not finite"),
        (lambda: LoadHistory([0.0, 1.0], [1.0, np.nan]), "not finite"),
        (lambda: LoadHistory([0.0, 2.0, 1.0], [1.0, 1.0, 1.0]), "runs back at point 3"),
        (lambda: ramp(0.0, 10.0), "a rate above 0"),
        (lambda: ramp(1.0, 10.0, start_N=10.0), "an end above the start"),
        (lambda: ramp(1.0, 10.0, start_N=-1.0), "an end above the start"),
        (lambda: cycles(1.0, 2.0, 10.0, 0), "0 cycles of 10 s"),
        (lambda: cycles(1.0, 2.0, 0.0, 3), "positive time"),
        (lambda: ramp_strength(POWER, C, [1.0, 0.0]), "loading rate is not above 0"),
        (lambda: ramp_strength(life_law("arrhenius"), C, 1.0), "does not depend on load"),
        (lambda: SlowPull(0.0, 1.0), "strength above 0"),
        (lambda: SlowPull(1.0, 0.0), "at least as fast"),
        (lambda: SlowPull(1.0, 2.0, 1.0), "at least as fast"),
        (lambda: fast_preload(SlowPull(1e4, 1.0), [1.0], [20.0]), "between 0 and 1"),
        (lambda: fast_preload(SlowPull(1e4, 1.0), [-0.1, 0.5], [20.0]), "between 0 and 1"),
        (lambda: life_law("zhurkov").ln_life(np.ones((1, 3)), np.ones(2), np.array([300.0, 0.0])),
         "temperature"),
        (lambda: life_law("zhurkov").ln_life(np.ones((1, 3)), np.ones(2),
                                             np.array([300.0, np.nan])), "temperature"),
        (lambda: life_law("zhurkov").ln_life(np.ones((1, 3)), np.ones(1), np.array([np.inf])),
         "temperature"),
        (lambda: life_law("law of Hooke"), "Hooke"),
        (lambda: break_on_ramp(lambda f: 1e3 - f, 1.0, (1.0, 2.0)), "does not break between"),
    ],
)  # fmt: skip
def test_refused(make, says):
    with pytest.raises(InputError, match=says):
        make()


def test_the_smallest_that_make_sense():
    assert cycles(100.0, 900.0, 10.0, 1).duration_s == pytest.approx(10.0)
    assert sine_cycles(100.0, 900.0, 10.0, 1).duration_s == pytest.approx(10.0)
    assert SlowPull(1.0, 2.0, 2.0).fast_rate_N_per_s == 2.0
    assert fast_preload(SlowPull(1e4, 1.0), 0.0, 20.0).ratio[0, 0] == 1.0
    assert LoadHistory([0.0, 0.0, 1.0], [0.0, 5.0, 5.0]).duration_s == 1.0  # a step
    assert LoadHistory([0.0, 1.0], [-3.0, 5.0]).load_N.tolist() == [0.0, 5.0]  # slack
    both = hold(5.0, 3.0).then(hold(7.0, 2.0))
    assert both.duration_s == 5.0
    assert both.load_N.tolist() == [5.0, 5.0, 7.0, 7.0]
    assert ramp(2.0, 10.0, start_N=4.0).duration_s == 3.0


def test_a_broken_line_has_no_strength_left():
    fresh = ramp_strength(POWER, C, 10.0)[0, 0]
    worn = ramp_strength(POWER, C, 10.0, damage=0.5)[0, 0]
    assert worn == pytest.approx(fresh * 0.5 ** (1 / 21), rel=1e-9)
    assert ramp_strength(POWER, C, 10.0, damage=1.0)[0, 0] == 0.0
    assert ramp_strength(POWER, C, 10.0, damage=1.5)[0, 0] == 0.0


def test_a_step_in_no_time_does_no_damage():
    step = LoadHistory([0.0, 60.0, 60.0, 120.0], [500.0, 500.0, 900.0, 900.0])
    parts = [damage_integral(hold(f, 60.0), POWER, C)[0] for f in (500.0, 900.0)]
    assert damage_integral(step, POWER, C)[0] == pytest.approx(sum(parts), rel=1e-12)


def test_a_law_too_wild_to_integrate_is_said():
    noise = np.random.default_rng(1)
    with pytest.raises(ConvergenceError, match="did not settle"):
        damage_by_quadrature(ramp(1.0, 10.0), lambda f: noise.normal(size=f.size))


def test_a_rate_far_beyond_the_other_process_does_not_overflow():
    from ratemodel.models.creep_thermal import _arsinh_exp, _ln_sinh

    assert _arsinh_exp(np.array([400.0]))[0] == pytest.approx(400.0 + np.log(2.0), rel=1e-15)
    near = _arsinh_exp(np.array([299.999, 300.001]))
    assert np.diff(near)[0] == pytest.approx(0.002, rel=1e-6)
    assert _arsinh_exp(np.array([0.0]))[0] == pytest.approx(np.arcsinh(1.0), rel=1e-14)
    assert _ln_sinh(np.array([2.0, 800.0])) == pytest.approx(
        [np.log(np.sinh(2.0)), 800 - np.log(2)]
    )

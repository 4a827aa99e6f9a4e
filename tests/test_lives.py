"""Steady loads and repeated shocks judged by a law of life with a known truth."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.special import beta

from ratemodel.event import Event
from ratemodel.inference.life import LifeData
from ratemodel.inference.ratefit import Bound
from ratemodel.lives import fit_lives, held_load, shock_damage

N, LN_A, SCALE = 20.0, 200.0, 0.5  # life = exp(200) F^-20 s, Weibull shape 2
MONTH = 30 * 86400.0


def life_data(count=240, seed=3):
    rng = np.random.default_rng(seed)
    load = np.repeat([4000.0, 5000.0, 6000.0], count // 3)
    e = np.log(-np.log1p(-rng.uniform(size=load.size)))
    time = np.exp(LN_A - N * np.log(load) + SCALE * e)
    return LifeData(time, load, np.ones(load.size, bool), np.full(load.size, np.nan))


@pytest.fixture(scope="module")
def lives():
    mixture, found = fit_lives(life_data(), 2000, np.random.default_rng(1))
    assert found == ()
    return mixture


def strength(event, factors=None, draws=2000):
    """What of a `UseStrength` a law of life looks at."""
    fit = SimpleNamespace(bound=Bound(), level=0.9, data=SimpleNamespace(temperature_K=np.nan))
    return SimpleNamespace(event=event, fit=fit, mean_ln=np.zeros(draws), factors=factors or {})


def steady(load, duration=MONTH, draws=2000):
    return Event("steady", peak_force_N=np.full(draws, load), duration_s=np.full(draws, duration))


def truth(load, e=0.0):
    return np.exp(LN_A - N * np.log(load) + SCALE * e)


def test_life_at_a_tested_load_is_the_true_one(lives):
    held = held_load(strength(steady(5000.0)), lives)
    median = truth(5000.0, np.log(np.log(2)))
    assert held.life_s[1] < median < held.life_s[2]
    # 95 % of all lines live longer, with confidence: below the true 5 % quantile, not far.
    true_low = truth(5000.0, np.log(-np.log(0.95)))
    assert 0.5 * true_low < held.lower_life_s < true_low


def test_load_for_the_service_life_stays_on_the_safe_side(lives):
    duration = truth(5000.0, np.log(-np.log(0.95)))
    held = held_load(strength(steady(1000.0, duration)), lives)
    assert 4800.0 < held.working_load_N < 5000.0
    assert held.working_load_interval_N[0] <= held.working_load_N * (1 + 1e-9)


def test_a_load_beyond_the_tested_ones_is_never_given(lives):
    held = held_load(strength(steady(1000.0, 1e-3)), lives)
    assert held.working_load_N == pytest.approx(6000.0)


def test_a_factor_on_strength_scales_the_load_that_lasts(lives):
    duration = truth(5000.0)
    plain = held_load(strength(steady(1000.0, duration)), lives)
    worn = held_load(
        strength(steady(1000.0, duration), {"wear": np.full(2000, np.log(0.8))}), lives
    )
    assert worn.working_load_N == pytest.approx(0.8 * plain.working_load_N, rel=1e-9)


def test_odds_of_breaking_within_the_life_match_the_weibull(lives):
    duration = truth(5000.0, np.log(-np.log1p(-0.10)))
    held = held_load(strength(steady(5000.0, duration)), lives)
    low, high = held.failure.interval
    assert low < 0.10 < high
    assert held.failure.probability == pytest.approx(0.10, rel=0.25)


def test_more_load_never_lives_longer(lives):
    lives_at = [held_load(strength(steady(f)), lives).life_s[0] for f in (2e3, 3e3, 4e3, 5e3)]
    assert lives_at == sorted(lives_at, reverse=True)


def test_damage_of_a_half_sine_is_the_beta_integral():
    """∫ sinⁿ over half a wave = B((n + 1)/2, 1/2)/π of its length; damage = that / life at peak."""
    event = Event(
        "fall", peak_force_N=np.full(2000, 5000.0), time_to_peak_s=np.full(2000, 0.05),
        inputs={"shocks": np.full(2000, 1000.0)},
    )  # fmt: skip
    data = life_data(30_000, seed=5)
    mixture, _ = fit_lives(data, 1000, np.random.default_rng(2))
    got = shock_damage(strength(event), mixture)
    want = 0.1 / truth(5000.0) * beta((N + 1) / 2, 0.5) / np.pi
    # The law of scatter's "typical" line sits at e = 0 for both distributions that are averaged.
    assert got.per_shock[0] == pytest.approx(want, rel=0.1)
    assert got.in_life[0] == pytest.approx(1000 * got.per_shock[0], rel=1e-9)
    assert got.lower_count < 1 / got.per_shock[0]
    assert "shock-damage-by-law" in {p.code for p in got.problems}


def test_one_broken_run_is_no_law():
    data = life_data(6)
    few = LifeData(data.time_s, data.load_N, np.arange(6) == 0, data.temperature_K)
    mixture, found = fit_lives(few, 500, np.random.default_rng(1))
    assert mixture is None
    assert [p.code for p in found] == ["no-law-of-life"]


def test_other_uses_have_no_held_load(lives):
    assert held_load(strength(Event("rate", strain_rate_per_s=np.ones(2000))), lives) is None
    no_time = Event("steady", peak_force_N=np.ones(2000))
    assert held_load(strength(no_time), lives) is None
    assert shock_damage(strength(no_time), lives) is None

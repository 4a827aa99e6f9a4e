"""Edges of the way from a fit to its use: what is refused, what is said, where words change."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from made import series

import ratemodel as rm
from ratemodel.errors import InputError
from ratemodel.event import Event
from ratemodel.inference.average import Settings
from ratemodel.inference.life import LifeData
from ratemodel.inference.life_bounds import average_life
from ratemodel.inference.ratefit import Bound
from ratemodel.limits import working_load_limits
from ratemodel.lives import held_load, shock_damage
from ratemodel.margin import uncertainty_budget
from ratemodel.models.lifetime import life_law
from ratemodel.odds import summarised
from ratemodel.propagation import shortest_interval
from ratemodel.records.tables import Distribution, Factor, Rating, Use
from ratemodel.reliability import demand_scale, failure_probability
from ratemodel.tolerance import (
    characteristic_factor,
    design_factor,
    one_sided_factor,
    prediction_factor,
)
from ratemodel.translation import translate


def rng(seed=1):
    return np.random.default_rng(seed)


def fixed(value):
    return Distribution("fixed", value)


@pytest.fixture(scope="module")
def fit():
    u = np.repeat([-3.0, -0.5], 6)
    y = 9.2 - 0.02 * u + 0.03 * rng(5).standard_normal(12)
    return rm.fit_rate(
        series(u, y, rating=Rating(11e3)), rng=rng(), settings=Settings(draws=1000, points=128)
    )


def rate_use(rate=0.1, factors=(), series_name="cord", **quantities):
    return Use("u", series_name, "rate", {"strain_rate": fixed(rate), **quantities}, 5.0, 1e-4,
               tuple(factors))  # fmt: skip


def found(strength):
    return {p.code: p.severity for p in strength.problems}


def test_a_fit_of_another_series_is_refused(fit):
    with pytest.raises(InputError, match="use u is for series rope, the fit for cord"):
        translate(fit, rate_use(series_name="rope"), rng=rng())


@pytest.mark.parametrize("reach", [fixed(0.0), fixed(-1.0), Distribution("normal", 0.5, 1.0)])
def test_a_factor_that_reaches_zero_is_refused(fit, reach):
    with pytest.raises(InputError, match="factor wear of use u reaches zero or less"):
        translate(fit, rate_use(factors=[Factor("wear", reach, "assumed")]), rng=rng())


def test_how_far_beyond_the_tests_is_said_by_degrees(fit):
    edge = 10**-0.5
    assert found(translate(fit, rate_use(edge), rng=rng())) == {}
    assert found(translate(fit, rate_use(edge * 1.1), rng=rng())) == {}
    got = found(translate(fit, rate_use(edge * 10**1.4), rng=rng()))
    assert got == {"beyond-the-tested-rates": "caution"}
    got = found(translate(fit, rate_use(edge * 10**1.6), rng=rng()))
    assert got == {"beyond-the-tested-rates": "serious"}
    slow = found(translate(fit, rate_use(1e-6), rng=rng()))
    assert slow == {"beyond-the-tested-rates": "serious"}


def test_temperature_and_length_without_their_like_in_the_tests(fit):
    use = rate_use(temperature=fixed(260.0), line_length=fixed(10.0))
    got = translate(fit, use, rng=rng())
    assert found(got) == {"temperature-left-out": "caution", "length-step-left-out": "caution"}
    assert got.factors == {}


def test_where_a_step_to_the_temperature_comes_from():
    u = np.repeat([-3.0, -0.5], 8)
    y = 9.2 + 0.02 * rng(7).standard_normal(16)

    def of(kelvin):
        s = series(u, y, extra={"temperature_K": np.asarray(kelvin, float)})
        one = rm.fit_rate(s, rng=rng(), settings=Settings(draws=500, points=64))
        got = translate(one, rate_use(temperature=fixed(270.0)), rng=rng())
        (origin,) = got.origins.values()
        return origin, got.factors["temperature (from the tests and the prior)"]

    same, step = of(np.full(16, 293.0))
    assert same != "fitted"
    assert np.median(step) > 0  # colder is stronger
    assert of(np.tile([280.0, 306.0], 8))[0] == "fitted"


def test_a_steady_load_is_read_at_the_rate_of_a_pull_as_long(fit):
    def steady(**quantities):
        use = Use("h", "cord", "steady", {"load": fixed(900.0), **quantities}, 5.0, 1e-4, ())
        return translate(fit, use, rng=rng())

    none = steady()
    assert np.all(none.u == -3.0)
    assert found(none)["steady-without-duration"] == "serious"
    year = steady(duration=fixed(3.15e7))
    assert found(year)["steady-read-from-pulls"] == "caution"
    assert np.all(year.u < -8)
    told = replace(
        fit.series, used=replace(fit.series.used, strain_at_break=np.full(12, 0.05))
    )  # known strain at break: its own rate
    got = translate(replace(fit, series=told), Use(
        "h", "cord", "steady", {"load": fixed(900.0), "duration": fixed(1e6)}, 5.0, 1e-4, ()),
        rng=rng())  # fmt: skip
    assert got.u == pytest.approx(np.full(1000, np.log10(0.05 / 1e6)))


def test_limits_leave_out_what_the_use_does_not_ask(fit):
    plain = Use("u", "cord", "rate", {"strain_rate": fixed(0.1)}, None, None, ())
    rows = working_load_limits(translate(fit, plain, rng=rng()))
    assert [r.policy for r in rows] == ["EN 1990 characteristic", "EN 1990 design value"]
    assert "not yet over any factor" in rows.by("EN 1990 characteristic").basis
    assert rows.demand_scale is None
    with_factor = working_load_limits(translate(fit, rate_use(), rng=rng()))
    ratio = (
        rows.by("EN 1990 characteristic").value
        / with_factor.by("EN 1990 characteristic / design factor").value
    )
    assert ratio == pytest.approx(5.0, rel=1e-9)
    low = translate(fit, rate_use(), rng=rng())
    assert not any(r.policy.startswith("rating") for r in working_load_limits(
        replace(low, fit=replace(fit, series=replace(fit.series, rating=None)))))  # fmt: skip


def test_room_for_demand_only_where_one_shock_meets_a_target(fit):
    snatch = {"mass": fixed(20.0), "closing_speed": fixed(3.0), "line_length": fixed(5.0),
              "stiffness": fixed(2e5)}  # fmt: skip

    def room(target=1e-4, **more):
        use = Use("s", "cord", "snatch", snatch | more, 5.0, target, ())
        return working_load_limits(translate(fit, use, rng=rng())).demand_scale

    scale = room()
    assert scale is not None
    assert scale > 1  # 6 kN on an average of 10 kN... the target sets how much more
    assert room(None) is None
    assert room(1e-4, shocks=fixed(100.0)) is None
    assert room(1e-6) < scale


def test_a_law_with_temperature_and_none_given_takes_20_degrees():
    load = np.repeat([800.0, 900.0, 1000.0], 10)
    kelvin = np.tile([290.0, 310.0], 15)
    y = np.log(1e4) - 20 * np.log(load / 900) + 9000 * (1 / kelvin - 1 / 300)
    t = np.exp(y + 0.5 * np.log(rng(2).exponential(size=30)))
    mixture = average_life(LifeData(t, load, np.ones(30, bool), kelvin), draws=300, rng=rng(),
                           laws=[life_law("power-arrhenius")])  # fmt: skip

    def held(kelvin_of_tests, inputs=None):
        event = Event("steady", peak_force_N=np.full(300, 700.0), duration_s=np.full(300, 1e5),
                      inputs=inputs or {})  # fmt: skip
        data = SimpleNamespace(temperature_K=kelvin_of_tests)
        return held_load(SimpleNamespace(
            event=event, mean_ln=np.zeros(300), factors={},
            fit=SimpleNamespace(bound=Bound(), level=0.9, data=data)), mixture)  # fmt: skip

    none, at_20 = held(np.nan), held(293.15)
    assert "service-temperature-assumed" in {p.code for p in none.problems}
    assert "service-temperature-assumed" not in {p.code for p in at_20.problems}
    assert none.life_s == at_20.life_s
    warm = held(293.15, {"temperature": np.full(300, 330.0)})
    assert warm.life_s[0] < 0.5 * at_20.life_s[0]


def test_budget_of_one_line_is_the_wider(fit):
    strength = translate(fit, rate_use(), rng=rng())
    mean, line = uncertainty_budget(strength), uncertainty_budget(strength, one_line=True)
    assert line.standard_uncertainty > mean.standard_uncertainty
    assert line.rows[-1].name == "line-to-line scatter"
    assert mean.coverage == fit.level
    assert uncertainty_budget(strength, coverage=0.99).expanded > mean.expanded


def test_few_event_draws_are_said_from_half_the_probability_on():
    per_draw = np.full(10, 1e-4)
    assert summarised(per_draw, 0.5e-4, 0.9).problems == ()
    assert [p.code for p in summarised(per_draw, 0.51e-4, 0.9).problems] == ["few-event-draws"]
    tiny = np.full(10, 1e-10)
    assert summarised(tiny, 1e-9, 0.9).problems == ()
    ramp = summarised(np.linspace(0, 1, 101), 0.0, 0.8)
    assert ramp.interval == pytest.approx((0.1, 0.9))
    assert ramp.median == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("work", "says"),
    [
        (lambda: failure_probability([1.0], [0.0], [0.1], level=1.0), "level"),
        (lambda: failure_probability([1.0], [0.0], [0.1], level=0.0), "level"),
        (lambda: failure_probability([-1.0], [0.0], [0.1]), "below 0"),
        (lambda: failure_probability([1.0], [np.nan], [0.1]), "missing value"),
        (lambda: failure_probability([], [0.0], [0.1]), "demand"),
        (lambda: failure_probability([1.0, 2.0], np.zeros((2, 3)), [0.1]), "mean_ln"),
        (lambda: failure_probability([1.0], [0.0, 0.0], [0.1, 0.1, 0.1]), "sd_ln"),
        (lambda: failure_probability([1.0], [0.0], [0.1], weights=[1.0, 1.0]), "weight"),
        (lambda: failure_probability([1.0], [0.0], [0.1], weights=[-1.0]), "weight"),
        (lambda: demand_scale(0.5, [1.0], [0.0], [0.1]), "between 0 and 0.5"),
        (lambda: demand_scale(0.0, [1.0], [0.0], [0.1]), "between 0 and 0.5"),
        (lambda: demand_scale(0.1, [0.0], [0.0], [0.1]), "demand of 0"),
        (lambda: one_sided_factor(1, 0.95, 0.95), "1 tests"),
        (lambda: one_sided_factor(5, 1.0, 0.95), "between"),
        (lambda: design_factor(5, convention="index-9"), "index-9"),
    ],
)
def test_refused(work, says):
    with pytest.raises(InputError, match=says):
        work()


def test_scale_that_is_far_away_is_found():
    scale = demand_scale(1e-3, [1e-200], [np.log(1e4)], [0.1])
    got = failure_probability([1e-200 * scale], [np.log(1e4)], [0.1]).probability
    assert got == pytest.approx(1e-3, rel=1e-6)
    wide = demand_scale(1e-12, [5e3], [np.log(1e4)], [3.0])
    assert failure_probability([5e3 * wide], [np.log(1e4)], [3.0]).probability == pytest.approx(
        1e-12, rel=1e-6
    )


def test_factors_fall_with_specimens_to_the_normal_quantile():
    many = float(one_sided_factor(10**6, 0.95, 0.95))
    assert many == pytest.approx(1.6449, abs=0.01)
    for factor in (characteristic_factor, lambda n: prediction_factor(n, 0.05)):
        few, more = float(factor(3)), float(factor(30))
        assert few > more > 1.6
    assert float(characteristic_factor(10, known_variation=True)) < float(characteristic_factor(10))


def test_lives_answer_only_steady_loads_with_a_duration_and_shocks_with_a_time():
    load = np.repeat([800.0, 900.0, 1000.0], 8)
    t = np.exp(np.log(1e4) - 20 * np.log(load / 900) + 0.5 * np.log(rng(2).exponential(size=24)))
    data = LifeData(t, load, np.ones(24, bool), np.full(24, np.nan))
    mixture = average_life(data, draws=200, rng=rng())
    fit = SimpleNamespace(bound=Bound(), level=0.9, data=SimpleNamespace(temperature_K=np.nan))
    force, time = np.full(200, 700.0), np.full(200, 1e5)

    def of(kind, **event):
        return SimpleNamespace(
            event=Event(kind, **event), mean_ln=np.zeros(200), factors={}, fit=fit
        )

    assert held_load(of("steady", peak_force_N=force, duration_s=time), mixture) is not None
    assert held_load(of("steady", peak_force_N=force), mixture) is None
    assert held_load(of("steady", duration_s=time), mixture) is None
    assert held_load(of("fall", peak_force_N=force, duration_s=time), mixture) is None
    short = np.full(200, 0.01)
    got = shock_damage(of("fall", peak_force_N=force, time_to_peak_s=short), mixture)
    assert got is not None
    again = shock_damage(of("fall", peak_force_N=force, time_to_peak_s=2 * short), mixture)
    assert again.per_shock[0] == pytest.approx(2 * got.per_shock[0], rel=1e-9)
    assert shock_damage(of("fall", peak_force_N=force), mixture) is None
    assert shock_damage(of("fall", time_to_peak_s=short), mixture) is None


def test_the_free_length_is_that_of_the_logs_own_specimen(tmp_path):
    from ratemodel.recorded import _free_length

    u = np.array([-3.0, -1.0, 0.0])
    extra = {"log": ("a.csv", "b.csv", "c.csv"), "free_length_m": np.array([0.5, np.nan, 0.7])}
    campaign = SimpleNamespace(series={"cord": series(u, 9.2 + 0 * u, extra=extra)})
    assert [_free_length(campaign, f"{n}.csv") for n in "abcd"] == [0.5, None, 0.7, None]


def test_shortest_interval_holds_its_share():
    x = np.r_[np.linspace(0, 1, 91), np.linspace(5, 9, 9)]
    low, high = shortest_interval(x, 0.9)
    assert (low, high) == (0.0, 1.0)
    assert shortest_interval(np.array([0.0, 1.0, 3.0]), 0.999) == (0.0, 3.0)

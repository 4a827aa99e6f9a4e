"""What cannot be answered is refused with a line that says why; the least that can is answered."""

from __future__ import annotations

from dataclasses import replace

import lmfit
import numpy as np
import pytest
from made import series

import ratemodel as rm
from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.censored import fit_censored
from ratemodel.inference.creep_curves import CreepCurve
from ratemodel.inference.creep_draws import effective_readings
from ratemodel.inference.creep_forecast import average_creep, forecast_creep
from ratemodel.inference.creep_hidden import hidden_error
from ratemodel.inference.creepfit import fit_creep
from ratemodel.inference.cycling import CyclingData, fit_cycling
from ratemodel.inference.damage_likelihood import RampData
from ratemodel.inference.importance import importance_draws
from ratemodel.inference.kineticfit import KineticData, fit_kinetic, kinetic_parameters
from ratemodel.inference.lasting_load import lasting_load
from ratemodel.inference.leastsq import best_fit
from ratemodel.inference.life import LifeData, fit_life
from ratemodel.inference.life_bounds import average_life, draw_life, life_at_load
from ratemodel.inference.life_shape import common_shape_test
from ratemodel.inference.preload import fit_preload, protocol_problems
from ratemodel.inference.preload_grid import PreloadData, Priors
from ratemodel.inference.sherby_dorn import sherby_dorn
from ratemodel.inference.stacking import stacking_weights
from ratemodel.inference.starts import FitTask
from ratemodel.models.creep import Findley, Logarithmic
from ratemodel.models.creep_base import creep_points
from ratemodel.models.kinetics import ELECTRONVOLT_J, kinetic_strength
from ratemodel.models.lifetime import life_law
from ratemodel.models.parameter import Parameter
from ratemodel.models.preload import NO_PRELOAD, Protocol

ONE, TWO = np.array([1.0]), np.array([1.0, 2.0])
YES, NAN = np.ones(2, bool), np.full(2, np.nan)


def rng(seed=1):
    return np.random.default_rng(seed)


def codes(found):
    return [p.code for p in found]


# ------------------------------------------------------------------ tables


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: LifeData(TWO, ONE, YES, NAN), "columns of the lives differ"),
        (lambda: LifeData(TWO, TWO, YES, np.full(3, np.nan)), "columns of the lives differ"),
        (lambda: LifeData(TWO, TWO, YES[:1], NAN[:1]), "columns of the lives differ"),
        (lambda: LifeData(TWO, TWO, YES[:1], NAN), "columns of the lives differ"),
        (lambda: LifeData(TWO[None], TWO[None], YES[None], NAN[None]), "columns of the lives"),
        (lambda: LifeData(TWO, np.array([0.0, 1.0]), YES, NAN), "not above 0"),
        (lambda: LifeData(TWO, np.array([-1.0, 1.0]), YES, NAN), "not above 0"),
        (lambda: LifeData(np.array([-1.0, 1.0]), TWO, YES, NAN), "not above 0"),
        (lambda: LifeData(np.array([np.inf, 1.0]), TWO, YES, NAN), "not above 0"),
        (lambda: LifeData(TWO, np.array([np.nan, 1.0]), YES, NAN), "not above 0"),
        (lambda: RampData(TWO, ONE, YES), "columns of the ramps differ"),
        (lambda: RampData(TWO, TWO, np.ones(1, bool)), "columns of the ramps differ"),
        (lambda: RampData(np.array([0.0, 1.0]), TWO, YES), "not above 0"),
        (lambda: RampData(TWO, np.array([1.0, -1.0]), YES), "not above 0"),
        (lambda: RampData(TWO, np.array([1.0, np.inf]), YES), "not above 0"),
        (lambda: KineticData(TWO, ONE, TWO), "columns of the break tests differ"),
        (
            lambda: KineticData(np.ones((1, 1)), np.ones((1, 1)), np.ones((1, 1))),
            "differ in length",
        ),
        (lambda: KineticData(TWO, TWO, np.array([0.0, 1.0])), "not above 0"),
        (lambda: PreloadData(TWO, ONE, TWO), "columns of the cycling table differ"),
        (lambda: PreloadData(TWO, TWO, 0 * TWO, batch=("a",)), "columns of the cycling table"),
        (lambda: PreloadData(np.array([0.0, 1.0]), TWO, 0 * TWO), "out of range"),
        (lambda: PreloadData(TWO, np.array([-1.0, 0.0]), 0 * TWO), "out of range"),
        (lambda: PreloadData(TWO, TWO, np.array([0.0, 1.6])), "out of range"),
        (lambda: CyclingData(("a", "b"), ONE, TWO, TWO, TWO, TWO), "column cycle has 1 rows"),
        (lambda: CyclingData(("a", "b"), TWO, TWO, np.ones(3), TWO, TWO), "residual_elongation"),
        (lambda: CreepCurve(TWO, ONE, 1.0), "2 times, 1 strains"),
        (lambda: CreepCurve(TWO[::-1], TWO, 1.0), "time runs back"),
        (lambda: CreepCurve(TWO, np.array([0.0, np.nan]), 1.0), "not finite"),
        (lambda: CreepCurve(TWO, TWO, 0.0), "load is not above 0"),
        (lambda: fit_censored([0.0, 1.0, 2.0], [True] * 3, "lognormal"), "not above 0"),
        (lambda: fit_censored([1.0, 2.0], [True], "normal"), "one mark for each value"),
        (lambda: fit_censored([1.0, np.inf], [True, True]), "not finite"),
        (lambda: fit_censored([1.0, 2.0], [True, True], "cauchy"), "one of"),
    ],
)
def test_tables_are_refused(make, says):
    with pytest.raises(InputError, match=says):
        make()


def test_the_edges_of_the_tables_are_taken():
    PreloadData(TWO, np.array([0.0, 1.0]), np.array([0.0, 1.5]), batch=("a", "b"))
    assert CreepCurve(np.array([0.0, 1.0, 1.0]), np.zeros(3), 1.0).time_s.tolist() == [1.0, 1.0]
    fit = fit_censored([1e-300, 1.0, 2.0], [True] * 3, "lognormal")
    assert fit.failures == 3
    assert codes(fit.problems) == ["few-breaks"]


# ------------------------------------------------------------------ fits


def line(v):
    return v["a"] + v["b"] * np.arange(3.0)


A, B = Parameter("a", "", description="level"), Parameter("b", "", description="slope")


def test_least_squares_without_a_way_to_go():
    task = FitTask(line, np.array([1.0, 2.0, 4.0]), (A, B), {"a": 1.0, "b": 1.0})
    held = lmfit.Parameters()
    held.add("a", 1.0, vary=False)
    held.add("b", 1.0, vary=False)
    with pytest.raises(NotIdentifiedError, match="every parameter is fixed"):
        best_fit(task, rng=rng(), user=held)
    with pytest.raises(NotIdentifiedError, match="1 observations cannot determine 2"):
        best_fit(
            FitTask(lambda v: line(v)[:1], np.array([1.0]), (A, B), {"a": 1.0, "b": 1.0}), rng=rng()
        )
    nowhere = FitTask(lambda v: line(v) * np.nan, task.y, (A, B), {"a": 1.0, "b": 1.0})
    with pytest.raises(NotIdentifiedError, match="no start gave a finite curve"):
        best_fit(nowhere, rng=rng())


def test_scatter_needs_one_reading_more_than_parameters():
    one = best_fit(
        FitTask(line, np.array([1.0, 2.0, 4.0]), (A, B), {"a": 1.0, "b": 1.0}), rng=rng()
    )
    assert one.degrees_of_freedom == 1
    assert one.residual_sd == pytest.approx(np.sqrt(1 / 6), rel=1e-9)
    none = best_fit(
        FitTask(lambda v: line(v)[:2], np.array([1.0, 2.0]), (A, B), {"a": 1.0, "b": 1.0}),
        rng=rng(),
    )
    assert none.degrees_of_freedom == 0
    assert np.isnan(none.residual_sd)


def test_weights_that_a_table_cannot_give():
    one = series([-3.0, -1.0, 0.0], [9.1, 9.2, 9.2])
    with pytest.raises(InputError, match="one specimen or no scatter"):
        rm.best_fit(one, "power-law", rng=rng(), weights="n/sd2")
    assert rm.best_fit(one, "power-law", rng=rng(), weights="n").trusted


def test_creep_that_cannot_be_fitted():
    t = np.geomspace(1.0, 100.0, 4)
    few = [CreepCurve(t, 0.01 * t**0.2, 1000.0, 300.0)]
    with pytest.raises(NotIdentifiedError, match="no creep model could be fitted"):
        average_creep([CreepCurve(t[:2], 0.01 * t[:2], 1e3)], draws=10, rng=rng())
    # Hidden readings need five shown ones; where they cannot be had the error is the wide one.
    assert hidden_error(few, Findley(), rng()) == pytest.approx(0.45)
    short = np.geomspace(10.0, 30.0, 8)  # less than the hidden half decade is left
    assert hidden_error([CreepCurve(short, 0.01 * short**0.2, 1e3)], Findley(), rng()) == (
        pytest.approx(0.45)
    )
    level = np.geomspace(1.0, 1e4, 40)
    still = CreepCurve(level, np.full(40, 0.01) - 1e-4 * np.log(level), 1e3)  # shrinks
    assert hidden_error([still], Logarithmic(), rng()) == pytest.approx(0.45)
    with pytest.raises(NotIdentifiedError, match="window"):
        sherby_dorn(few[0])


def test_readings_without_residuals_count_in_full():
    t = np.geomspace(10.0, 1e3, 12)
    points, *_ = _points(t)
    assert effective_readings(np.zeros(12), points, 2) == 12.0
    alone, *_ = _points(np.array([10.0, 5.0, 2.0]))  # every reading starts a curve
    assert effective_readings(np.array([1.0, 1.0, 1.0]), alone, 1) == 3.0
    smooth = np.cos(np.linspace(0, np.pi, 12))
    assert effective_readings(smooth, points, 2) == pytest.approx(5.0)  # two parameters and three


def _points(t):
    from ratemodel.models.creep_base import CreepReference

    at = CreepReference(1000.0, 300.0, 100.0)
    return (creep_points(t, np.full(t.size, 1000.0), np.full(t.size, 300.0), at),)


def test_a_forecast_says_how_far_it_goes():
    t = np.geomspace(10.0, 1e4, 30)
    curve = CreepCurve(t, 0.008 + 0.004 * (t / 1e3) ** 0.2, 1000.0, 300.0)
    average = average_creep([curve], draws=200, rng=rng(), models=[Findley()])

    def found(time, load):
        told = forecast_creep(average, [curve], np.array([time]), (load, 300.0)).problems
        return {p.code: p.severity for p in told}

    assert "time-beyond-data" not in found(1e4, 1000.0)
    assert found(9e4, 1000.0)["time-beyond-data"] == "caution"
    assert found(2e5, 1000.0)["time-beyond-data"] == "serious"
    assert "load-beyond-data" in found(1e3, 1001.0)
    assert "load-beyond-data" in found(1e3, 999.0)
    assert "load-beyond-data" not in found(1e3, 1000.0)
    inside = forecast_creep(average, [curve], np.array([1e3]), (1000.0, 300.0))
    plain = np.quantile(average.members[0].strain_at(np.array([1e3]), 1000.0, 300.0), 0.5)
    assert inside.median[0] == pytest.approx(plain)
    assert [c.load_N for c in inside.curves] == [1000.0]
    assert forecast_creep(average, [curve], np.array([1e3]), (1000.0, 310.0)).curves == ()
    untold = replace(curve, temperature_K=float("nan"))
    for one, kelvin in ((curve, float("nan")), (untold, 300.0), (untold, float("nan"))):
        shown = forecast_creep(average, [one], np.array([1e3]), (1000.0, kelvin)).curves
        assert len(shown) == 1


def test_a_tie_that_leaves_the_models_own_parameters_is_refused():
    t = np.geomspace(10.0, 1e4, 30)
    curve = CreepCurve(t, 0.008 + 0.004 * (t / 1e3) ** 0.2, 1000.0, 300.0)
    user = lmfit.Parameters()
    user.add("half", value=0.1)
    user.add("time_exponent", expr="2*half")
    with pytest.raises((NotIdentifiedError, InputError)):
        fit_creep([curve], Findley(), draws=50, rng=rng(), user=user)


def test_kinetic_parameters_cannot_be_tied():
    rate = np.repeat([1.0, 100.0, 1e4], 4)
    s = 2e-6 * kinetic_strength(rate / 2e-6, 293.0, 1.5 * ELECTRONVOLT_J, 45e-30, 1e-13)
    data = KineticData(s * np.exp(0.01 * rng().standard_normal(12)), rate, np.full(12, 293.0))
    user = kinetic_parameters(data)
    user["ln_length"].set(expr="-60 + 0*energy_eV")
    with pytest.raises(InputError, match="tied by an expression"):
        fit_kinetic(data, draws=10, rng=rng(), user=user)
    near = replace(data, loading_rate_N_per_s=np.repeat([1.0, 2.0, 3.1], 4))
    with pytest.raises(NotIdentifiedError, match="half a decade apart"):
        fit_kinetic(near, draws=10, rng=rng())


def _lives(n=20.0, stop=1e9):
    load = np.repeat([800.0, 900.0, 1000.0], 8)
    y = np.log(1e4) - n * np.log(load / 900) + 0.8 * np.log(rng(3).exponential(size=24))
    t = np.exp(y)
    return LifeData(np.minimum(t, stop), load, t < stop, np.full(24, np.nan))


def test_lives_that_cannot_be_answered():
    data = _lives()
    draws = draw_life(fit_life(data, life_law("inverse-power")), draws=400, rng=rng())
    with pytest.raises(InputError, match="working load is not above 0"):
        life_at_load(draws, np.array([0.0, 500.0]))
    with pytest.raises(NotIdentifiedError, match="no load is shown to last"):
        lasting_load(draws, 1e200)
    # A life that even the highest tested load outlasts: that load, never one beyond it.
    assert lasting_load(draws, 1e-9).load_N == pytest.approx(1000.0)
    laws = [life_law("inverse-power"), life_law("power-arrhenius")]
    with pytest.raises(InputError, match="different numbers of coefficients"):
        average_life(data, draws=10, rng=rng(), laws=laws)
    one = replace(data, load_N=np.full(24, 900.0))
    with pytest.raises(NotIdentifiedError, match="two or more conditions"):
        common_shape_test(one)
    exact = LifeData(np.exp(-5 * np.log([1.0, 1.0, 2.0, 2.0])), np.array([1.0, 1, 2, 2]),
                     np.ones(4, bool), np.full(4, np.nan))  # fmt: skip
    with pytest.raises(NotIdentifiedError, match="do not scatter about the law"):
        fit_life(exact, life_law("inverse-power"))


def test_draws_where_nothing_is_possible():
    with pytest.raises(NotIdentifiedError, match="no draw near the best fit is possible"):
        importance_draws(
            lambda x: np.full(len(x), -np.inf), np.zeros(2), np.eye(2), draws=50, rng=rng()
        )
    for spread in (np.diag([1.0, 0.0]), np.diag([1.0, np.nan])):
        with pytest.raises(NotIdentifiedError, match="do not determine every parameter"):
            importance_draws(lambda x: -(x**2).sum(1), np.zeros(2), spread, draws=50, rng=rng())


# ------------------------------------------------------------------ preload


def _cycled(n, q, batch=(), unbroken=0):
    n, q = np.asarray(n, float), np.asarray(q, float)
    return PreloadData(
        np.exp(9.2 + 0.02 * rng(5).standard_normal(n.size)), n, q, batch=batch, unbroken=unbroken
    )


def test_findings_on_preload_name_what_is_missing():
    n, q = np.repeat([0.0, 10.0], 4), np.repeat([0.0, 0.5], 4)
    plain = fit_preload(_cycled(n, q), draws=200, rng=rng())
    assert codes(plain.problems) == ["one-level"]
    both = _cycled(n, q, batch=("a",) * 4 + ("b",) * 4, unbroken=2)
    found = {p.code: p for p in fit_preload(both, draws=200, rng=rng()).problems}
    assert set(found) == {"one-level", "unbroken-left-out", "batch-and-preload-confounded"}
    assert found["unbroken-left-out"].message.startswith("2 specimens did not break")
    mixed = _cycled(n, q, batch=("a", "b") * 4)
    assert codes(fit_preload(mixed, draws=200, rng=rng()).problems) == ["one-level"]
    cycled = _cycled(np.repeat([3.0, 10.0], 4), np.repeat([0.4, 0.6], 4))
    assert codes(fit_preload(cycled, draws=200, rng=rng()).problems) == ["no-uncycled-specimens"]
    nought = _cycled(np.repeat([5.0, 10.0], 4), np.repeat([0.0, 0.5], 4))  # cycles to no load
    assert codes(fit_preload(nought, draws=200, rng=rng()).problems) == []
    assert protocol_problems(plain, Protocol(10, 0.5), NO_PRELOAD) == ()
    assert (
        codes(protocol_problems(plain, Protocol(11, 0.5), Protocol(10, 0.51)))
        == ["protocol-beyond-data"] * 2
    )
    for few in (_cycled([0.0, 0, 10], [0.0, 0, 0.5]), _cycled([10.0] * 6, [0.5] * 6)):
        with pytest.raises(NotIdentifiedError, match="cannot show an effect of cycling"):
            fit_preload(few, draws=10, rng=rng())
    fit_preload(_cycled([0.0, 0, 10, 10], [0.0, 0, 0.5, 0.5]), draws=10, rng=rng())  # just enough


@pytest.mark.parametrize(
    ("before", "gain", "says"),
    [
        (0.9, 0.0, "The strengths show no effect of cycling"),
        (0.5, 0.0, "The strengths do not decide whether cycling matters"),
        (0.5, 0.1, "Cycling changes the strength"),
    ],
)
def test_the_words_follow_the_odds(before, gain, says):
    n, q = np.repeat([0.0, 10.0, 10.0], 10), np.repeat([0.0, 0.3, 0.5], 10)
    y = 9.2 + gain * q / 0.5 + 0.02 * rng(9).standard_normal(n.size)
    data = PreloadData(np.exp(y), n, q)
    fit = fit_preload(data, draws=50, rng=rng(), priors=Priors(no_effect=before))
    assert fit.words.startswith(says), fit.words
    limits = {0.9: (0.8, 1.0), 0.5: (0.0, 0.05) if gain else (0.05, 0.8)}
    low, high = limits[before]
    assert low <= fit.odds["no-effect"] <= high


def test_cycles_needed_for_a_curve_and_scaling_of_specimens():
    def made(cycles, y, names=None):
        n = len(cycles)
        blank = np.full(n, np.nan)
        return CyclingData(names or ("s",) * n, np.array(cycles, float), np.full(n, 0.5), blank,
                           np.array(y, float), blank)  # fmt: skip

    (fit,) = fit_cycling(made([1, 2, 3, 4, 5], [5.0, 5.1, 4.9, 5.05, 5]), "stiffness_N", rng=rng())
    assert fit.preload_fraction == 0.5
    with pytest.raises(NotIdentifiedError, match="fewer than three cycles"):
        fit_cycling(made([1, 1, 2, 2], [5.0, 5, 5, 5]), "stiffness_N", rng=rng())
    # A cycle 0 is before the first: not on the curve.
    with pytest.raises(NotIdentifiedError, match="fewer than three cycles"):
        fit_cycling(made([0, 1, 2], [5.0, 5, 5]), "stiffness_N", rng=rng())
    # Specimens of different size read at the same cycles are one curve, without scatter.
    cycle = [1, 2, 4, 8, 16, 32] * 2
    y = [c * (2 + np.log10(n)) for c in (1.0, 3.0) for n in cycle[:6]]
    (fit,) = fit_cycling(made(cycle, y, ("a",) * 6 + ("b",) * 6), "stiffness_N", rng=rng())
    at = [c.name for c in fit.curves].index("log-cycles")
    assert fit.best == at
    assert fit.fits[at].sum_of_squares < 1e-12
    ratio, low, high = fit.change
    assert ratio == pytest.approx((2 + np.log10(32)) / 2, rel=1e-6)
    assert low <= ratio <= high


def test_stacking_with_nothing_to_leave_out_weighs_all_alike():
    u = np.repeat([-3.0, -1.0], 4)
    s = series(u, 9.2 + 0.02 * rng().standard_normal(8))
    fit = rm.fit_rate(s, rng=rng(), settings=rm.Settings(draws=200, points=64))
    held = replace(fit, data=replace(fit.data, broke=np.array([True] * 4 + [False] * 4)))
    count = len(fit.models)
    assert stacking_weights(held, lambda f: f) == pytest.approx(np.full(count, 1 / count))
    told = stacking_weights(fit, lambda f: replace(f, models=f.models[:-1]))
    assert told.sum() == pytest.approx(1.0)
    assert told.min() >= 0

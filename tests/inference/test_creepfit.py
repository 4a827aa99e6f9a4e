"""Creep fits: certified sets, stated truth, coverage, forecasts, plateau."""

from __future__ import annotations

from pathlib import Path

import lmfit
import numpy as np
import pytest

from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.creep_curves import CreepCurve
from ratemodel.inference.creep_forecast import average_creep, forecast_creep, plateau_rate
from ratemodel.inference.creepfit import creep_parameters, fit_creep
from ratemodel.inference.leastsq import best_fit
from ratemodel.inference.sherby_dorn import sherby_dorn
from ratemodel.inference.starts import FitTask
from ratemodel.models.creep import Burgers, Findley, Logarithmic
from ratemodel.models.creep_base import CreepReference, creep_points
from ratemodel.models.creep_thermal import TwoProcess

NIST = Path(__file__).resolve().parents[1] / "reference" / "nist"
TIME = np.geomspace(10.0, 1e5, 60)
REFERENCE = CreepReference(1000.0, 300.0, 1000.0)
NOISE = 2e-5
HELD = {"load_exponent": 1.0, "activation_energy": 0.0}
SINGLE = {
    "findley": (Findley(), {"strain0": 0.008, "amplitude": 0.004, "time_exponent": 0.18}),
    "logarithmic": (Logarithmic(), {"strain0": 0.009, "slope": 0.0008, "tau": 200.0}),
    "burgers": (Burgers(), {"strain0": 0.009, "primary": 0.003, "tau": 900.0, "flow": 3e-5}),
}


def _strain(name, time=TIME, load=1000.0):
    if name == "none of them":  # a stretched exponential that levels off: no model holds it
        return 0.008 + 0.012 * -np.expm1(-((time / 3e5) ** 0.3))
    model, truth = SINGLE[name]
    points = creep_points(time, np.full(time.size, load), np.full(time.size, 300.0), REFERENCE)
    return np.asarray(model.curve({**truth, **HELD}, points))


def _curve(name, rng, noise=NOISE):
    y = _strain(name) + noise * rng.standard_normal(TIME.size)
    return CreepCurve(TIME, y, 1000.0, 300.0)


def _nist(name, model, mapping, fixed):
    """Fit a NIST StRD set that a creep law can express; other parameters held by the user."""
    lines = (NIST / f"{name}.dat").read_text().splitlines()
    rows = [[float(v) for v in w.split("=")[1].split()] for w in lines[40:42]]
    data = np.array([[float(v) for v in w.split()] for w in lines[60:] if w.strip()])
    y, x = data.T
    points = creep_points(x, np.ones_like(x), np.full_like(x, 300.0), CreepReference(1, 300.0, 1.0))
    user = lmfit.Parameters()
    for key, value in fixed.items():
        user.add(key, value=value, vary=False)
    start = {key: f(rows[i][1]) for i, (key, f) in enumerate(mapping.items())}
    task = FitTask(lambda v: model.curve(v, points), y, model.parameters, {**fixed, **start})
    fit = best_fit(task, rng=np.random.default_rng(0), user=user)
    return fit, np.array(rows)


def test_findley_on_nist_danwood():
    """DanWood is y = b1 x**b2: Findley without instant strain; start 2."""
    same = {"amplitude": lambda b: b, "time_exponent": lambda b: b}
    fit, rows = _nist("DanWood", Findley(), same, {"strain0": 0.0, **HELD})
    got = np.array([fit.values["amplitude"], fit.values["time_exponent"]])
    np.testing.assert_allclose(got, rows[:, 2], rtol=1e-6)
    errors = [fit.standard_errors["amplitude"], fit.standard_errors["time_exponent"]]
    np.testing.assert_allclose(errors, rows[:, 3], rtol=1e-5)
    assert fit.trusted


@pytest.mark.parametrize("name", ["Misra1a", "BoxBOD"])
def test_burgers_on_nist_exponentials(name):
    """Misra1a and BoxBOD are y = b1 (1 - exp(-b2 x)): primary creep alone, tau = 1/b2; start 2."""
    turned = {"primary": lambda b: b, "tau": lambda b: 1 / b}
    fit, rows = _nist(name, Burgers(), turned, {"strain0": 0.0, "flow": 0.0, **HELD})
    got = np.array([fit.values["primary"], 1 / fit.values["tau"]])
    np.testing.assert_allclose(got, rows[:, 2], rtol=1e-6)
    assert fit.standard_errors["primary"] == pytest.approx(rows[0, 3], rel=1e-5)
    turned_error = fit.standard_errors["tau"] / fit.values["tau"] ** 2
    assert turned_error == pytest.approx(rows[1, 3], rel=1e-5)
    assert fit.trusted


@pytest.mark.parametrize("name", sorted(SINGLE))
def test_truth_is_recovered(name):
    model, truth = SINGLE[name]
    rng = np.random.default_rng(7)
    # Reference time of the pool is the geometric mean of the times: 1000 s, as in the truth.
    fit = fit_creep([_curve(name, rng)], model, draws=4000, rng=rng)
    assert fit.best.verdict == "good"
    assert fit.reference.time_s == pytest.approx(1000.0)
    for key, value in truth.items():
        low, high = fit.interval(key, 0.999)
        assert low < value < high, key
    assert fit.effective_readings == 60.0
    assert fit.best.lmfit_result.nvarys == len(truth)


def coverage(name, simulations, seed):
    """Share of 95 % intervals that hold the truth: draws' and Student's, every parameter."""
    model, truth = SINGLE[name]
    hits = {f"{kind} {k}": 0 for kind in ("draws", "t") for k in truth}
    for i in range(simulations):
        rng = np.random.default_rng([seed, i])
        fit = fit_creep([_curve(name, rng)], model, draws=1500, rng=rng, starts=1)
        for k, v in truth.items():
            low, high = fit.interval(k)
            hits[f"draws {k}"] += low <= v <= high
            low, high = fit.best.interval(k)
            hits[f"t {k}"] += low <= v <= high
    return {k: v / simulations for k, v in hits.items()}


def test_coverage_is_not_far_off():
    found = coverage("findley", 60, 3)
    assert min(found.values()) >= 0.86  # 9 or more misses of 60 at 95 %: chance 0.003


@pytest.mark.study
@pytest.mark.parametrize("name", sorted(SINGLE))
def test_study_coverage_of_intervals(name):
    found = coverage(name, 600, 2024)
    print(name, {k: round(v, 4) for k, v in found.items()})
    assert all(0.92 <= v <= 0.98 for v in found.values()), found


def test_joint_fit_over_loads_and_temperatures():
    rng = np.random.default_rng(5)
    truth = {
        "strain0": 0.008, "amplitude": 0.004, "time_exponent": 0.2, "load_exponent": 1.6,
        "activation_energy": 70e3,
    }  # fmt: skip
    curves = []
    for load in (700.0, 1000.0, 1300.0):
        for kelvin in (290.0, 310.0, 330.0):
            p = creep_points(TIME, np.full(60, load), np.full(60, kelvin), REFERENCE)
            y = Findley().curve(truth, p) + NOISE * rng.standard_normal(60)
            curves.append(CreepCurve(TIME, y, load, kelvin))
    fit = fit_creep(curves, Findley(), draws=3000, rng=rng)
    for key in ("time_exponent", "load_exponent", "activation_energy"):
        low, high = fit.interval(key, 0.999)
        assert low < truth[key] < high, key
    # The reference lies elsewhere, the strains must not.
    p = creep_points(np.array([5e4]), np.array([1000.0]), np.array([310.0]), REFERENCE)
    at = fit.strain_at(np.array([5e4]), 1000.0, 310.0)
    assert np.median(at) == pytest.approx(float(Findley().curve(truth, p)[0]), rel=2e-3)


def test_two_processes_are_recovered_as_rates():
    rng = np.random.default_rng(6)
    truth = {
        "strain0": 0.008, "primary": 0.002, "tau": 500.0, "ln_rate1": -19.0, "volume1": 5.0,
        "ln_rate2": -30.0, "volume2": 20.0, "energy1": 0.0, "energy2": 0.0,
    }  # fmt: skip
    curves, points = [], []
    for load in (500.0, 700.0, 900.0, 1100.0, 1300.0, 1500.0):
        p = creep_points(TIME, np.full(60, load), np.full(60, 300.0), REFERENCE)
        y = TwoProcess().curve(truth, p) + NOISE * rng.standard_normal(60)
        curves.append(CreepCurve(TIME, y, load, 300.0))
        points.append(p)
    fit = fit_creep(curves, TwoProcess(), draws=1000, rng=rng)
    for load, p in zip((700.0, 1500.0), (points[1], points[5]), strict=True):
        steady = TwoProcess().steady_rate(truth, p)[-1]
        low, high = np.quantile(fit.rate_at(np.array([1e9]), load, 300.0), [0.001, 0.999])
        assert low < steady < high
        assert high < 3 * steady
    with pytest.raises(NotIdentifiedError, match="needs 4 different loads"):
        fit_creep(curves[:2], TwoProcess(), draws=10, rng=rng)


def test_user_constrains_through_lmfit():
    rng = np.random.default_rng(8)
    curves = [_curve("findley", rng)]
    user = creep_parameters(curves, Findley())
    assert not user["load_exponent"].vary
    user["time_exponent"].set(value=0.2, min=0.19, max=0.25)
    user["strain0"].set(expr="2*amplitude")
    fit = fit_creep(curves, Findley(), draws=300, rng=rng, user=user)
    np.testing.assert_allclose(fit.draws["strain0"], 2 * fit.draws["amplitude"], rtol=1e-12)
    assert fit.draws["time_exponent"].min() >= 0.19
    assert fit.best.lmfit_result.params["strain0"].expr == "2*amplitude"


def test_correlated_readings_widen_the_interval():
    """A curve that wanders: its readings are worth fewer, so intervals grow."""
    rng = np.random.default_rng(9)
    walk = np.zeros(60)
    for i in range(1, 60):
        walk[i] = 0.85 * walk[i - 1] + NOISE * rng.standard_normal()
    curve = CreepCurve(TIME, _strain("findley") + walk, 1000.0, 300.0)
    fit = fit_creep([curve], Findley(), draws=2000, rng=rng)
    assert fit.effective_readings < 30
    low, high = fit.interval("time_exponent")
    low_t, high_t = fit.best.interval("time_exponent")
    assert high - low > 1.3 * (high_t - low_t)


@pytest.mark.parametrize("name", ["findley", "logarithmic"])
def test_forecast_two_decades_on_holds_the_truth_and_says_how_far(name):
    rng = np.random.default_rng(11)
    curves = [_curve(name, rng)]
    average = average_creep(curves, draws=2000, rng=rng)
    out = forecast_creep(average, curves, np.array([1e4, 1e7]), (1000.0, 300.0))
    truth = _strain(name, np.array([1e4, 1e7]))
    assert np.all((out.low <= truth) & (truth <= out.high))
    assert out.decades_beyond.tolist() == pytest.approx([0.0, 2.0])
    assert (out.high - out.low)[1] > 5 * (out.high - out.low)[0]
    told = {p.code: p for p in out.problems}
    assert told["time-beyond-data"].severity == "serious"
    assert "2.0 decades of time beyond" in told["time-beyond-data"].message
    assert average.weights(0.0).sum() == pytest.approx(1.0)
    far = average.weights(2.0)
    assert far.max() <= average.weights(0.0).max()
    assert {m for m, _, _ in out.by_model} == {"findley", "logarithmic", "burgers"}


def forecast_coverage(name, simulations, seed, beyond):
    hits = 0
    for i in range(simulations):
        rng = np.random.default_rng([seed, i])
        curves = [_curve(name, rng, noise=1e-4)]
        average = average_creep(curves, draws=1000, rng=rng)
        time = np.array([1e5 * 10.0**beyond])
        out = forecast_creep(average, curves, time, (1000.0, 300.0))
        hits += bool(out.low[0] <= _strain(name, time)[0] <= out.high[0])
    return hits / simulations


@pytest.mark.study
@pytest.mark.parametrize("name", [*sorted(SINGLE), "none of them"])
def test_study_coverage_of_forecasts(name):
    found = {d: forecast_coverage(name, 150, 31, d) for d in (1.0, 2.0)}
    print(f"forecast 95 %, {name}:", found)
    assert min(found.values()) >= 0.80, found


def test_plateau_rate_of_a_steady_curve():
    rng = np.random.default_rng(12)
    time = np.linspace(10.0, 3e4, 300)
    y = _strain("burgers", time) + 3e-6 * rng.standard_normal(300)
    curve = CreepCurve(time, y, 1000.0, 300.0)
    truth = 3e-5 / 1000.0  # flow over reference time
    seen = sherby_dorn(curve)
    assert seen.plateau_reached
    assert seen.plateau_rate_per_s == pytest.approx(truth, rel=0.15)
    average = average_creep([curve], draws=1000, rng=rng)
    low, high = np.quantile(plateau_rate(average, (1000.0, 300.0)), [0.005, 0.995])
    assert low < truth < high


def test_a_rate_still_falling_is_called_an_upper_bound():
    seen = sherby_dorn(_curve("logarithmic", np.random.default_rng(1), noise=1e-7))
    assert not seen.plateau_reached
    assert "upper bound of the plateau" in seen.problems[0].message
    # Slopes of a logarithm: b/(tau + t).
    expected = 0.0008 / (200.0 + seen.time_s)
    np.testing.assert_allclose(seen.rate_per_s, expected, rtol=0.08)


def test_long_logs_are_averaged_and_it_is_said():
    rng = np.random.default_rng(2)
    time = np.linspace(1.0, 1e5, 5000)
    y = _strain("findley", time) + NOISE * rng.standard_normal(5000)
    fit = fit_creep([CreepCurve(time, y, 1000.0, 300.0)], Findley(), draws=500, rng=rng)
    assert len(fit.strain) <= 200
    assert "readings-averaged" in {p.code for p in fit.problems}


def test_bad_curves_are_refused():
    with pytest.raises(InputError, match=r"creep of s1: 2 times, 3 strains"):
        CreepCurve(np.arange(2.0), np.arange(3.0), 10.0, specimen="s1")
    with pytest.raises(InputError, match="time runs back"):
        CreepCurve(np.array([1.0, 3.0, 2.0]), np.zeros(3), 10.0)
    with pytest.raises(NotIdentifiedError, match="fewer than four creep readings"):
        fit_creep(
            [CreepCurve(np.array([1.0, 2.0]), np.zeros(2), 10.0)],
            Findley(),
            draws=10,
            rng=np.random.default_rng(0),
        )
    mixed = [
        CreepCurve(TIME, _strain("findley"), 1000.0, 300.0),
        CreepCurve(TIME, _strain("findley"), 900.0),
    ]
    with pytest.raises(InputError, match="some creep runs have a temperature"):
        fit_creep(mixed, Findley(), draws=10, rng=np.random.default_rng(0))

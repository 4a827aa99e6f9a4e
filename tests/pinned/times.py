"""Creep, lives, damage, cycling: everything in which time counts."""

from __future__ import annotations

import numpy as np
from pinned.common import even, noise, rng, scene

from ratemodel.inference.creep_curves import CreepCurve
from ratemodel.inference.creep_forecast import average_creep, forecast_creep, plateau_rate
from ratemodel.inference.creepfit import fit_creep
from ratemodel.inference.cycling import CyclingData, fit_cycling
from ratemodel.inference.damage_likelihood import RampData
from ratemodel.inference.joint_damage import draw_joint_damage, fit_joint_damage
from ratemodel.inference.kineticfit import KineticData, fit_kinetic
from ratemodel.inference.lasting_load import lasting_load
from ratemodel.inference.life import LifeData, fit_life
from ratemodel.inference.life_bounds import average_life, draw_life, life_at_load
from ratemodel.inference.life_shape import common_shape_test
from ratemodel.inference.preload import fit_preload, protocol_problems, translate_protocol
from ratemodel.inference.preload_grid import PreloadData
from ratemodel.inference.sherby_dorn import sherby_dorn
from ratemodel.models.creep import Burgers, Findley, Logarithmic
from ratemodel.models.creep_base import CreepReference, creep_points
from ratemodel.models.creep_thermal import TwoProcess
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
from ratemodel.models.history import cycles, hold, ramp, sine_cycles, steps
from ratemodel.models.kinetics import (
    ELECTRONVOLT_J,
    kinetic_life,
    kinetic_strength,
    thermal_stress_per_decade,
)
from ratemodel.models.lifetime import life_law
from ratemodel.models.preload import NO_PRELOAD, Protocol
from ratemodel.models.quadrature import break_on_ramp, damage_by_quadrature

TIME = np.geomspace(10.0, 1e5, 40)
AT = CreepReference(1000.0, 300.0, 1000.0)
LAWS = {
    "findley": (Findley(), {"strain0": 0.008, "amplitude": 0.004, "time_exponent": 0.18}),
    "logarithmic": (Logarithmic(), {"strain0": 0.009, "slope": 0.0008, "tau": 200.0}),
    "burgers": (Burgers(), {"strain0": 0.009, "primary": 0.003, "tau": 900.0, "flow": 3e-5}),
    "two": (
        TwoProcess(),
        {
            "strain0": 0.008,
            "primary": 0.002,
            "tau": 500.0,
            "ln_rate1": -19.0,
            "volume1": 5.0,
            "ln_rate2": -30.0,
            "volume2": 20.0,
            "energy1": 3e4,
            "energy2": 5e4,
        },
    ),
}


def crept(name: str, load: float = 1000.0, kelvin: float = 300.0, k: float = 0.5) -> CreepCurve:
    model, truth = LAWS[name]
    points = creep_points(TIME, np.full(40, load), np.full(40, kelvin), AT)
    held = {} if name == "two" else {"load_exponent": 1.4, "activation_energy": 6e4}
    return CreepCurve(TIME, model.curve(truth | held, points) + noise(40, 2e-5, k), load, kelvin)


@scene
def creep_laws():
    out = {}
    points = creep_points(TIME, np.geomspace(500.0, 2000.0, 40), np.linspace(280, 340, 40), AT)
    for name, (model, truth) in LAWS.items():
        held = {} if name == "two" else {"load_exponent": 1.4, "activation_energy": 6e4}
        values = truth | held
        curve = model.curve(values, points)
        working = model.to_working(values, 1000.0)
        out[name] = [
            curve,
            model.rate(values, points),
            model.guess(points, curve),
            working,
            model.from_working(working, 1000.0),
            model.held(1, 1),
            model.held(3, 1),
            model.held(3, 3),
            [model.needed(t) for t in (1, 2, 3)],
            model.title,
        ]
    return out


@scene
def creep_one_curve():
    curve = crept("findley")
    average = average_creep([curve], draws=600, rng=rng())
    at = (1000.0, 300.0)
    return [
        average,
        forecast_creep(average, [curve], np.array([1e3, 1e5, 1e7]), at),
        forecast_creep(average, [curve], np.array([1e6]), (800.0, float("nan")), level=0.8),
        plateau_rate(average, at),
        sherby_dorn(curve),
        sherby_dorn(crept("burgers")),
        [average.weights(d) for d in (0.0, 1.0, 2.5)],
    ]


@scene
def creep_many_curves():
    curves = [
        crept("findley", load, kelvin, 0.1 + load / 3e3 + kelvin / 1e3)
        for load in (700.0, 1000.0, 1300.0)
        for kelvin in (290.0, 320.0)
    ]
    fit = fit_creep(curves, Findley(), draws=400, rng=rng())
    return [
        fit,
        fit.strain_at(np.array([1e3, 1e6]), 900.0, 300.0),
        fit.rate_at(np.array([1e3, 1e6]), 900.0, 300.0),
        fit.interval("time_exponent"),
    ]


@scene
def creep_two_processes():
    curves = [crept("two", load, 300.0, load / 2e3) for load in (500.0, 800, 1100, 1400, 1700)]
    fit = fit_creep(curves, TwoProcess(), draws=200, rng=rng(), starts=1)
    # Draws of nine parameters hang on the last digits of a covariance; their middle does not.
    strain = np.median(fit.strain_at(np.array([1e6]), 900.0, 300.0))
    return [fit.best.values, fit.best.verdict, round(float(strain), 3)]


def lives(kelvin: float = 0.0) -> LifeData:
    load = np.repeat([800.0, 900.0, 1000.0], 10)
    warm = np.tile([290.0, 310.0], 15) if kelvin else np.full(30, np.nan)
    y = np.log(1e4) - 20 * np.log(load / 900) + 0.8 * np.log(-np.log1p(-even(30)))
    if kelvin:
        y = y + kelvin * (1 / warm - 1 / 300)
    t = np.exp(y)
    return LifeData(np.minimum(t, 6e4), load, t < 6e4, warm)


@scene
def lives_under_load():
    cold, warm = lives(), lives(9000.0)
    out: dict[str, object] = {}
    for law, data in (
        ("inverse-power", cold),
        ("exponential", cold),
        ("power-arrhenius", warm),
        ("zhurkov", warm),
    ):
        for kind in ("weibull", "lognormal"):
            fit = fit_life(data, life_law(law), kind)
            draws = draw_life(fit, draws=500, rng=rng())
            t = float("nan") if data is cold else 300.0
            out[f"{law} {kind}"] = [
                fit,
                fit.standard_errors,
                draws,
                life_at_load(draws, np.array([600.0, 900.0]), fraction=0.9, temperature_K=t),
            ]
    mix = average_life(cold, draws=500, rng=rng())
    out["average"] = [
        mix.weights,
        life_at_load(mix, np.array([700.0])),
        lasting_load(mix, 1e5),
        lasting_load(mix, 1e7, fraction=0.9, confidence=0.9),
    ]
    out["warm average"] = average_life(warm, draws=300, rng=rng()).weights
    out["shape"] = [
        common_shape_test(cold),
        common_shape_test(cold, "lognormal"),
        common_shape_test(warm, by="temperature"),
    ]
    return out


@scene
def ramps_and_lives():
    out = []
    for n, shift in ((22.0, 0.0), (22.0, 4.0), (60.0, 0.0)):
        rate = np.repeat([1.0, 100.0, 1e4], 8)
        e = np.log(-np.log1p(-even(24, 0.3)))
        y = np.log(1000.0) + (np.log(rate) + 3 + shift + 0.8 * e) / (n + 1)
        for kind in ("weibull", "lognormal"):
            ramps = RampData(np.exp(y), rate, even(24, 0.9) > 0.1)
            fit = fit_joint_damage(lives(), ramps, kind)
            out.append([fit, draw_joint_damage(fit, draws=200, rng=rng())])
    return out


@scene
def kinetic_fit():
    rate = np.tile(np.repeat([1.0, 100.0, 1e4], 4), 3)
    kelvin = np.repeat([263.0, 293.0, 323.0], 12)
    s = 2e-6 * kinetic_strength(rate / 2e-6, kelvin, 1.5 * ELECTRONVOLT_J, 45e-30, 1e-13)
    fit = fit_kinetic(KineticData(s * np.exp(noise(36)), rate, kelvin), draws=400, rng=rng())
    one = kelvin == 293.0
    cold = fit_kinetic(
        KineticData((s * np.exp(noise(36)))[one], rate[one], kelvin[one]), draws=200, rng=rng()
    )
    return [fit, cold, fit.strength_at(10.0, 300.0), fit.force_per_decade(300.0)]


@scene
def cycling():
    n = np.array([1, 2, 3, 5, 8, 13, 20], float)
    cycle = np.tile(n, 3)
    size = np.repeat([1.0, 1.1, 0.95], 7)
    names = tuple(f"s{i}" for i in range(3) for _ in n)
    out = []
    for y in (
        1e5 * (2.35 - 1.35 * np.exp(-(cycle - 1) / 2.5)),
        5 + 2 * np.log10(cycle),
        0 * cycle + 4,
    ):
        data = CyclingData(
            names,
            cycle,
            np.full(21, 0.5),
            y * size * 1e-3 * np.exp(noise(21, 0.01)),
            y * size * np.exp(noise(21, 0.01, 0.2)),
            np.full(21, np.nan),
        )
        for quantity in ("stiffness_N", "residual_elongation"):
            (fit,) = fit_cycling(data, quantity, rng=rng())
            out.append(
                [fit.weights, [f.values for f in fit.fits], fit.change, fit.problems, fit.best]
            )
    return out


@scene
def preload():
    out = []
    for damage in (0.0, 0.004):
        n = np.repeat([0.0, 1, 3, 10, 40, 10], 4)
        q = np.repeat([0.0, 0.5, 0.5, 0.5, 0.5, 0.7], 4)
        ln = 9.3 + 0.1 * q * -np.expm1(-n / 2) - damage * n * q**2 + noise(24, 0.02)
        fit = fit_preload(
            PreloadData(np.exp(ln), n, q, batch=("a", "b") * 12, unbroken=1), draws=500, rng=rng()
        )
        ten = Protocol(10, 0.5)
        out.append(
            [
                fit,
                fit.effect(ten),
                fit.chance_of_gain(ten),
                protocol_problems(fit, Protocol(100, 0.9), NO_PRELOAD),
                translate_protocol(fit, ten, NO_PRELOAD),
            ]
        )
    return out


@scene
def damage():
    histories = {
        "ramp": ramp(50.0, 1200.0),
        "late": ramp(50.0, 1100.0, start_N=300.0),
        "hold": hold(900.0, 3600.0),
        "steps": steps([300.0, 600.0, 900.0], 60.0),
        "cycles": cycles(100.0, 900.0, 10.0, 5),
        "sine": sine_cycles(100.0, 900.0, 10.0, 5),
        "both": ramp(50.0, 900.0).then(hold(900.0, 60.0)),
    }
    laws = {
        "inverse-power": [[151.0, 20.0], [100.0, 13.0]],
        "exponential": [[27.0, 0.02], [15.0, 0.01]],
    }
    out: dict[str, object] = {}
    for name, rows in laws.items():
        law, c = life_law(name), np.array(rows)
        for title, h in histories.items():
            out[f"{name} {title}"] = [
                h,
                damage_integral(h, law, c),
                cumulative_damage(h, law, c),
                expected_break(h, law, c),
                residual_strength(h, law, c, [5.0, 500.0]),
                damage_by_quadrature(h, lambda f, law=law, c=c: law.ln_life(c[:1], f, f)[0])
                if title != "cycles"
                else None,
            ]
        out[f"{name} pull"] = [
            ramp_strength(law, c, [1.0, 100.0]),
            ramp_strength(law, c, 10.0, damage=[0.3, 0.9]),
            break_on_ramp(
                lambda f, law=law, c=c: law.ln_life(c[:1], f, f)[0], 10.0, (100.0, 5000.0)
            ),
        ]
    for name, row in (
        ("power-arrhenius", [140.0, 20.0, 3e4]),
        ("zhurkov", [-29.0, 1.2e5, 60.0]),
        ("arrhenius", [-20.0, 8e4]),
    ):
        law, c = life_law(name), np.array([row])
        load, kelvin = np.array([500.0, 900.0]), np.array([290.0, 310.0])
        out[name] = [
            law.design(load, kelvin),
            law.ln_life(c, load, kelvin),
            law.ln_mean_rate(c, load, load + 100.0, 300.0),
            law.title,
        ]
    return out


@scene
def formulas():
    n = np.array([10.0, 25.0])
    p = np.array([0.0, 0.5, 0.8, 0.95])
    pull = SlowPull(1e4, 10.0, 1000.0, thermal_time_s=60.0, bedded_in_fraction=0.6)
    stress = np.array([1e9, 2e9])
    return [
        fast_preload(pull, p, n),
        fast_preload(SlowPull(1e4, 10.0), p, n),
        fast_preload_ratio(p[:, None], n, 0.01),
        fast_preload_ratio_exponential(p[:, None], n, 0.01),
        kinetic_life(stress, 300.0, 2e-19, 45e-30, 1e-13),
        thermal_stress_per_decade(45e-30, 300.0),
    ]

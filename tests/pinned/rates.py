"""Strength against rate: fits, checks, least squares."""

from __future__ import annotations

from functools import cache

import numpy as np
from pinned.common import QUICK, even, noise, rng, scene, series

import ratemodel as rm
from ratemodel.inference.average import Settings
from ratemodel.inference.censored import fit_censored
from ratemodel.inference.diagnostics import diagnose
from ratemodel.inference.sensitivity import sensitivity
from ratemodel.models.rate import RATE_MODELS, heat_retained
from ratemodel.records.tables import Rating, Series, Specimens


@cache
def plain():
    """Three rates, two machines, three spools: a step down."""
    u = np.repeat([-3.0, -1.4, -0.3], 6)
    y = 9.2 + 0.02 * u - 0.08 / (1 + 10 ** (-(u + 1.5) / 0.6)) + noise(18)
    return rm.fit_rate(
        series(
            u,
            y,
            machine=("frame",) * 9 + ("ram",) * 9,
            batch=("a", "b", "c") * 6,
            free_length_m=np.full(18, 0.5),
            rating=Rating(11e3, "average", 1e-3),
            failure_site=("mid", "splice", "") * 6,
        ),
        rng=rng(),
        settings=QUICK,
    )


def answers(fit) -> dict[str, object]:
    """What a fit says at rates inside and beyond the tests."""
    u = np.array([-4.0, -3.0, -2.2, -1.4, -0.3, 1.0, 2.5])
    return {
        "all": fit,
        "curve": fit.curve(u),
        "narrow": fit.curve(u, level=0.5),
        "alone": [fit.curve(u, alone=i) for i in range(len(fit.models))],
        "departure": fit.departure_scale(u),
        "sigma": fit.sigma_at(u),
        "spool": fit.batch_sd(),
        "beyond": fit.decades_beyond(u),
        "machine": fit.machine_effect(0),
        "cells": [fit.data.rates, fit.data.covariates, fit.data.reading_sd, fit.data.group],
        "pure error": [fit.data.pure_error, fit.data.pure_error_dof],
    }


@scene
def rates_spools_machines():
    return answers(plain())


@scene
def rates_checked():
    fit = plain()
    return [diagnose(fit, rng=rng(2)), sensitivity(fit, 1.0, rng=rng(3))]


@scene
def rates_held_and_read_low():
    u = np.repeat([-3.0, -1.4, -0.3, 0.4], 5)
    s = series(u, 9.2 + 0.01 * u + noise(20), broke=even(20, 0.1) > 0.25, batch=("a", "b") * 10)
    extra = {"peak_low_by_at_most_kN": ("0.05", "0.6", "", "x") * 5}
    s = Series(s.name, Specimens(**{**vars(s.used), "extra": extra}), s.set_aside)
    return answers(rm.fit_rate(s, rng=rng(), settings=QUICK))


@scene
def rates_extreme_values_growing():
    u = np.repeat([-3.0, -2.0, -1.0, 0.0], 5)
    e = np.log(-np.log1p(-even(20)))
    s = series(
        u,
        9.2 - 0.02 * u + 0.02 * 1.3 ** (u + 1.5) * e,
        scatter="smallest-extreme-value",
        diameter_m=0.02,
        strain_at_break=np.full(20, 0.03),
    )
    return answers(rm.fit_rate(s, rng=rng(), settings=Settings(draws=500, points=64)))


@scene
def rates_cycled_and_warm():
    u = np.repeat([-3.0, -1.0], 8)
    cycled = np.tile([0.0, 10.0], 8)
    kelvin = np.tile([283.0, 293.0, 293.0, 313.0], 4)
    y = 9.2 + 0.01 * u + 0.03 * (cycled > 0) - 0.002 * (kelvin - 293) + noise(16)
    fit = rm.fit_rate(
        series(u, y, preload_cycles=cycled, temperature_K=kelvin, diameter_m=0.003),
        rng=rng(),
        settings=QUICK,
    )
    return answers(fit) | {n: fit.covariate(n, rng(2)) for n in fit.data.covariate_names}


@scene
def rates_other_weights():
    s = plain().series
    return [
        rm.fit_rate(s, rng=rng(), settings=Settings(draws=500, points=128, averaging=how)).curve(
            np.array([-1.0, 1.0])
        )
        for how in ("prior", "stacking")
    ]


@scene
def rate_laws():
    u = np.linspace(-5, 4, 10)
    out = {"heat": heat_retained(np.geomspace(1e-4, 1e4, 30))}
    for law in RATE_MODELS:
        model = law(-1.5)
        shape = np.array([[0.3 + 0.2 * k for k in range(len(model.shape))]])
        out[law.name] = [model.design(u, shape), model.offset(u, shape), model.title]
    return out


@scene
def least_squares():
    u = np.repeat([-3.0, -2.0, -1.0, 0.0, 0.8], 4)
    y = 9.2 + 0.03 * np.minimum(u + 0.8, 0) + noise(20, 0.005)  # rises, then level
    return {
        f"{law} {scale} {weights}": _told(
            rm.best_fit(series(u, y), law, rng=rng(), scale=scale, weights=weights)
        )
        for law, scale, weights in (
            ("power-law", "ln-strength", "equal"),
            ("power-law", "strength", "n"),
            ("power-law", "ln-strength", "n/sd2"),
            ("power-law", "strength", "n/sd2"),
            ("semi-log", "strength", "n/sd2"),
            ("hinge", "ln-strength", "n"),
            ("constant", "ln-strength", "n/sd2"),
        )
    }


def _told(fit):
    return [fit.values, fit.standard_errors, fit.verdict, fit.free]


@scene
def one_sample_held():
    x = 9.2 + noise(14, 0.05)
    broke = even(14, 0.2) > 0.3
    return [
        fit_censored(v, broke, family)
        for v, family in ((x, "normal"), (np.exp(x), "lognormal"), (x, "smallest-extreme-value"))
    ]

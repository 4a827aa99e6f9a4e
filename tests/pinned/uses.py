"""From a fit to its use: steps, limits, odds, the demonstration as a whole."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
from pinned.common import noise, rng, scene
from pinned.rates import plain
from pinned.times import lives

import ratemodel as rm
from ratemodel.analysis import analyse
from ratemodel.budget import Input
from ratemodel.dominance import dominant_uncertainty, sobol_shares
from ratemodel.event import Event, event_draws
from ratemodel.inference.average import Settings
from ratemodel.inference.life_bounds import average_life
from ratemodel.inference.ratefit import Bound
from ratemodel.length import break_sites, length_shift
from ratemodel.limits import predictive_quantile_ln, working_load_limits
from ratemodel.lives import held_load, shock_damage
from ratemodel.margin import margin_shares, uncertainty_budget
from ratemodel.odds import Spread
from ratemodel.propagation import first_order, monte_carlo, shortest_interval
from ratemodel.rating import rated_average
from ratemodel.records.tables import Distribution, Factor, Rating, Use
from ratemodel.reliability import demand_scale, failure_probability
from ratemodel.shocks import failure_probability as odds_of_use
from ratemodel.steps import explain
from ratemodel.translation import translate

DEMO = Path(__file__).resolve().parents[2] / "data-demo" / "kite-tether"


def fixed(value: float) -> Distribution:
    return Distribution("fixed", value)


SNATCH = {
    "mass": fixed(20.0),
    "closing_speed": Distribution("lognormal", 5.0, 1.2),
    "line_length": fixed(5.0),
    "stiffness": Distribution("normal", 200e3, 20e3),
}
WEAR = (Factor("wear", Distribution("normal", 0.9, 0.03), "assumed"),)


def uses() -> dict[str, Use]:
    more = {"temperature": Distribution("uniform", 268.0, 308.0), "shocks": fixed(300.0)}
    return {
        "rate": Use(
            "r",
            "cord",
            "rate",
            {"strain_rate": Distribution("lognormal", 3.0, 1.5)},
            5.0,
            1e-4,
            WEAR,
        ),
        "snatch": Use("s", "cord", "snatch", SNATCH, 5.0, 1e-4, WEAR),
        "shocks": Use("m", "cord", "snatch", SNATCH | more, 4.0, 1e-3, ()),
        "fall": Use(
            "f",
            "cord",
            "fall",
            {
                "mass": Distribution("normal", 90.0, 5.0),
                "fall": Distribution("uniform", 0.3, 0.8),
                "line_length": fixed(20.0),
                "stiffness": fixed(110e3),
            },
            5.0,
            1e-4,
            WEAR,
        ),
        "steady": Use(
            "h",
            "cord",
            "steady",
            {"load": Distribution("normal", 1500.0, 100.0), "duration": fixed(3.6e5)},
            5.0,
            1e-4,
            (),
        ),
    }


@scene
def uses_of_one_fit():
    out: dict[str, object] = {}
    for name, use in uses().items():
        got = translate(plain(), use, rng=rng())
        odds = odds_of_use(got, states=300, events=128, rng=rng(4))
        out[name] = [
            got,
            explain(got, rng=rng(2)),
            working_load_limits(got),
            odds,
            uncertainty_budget(got),
            uncertainty_budget(got, one_line=True, coverage=0.95),
            margin_shares(got, rng=rng(3), points=256),
            event_draws(use, 64, rng(5)).inputs,
            [predictive_quantile_ln(got, p) for p in (1e-4, 0.05)],
        ]
    return out


@scene
def life_of_a_use():
    mixture = average_life(lives(), draws=400, rng=rng())
    fit = SimpleNamespace(bound=Bound(), level=0.9, data=SimpleNamespace(temperature_K=np.nan))

    def of(event, factors):
        return SimpleNamespace(event=event, fit=fit, mean_ln=np.zeros(400), factors=factors)

    worn = {"wear": np.log(0.9 + noise(400, 0.02))}
    still = Event("steady", peak_force_N=500 + noise(400, 30.0), duration_s=np.full(400, 3e5))
    use = uses()["shocks"]
    shock = event_draws(use, 400, rng())
    out = [held_load(of(still, worn), mixture)]
    hit = of(shock, worn)
    hit.use = use
    return [*out, shock_damage(hit, mixture)]


@scene
def odds():
    demand = 3000.0 * np.exp(noise(64, 0.3))
    mean = np.log(9000.0) + noise(32, 0.03, 0.1)
    out = []
    for spread in (
        "normal",
        "smallest-extreme-value",
        Spread("normal", 0.03),
        Spread("smallest-extreme-value", 0.02),
    ):
        out += [
            failure_probability(demand, mean, 0.1, scatter=spread, level=0.8),
            demand_scale(1e-4, demand, mean, 0.1, scatter=spread),
        ]
    inputs = {
        "a": Distribution("normal", 2.0, 0.3),
        "b": Distribution("lognormal", 3.0, 1.2),
        "c": Distribution("uniform", 1.0, 2.0),
    }
    out += [sobol_shares(lambda q: q["a"] * q["b"] + q["c"], inputs, rng(), points=256)]
    draws = np.stack([noise(500, 1.0, k) for k in (0.1, 0.4, 0.8)], axis=1)
    out += [dominant_uncertainty(("a", "b", "c"), draws, draws @ [1.0, 0.5, 0.1])]
    return out


@scene
def labels_step_by_step():
    got = translate(plain(), uses()["rate"], rng=rng())
    out = []
    for rating in (None, Rating(11e3, "mean-2sd", 1e-3), Rating(11e3, "unknown", None, 0.3, 5)):
        series = replace(got.fit.series, rating=rating)
        out.append(explain(replace(got, fit=replace(got.fit, series=series)), rng=rng(2)))
    return out


@scene
def budgets():
    inputs = (
        Input("strain", 0.02, 0.0004, 8.0, "t"),
        Input("stiffness", 50e3, 1e3),
        Input("factor", 0.9, 0.02, shape="uniform"),
        Input("exact", 2.0, 0.0),
    )
    tied = np.eye(4)
    tied[0, 1] = tied[1, 0] = 0.6

    def force(e, k, f, c):
        return e * k * f**c

    return [
        first_order(force, inputs),
        first_order(force, inputs, correlation=tied, coverage=0.8, answer="force"),
        monte_carlo(force, inputs, 2000, rng(), coverage=0.9),
        monte_carlo(force, inputs, 2000, rng(), correlation=tied),
        shortest_interval(np.exp(noise(400, 0.5)), 0.9),
    ]


@scene
def labels_and_lengths():
    fit = plain()
    cv = np.abs(0.03 + noise(200, 0.005))
    out: list[object] = [break_sites(fit.series.used)]
    out.append(length_shift(fit.series, np.full(200, 10.0), cv, rng()))
    for statistic in ("average", "mean-2sd", "mean-3sd", "lowest", "unknown"):
        for rate in (None, 1e-3):
            out.append(rated_average(Rating(11e3, statistic, rate), cv, rng()))
    return out


@scene
def demonstration():
    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder) / "kite-tether"
        shutil.copytree(DEMO, here)
        found = analyse(
            rm.read_campaign(here),
            rates=[0.01, 3.0],
            seed=4,
            settings=Settings(draws=400, points=64),
        )
        return [found.series, found.uses, found.next_test, found.shared, found.problems]

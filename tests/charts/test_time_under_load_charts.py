"""Pictures of time under load: what is drawn, not pixels."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure

from ratemodel.charts.creep_chart import creep_chart, sherby_dorn_chart
from ratemodel.charts.fast_preload_chart import fast_preload_chart
from ratemodel.charts.life_chart import life_chart
from ratemodel.charts.preload_chart import preload_chart
from ratemodel.inference.creep_curves import CreepCurve
from ratemodel.inference.creep_forecast import average_creep, forecast_creep
from ratemodel.inference.life import LifeData, fit_life
from ratemodel.inference.life_bounds import draw_life, life_at_load
from ratemodel.inference.preload import fit_preload
from ratemodel.inference.preload_grid import PreloadData
from ratemodel.inference.sherby_dorn import sherby_dorn
from ratemodel.models.fast_preload import SlowPull, fast_preload
from ratemodel.models.lifetime import InversePower


def _texts(ax):
    return " | ".join(t.get_text() for t in ax.texts)


@pytest.fixture(scope="module")
def curve():
    t = np.geomspace(10, 1e5, 60)
    rng = np.random.default_rng(1)
    y = 0.008 + 0.001 * t**0.2 + 2e-5 * rng.standard_normal(60)
    return CreepCurve(t, y, 2000.0, 300.0, "a$b")


def _drawn(ax):
    ax.figure.savefig("/dev/null", format="svg")


def test_creep_chart_marks_what_was_not_tested(curve):
    rng = np.random.default_rng(2)
    average = average_creep([curve], draws=400, rng=rng)
    out = forecast_creep(average, [curve], np.geomspace(10, 1e7, 40), (2000.0, 300.0))
    ax = creep_chart(out)
    assert ax.get_xscale() == "log"
    assert ax.get_xlabel() == "time under load (s)"
    assert "not tested: 2.0 decades" in _texts(ax)
    median = ax.lines[0].get_ydata()
    np.testing.assert_allclose(median, 100 * out.median[out.decades_beyond == 0])
    assert ax.lines[1].get_linestyle() == "--"
    _drawn(ax)


def test_sherby_dorn_chart_names_the_specimen_without_math_type(curve):
    ax = sherby_dorn_chart([sherby_dorn(curve)])
    assert ax.get_yscale() == "log"
    assert r"a\$b: plateau below" in _texts(ax)
    _drawn(ax)


def test_preload_chart_shows_specimens_and_odds():
    rng = np.random.default_rng(3)
    n = np.repeat([0.0, 3.0, 10.0, 10.0], 6)
    q = np.repeat([0.0, 0.5, 0.5, 0.3], 6)
    fit = fit_preload(
        PreloadData(12e3 * np.exp(0.02 * rng.standard_normal(24)), n, q), draws=500, rng=rng
    )
    figure = Figure()
    ax = figure.add_subplot()
    assert preload_chart(fit, ax=ax) is ax
    assert f"probability of no effect {fit.odds['no-effect']:.0%}" in ax.get_title(loc="left")
    assert "to 30%" in _texts(ax)
    assert "to 50%" in _texts(ax)
    drawn = sum(len(line.get_xdata()) for line in ax.lines if line.get_marker() == "o")
    assert drawn == 24
    _drawn(ax)


def test_fast_preload_chart_shows_the_bias_and_the_warning():
    plan = fast_preload(SlowPull(1e4, 1.0, 1e3), np.linspace(0, 0.95, 20), [18.0, 25.0, 30.0])
    ax = fast_preload_chart(plan)
    assert ax.get_xlabel() == "machine time saved (%)"
    assert "bedding in" in _texts(ax)
    line = ax.lines[0]
    np.testing.assert_allclose(line.get_xdata(), 100 * plan.time_saved_fraction)
    _drawn(ax)


def test_life_chart_carries_the_caution():
    rng = np.random.default_rng(4)
    load = np.repeat([800.0, 900.0, 1000.0], 8)
    t = 1e4 * (load / 900) ** -20 * rng.weibull(1.2, 24)
    data = LifeData(np.minimum(t, 1e5), load, t < 1e5, np.full(24, np.nan))
    draws = draw_life(fit_life(data, InversePower()), draws=500, rng=rng)
    bound = life_at_load(draws, np.linspace(600, 1000, 9))
    ax = life_chart(bound, data)
    assert bound.caution in _texts(ax)
    assert "95% last longer" in _texts(ax)
    _drawn(ax)


def test_charts_touch_no_global_state():
    import matplotlib.pyplot as plt

    before = plt.get_fignums()
    fast_preload_chart(fast_preload(SlowPull(1e4, 1.0), [0.0, 0.5], [20.0]))
    assert plt.get_fignums() == before

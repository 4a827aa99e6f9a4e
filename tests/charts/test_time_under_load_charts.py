"""Pictures of time under load: what is drawn, not pixels."""

from __future__ import annotations

import io

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
from ratemodel.words import CAUTION


def _texts(ax):
    return " | ".join(t.get_text() for t in ax.texts)


@pytest.fixture(scope="module")
def curve():
    t = np.geomspace(10, 1e5, 60)
    rng = np.random.default_rng(1)
    y = 0.008 + 0.001 * t**0.2 + 2e-5 * rng.standard_normal(60)
    return CreepCurve(t, y, 2000.0, 300.0, "a$b")


def _foot(ax):
    return " ".join(next(t for t in ax.texts if t.get_gid() == "footer").get_text().split())


def _line(ax, label):
    return next(x for x in ax.lines if x.get_label() == label)


def _drawn(ax):
    ax.figure.savefig(io.BytesIO(), format="svg")


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
    assert _line(ax, "_beyond").get_linestyle() == "--"
    assert _line(ax, "_beyond").get_xdata()[-1] == pytest.approx(1e7)
    assert "2.0 decades beyond the last reading" in _foot(ax)
    assert f"{100 * out.level:g} % interval" in _foot(ax)
    assert CAUTION in _foot(ax)
    assert "Creep strain against time at 2 kN." in ax.get_label()
    _drawn(ax)


def test_sherby_dorn_chart_names_the_specimen_without_math_type(curve):
    ax = sherby_dorn_chart([sherby_dorn(curve)])
    assert ax.get_yscale() == "log"
    assert "a\\$b:\nplateau below" in _texts(ax)
    assert "a$b still falls, below" in ax.get_label()
    assert "no extrapolation" in _foot(ax)
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
    none = f"{100 * fit.odds['no-effect']:.0f} %"
    assert f"probability that cycling does nothing: {none}" in _foot(ax)
    assert f"probability of no effect {none}" in ax.get_label()
    assert "to 30 %" in _texts(ax)
    assert "to 50 %" in _texts(ax)
    points = ("_none", "_specimens")
    drawn = sum(len(line.get_xdata()) for line in ax.lines if line.get_label() in points)
    assert drawn == 24
    _drawn(ax)


def test_fast_preload_chart_shows_the_bias_and_the_warning():
    plan = fast_preload(SlowPull(1e4, 1.0, 1e3), np.linspace(0, 0.95, 20), [18.0, 25.0, 30.0])
    ax = fast_preload_chart(plan)
    assert ax.get_xlabel() == "machine time saved (%)"
    assert "Check: bedding in" in _foot(ax)
    assert "not tested" in _foot(ax)
    line = _line(ax, "_bias")
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
    assert bound.caution in _foot(ax)
    assert "95 % last longer" in _texts(ax)
    assert "no test at loads this low" in _texts(ax)
    assert len(_line(ax, "_held").get_xdata()) == (~data.broke).sum()
    order = np.argsort(bound.load_N)
    np.testing.assert_allclose(_line(ax, "_lower").get_xdata(), bound.lower_s[order])
    assert "95 % last longer than" in ax.get_label()
    lb = life_chart(bound, data, units="lbf")
    ratio = _line(lb, "_median").get_ydata() / _line(ax, "_median").get_ydata()
    np.testing.assert_allclose(ratio, 1e3 / 4.4482216152605)
    _drawn(ax)


def test_charts_touch_no_global_state():
    import matplotlib.pyplot as plt

    before = plt.get_fignums()
    fast_preload_chart(fast_preload(SlowPull(1e4, 1.0), [0.0, 0.5], [20.0]))
    assert plt.get_fignums() == before

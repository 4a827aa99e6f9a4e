"""Pictures of events: asserted on what is drawn."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.axes import Axes

from ratemodel.charts.event_chart import (
    demand_against_strength,
    force_against_strain,
    force_against_time,
)
from ratemodel.errors import InputError
from ratemodel.event import Line, Linear, Mover, course, fall
from ratemodel.reliability import DemandAndStrength, failure_probability
from ratemodel.words import CAUTION


def footer(ax: Axes) -> str:
    return " ".join(next(t for t in ax.texts if t.get_gid() == "footer").get_text().split())


@pytest.mark.parametrize("chart", [force_against_time, force_against_strain])
def test_course_shows_the_peak_and_the_caution(chart: object) -> None:
    path = course(Line(Linear(60e3), 8.0), Mover.falling(80.0, 1.5))
    ax = chart(path)
    peak = fall(80.0, 1.5, 8.0, 60e3)
    x, y = ax.lines[1].get_data()
    assert y[0] == pytest.approx(peak.peak_force_N[0] / 1e3, rel=1e-3)
    at = peak.time_to_peak_s * 1e3 if chart is force_against_time else peak.peak_strain * 100
    assert x[0] == pytest.approx(at[0], rel=0.02)
    assert "kN" in ax.get_ylabel()
    assert f"rises to {y[0]:.3g} kN" in ax.get_label()
    assert CAUTION in footer(ax)


def test_demand_against_strength() -> None:
    rng = np.random.default_rng(1)
    demand, strength = np.exp(rng.normal(8, 0.1, 3000)), np.exp(rng.normal(9, 0.05, 2000))
    odds = failure_probability(demand, [9.0, 9.01], 0.05)
    ax = demand_against_strength(DemandAndStrength("gust $5", demand, strength, odds))
    filled = [p for p in ax.patches if p.get_label() and not p.get_label().startswith("_")]
    assert [p.get_label() for p in filled] == ["demand of the event", "strength of one line"]
    for patch, draws in zip(filled, (demand, strength), strict=True):
        values, edges, _ = patch.get_data()
        assert values.sum() == pytest.approx(1.0)
        middle = np.average(np.sqrt(edges[1:] * edges[:-1]), weights=values)
        assert middle == pytest.approx(draws.mean() / 1e3, rel=0.02)
    assert "Odds that demand exceeds strength: " in footer(ax)
    assert "90 % interval" in footer(ax)
    assert r"\$5" in ax.get_title("left")
    names = {t.get_text() for t in ax.texts if t.get_gid() == "name"}
    assert names == {"demand of the event", "strength of one line"}
    assert "Odds that demand exceeds strength" in ax.get_label()
    assert CAUTION in footer(ax)
    ax.figure.canvas.draw()


def test_given_axes_are_used() -> None:
    first = force_against_time(course(Line(Linear(60e3), 8.0), Mover.falling(80.0, 1.5)))
    again = force_against_strain(
        course(Line(Linear(90e3), 8.0), Mover.falling(80.0, 1.5)), ax=first
    )
    assert again is first
    assert len(first.lines) == 4


def test_nothing_to_draw() -> None:
    with pytest.raises(InputError, match="draws of both"):
        demand_against_strength(DemandAndStrength("x", np.empty(0), np.ones(3)))


def test_force_is_in_the_readers_unit() -> None:
    path = course(Line(Linear(60e3), 8.0), Mover.falling(80.0, 1.5))
    ax = force_against_time(path, units="kgf")
    assert ax.lines[0].get_ydata().max() == pytest.approx(path.force_N.max() / 9.80665)
    assert "kgf" in ax.get_label()

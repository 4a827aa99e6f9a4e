"""The what-if picture: what its artists hold."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure

from ratemodel import charts
from ratemodel.analysis import Analysis
from ratemodel.charts.alt_text import what_if_alt
from ratemodel.units import UNITS
from ratemodel.what_if import Change, what_if_answer, what_if_basis


def answer(small: Analysis, use: str):
    basis = what_if_basis(small.series[0].fit, small.campaign.use[use])
    return what_if_answer(basis, Change(), rng=np.random.default_rng(2))


def named(ax, label):
    return next(x for x in ax.lines if x.get_label() == label)


@pytest.mark.parametrize("unit", ["kN", "lbf"])
def test_holds_band_bound_demand_and_caution(small: Analysis, unit: str) -> None:
    got = answer(small, "drop")
    ax = charts.what_if_chart(got, units=unit)
    factor = UNITS[unit].factor
    assert f"({unit})" in ax.get_ylabel()
    np.testing.assert_allclose(named(ax, "_bound").get_ydata(), np.exp(got.bound) / factor)
    np.testing.assert_allclose(named(ax, "_median").get_xdata(), 10**got.u)
    np.testing.assert_allclose(named(ax, "_path").get_ydata(), np.exp(got.path_ln) / factor)
    ends = np.quantile(got.strength.event.peak_force_N, [0.05, 0.95]) / factor
    np.testing.assert_allclose(named(ax, "_event").get_ydata(), ends)
    foot = " ".join(next(t for t in ax.texts if t.get_gid() == "footer").get_text().split())
    assert "not a permission to load anything" in foot
    assert "beyond the tested rates" in foot or "within the tested rates" in foot
    assert ax.get_ylim()[1] > np.exp(got.band.max()) / factor
    assert {t.get_text() for t in ax.texts if t.get_gid() == "band"} == {
        "one line, band\n90 % of them", "lower bound\n95/95", "demand of\nthe event"}  # fmt: skip
    ax.figure.canvas.draw()


def test_without_demand_only_the_rate_is_marked(small: Analysis) -> None:
    got = answer(small, "given")
    ax = charts.what_if_chart(got)
    assert named(ax, "_event").get_xdata()[0] == pytest.approx(50.0)
    assert not [x for x in ax.lines if x.get_label() == "_path"]
    assert "one line holds" not in what_if_alt(got)


def test_words_and_given_axes(small: Analysis) -> None:
    got = answer(small, "drop")
    ax = Figure().add_subplot()
    assert charts.what_if_chart(got, ax=ax) is ax
    words = what_if_alt(got, "lbf")
    assert "lbf" in words
    assert f"one line holds {got.margin.text()} times" in words
    assert "Not a permission" in words

"""What the pictures show is what the results say; nothing is computed for them."""

from dataclasses import replace

import numpy as np
import pytest
from made import series

import ratemodel as rm
from ratemodel.charts.compare_chart import ranking_chart, ratio_chart
from ratemodel.comparing import compare, compare_many, parse_claim
from ratemodel.errors import InputError
from ratemodel.words import CAUTION

SOME = rm.Settings(draws=2000, points=128)


def fit(name, u, level):
    y = level + 0.02 * np.random.default_rng(len(name)).standard_normal(np.size(u))
    s = replace(series(u, y, machine=["m"] * np.size(u)), name=name)
    return rm.fit_rate(s, rng=np.random.default_rng(1), settings=SOME)


@pytest.fixture(scope="module")
def pair():
    return fit("old $", np.full(5, -2.0), 9.0), fit("new", np.repeat([-2.0, -1.0], 3), 9.2)


def test_ratio_chart_draws_every_interval_claim_and_caution(pair):
    result = compare(*pair, rng=np.random.default_rng(1), claim=parse_claim("+20%"))
    ax = ratio_chart(result)
    lines = [tuple(np.round(line.get_xdata(), 6)) for line in ax.lines]
    for p in result.points:
        assert (round(p.ratio.low, 6), round(p.ratio.high, 6)) in lines
        assert (round(p.specimen_ratio.low, 6), round(p.specimen_ratio.high, 6)) in lines
        assert (round(p.ratio.median, 6),) in lines
    assert (1.2, 1.2) in lines
    assert CAUTION[:30] in ax.get_xlabel()
    assert r"old \$" in ax.get_xlabel()
    hollow = [line.get_markerfacecolor() for line in ax.lines if line.get_marker() == "o"]
    assert hollow == ["#0072B2", "white"]
    ax.figure.canvas.draw()


def test_ranking_chart_puts_the_strongest_on_top(pair):
    result = compare_many(pair, 0.01, rng=np.random.default_rng(1))
    ax = ranking_chart(result, pair[0].series.strength_unit)
    assert ax.get_yticklabels()[-1].get_text().startswith("new")
    assert "(kN, 90 % intervals)" in ax.get_xlabel()
    top = [line.get_xdata()[0] for line in ax.lines if line.get_marker() == "o"][-1]
    assert top == pytest.approx(result.products[0].strength.median / 1e3)
    with pytest.raises(InputError, match="a ranking without products"):
        ranking_chart(replace(result, products=()), pair[0].series.strength_unit)

"""What the pictures show is what the results say; nothing is computed for them."""

from dataclasses import replace

import numpy as np
import pytest
from made import series

import ratemodel as rm
from ratemodel.charts.alt_lab import odds_number
from ratemodel.charts.compare_chart import ranking_chart, ratio_chart
from ratemodel.charts.palette import LIGHT
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
    foot = " ".join(next(t for t in ax.texts if t.get_gid() == "footer").get_text().split())
    assert CAUTION in foot
    assert "hollow: beyond the tests of either" in foot
    assert r"new over old \$" in ax.get_title("left")
    hollow = [line.get_markerfacecolor() for line in ax.lines if line.get_marker() == "o"]
    assert hollow == [LIGHT.mean, LIGHT.paper]
    assert "claim +20%" in {t.get_text() for t in ax.texts}
    assert "Strength of new over strength of old $." in ax.get_label()
    assert ax.get_label().count("claim holds with probability") == len(result.points)
    ax.figure.canvas.draw()


def test_ranking_chart_puts_the_strongest_on_top(pair):
    result = compare_many(pair, 0.01, rng=np.random.default_rng(1))
    ax = ranking_chart(result, pair[0].series.strength_unit)
    assert ax.get_yticklabels()[0].get_text().startswith("new")
    assert ax.get_ylim()[0] > ax.get_ylim()[1]
    assert ax.get_xlabel() == "mean strength (kN)"
    assert "Products compared at 0.01 /s." in ax.get_label()
    top = next(line.get_xdata()[0] for line in ax.lines if line.get_marker() == "o")
    assert top == pytest.approx(result.products[0].strength.median / 1e3)
    with pytest.raises(InputError, match="a ranking without products"):
        ranking_chart(replace(result, products=()), pair[0].series.strength_unit)


@pytest.mark.parametrize(
    ("p", "text"), [(0.5, "0.5"), (0.9976, "0.997"), (0.9999, "> 0.999"), (1e-5, "< 0.001")]
)
def test_odds_never_claim_certainty(p, text):
    assert odds_number(p) == text

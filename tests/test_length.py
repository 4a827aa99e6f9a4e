"""The step to another length: weakest link, by break site."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made import series
from scipy import stats

from ratemodel.length import BreakSites, break_sites, length_shift
from ratemodel.records.tables import Distribution


def cord(sites, length=0.5, **kwargs):
    n = len(sites)
    extra = {"failure_site": tuple(sites), "free_length_m": np.full(n, length)}
    return series(np.full(n, -2.0), np.linspace(9.0, 9.1, n), extra=extra, **kwargs)


def rng():
    return np.random.default_rng(4)


@pytest.mark.parametrize(
    ("site", "kind"),
    [("clear", "clear"), ("Mid-line", "clear"), ("free length", "clear"), ("at the splice", "end"),
     ("line, at the knot", "end"), ("Bollard", "end"), ("anchor", "end"), ("", "unknown"),
     ("pineapple", "unknown"), ("jaws", "end")],
)  # fmt: skip
def test_sites_are_read_by_their_words(site, kind):
    found = break_sites(cord([site]).used)
    assert found == BreakSites(**{"clear": 0, "ends": 0, "unknown": 0} | _one(kind))


def _one(kind):
    return {"end": {"ends": 1}, "clear": {"clear": 1}, "unknown": {"unknown": 1}}[kind]


def test_a_specimen_that_held_has_no_break_site():
    one = cord(["clear", "clear"], broke=[True, False])
    assert break_sites(one.used).clear == 1


def test_mean_of_the_weakest_of_many_weibull_pieces():
    """The smallest of m Weibull values is Weibull of the same shape, scale / m**(1/k).

    scipy's distribution, integrated: the mean of ln S falls by ln(m)/k, and the scatter of ln S
    is pi/(sqrt(6) k), so that the step is known from the scatter alone.
    """
    shape, pieces = 30.0, 8.0
    one = stats.weibull_min(shape, scale=10e3)
    many = stats.weibull_min(shape, scale=10e3 / pieces ** (1 / shape))
    fall = many.expect(np.log) - one.expect(np.log)
    sd = np.sqrt(one.expect(lambda x: np.log(x) ** 2) - one.expect(np.log) ** 2)
    shift, _ = length_shift(cord(["clear"] * 2000), np.full(500, 4.0), np.full(500, sd), rng())
    assert np.median(shift) == pytest.approx(fall, rel=2e-3)


def test_unknown_sites_leave_the_share_uniform():
    shift, origin = length_shift(cord([""] * 6), np.full(4000, 5.0), np.full(4000, 0.03), rng())
    share = -shift / np.log(10.0) * (np.pi / np.sqrt(6)) / 0.03
    assert stats.kstest(share, "uniform").pvalue > 1e-3
    assert "not told" in origin


def test_breaks_at_the_ends_take_the_step_away():
    lengths, sigma = np.full(2000, 50.0), np.full(2000, 0.03)
    ends, _ = length_shift(cord(["splice"] * 200), lengths, sigma, rng())
    clear, _ = length_shift(cord(["clear"] * 200), lengths, sigma, rng())
    assert np.mean(ends) / np.mean(clear) == pytest.approx(1 / 201, rel=0.2)


def test_a_stated_shape_is_taken_instead_of_the_scatter():
    one = cord(["clear"] * 100)
    one = replace(one, options={"length_effect_shape": Distribution("fixed", 20.0)})
    shift, origin = length_shift(one, np.full(500, 5.0), np.full(500, 0.5), rng())
    assert np.mean(shift) == pytest.approx(-np.log(10.0) / 20 * 101 / 102, rel=1e-3)
    assert "stated" in origin


def test_no_free_length_no_step():
    one = series(np.full(3, -2.0), np.full(3, 9.0))
    assert length_shift(one, np.ones(5), np.full(5, 0.03), rng()) is None


@given(st.floats(0.01, 1e3), st.floats(0.005, 0.2))
def test_same_length_is_exactly_no_change_and_longer_is_never_stronger(length, sigma):
    one = cord(["clear", "splice", ""], length)
    same, _ = length_shift(one, np.full(20, length), np.full(20, sigma), rng())
    longer, _ = length_shift(one, np.full(20, 3 * length), np.full(20, sigma), rng())
    np.testing.assert_allclose(same, 0.0, atol=1e-14)
    assert (longer < same).all()

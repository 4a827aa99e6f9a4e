"""What-if answers: the same numbers as a full translation, moved as theory says, without a fit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ratemodel.analysis import Analysis
from ratemodel.errors import InputError
from ratemodel.event import fall
from ratemodel.limits import failure_probability, working_load_limits
from ratemodel.records.tables import Distribution
from ratemodel.translation import translate
from ratemodel.what_if import (
    Change,
    changed_use,
    demand_and_strength,
    moved,
    what_if_answer,
    what_if_basis,
)


def rng() -> np.random.Generator:
    return np.random.default_rng(7)


@pytest.fixture(scope="module")
def drop(small: Analysis):
    use = small.campaign.use["drop"]
    return what_if_basis(small.series[0].fit, use), use


def test_no_change_is_the_plain_translation(drop) -> None:
    basis, use = drop
    answer = what_if_answer(basis, Change(), rng=rng())
    plain = translate(basis.fit, use, rng=rng())
    np.testing.assert_array_equal(answer.strength.mean_ln, plain.mean_ln)
    assert [r.value for r in answer.limits] == [r.value for r in working_load_limits(plain)]
    assert answer.failure.mean == pytest.approx(failure_probability(plain).mean, rel=0.3)
    assert basis.fit.series is plain.fit.series


def test_a_change_is_the_translation_of_the_changed_use(drop) -> None:
    basis, use = drop
    change = Change({"mass": 120.0, "line_length": 8.0}, 1e-3)
    other = replace(
        use,
        quantities={**use.quantities, "mass": Distribution("normal", 120.0, 4.8),
                    "line_length": Distribution("fixed", 8.0)},
        target_failure_probability=1e-3,
    )  # fmt: skip
    assert changed_use(use, change) == other
    answer = what_if_answer(basis, change, rng=rng())
    plain = working_load_limits(translate(basis.fit, other, rng=rng()))
    assert [r.value for r in answer.limits] == [r.value for r in plain]


def test_band_holds_its_share_and_lies_above_the_bound(drop) -> None:
    """At the use's own median rate the band is the spread of one line, drawn independently."""
    basis, _ = drop
    answer = what_if_answer(basis, Change(), rng=rng())
    s = answer.strength
    at = np.full((s.mean_ln.size, 1), np.median(s.u))
    factors = sum(s.factors.values(), start=np.zeros(s.mean_ln.size))
    total = np.hypot(basis.fit.sigma_at(at)[:, 0], s.batch_sd)
    one = basis.fit.mean_ln(at)[:, 0] + factors + total * rng().standard_normal(total.size)
    low, _, high = (np.interp(np.median(s.u), answer.u, b) for b in answer.band)
    assert np.mean((one > low) & (one < high)) == pytest.approx(0.90, abs=0.02)
    assert (answer.bound < answer.band[1]).all()


def test_demand_curve_is_the_closed_form_of_a_fall(drop) -> None:
    """Wexler (1950), the standard fall equation (attribution from memory): F against rate."""
    basis, use = drop
    answer = what_if_answer(basis, Change(), rng=rng())
    q = {n: d.median for n, d in use.quantities.items()}
    heights = np.geomspace(0.02, 3.0, 400)
    event = fall(q["mass"], heights, q["line_length"], q["stiffness"])
    rate = np.log10(event.strain_rate_per_s)
    inside = (answer.path_u > rate[0]) & (answer.path_u < rate[-1])
    assert inside.sum() > 30
    expected = np.interp(answer.path_u[inside], rate, np.log(event.peak_force_N))
    np.testing.assert_allclose(answer.path_ln[inside], expected, atol=1e-3)
    assert (np.diff(answer.path_u) > 0).all()


def test_a_harder_event_has_less_margin_and_longer_odds(drop) -> None:
    basis, _ = drop
    mild, hard = (what_if_answer(basis, Change({"mass": m}), rng=rng()) for m in (80.0, 160.0))
    assert hard.margin.median < mild.margin.median
    assert hard.margin.low < hard.margin.median < hard.margin.high
    assert hard.failure.mean > mild.failure.mean


def test_a_use_without_demand_has_no_margin(small: Analysis) -> None:
    basis = what_if_basis(small.series[0].fit, small.campaign.use["given"])
    answer = what_if_answer(basis, Change(), rng=rng())
    assert answer.margin is None
    assert answer.failure is None
    assert answer.path_u.size == 0


@settings(deadline=None, max_examples=50)
@given(st.floats(0.01, 1e4), st.floats(0.001, 0.2), st.sampled_from(["normal", "lognormal"]))
def test_moving_keeps_the_relative_spread(median: float, spread: float, kind: str) -> None:
    own = Distribution(kind, 5.0, 5.0 * spread if kind == "normal" else 1 + spread)
    other = moved(own, median)
    p = np.array([0.05, 0.5, 0.95])
    np.testing.assert_allclose(other.from_uniform(p) / median, own.from_uniform(p) / 5.0)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        (Change({"closing_speed": 2.0}), "has no closing_speed; expected one of"),
        (Change({"mass": 0.0}), "mass of 0; expected a number above 0"),
        (Change({"mass": float("nan")}), "mass of nan; expected a number above 0"),
        (Change({}, 1.0), "target failure probability of 1; expected"),
    ],
)
def test_impossible_changes(drop, change: Change, match: str) -> None:
    with pytest.raises(InputError, match=match):
        changed_use(drop[1], change)


def test_demand_and_strength_are_those_of_the_use(small: Analysis) -> None:
    strength = small.uses[0].strength
    both = demand_and_strength(strength)
    np.testing.assert_array_equal(both.demand_N, strength.event.peak_force_N)
    one = np.log(both.strength_N)
    assert one.mean() == pytest.approx(strength.mean_ln.mean(), abs=1e-3)
    spread = np.sqrt(np.var(strength.mean_ln) + np.mean(strength.sigma**2 + strength.batch_sd**2))
    assert one.std() == pytest.approx(spread, rel=0.05)
    assert both.odds.mean == failure_probability(strength).mean
    given = next(u.strength for u in small.uses if u.strength.use.name == "given")
    with pytest.raises(InputError, match="use given asks no force"):
        demand_and_strength(given)

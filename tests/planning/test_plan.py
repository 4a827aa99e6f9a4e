"""Plans: known optimal designs, budgets, machines, bridges, preloads."""

import labs
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ratemodel.errors import InputError
from ratemodel.inference.findings import SAME_SPEED
from ratemodel.planning import Effort, Machine, PlanRequest, Question, plan_tests
from ratemodel.planning.fast import allowed_preload, damage_exponent, preload_bias
from ratemodel.planning.knowledge import know
from ratemodel.planning.optimal import extrapolation
from ratemodel.planning.plan import EVEN, TWO
from ratemodel.simulate import Design

QUICK = Effort(search_parts=150, search_outcomes=24, judge_parts=400, judge_outcomes=60,
               curve_points=3)  # fmt: skip
# 0.1 to 10 /s on 0.5 m, where every pull takes so little that all specimens cost the same.
FREE = Machine("servo", 0.05, 5.0, setup_s=600)


def plan(request, seed=1, effort=QUICK):
    return plan_tests(request, rng=np.random.default_rng(seed), effort=effort)


def known_law(law, question, specimens):
    return PlanRequest(
        (FREE,), question, hours=1000, specimens=specimens, models=(law,),
        priors=labs.one_law(), least_per_speed=1, preload_bias_limit=0.0,
    )  # fmt: skip


def numbers(chosen):
    return {round(c.u, 6): n for c, n in chosen.tests}


@pytest.mark.parametrize(("law", "degree", "specimens"),
                         [("power-law", 1, 16), ("quadratic", 2, 14)])  # fmt: skip
def test_known_law_beyond_the_range_gives_the_design_of_hoel_and_levine(law, degree, specimens):
    """Hoel & Levine (1964), found by the search without being told."""
    made = plan(known_law(law, Question("mean", 100.0), specimens))
    known = extrapolation(-1.0, 1.0, 2.0, degree)
    expected = dict(zip(known.u.round(6), known.specimens(specimens), strict=True))
    assert made.chosen.specimens == specimens
    assert set(numbers(made.chosen)) == set(expected)
    for u, n in numbers(made.chosen).items():
        assert abs(n - expected[u]) <= 1


def test_known_straight_line_gives_half_at_each_end():
    """The slope of a line: the D-optimal design."""
    made = plan(known_law("power-law", Question("effect", 10.0, 0.1), 12))
    assert numbers(made.chosen) == {-1.0: 6, 1.0: 6}


def test_plan_is_narrower_than_the_yardsticks_for_the_same_hours():
    made = plan(labs.request(), effort=Effort(judge_parts=600, curve_points=2))
    rows = {row.name: row for row in made.table}
    assert made.chosen.expected_width < rows[EVEN].expected_width
    assert made.chosen.expected_width < rows[TWO].expected_width
    assert all(row.hours <= 8.0 + 1e-9 and row.specimens <= 15 for row in made.table)
    assert made.width_now == np.inf
    assert made.chosen.ratio is None


def test_same_seed_same_plan():
    first, second = plan(labs.request(), 7), plan(labs.request(), 7)
    assert first.table == second.table
    assert first.sheet == second.sheet


@settings(max_examples=4, deadline=None)
@given(hours=st.floats(1.0, 20.0), specimens=st.integers(2, 25), rate=st.floats(-5, 2))
def test_budget_holds_for_any_request(hours, specimens, rate):
    made = plan(labs.request(rate=10.0**rate, hours=hours, specimens=specimens))
    assert made.chosen.hours <= hours * (1 + 1e-9)
    assert 2 <= made.chosen.specimens <= specimens
    assert all(n >= 2 for _, n in made.chosen.tests)
    assert len(made.sheet.rows) == made.chosen.specimens
    assert made.sheet.hours == pytest.approx(made.chosen.hours)
    for cell, _ in made.chosen.tests:
        speed = cell.strain_rate_per_s * 0.5
        m = cell.machine
        assert m.speed_min_m_per_s <= speed * (1 + 1e-9)
        assert speed <= m.speed_max_m_per_s * (1 + 1e-9)


def test_more_hours_narrow_the_interval():
    made = plan(labs.request(hours=4, specimens=60))
    width = made.curve.width["this plan"]
    assert made.curve.hours[-1] == pytest.approx(8.0)
    assert width[-1] < width[0]


def test_budget_too_small_is_refused():
    with pytest.raises(InputError, match="pay for no 2 specimens"):
        plan(labs.request(hours=0.1))


def test_weak_machine_is_left_out():
    weak = Machine("weak", 0.3, 0.3, force_limit_N=9_000.0)
    made = plan(labs.request(labs.FRAME, weak, known=labs.fitted()))
    assert {c.machine.name for c, _ in made.chosen.tests} == {"frame"}
    assert "machine-too-weak" in {p.code for p in made.problems}


def test_no_machine_strong_enough_is_refused():
    weak = Machine("weak", 0.3, 0.3, force_limit_N=9_000.0)
    with pytest.raises(InputError, match="no machine is strong enough"):
        plan(labs.request(weak, strength_N=9_500.0))


def test_unknown_strength_is_said():
    weak = Machine("weak", 0.3, 0.3, force_limit_N=9_000.0)
    assert "force-not-checked" in {p.code for p in plan(labs.request(weak)).problems}


def test_bridge_links_machines_that_were_apart():
    """Frame and servo were run at speeds of their own; their ranges meet, so a bridge is made."""
    fit = labs.fitted(Design((-3.0, -0.22), 5, machines=("frame", "servo")))
    made = plan(labs.request(labs.FRAME, labs.SERVO, known=fit, hours=12, specimens=20))
    rates = [(c.u, c.machine.name) for c, _ in made.chosen.tests]
    rates += [(-3.0, "frame"), (-0.22, "servo")]
    linked = [abs(a - b) <= SAME_SPEED for a, m in rates for b, k in rates if m < k]
    assert any(linked)
    assert "machine-and-rate-confounded" not in {p.code for p in made.problems}
    if made.bridge is not None:
        assert made.bridge.adopted


def test_bridge_that_the_question_does_not_need_is_put_in_where_it_costs_little():
    fit = labs.fitted(Design((-3.0, -0.22), 5, machines=("frame", "servo")))
    made = plan(labs.request(labs.FRAME, labs.SERVO, rate=1e-4, known=fit, hours=12, specimens=20))
    assert made.bridge is not None
    assert made.bridge.adopted
    assert set(made.bridge.machines) == {"frame", "servo"}
    assert made.bridge.width_with <= 1.10 * made.bridge.width_without
    planned = {(c.machine.name, c.strain_rate_per_s): n for c, n in made.chosen.tests}
    sides = zip(made.bridge.machines, made.bridge.strain_rates_per_s, made.bridge.specimens,
                strict=True)  # fmt: skip
    assert all(planned[m, r] >= n >= 3 for m, r, n in sides)


def test_machines_that_never_meet_are_said():
    made = plan(labs.request(rate=1e-3))
    names = {c.machine.name for c, _ in made.chosen.tests}
    codes = {p.code for p in made.problems}
    assert ("machine-and-rate-confounded" in codes) == (len(names) > 1)
    fit = labs.fitted()
    known = plan(labs.request(known=fit))
    found = [p for p in known.problems if p.code == "machine-and-rate-confounded"]
    assert len(found) == 1
    assert "one load cell" in found[0].message


def test_question_beyond_the_machines_is_said():
    problems = {p.code: p for p in plan(labs.request(rate=100.0)).problems}
    assert problems["question-beyond-the-machines"].severity == "serious"


@pytest.mark.parametrize("limit", [1e-3, 1e-5, 1e-8])
@pytest.mark.parametrize("exponent", [8.0, 20.0, 60.0])
def test_preload_stays_below_the_stated_bias(limit, exponent):
    slow = Machine("frame", 1e-6, 1e-2)
    request = labs.request(slow, preload_bias_limit=limit)
    p = allowed_preload(request, slow, np.log10(2e-6), exponent)
    fast = 1e-2 / 0.5
    if p > 0:
        assert preload_bias(p, exponent, 2e-6 / fast) <= limit
    higher = [q for q in (0.8, 0.7, 0.6, 0.5, 0.4) if q > p]
    assert all(preload_bias(q, exponent, 2e-6 / fast) > limit for q in higher)


def test_published_bias_of_a_preload():
    """n = 20 and 80 %: below 0.1 % (S_p = S(1 + p^(n+1))^(1/(n+1)), NTRS 20020038559)."""
    assert preload_bias(0.8, 20.0) == pytest.approx((1 + 0.8**21) ** (1 / 21) - 1)
    assert preload_bias(0.8, 20.0) < 1e-3


def test_preload_saves_hours_and_brings_its_caution():
    slow = Machine("frame", 1e-6, 1e-2)
    with_preload = plan(labs.request(slow, rate=2e-6, hours=20))
    assert all(c.preload in (0.0, 0.4, 0.5, 0.6, 0.7, 0.8) for c, _ in with_preload.chosen.tests)
    assert any(c.preload > 0 for c, _ in with_preload.chosen.tests)
    assert "fast-preload" in {p.code for p in with_preload.problems}
    assert len(with_preload.table) == 5
    without = plan(labs.request(slow, rate=2e-6, hours=20, preload_bias_limit=0.0))
    assert all(c.preload == 0 for c, _ in without.chosen.tests)
    assert with_preload.chosen.expected_width < without.chosen.expected_width


def test_thick_line_gets_less_preload_because_of_its_heat():
    """A preload may not leave the line warmer than the slow pull would have it."""
    slow = Machine("frame", 1e-6, 1e-2)
    thick = labs.request(slow, series=labs.product(diameter_m=0.02))
    thin = labs.request(slow, series=labs.product(diameter_m=0.001))
    u = np.log10(2e-5)
    assert allowed_preload(thin, slow, u, 60.0) == 0.8
    assert allowed_preload(thick, slow, u, 60.0) < 0.8


def test_damage_exponent_follows_the_fibre_slope():
    """n + 1 = ln 10 / slope per decade, at the slope that 5 % of belief exceeds."""
    priors = labs.one_law(
        slope=labs.Prior("slope", labs.Distribution("normal", 0.05, 0.01), "", "")
    )
    request = PlanRequest((FREE,), Question("mean", 1.0), models=("power-law",), priors=priors)
    n = damage_exponent(know(request, np.random.default_rng(1)))
    assert n + 1 == pytest.approx(np.log(10) / (0.05 + 1.645 * 0.01), rel=0.01)


@pytest.mark.parametrize(
    ("change", "words"),
    [({"hours": 0.0}, "hours is 0"), ({"specimens": 0}, "specimens is 0"),
     ({"level": 1.0}, "level is 1"), ({"spools": ("A", "A")}, "each spool once"),
     ({"least_per_speed": 99}, "least_per_speed is 99")],
)  # fmt: skip
def test_senseless_requests_are_refused(change, words):
    with pytest.raises(InputError, match=words):
        labs.request(**change)


def test_senseless_machines_and_questions_are_refused():
    with pytest.raises(InputError, match="each name once"):
        labs.request(labs.RAM, labs.RAM)
    with pytest.raises(InputError, match="lowest speed above 0"):
        Machine("m", 1.0, 0.5)
    with pytest.raises(InputError, match="force limit 0"):
        Machine("m", 0.1, 0.5, force_limit_N=0.0)
    with pytest.raises(InputError, match="two of them for an effect"):
        Question("effect", 1.0)

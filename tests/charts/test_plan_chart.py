"""Pictures of a plan: asserted on what is drawn."""

import labs
import numpy as np
import pytest

from ratemodel.charts.plan_chart import design_on_rate_axis, interval_against_hours
from ratemodel.planning import Effort, plan_tests
from ratemodel.words import CAUTION


def footer(ax):
    return " ".join(next(t for t in ax.texts if t.get_gid() == "footer").get_text().split())


@pytest.fixture(scope="module")
def plan():
    return plan_tests(labs.request(known=labs.fitted()), rng=np.random.default_rng(1),
                      effort=Effort(120, 16, 200, 30, 3))  # fmt: skip


def test_interval_against_hours_shows_every_design(plan):
    ax = interval_against_hours(plan)
    drawn = {line.get_label(): line for line in ax.lines}
    for name, width in plan.curve.width.items():
        x, y = drawn[name].get_data()
        assert x == pytest.approx(plan.curve.hours)
        assert y == pytest.approx(50 * width, nan_ok=True)
    assert drawn["now"].get_ydata()[0] == pytest.approx(50 * plan.width_now)
    assert CAUTION in footer(ax)
    assert all(name in ax.get_label() for name in plan.curve.width)


def test_design_stands_at_its_rates(plan):
    ax = design_on_rate_axis(plan)
    points = set()
    for line in ax.lines:
        if str(line.get_label()).endswith("specimens"):
            points |= set(zip(*(d.round(9).tolist() for d in map(np.asarray, line.get_data())),
                              strict=True))  # fmt: skip
    wanted = {(round(c.strain_rate_per_s, 9), float(n)) for c, n in plan.chosen.tests}
    assert {(x, float(n)) for x, n in points} == wanted
    assert all(c.machine.name in ax.get_label() for c, _ in plan.chosen.tests)
    assert CAUTION in footer(ax)


def test_given_axes_are_used(plan):
    from matplotlib.figure import Figure

    ax = Figure().subplots()
    assert interval_against_hours(plan, ax=ax) is ax
    assert design_on_rate_axis(plan, ax=ax) is ax

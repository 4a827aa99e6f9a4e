"""Budgets against the worked examples of JCGM 100 and 101 and against an uncertainty library."""

from __future__ import annotations

import numpy as np
import pytest
from GTC import component, multiple_ureal, set_correlation, uncertainty, ureal
from GTC import dof as gtc_dof
from GTC import exp as gtc_exp

from ratemodel.budget import Input
from ratemodel.errors import InputError
from ratemodel.propagation import first_order, monte_carlo, shortest_interval


def rng() -> np.random.Generator:
    return np.random.default_rng(101)


def total(*x: np.ndarray) -> np.ndarray:
    return np.sum(x, axis=0)


def test_jcgm_100_h3_thermometer() -> None:
    # JCGM 100:2008 H.3: intercept -0.1712 (s 0.0029), slope 0.00218 (s 0.00067), r = -0.930,
    # 11 readings; correction at 30 °C about 20 °C: -0.1494, u = 0.0041 (H.3.4, from memory).
    inputs = [Input("y1", -0.1712, 0.0029, 9), Input("y2", 0.00218, 0.00067, 9)]
    r = [[1, -0.930], [-0.930, 1]]
    budget = first_order(lambda y1, y2: y1 + y2 * (30 - 20), inputs, correlation=r)
    assert round(budget.value, 4) == -0.1494
    assert round(budget.standard_uncertainty, 4) == 0.0041
    assert budget.degrees_of_freedom == 9
    assert budget.coverage_factor == pytest.approx(2.262, abs=5e-4)  # t(0.95, 9), JCGM 100 G.2
    simulated = monte_carlo(lambda a, b: a + b * 10, inputs, 200_000, rng(), correlation=r)
    assert round(simulated.value, 4) == -0.1494
    assert round(simulated.standard_uncertainty, 4) == 0.0041


def test_jcgm_101_9_2_additive_model() -> None:
    # JCGM 101:2008 9.2.2: four normals N(0, 1): 95 % interval ±3.92. 9.2.3: four rectangular
    # ones of the same standard deviation: ±3.88, and ±3.92 by the first-order law.
    normal = [Input(f"x{i}", 0.0, 1.0) for i in range(4)]
    flat = [Input(f"x{i}", 0.0, 1.0, shape="uniform") for i in range(4)]
    for inputs, edge in ((normal, 3.92), (flat, 3.88)):
        mc = monte_carlo(total, inputs, 1_000_000, rng())
        assert mc.standard_uncertainty == pytest.approx(2.0, abs=0.005)
        np.testing.assert_allclose(mc.interval, (-edge, edge), atol=0.015)
    law = first_order(total, flat)
    assert law.standard_uncertainty == pytest.approx(2.0)
    assert round(law.interval[1], 2) == 3.92


@pytest.mark.parametrize(
    ("x1", "value", "u", "high"), [(0.0, 50e-6, 50e-6, 150e-6), (0.05, 2551e-6, 502e-6, None)]
)
def test_jcgm_101_9_4_comparison_loss(x1: float, value: float, u: float, high: float) -> None:
    # JCGM 101:2008 9.4: δY = X1² + X2², both with u = 0.005 (numbers from memory; mean and
    # standard deviation also follow from the moments of the normal distribution).
    inputs = [Input("X1", x1, 0.005), Input("X2", 0.0, 0.005)]

    def model(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return a**2 + b**2

    mc = monte_carlo(model, inputs, 400_000, rng())
    assert mc.value == pytest.approx(value, rel=0.005)
    assert mc.standard_uncertainty == pytest.approx(u, rel=0.01)
    if high is not None:
        assert mc.shortest[0] == pytest.approx(0.0, abs=1e-6)
        assert round(mc.shortest[1] / 1e-6, -1) == 150
    law = first_order(model, inputs)
    assert law.standard_uncertainty == pytest.approx(2 * x1 * 0.005, abs=1e-12)
    codes = [p.code for p in law.problems]
    assert codes == (["curved"] if x1 == 0 else [])


@pytest.mark.parametrize("r", [0.0, 0.6, -0.9])
def test_equals_an_uncertainty_library(r: float) -> None:
    a, b = (
        multiple_ureal([2.0, 0.7], [0.05, 0.02], 6)
        if r
        else (ureal(2.0, 0.05, 6), ureal(0.7, 0.02, 6))
    )
    c = ureal(1.3, 0.1)
    if r:
        set_correlation(r, a, b)
    y = a * gtc_exp(b) / c**2
    inputs = [Input("a", 2.0, 0.05, 6), Input("b", 0.7, 0.02, 6), Input("c", 1.3, 0.1)]
    matrix = [[1, r, 0], [r, 1, 0], [0, 0, 1]]
    ours = first_order(lambda a, b, c: a * np.exp(b) / c**2, inputs, correlation=matrix)
    assert ours.value == pytest.approx(y.x, rel=1e-12)
    assert ours.standard_uncertainty == pytest.approx(uncertainty(y), rel=1e-7)
    want = [abs(component(y, x)) for x in (a, b, c)]
    np.testing.assert_allclose([row.contribution for row in ours.rows], want, rtol=1e-7)
    if r == 0:
        assert ours.degrees_of_freedom == pytest.approx(gtc_dof(y), rel=1e-6)


def test_few_readings_widen_the_simulated_interval() -> None:
    # t with 4 degrees of freedom: 97.5 % point 2.776 (JCGM 100, table G.2).
    mc = monte_carlo(lambda x: x, [Input("x", 1.0, 0.1, 4, shape="t")], 400_000, rng())
    assert mc.interval[1] == pytest.approx(1.0 + 0.2776, abs=0.003)
    law = first_order(lambda x: x, [Input("x", 1.0, 0.1, 4)])
    assert law.coverage_factor == pytest.approx(2.776, abs=5e-4)


def test_correlation_of_one_cancels_a_difference() -> None:
    inputs = [Input("a", 5.0, 0.3), Input("b", 4.0, 0.3)]
    ones = np.ones((2, 2))
    assert first_order(np.subtract, inputs, correlation=ones).standard_uncertainty < 1e-7
    mc = monte_carlo(np.subtract, inputs, 2000, rng(), correlation=ones)
    assert mc.standard_uncertainty < 1e-7


def test_rows_carry_the_story_of_each_input() -> None:
    inputs = [Input("k", 50e3, 1e3, origin="fitted"), Input("e", 0.02, 0.0, origin="assumed")]
    rows = first_order(lambda k, e: k * e, inputs).rows
    assert [r.origin for r in rows] == ["fitted", "assumed"]
    np.testing.assert_allclose([r.sensitivity for r in rows], [0.02, 50e3], rtol=1e-9)
    np.testing.assert_allclose([r.contribution for r in rows], [20.0, 0.0], rtol=1e-9)
    mc = monte_carlo(lambda k, e: k * e, inputs, 5000, rng())
    assert mc.rows[0].contribution == pytest.approx(20.0, rel=0.05)
    assert mc.rows[1].contribution == 0.0


def test_unlike_degrees_of_freedom_are_said() -> None:
    inputs = [Input("a", 5.0, 0.3, 4), Input("b", 4.0, 0.3, 9)]
    budget = first_order(np.add, inputs, correlation=[[1, 0.5], [0.5, 1]])
    assert [p.code for p in budget.problems] == ["degrees-of-freedom"]
    assert budget.degrees_of_freedom == 4


def test_shortest_interval_of_an_exponential() -> None:
    y = -np.log1p(-(np.arange(100_000) + 0.5) / 100_000)
    low, high = shortest_interval(y, 0.9)
    assert low == pytest.approx(0.0, abs=1e-4)
    assert high == pytest.approx(np.log(10), rel=1e-3)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: first_order(np.add, []), "0 inputs"),
        (lambda: first_order(np.add, [Input("a", 1, -1), Input("b", 1, 1)]), "a: uncertainty -1"),
        (
            lambda: first_order(np.add, [Input("a", 1, 1)] * 2, correlation=[[1, 2], [2, 1]]),
            "no correlation matrix",
        ),
        (lambda: monte_carlo(np.add, [Input("a", 1, 1)] * 2, 10, rng()), "at least 1000"),
        (
            lambda: monte_carlo(
                lambda x: np.where(x < 0, np.nan, x), [Input("a", 0, 1)], 1000, rng()
            ),
            "no number in",
        ),
    ],
)
def test_impossible(call: object, words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()


@pytest.mark.parametrize(
    "matrix",
    [
        [[0.9, 0.5], [0.5, 0.9]],  # no ones on the diagonal
        [[1.0, 0.5], [0.4, 1.0]],  # not symmetric
        [[1.0, 1.5], [1.5, 1.0]],  # beyond 1
        [[1.0]],  # of one input
        np.eye(3),
    ],
)
def test_what_is_no_correlation_matrix_of_the_inputs(matrix) -> None:
    two = [Input("a", 1, 1), Input("b", 1, 1)]
    for work in (
        lambda: first_order(np.add, two, correlation=matrix),
        lambda: monte_carlo(np.add, two, 1000, rng(), correlation=matrix),
    ):
        with pytest.raises(InputError, match="no correlation matrix"):
            work()


def test_three_that_cannot_all_be_opposed() -> None:
    r = -0.6 * np.ones((3, 3)) + 1.6 * np.eye(3)  # every entry fair, one eigenvalue below 0
    with pytest.raises(InputError, match="no negative eigenvalue"):
        first_order(lambda a, b, c: a + b + c, [Input(n, 1, 1) for n in "abc"], correlation=r)

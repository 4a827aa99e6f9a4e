"""Every rate law against its formula written out afresh, and the contract all of them keep."""

import numpy as np
import pytest

from ratemodel.models.rate import HALF_HEAT, RATE_MODELS, heat_retained

U = np.array([-4.0, -2.5, -1.0, 0.5, 2.0])
REF = -2.0


def h(u, c):
    """Heat retained, from the time to break and the time constant themselves."""
    tau, strain = 1.0, 0.04
    half = strain / (HALF_HEAT * tau)
    t_break = strain / (10.0**u * half / 10.0**c)
    return tau / t_break * (1.0 - np.exp(-t_break / tau))


FORMULAS = {
    "constant": (lambda u, p: p["a"] + 0 * u, {}, {}),
    "power-law": (lambda u, p: p["a"] + p["b"] * (u - REF), {"b": 0.03}, {}),
    "semi-log": (lambda u, p: p["a"] + np.log(1 + p["k"] * (u - REF)), {}, {"k": 0.04}),
    "hinge": (
        lambda u, p: p["a"] + p["b"] * (np.minimum(u - p["c"], 0) - min(REF - p["c"], 0)),
        {"b": 0.05},
        {"c": 3.5},
    ),
    "plateau": (
        lambda u, p: p["a"] - p["D"] * (h(u, p["c"]) - h(REF, p["c"])),
        {"D": 0.12},
        {"c": -1.2},
    ),
    "competing": (
        lambda u, p: p["a"] + p["b"] * (u - REF) - p["D"] * (h(u, p["c"]) - h(REF, p["c"])),
        {"b": 0.02, "D": 0.15},
        {"c": -0.7},
    ),
    "kinetic": (
        lambda u, p: (
            p["a"]
            + np.log(np.log1p(np.exp(p["B"]) * 10.0**u) / np.log1p(np.exp(p["B"]) * 10.0**REF))
        ),
        {},
        {"B": 30.0},
    ),
    "quadratic": (
        lambda u, p: p["a"] + p["b"] * (u - REF) + p["q"] * (u - REF) ** 2,
        {"b": -0.02, "q": 0.004},
        {},
    ),
}


@pytest.mark.parametrize("kind", RATE_MODELS, ids=lambda k: k.name)
def test_law_equals_its_formula(kind):
    formula, linear, shape = FORMULAS[kind.name]
    model = kind(REF)
    rows = np.array([[9.2, *linear.values()]])
    curve = model.curve(U, rows, np.array([list(shape.values())]).reshape(1, len(shape)))
    expected = formula(U, {"a": 9.2, **linear, **shape})
    # The hinge's rounded corner reaches about a decade to either side of c = 3.5.
    assert curve[0] == pytest.approx(expected, abs=2e-4 if kind.name == "hinge" else 1e-9)


@pytest.mark.parametrize("kind", RATE_MODELS, ids=lambda k: k.name)
def test_contract_of_every_law(kind):
    """Shapes broadcast, the design times the parameters is the curve, the reference is honest."""
    model = kind(REF)
    rng = np.random.default_rng(3)
    linear = rng.normal(0.0, 0.05, (7, len(model.linear))) + np.eye(1, len(model.linear))[0] * 9
    shape = np.abs(rng.normal(1.0, 0.1, (7, len(model.shape))))
    if kind.name == "semi-log":
        shape *= 0.03
    curve = model.curve(U, linear, shape)
    assert curve.shape == (7, U.size)
    each = model.curve(np.tile(U, (7, 1)), linear, shape)
    assert each == pytest.approx(curve, abs=1e-12)
    design = model.design(U, shape)
    assert design.shape == (7, U.size, len(model.linear))
    joined = model.offset(U, shape) + (design @ linear[:, :, None])[:, :, 0]
    assert joined == pytest.approx(curve, abs=1e-12)
    at_reference = model.curve(np.array([REF]), linear, shape)[:, 0]
    assert at_reference == pytest.approx(linear[:, 0], abs=1e-9)
    names = [p.name for p in (*model.linear, *model.shape)]
    assert len(set(names)) == len(names)
    assert model.formula
    assert model.source


def test_hinge_rounds_its_corner_by_a_quarter_decade():
    """At the corner the ramp lies w ln 2 below the sharp one; three decades away it is the same."""
    kind = next(k for k in RATE_MODELS if k.name == "hinge")
    model = kind(-9.0)
    at = model.curve(np.array([0.0, 3.0, -3.0]), np.array([[0.0, 1.0]]), np.array([[0.0]]))[0]
    assert at[1] - at[0] == pytest.approx(0.25 * np.log(2.0), abs=1e-5)
    assert at[1] - at[2] == pytest.approx(3.0, abs=1e-4)


def test_semi_log_never_falls_below_five_per_cent():
    kind = next(k for k in RATE_MODELS if k.name == "semi-log")
    low = kind(0.0).curve(np.array([-30.0]), np.array([[0.0]]), np.array([[0.1]]))
    assert low[0, 0] == pytest.approx(np.log(0.05))


def test_heat_retained_limits_and_half_point():
    assert (1 - np.exp(-HALF_HEAT)) / HALF_HEAT == pytest.approx(0.5, abs=1e-12)
    assert heat_retained(np.array([0.0])) == pytest.approx(0.5)
    x = np.linspace(-6, 6, 50)
    assert np.all(np.diff(heat_retained(x)) > 0)
    assert heat_retained(np.array([-3.0]))[0] == pytest.approx(1e-3 / HALF_HEAT, rel=1e-6)

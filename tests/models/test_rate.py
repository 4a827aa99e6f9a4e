"""Rate models against their formulas written out one number at a time, and as a family."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from ratemodel.models.rate import HALF_HEAT, RATE_MODELS, heat_retained

U = np.array([-4.0, -2.5, -1.0, 0.3, 2.0])
REF = -1.7
LINEAR = {"ln_strength": 9.1, "slope": 0.03, "fibre_slope": 0.022, "drop": 0.13, "curvature": 0.006}
SHAPE = {"k": -0.04, "corner": -0.8, "place": -1.2, "ln_B": 33.0}


def heat(x):
    """Share of evenly spread heat still inside, by quadrature of the cooling of each part."""
    per_constant = HALF_HEAT * 10.0**-x  # test duration over time constant
    return quad(lambda s: math.exp(-per_constant * (1 - s)), 0, 1)[0]


def written_out(name, u):
    a, b, f, d, c = (
        LINEAR[k] for k in ("ln_strength", "slope", "fibre_slope", "drop", "curvature")
    )
    x, k = u - REF, SHAPE
    step = d * (heat(u - k["place"]) - heat(REF - k["place"]))

    def ramp(v):  # integral of a logistic corner, 0.25 decade wide
        return -0.25 * math.log1p(math.exp(-(v - k["corner"]) / 0.25))

    def activated(v):
        return math.log(math.log1p(math.exp(k["ln_B"]) * 10.0**v))

    return {
        "constant": a,
        "power-law": a + b * x,
        "semi-log": a + math.log(1 + k["k"] * x),
        "hinge": a + b * (ramp(u) - ramp(REF)),
        "plateau": a - step,
        "competing": a + f * x - step,
        "kinetic": a + activated(u) - activated(REF),
        "quadratic": a + b * x + c * x * x,
    }[name]


def parameters(kind):
    linear = np.array([[LINEAR[p.name] for p in kind.linear]])
    return linear, np.array([[SHAPE[p.name] for p in kind.shape]]).reshape(1, -1)


@pytest.mark.parametrize("kind", RATE_MODELS, ids=lambda k: k.name)
def test_curve_is_the_formula(kind):
    got = kind(REF).curve(U, *parameters(kind))[0]
    assert got == pytest.approx([written_out(kind.name, float(u)) for u in U], abs=1e-9)


@pytest.mark.parametrize("kind", RATE_MODELS, ids=lambda k: k.name)
def test_design_times_parameters_is_the_curve_in_every_draw(kind):
    rng = np.random.default_rng(1)
    linear, shape = parameters(kind)
    linear = linear + 0.01 * rng.standard_normal((7, linear.shape[1]))
    shape = shape + 0.1 * rng.standard_normal((7, shape.shape[1]))
    model = kind(REF)
    curve = model.curve(U, linear, shape)
    design = model.offset(U, shape) + (model.design(U, shape) @ linear[:, :, None])[:, :, 0]
    assert curve.shape == (7, U.size)
    assert design == pytest.approx(curve, abs=1e-12)
    at_own = model.curve(np.tile(U, (7, 1)), linear, shape)
    assert at_own == pytest.approx(curve, abs=1e-12)
    assert model.curve(np.array([REF]), linear, shape)[:, 0] == pytest.approx(linear[:, 0])


def test_half_the_heat_stays_at_the_place_and_all_of_it_far_above():
    x = np.array([-3.0, -1.0, 0.0, 1.0, 3.0])
    assert heat_retained(x) == pytest.approx([heat(float(v)) for v in x], rel=1e-9)
    assert heat_retained(np.array([0.0]))[0] == pytest.approx(0.5, abs=1e-12)


def test_straight_strength_is_held_above_nothing():
    kind = next(k for k in RATE_MODELS if k.name == "semi-log")
    low = kind(0.0).curve(np.array([30.0]), np.array([[9.0]]), np.array([[-0.15]]))
    assert low[0, 0] == pytest.approx(9.0 + math.log(0.05))


@pytest.mark.parametrize("kind", RATE_MODELS, ids=lambda k: k.name)
def test_every_model_says_what_it_is_and_where_it_comes_from(kind):
    assert kind.title
    assert kind.formula
    assert kind.source
    assert kind.linear[0].name == "ln_strength"

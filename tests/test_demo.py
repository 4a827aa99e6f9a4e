"""The demonstration campaign: made as stated, and its analysis recovers the stated truth."""

import dataclasses
import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

import ratemodel as rm
from ratemodel.inference.average import Settings, fit_rate
from ratemodel.records.creep import read_creep
from ratemodel.records.cycling import read_cycling
from ratemodel.records.logfile.read import read_log
from ratemodel.reduction import ReductionSettings, reduce_log
from ratemodel.simulate import simulate_series

DATA = Path(__file__).resolve().parents[1] / "data-demo"
FOLDER = DATA / "kite-tether"
MADE = ("breaks.csv", "creep.csv", "cycling.csv", "logs/*.csv", "creep/*.csv")


def _script():
    spec = importlib.util.spec_from_file_location("make_kite_tether", DATA / "make_kite_tether.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up there
    spec.loader.exec_module(module)
    return module


demo = _script()
PRODUCTS = {p.label.name: p for p in demo.PRODUCTS}


@pytest.fixture(scope="module")
def campaign():
    return rm.read_campaign(FOLDER)


@pytest.fixture(scope="module")
def analysis(campaign):
    return rm.analyse(campaign, seed=1, settings=Settings(draws=8000))


@pytest.fixture(scope="module")
def fits(analysis):
    return {r.fit.series.name: r.fit for r in analysis.series}


def _files(root):
    return {p.relative_to(root).as_posix(): p for glob in MADE for p in root.glob(glob)}


def _holds(draws, truth, level):
    low, high = np.quantile(draws, [(1 - level) / 2, (1 + level) / 2])
    return low <= truth <= high


# ------------------------------------------------------------------ how it was made


def test_committed_files_are_what_the_script_makes(tmp_path):
    demo.make(tmp_path)
    fresh, kept = _files(tmp_path), _files(FOLDER)
    assert sorted(fresh) == sorted(kept)
    # line ends are a matter of the checkout, everything else is compared byte for byte
    differ = [n for n in fresh
              if fresh[n].read_bytes() != kept[n].read_bytes().replace(b"\r\n", b"\n")]  # fmt: skip
    assert differ == []


def test_logs_stay_small():
    logs = list((FOLDER / "logs").glob("*.csv"))
    assert len(logs) == 56
    assert sum(p.stat().st_size for p in logs) < 3e6


def test_readme_states_the_truth_of_the_script():
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    rows = [line.strip("|").split("|") for line in text.splitlines() if line.startswith("| ")]
    stated = {cells[0].strip(): [c.strip() for c in cells[1:]] for cells in rows}
    for column, p in enumerate(demo.PRODUCTS):
        truth, curve = p.truth, p.truth.curve
        expected = {
            "mean strength at 0.001 /s, S_ref (kN)": np.exp(curve.ln_strength) / 1e3,
            "fibre slope b, per decade": curve.fibre_slope,
            "heat drop D": curve.drop,
            "place of the heat step c, log10(1/s)": curve.place,
            "scatter within a spool": truth.scatter,
            "scatter from spool to spool": truth.batch_sd,
        }
        for name, value in expected.items():
            assert float(stated[name][column]) == pytest.approx(value, rel=1e-9), name
    gain = stated["gain by ten cycles to half the rating"][0]
    assert float(gain) == pytest.approx(demo.THREE.truth.cycled_gain, abs=5e-5)
    assert "invented" in text
    assert "No person, group or product is meant" in text


def test_campaign_agrees_with_the_script(campaign):
    for name, product in PRODUCTS.items():
        rating = campaign.series[name].rating
        assert rating.strength == pytest.approx(product.rating_N)
        assert rating.strain_rate_per_s == pytest.approx(10**demo.SLOW)
        assert (rating.preload_cycles, rating.preload_fraction) == (demo.CYCLES, demo.LEVEL)
        assert campaign.series[name].diameter_m == pytest.approx(product.label.diameter_m)
    assert campaign.options["machine"]["screw-frame"]["force_limit_N"] == demo.FRAME_LIMIT_N
    assert {u.kind for u in campaign.use.values()} == {"snatch", "fall", "steady"}


def test_every_row_is_what_its_log_says(campaign):
    for name, product in PRODUCTS.items():
        settings = ReductionSettings(free_length_m=0.5, rating_N=product.rating_N)
        for table in (campaign.series[name].used, campaign.series[name].set_aside):
            for i in range(len(table)):
                record = reduce_log(read_log(FOLDER / "logs" / table.log[i]), settings)
                assert record.peak_force_N == pytest.approx(table.strength[i], abs=0.5)
                assert record.censored == (not table.broke[i])
                assert len(record.cycles) == table.preload_cycles[i]
                assert record.strain_rate_per_s == pytest.approx(
                    table.strain_rate_per_s[i], rel=0.01
                )
                assert record.findings == ()


def test_three_specimens_held_and_two_are_set_aside_with_a_reason(campaign):
    held = campaign.series["tether-5mm"].used
    unbroken = [s for s, b in zip(held.specimen, held.broke, strict=True) if not b]
    assert len(unbroken) == 3
    assert campaign.series["tether-3mm"].used.broke.all()
    reasons = {
        s: why
        for one in campaign.series.values()
        for s, why in zip(one.set_aside.specimen, one.set_aside.excluded, strict=True)
    }
    assert reasons == {name: why for name, (why, _) in demo.SPOILT.items()}


def test_preload_cycles_of_a_log_give_the_stated_residual_elongation():
    record = reduce_log(read_log(FOLDER / "logs" / "T3-09.csv"))
    found = np.array([c.residual_m for c in record.cycles])
    n = np.arange(1, demo.CYCLES + 1)
    truth = demo.RESIDUAL * demo.FREE_LENGTH_M * -np.expm1(-n / demo.SETTLE)
    assert found == pytest.approx(truth, rel=0.05)


def test_creep_and_cycling_follow_the_stated_truth(campaign):
    creep = read_creep(FOLDER, campaign)
    assert len({(r.load_N, r.temperature_K) for r in creep.runs}) >= 7
    for run in creep.runs:
        expected = demo.CREEP[run.series].strain(
            run.time_s / 3600, run.load_N, run.temperature_K - 273.15
        )
        residual = run.strain - expected
        # 60 readings with an error of 5e-5; times are written with four digits
        assert np.sqrt(np.mean(residual**2)) == pytest.approx(5e-5, rel=0.4)
    cycling = read_cycling(FOLDER, campaign)
    share = cycling.preload_fraction / demo.LEVEL
    expected = demo.RESIDUAL * share * -np.expm1(-cycling.cycle / demo.SETTLE)
    read = np.isfinite(cycling.residual_elongation)
    ratio = cycling.residual_elongation[read] / expected[read]
    assert ratio.std() == pytest.approx(0.02, rel=0.4)
    assert np.isfinite(cycling.strength).sum() == len(set(cycling.specimen))


# ------------------------------------------------------------------ what the analysis finds


@pytest.mark.parametrize("name", list(PRODUCTS))
def test_mean_strength_is_recovered_at_tested_rates_and_at_the_uses_rates(name, fits, analysis):
    """99 % intervals: one campaign, some twelve values looked at."""
    fit, truth = fits[name], PRODUCTS[name].truth
    at_uses = [float(np.median(u.strength.u)) for u in analysis.uses
               if u.strength.fit is fit and u.strength.use.kind != "steady"]  # fmt: skip
    assert at_uses
    u = np.array([*np.unique(PRODUCTS[name].design.rates), -1.0, *at_uses])
    draws = fit.mean_ln(u)
    for i, expected in enumerate(truth.curve(u)):
        assert _holds(draws[:, i], expected, 0.99), u[i]
        # and not because the interval is as wide as a barn door
        assert np.ptp(np.quantile(draws[:, i], [0.05, 0.95])) < 0.08


def test_fast_pulls_of_the_braid_read_about_a_tenth_lower(fits):
    """The 99 % interval of fast over slow excludes no effect and holds the truth."""
    u = np.array([demo.SLOW, demo.RAM])
    draws = fits["tether-3mm"].mean_ln(u)
    effect = draws[:, 1] - draws[:, 0]
    truth = float(np.diff(demo.THREE.truth.curve(u))[0])
    assert np.quantile(effect, 0.995) < 0
    assert _holds(effect, truth, 0.90)
    assert np.exp(truth) == pytest.approx(0.90, abs=0.005)


@pytest.mark.parametrize("name", list(PRODUCTS))
def test_scatter_is_recovered(name, fits):
    """95 % intervals of scatter within a spool (at the stated rate) and between spools."""
    fit, truth = fits[name], PRODUCTS[name].truth
    assert _holds(fit.sigma_at(np.array([truth.reference]))[:, 0], truth.scatter, 0.95)
    assert _holds(fit.batch_sd(), truth.batch_sd, 0.95)


def test_gain_by_cycling_is_recovered(fits):
    draws = fits["tether-3mm"].covariate("cycled", np.random.default_rng(1))
    assert _holds(draws, demo.THREE.truth.cycled_gain, 0.99)


def test_the_label_runs_high(analysis):
    """Cycled and slow against new and fast: one cord in a gust holds clearly less."""
    use = next(u for u in analysis.uses if u.strength.use.name == "gust")
    steps = {s.name: s.ln_ratio for s in use.explanation.steps}
    material = sum(steps[n] for n in ("label against these tests", "preload cycles left out",
                                      "rate"))  # fmt: skip
    truth = demo.THREE.truth.curve(use.strength.u) - np.log(demo.THREE.rating_N)
    assert np.quantile(material, 0.99) < np.log(0.92)
    assert _holds(material, float(np.median(truth)), 0.99)


@pytest.mark.parametrize("name", list(PRODUCTS))
def test_new_campaigns_from_the_same_truth_are_covered(name):
    """90 % intervals of the mean in 30 new campaigns; machines drawn from their calibration.

    At tested rates the bound is the count that a true coverage of 0.90 falls below once in 1000.
    In the untested decade between frame and ram the laws disagree about the dip that both
    mechanisms make there; 200 campaigns covered 0.80 (tether-3mm), so the bound is that of 0.75.
    """
    product = PRODUCTS[name]
    truth = dataclasses.replace(product.truth, machine_bias={}, machine_sd=0.01)
    u = np.array([*np.unique(product.design.rates), -1.0])
    claimed = np.array([0.90] * (u.size - 1) + [0.75])
    hits = np.zeros(u.size, dtype=int)
    for seed in range(30):
        rng = np.random.default_rng([seed, 7])
        series = simulate_series(truth, product.design, rng, label=product.label)
        fit = fit_rate(series, rng=rng, settings=Settings(draws=2000, points=512))
        low, high = np.quantile(fit.mean_ln(u), [0.05, 0.95], axis=0)
        hits += (low <= truth.curve(u)) & (truth.curve(u) <= high)
    assert (hits >= binom.ppf(0.001, 30, claimed)).all(), dict(zip(u, hits, strict=True))

"""Screening: flags against published values, comparisons that behave, nothing removed."""

from __future__ import annotations

import numpy as np
import pytest

from ratemodel.inference.censored import fit_censored
from ratemodel.records.tables import Specimens
from ratemodel.screening import (
    as_censored,
    k_sample,
    maximum_normed_residual,
    outliers,
    pooling,
    screen,
    sites,
    unit_slips,
)


def _specimens(strength, **given):
    n = len(strength)
    nan = np.full(n, np.nan)
    values = {
        "specimen": tuple(f"s{i}" for i in range(n)),
        "strength": np.asarray(strength, dtype=float),
        "broke": np.ones(n, dtype=bool),
        "strain_rate_per_s": np.full(n, 0.01),
        "preload_fraction": np.zeros(n),
        "preload_cycles": np.zeros(n),
        "summary": np.zeros(n, dtype=bool),
        "row": tuple(range(2, n + 2)),
    }
    for name in ("free_length_m", "strain_at_break", "temperature_K", "strands_intact"):
        values[name] = nan
    for name in ("batch", "machine", "termination", "failure_site", "excluded", "log", "note"):
        values[name] = ("",) * n
    return Specimens(**(values | given))


MASS = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]


def test_maximum_normed_residual_as_published():
    """NIST/SEMATECH e-Handbook 1.3.5.17.1 (from memory): G = 2.4687 for these eight values."""
    statistic, critical = maximum_normed_residual(np.array(MASS))
    assert statistic == pytest.approx(2.4687, abs=1e-4)
    # Grubbs 1969, two-sided 5 %, n = 8 (from memory): 2.126
    assert critical == pytest.approx(2.126, abs=1e-3)


@pytest.mark.parametrize(
    ("n", "critical"),
    # Grubbs 1969, upper 2.5 % points, as printed in many handbooks (from memory)
    [(3, 1.155), (5, 1.715), (10, 2.290), (20, 2.709), (30, 2.908)],
)
def test_critical_values_as_tabulated(n, critical):
    x = np.random.default_rng(0).standard_normal(n)
    assert maximum_normed_residual(x)[1] == pytest.approx(critical, abs=1.1e-3)


def test_false_alarms_come_as_often_as_stated():
    rng = np.random.default_rng(20261125)
    hits = sum(
        s > c for s, c in (maximum_normed_residual(rng.standard_normal(8)) for _ in range(4000))
    )
    # 5 % with a standard error of 0.34 %
    assert 0.037 < hits / 4000 < 0.063


def test_an_outlier_is_flagged_and_kept():
    specimens = _specimens(MASS)
    (finding,) = outliers(specimens)
    assert finding.specimens == ("s7",)
    assert finding.verdict == "look at these"
    assert len(specimens) == 8


def test_only_specimens_tested_alike_are_compared():
    """Half at another rate and strength: no outlier in either half, none across."""
    rate = np.r_[np.full(5, 0.01), np.full(5, 1.0)]
    strength = np.r_[10 + 0.1 * np.arange(5), 20 + 0.1 * np.arange(5)]
    found = outliers(_specimens(strength, strain_rate_per_s=rate))
    assert [f.verdict for f in found] == ["nothing unusual"] * 2
    assert [len(f.specimens) for f in found] == [5, 5]


def test_censored_and_summary_rows_take_no_part():
    broke = np.array([True] * 7 + [False])
    assert outliers(_specimens(MASS, broke=broke))[0].verdict == "nothing unusual"
    summary = np.array([False] * 7 + [True])
    assert outliers(_specimens(MASS, summary=summary))[0].verdict == "nothing unusual"


def test_k_sample_as_published():
    """Scholz and Stephens (1987), paper smoothness of four laboratories: 8.3559 normalised 4.480
    (from memory; the statistic of the midrank version)."""
    laboratories = [
        [38.7, 41.5, 43.8, 44.5, 45.5, 46.0, 47.7, 58.0],
        [39.2, 39.3, 39.7, 41.4, 41.8, 42.9, 43.3, 45.8],
        [34.0, 35.0, 39.0, 40.0, 43.0, 43.0, 44.0, 45.0],
        [34.0, 34.8, 34.8, 35.4, 37.2, 37.8, 41.2, 42.8],
    ]
    statistic, p = k_sample([np.array(x) for x in laboratories])
    assert statistic == pytest.approx(4.480, abs=2e-3)
    assert p < 0.005


def _batches(shift, n=8, seed=4):
    rng = np.random.default_rng(seed)
    strength = np.r_[10 + 0.2 * rng.standard_normal(n), 10 + shift + 0.2 * rng.standard_normal(n)]
    return _specimens(strength, batch=("a",) * n + ("b",) * n, machine=("m",) * 2 * n)


def test_batches_are_pooled_only_when_alike():
    (alike,) = pooling(_batches(0.0), "batch")
    (apart,) = pooling(_batches(1.0), "batch")
    assert (alike.verdict, apart.verdict) == ("pool", "do not pool")
    assert "p at most 0.001" in apart.detail
    assert pooling(_batches(0.0), "machine") == ()


def test_machines_that_share_no_rate_are_not_comparable():
    rate = np.r_[np.full(4, 0.01), np.full(4, 1.0)]
    specimens = _specimens(
        np.arange(8.0) + 10, strain_rate_per_s=rate, machine=("slow",) * 4 + ("fast",) * 4
    )
    (finding,) = pooling(specimens, "machine")
    assert finding.verdict == "not comparable"
    assert "test one speed on both" in finding.detail


def test_break_sites_are_compared_without_regard_to_case():
    rng = np.random.default_rng(6)
    strength = np.r_[10 + 0.1 * rng.standard_normal(6), 9 + 0.1 * rng.standard_normal(6)]
    where = ("clear", "Clear ", "clear", "CLEAR", "clear", "clear") + ("splice",) * 6
    (finding,) = sites(_specimens(strength, failure_site=where))
    assert finding.verdict == "differ"
    (few,) = sites(_specimens(strength[:3], failure_site=("clear", "splice", "pin")))
    assert few.verdict == "not comparable"


def test_unit_slips_are_noticed():
    strength = np.r_[1000 + np.arange(6.0), 1002 * 4.4482]
    (finding,) = unit_slips(_specimens(strength))
    assert finding.specimens == ("s6",)
    assert "lbf and N" in finding.detail
    assert unit_slips(_specimens(1000 + np.arange(6.0))) == ()


def test_breaks_at_the_termination_as_censored_recover_the_line():
    """Competing modes: the line's own strength is estimated well only with censoring."""
    rng = np.random.default_rng(8)
    line = 10 + rng.standard_normal(4000)
    splice = 10.3 + rng.standard_normal(4000)
    strength = np.minimum(line, splice)
    where = tuple("clear" if a <= b else "Splice" for a, b in zip(line, splice, strict=True))
    cut = as_censored(_specimens(strength, failure_site=where), ["splice"])
    assert int(cut.broke.sum()) == where.count("clear")
    assert cut.strength is not None
    fit = fit_censored(cut.strength, cut.broke)
    assert fit.location == pytest.approx(10.0, abs=0.08)
    assert fit.scale == pytest.approx(1.0, abs=0.06)
    assert strength.mean() < 9.7


def test_the_whole_screening_keeps_every_specimen():
    specimens = _batches(1.0)
    found = screen(specimens)
    assert {f.check.split(" ")[0] for f in found} == {"outlier", "batch"}
    assert len(specimens) == 16


def test_ties_and_small_sets_do_no_harm():
    assert outliers(_specimens([5.0, 5.0, 5.0, 5.0]))[0].verdict == "nothing unusual"
    assert screen(_specimens([5.0])) == ()
    same = _specimens([5.0] * 6, batch=("a",) * 3 + ("b",) * 3)
    assert pooling(same, "batch")[0].verdict == "not comparable"

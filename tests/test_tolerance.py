"""Tolerance and fractile factors against tables."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from ratemodel.errors import InputError
from ratemodel.tolerance import characteristic_factor, design_factor, one_sided_factor

REFERENCE = Path(__file__).parent / "reference"


def table(name: str) -> list[dict[str, str]]:
    text = (REFERENCE / name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def column(name: str) -> tuple[np.ndarray, np.ndarray]:
    rows = [r for r in table("en1990_annexD_kn.csv") if r[name]]
    return np.array([float(r["n"]) for r in rows]), np.array([float(r[name]) for r in rows])


def test_one_sided_factors_equal_the_table() -> None:
    # Table computed from the non-central t by another program, six decimals.
    rows = table("tolerance_factor_one_sided.csv")
    assert len(rows) > 200
    for p, c in {(r["coverage_p"], r["confidence"]) for r in rows}:
        some = [r for r in rows if (r["coverage_p"], r["confidence"]) == (p, c)]
        k = one_sided_factor([int(r["n"]) for r in some], float(p), float(c))
        np.testing.assert_allclose(k, [float(r["k1_exact"]) for r in some], rtol=2e-6)


def test_nist_handbook_example() -> None:
    # NIST/SEMATECH e-Handbook 7.2.6.3: n = 43, 90 % with 99 %, k1 = 1.8740.
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8740, abs=5e-5)


@pytest.mark.parametrize(
    ("name", "factor"),
    [
        ("char_known_calc", lambda n: characteristic_factor(n, known_variation=True)),
        ("char_unknown_calc", characteristic_factor),
        (
            "design_known_calc",
            lambda n: design_factor(n, known_variation=True, convention="index-3.04"),
        ),
        ("design_unknown_calc_p00118", lambda n: design_factor(n, convention="index-3.04")),
        ("design_unknown_calc_p0001", design_factor),
    ],
)
def test_en_1990_annex_d_computed_columns(name: str, factor: object) -> None:
    n, want = column(name)
    np.testing.assert_allclose(factor(n), want, rtol=1e-7, atol=5.1e-5)


@pytest.mark.parametrize(
    ("name", "factor", "close"),
    [
        ("char_known_table_mem", lambda n: characteristic_factor(n, known_variation=True), 0.02),
        ("char_unknown_table_mem", characteristic_factor, 0.013),
        ("design_unknown_table_mem", design_factor, 0.028),
    ],
)
def test_en_1990_annex_d_tables(name: str, factor: object, close: float) -> None:
    # EN 1990:2002 Annex D, tables D1 and D2, recalled (from memory), two decimals.
    n, want = column(name)
    np.testing.assert_allclose(factor(n), want, atol=close)
    if name == "design_unknown_table_mem":  # the printed column follows 0.001, not Φ(−3.04)
        other = design_factor(n, convention="index-3.04")
        assert (np.abs(other - want) > np.abs(factor(n) - want)).all()


def test_bound_covers_as_promised() -> None:
    # 95 % of the bounds from 5 specimens leave at least 95 % of the population above them.
    rng = np.random.default_rng(3)
    x = rng.normal(size=(40_000, 5))
    bound = x.mean(1) - one_sided_factor(5, 0.95, 0.95) * x.std(1, ddof=1)
    assert np.mean(norm.sf(bound) >= 0.95) == pytest.approx(0.95, abs=0.005)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: one_sided_factor(1, 0.9, 0.9), "at least 2"),
        (lambda: one_sided_factor(5, 95, 0.9), "between 0 and 1"),
        (lambda: design_factor(0, known_variation=True), "at least 1"),
        (lambda: design_factor(5, convention="3.08"), "one of probability-0.001, index-3.04"),
    ],
)
def test_impossible(call: object, words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()

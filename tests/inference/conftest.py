"""Shared tables of the inference tests."""

import csv
from pathlib import Path

import pytest

REFERENCE = Path(__file__).parents[1] / "reference"


@pytest.fixture(scope="session")
def tolerance_factors():
    """One-sided tolerance factors by (n, fraction, confidence)."""
    with (REFERENCE / "tolerance_factor_one_sided.csv").open() as f:
        rows = list(csv.DictReader(f))
    return {
        (int(r["n"]), float(r["coverage_p"]), float(r["confidence"])): float(r["k1_exact"])
        for r in rows
    }

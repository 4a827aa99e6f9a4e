"""Shared tables of the inference tests."""

import csv
import os
from pathlib import Path

import numpy as np
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


@pytest.fixture(scope="session")
def reference_data():
    """Columns of a table in the reference folder as float arrays; skips where it is absent."""
    default = Path(__file__).parents[2].parent / "shared" / "reference"
    folder = Path(os.environ.get("RATEMODEL_REFERENCE_DATA", default))

    def read(name):
        path = folder / name
        if not path.is_file():
            pytest.skip(f"reference data not found: {name} (set RATEMODEL_REFERENCE_DATA)")
        with path.open() as f:
            rows = list(csv.DictReader(f))
        return {k: np.array([float(r[k]) for r in rows]) for k in rows[0]}

    return read

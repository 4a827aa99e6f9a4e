"""Kinetic strength against published activation parameters."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from ratemodel.models.kinetics import (
    ELECTRONVOLT_J,
    J_PER_KJ_PER_MOL,
    kinetic_life,
    kinetic_strength,
    thermal_stress_per_decade,
)

REFERENCE = Path(__file__).resolve().parents[1] / "reference" / "hmpe_eyring_parameters.csv"


@pytest.fixture(scope="module")
def published():
    """O'Connor & Robbins 2020, J. Chem. Phys. 153:144904 (abstract), first value per quantity."""
    lines = [w for w in REFERENCE.read_text().splitlines() if not w.startswith("#")]
    out = {}
    for row in csv.DictReader(lines):
        out.setdefault((row["quantity"], row["unit"]), float(row["value"]))
    return out


def test_stress_per_decade(published):
    volume = published["activation volume", "angstrom^3"] * 1e-30
    expected = published["slope of stress with log10 rate at 300 K", "MPa/decade"]
    assert float(thermal_stress_per_decade(volume, 300.0)) / 1e6 == pytest.approx(
        expected, abs=0.05
    )
    energy = published["zero-stress activation energy", "eV"] * ELECTRONVOLT_J
    s = kinetic_strength([1e8, 1e9, 1e10], 300.0, energy, volume, 1e-13)
    np.testing.assert_allclose(np.diff(s) / 1e6, expected, atol=0.05)


def test_energy_units(published):
    ev = published["zero-stress activation energy", "eV"] * ELECTRONVOLT_J
    mol = published["zero-stress activation energy", "kJ/mol"] * J_PER_KJ_PER_MOL
    assert ev == pytest.approx(mol, rel=5e-4)
    # 1 eV a particle is 96.48533212 kJ/mol (CODATA 2018: e and the Avogadro constant are exact).
    assert pytest.approx(96.48533212, rel=1e-9) == ELECTRONVOLT_J / J_PER_KJ_PER_MOL


def test_warm_is_weaker_and_slow_is_zero_limit():
    warm = kinetic_strength(1e6, [260.0, 300.0, 340.0], 2e-19, 45e-30, 1e-13)
    assert np.all(np.diff(warm) < 0)
    # Far below the bend the law is linear in rate: S = rate * t0 * exp(U0/kT).
    tiny = kinetic_strength(1e-20, 300.0, 1e-20, 45e-30, 1e-13)
    assert float(tiny) == pytest.approx(1e-20 * float(kinetic_life(0.0, 300.0, 1e-20, 0, 1e-13)))


def test_broadcasts_draws_against_points():
    out = kinetic_strength(
        np.array([1e5, 1e6]), 300.0, np.full((7, 1), 2e-19), np.full((7, 1), 45e-30), 1e-13
    )
    assert out.shape == (7, 2)

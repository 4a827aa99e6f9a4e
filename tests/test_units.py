"""Conversion factors against published ones.

NIST Special Publication 811 (2008), appendix B.8, seven digits as printed there; recalled from
memory, so each is also held against scipy.constants (CODATA and exact definitions) where that has
it.
"""

from __future__ import annotations

import math

import pytest
import scipy.constants as sc
from hypothesis import given
from hypothesis import strategies as st

from ratemodel.units import UNITS, split_name, units_of

NIST_SP_811 = {
    "lbf": 4.448222,
    "kgf": 9.80665,
    "gf": 9.80665e-03,
    "tf": 9.80665e03,
    "kip": 4.448222e03,
    "in": 2.54e-02,
    "ft": 3.048e-01,
    "um": 1.0e-06,
    "in_per_s": 2.54e-02,
    "in_per_min": 4.233333e-04,
    "ft_per_s": 3.048e-01,
    "ft_per_min": 5.08e-03,
    "km_per_h": 2.777778e-01,
    "min": 60.0,
    "h": 3600.0,
    "d": 8.64e04,
    "lb": 4.535924e-01,
    "t": 1.0e03,
    "psi": 6.894757e03,
    "ksi": 6.894757e06,
    "tex": 1.0e-06,
}
SCIPY = {
    "lbf": sc.lbf,
    "kgf": sc.kgf,
    "in": sc.inch,
    "ft": sc.foot,
    "lb": sc.lb,
    "t": sc.metric_ton,
    "psi": sc.psi,
    "km_per_h": sc.kmh,
    "min": sc.minute,
    "h": sc.hour,
    "d": sc.day,
    "year": sc.Julian_year,
    "percent": sc.centi,
    "um": sc.micron,
}


@pytest.mark.parametrize(("symbol", "factor"), NIST_SP_811.items())
def test_factor_is_that_of_nist_sp_811(symbol, factor):
    assert UNITS[symbol].factor == pytest.approx(factor, rel=1e-6)


@pytest.mark.parametrize(("symbol", "factor"), SCIPY.items())
def test_factor_is_that_of_scipy_constants(symbol, factor):
    assert UNITS[symbol].factor == pytest.approx(factor, rel=1e-14)


@pytest.mark.parametrize(("symbol", "scale"), [("C", "Celsius"), ("F", "Fahrenheit")])
@pytest.mark.parametrize("value", [-40.0, 0.0, 21.5, 451.0])
def test_temperature_is_that_of_scipy(symbol, scale, value):
    kelvin = sc.convert_temperature(value, scale, "Kelvin")
    assert UNITS[symbol].to_si(value) == pytest.approx(kelvin, rel=1e-14)


def test_denier_is_a_gram_in_nine_kilometres():
    # NIST SP 811, B.8 (from memory): denier 1.111 111 E-07 kg/m, tex 1.0 E-06 kg/m.
    gram_force_per_denier = 9.80665e-3 / (1.111111111e-07 / 1e-06)
    assert UNITS["gf_per_den"].factor == pytest.approx(gram_force_per_denier, rel=1e-8)


@given(st.sampled_from(sorted(UNITS)), st.floats(-1e9, 1e9))
def test_there_and_back(symbol, value):
    unit = UNITS[symbol]
    assert unit.from_si(unit.to_si(value)) == pytest.approx(value, rel=1e-9, abs=1e-9)


@given(st.sampled_from(sorted(UNITS)), st.sampled_from(["peak_force", "speed", "x", "free_length"]))
def test_every_suffix_is_found_again(symbol, stem):
    assert split_name(f"{stem}_{symbol}") == (stem, UNITS[symbol])


def test_units_of_a_dimension_are_all_its_units():
    dimensions = {unit.dimension for unit in UNITS.values()}
    listed = [symbol for dimension in dimensions for symbol in units_of(dimension)]
    assert sorted(listed) == sorted(UNITS)
    assert all(math.isfinite(unit.factor) and unit.factor > 0 for unit in UNITS.values())

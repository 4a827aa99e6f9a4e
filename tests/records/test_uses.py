"""Use cases, series options and ratings: every kind, unit and form a value may take."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ratemodel.errors import InputError
from ratemodel.records.campaign import read_campaign
from ratemodel.records.tables import Distribution
from ratemodel.units import UNITS, units_of

TOP = 'name = "t"\n[series.cord]\n'
BREAKS = "specimen,series,strain_rate_per_s,peak_force_kN\nA,cord,1,5\nB,cord,2,5.1\n"


def _use(read, kind: str, lines: str):
    toml = f'{TOP}[use."gust 1"]\nseries = "cord"\nkind = "{kind}"\n{lines}\n'
    return read(toml, BREAKS).use["gust 1"]


def test_every_optional_quantity_of_a_shock_is_kept_in_si(read):
    use = _use(
        read,
        "snatch",
        """mass_lb = 10
closing_speed_km_per_h = 36
line_length_ft = 100
stiffness_daN = 6000
damping_ms = 20
slip_force_kgf = 100
line_weight_g_per_m = 7
preload_lbf = 10
temperature_F = { low = 32, high = 212 }
exponent = { mean = 1.5, sd = 0.1 }
shocks = 1000
line = "power"
log = "a1.csv"
note = "=gust"
gravity = true
run_out_mm = 300
steady_load_N = 50
sling_length_m = 2
sling_stiffness_kN = 90
second_length_m = 31
second_stiffness_kN = 55
second_slack_mm = 20""",
    )
    si = {name: distribution.median for name, distribution in use.quantities.items()}
    assert si == {
        "mass": pytest.approx(4.5359237),
        "closing_speed": pytest.approx(10.0),
        "line_length": pytest.approx(30.48),
        "stiffness": pytest.approx(60e3),
        "damping": pytest.approx(0.02),
        "slip_force": pytest.approx(980.665),
        "line_weight": pytest.approx(0.007),
        "preload": pytest.approx(44.482216152605),
        "temperature": pytest.approx(323.15),
        "exponent": 1.5,
        "shocks": 1000.0,
        "run_out": pytest.approx(0.3),
        "steady_load": 50.0,
        "sling_length": 2.0,
        "sling_stiffness": pytest.approx(90e3),
        "second_length": 31.0,
        "second_stiffness": pytest.approx(55e3),
        "second_slack": pytest.approx(0.02),
    }
    assert use.options["gravity"] is True
    assert (use.options["line"], use.options["log"]) == ("power", "a1.csv")
    assert use.options["note"] == "=gust"


@pytest.mark.parametrize(
    ("kind", "lines", "name", "value"),
    [
        ("rate", "strain_rate_percent_per_min = 60", "strain_rate", 0.01),
        ("steady", "load_kN = 2\nduration_h = 8", "duration", 28800.0),
        ("steady", "load_kN = 2", "load", 2000.0),
        ("fall", "mass_kg = 80\nfall_m = 0\nline_length_m = 2\nstiffness_kN = 9", "fall", 0.0),
    ],
)
def test_kinds_with_what_they_need(read, kind, lines, name, value):
    use = _use(read, kind, lines)
    assert use.quantities[name].median == pytest.approx(value)
    assert (use.design_factor, use.target_failure_probability, use.factors) == (None, None, ())


def test_a_recorded_line_needs_no_stiffness(read):
    lines = 'mass_kg = 80\nfall_m = 1\nline_length_m = 2\nline = "recorded"\nlog = "a1.csv"'
    assert "stiffness" not in _use(read, "fall", lines).quantities


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    symbol=st.sampled_from(units_of("mass")),
    a=st.floats(0.1, 1e3),
    spread=st.floats(0.001, 0.3),
    u=st.floats(0.01, 0.99),
)
def test_a_distribution_is_the_same_in_every_unit(read, symbol, a, spread, u):
    """Quantiles in kg, whatever unit mean, sd, low, high and median were written in."""
    from scipy import stats

    unit = UNITS[symbol]
    forms = {
        f"{{ mean = {a / unit.factor!r}, sd = {a * spread / unit.factor!r} }}": stats.norm(
            a, a * spread
        ),
        f"{{ low = {a / unit.factor!r}, high = {a * (1 + spread) / unit.factor!r} }}": (
            stats.uniform(a, a * spread)
        ),
        f"{{ median = {a / unit.factor!r}, factor = {1 + spread!r} }}": stats.lognorm(
            np.log(1 + spread), scale=a
        ),
    }
    rest = "\nclosing_speed_m_per_s = 1\nline_length_m = 1\nstiffness_kN = 1"
    for form, outside in forms.items():
        read_one = _use(read, "snatch", f"mass_{symbol} = {form}{rest}").quantities["mass"]
        assert read_one.from_uniform(np.array([u]))[0] == pytest.approx(outside.ppf(u), rel=1e-9)


def test_a_fixed_factor_may_name_its_origin(read):
    lines = 'load_kN = 1\n[use."gust 1".factors]\nknot = { value = 0.6, origin = "handbook" }'
    factor = _use(read, "steady", lines).factors[0]
    assert (factor.name, factor.distribution.median, factor.origin) == ("knot", 0.6, "handbook")


def test_options_of_a_series(read):
    toml = (
        f'{TOP}construction = "12-strand"\nfibre = "aramid"\nscatter = "smallest-extreme-value"\n'
        "strain_at_break_percent = { mean = 3.5, sd = 0.2 }\nlinear_density_ktex = 6\n"
        'length_effect_shape = 40\nnote = "x"\n'
    )
    cord = read(toml, BREAKS).series["cord"]
    assert cord.scatter == "smallest-extreme-value"
    assert cord.options["construction"] == "12-strand"
    strain = cord.options["strain_at_break"]
    assert (strain.a, strain.b) == (pytest.approx(0.035), pytest.approx(0.002))
    assert cord.options["linear_density"].median == pytest.approx(0.006)
    assert cord.options["length_effect_shape"] == Distribution("fixed", 40.0)


@pytest.mark.parametrize(
    ("lines", "rate"),
    [
        ("value_lbf = 1000", None),
        ("value_kN = 4.4\nstrain_rate_per_min = 0.6", 0.01),
        ("value_N = 4400\nspeed_in_per_min = 6\nfree_length_in = 10", 0.01),
        ("value_N = 4400\nspeed_mm_per_s = 5\nfree_length_m = 0.5\nstrain_rate_per_s = 0.01", 0.01),
    ],
)  # fmt: skip
def test_ratings_state_their_rate_or_not(read, lines, rate):
    rating = read(f"{TOP}[series.cord.rating]\n{lines}\n", BREAKS).series["cord"].rating
    assert rating.statistic == "unknown"
    assert rating.strain_rate_per_s == (None if rate is None else pytest.approx(rate))
    assert rating.strength == pytest.approx(4400, rel=0.02)


def test_free_tables_are_kept_as_they_stand(read):
    toml = f'{TOP}[priors.rate]\nslope = [0.0, 0.02]\non = true\n[screening]\nrule = "3 sd"\n'
    options = read(toml, BREAKS).options
    assert options["priors"] == {"rate": {"slope": [0.0, 0.02], "on": True}}
    assert options["screening"] == {"rule": "3 sd"}


@pytest.mark.parametrize("name", ['""', '" a"', '"a\\nb"', f'"{"x" * 300}"'])
@pytest.mark.parametrize("table", ["series", "use", "machine"])
def test_unusable_names_are_refused(write, table, name):
    with pytest.raises(InputError, match=r"campaign\.toml, column .* is no usable name"):
        read_campaign(write(f"{TOP}[{table}.{name}]\n", BREAKS))


SNATCH = "mass_kg = 8\nclosing_speed_m_per_s = 3\nline_length_m = 5\nstiffness_kN = 60\n"


def test_second_names_mean_the_same(read):
    lines = SNATCH + 'line = "power"\nstiffness_exponent = 1.4\nservice_temperature_C = 40'
    use = _use(read, "snatch", lines)
    assert use.quantities["exponent"] == Distribution("fixed", 1.4)
    assert use.quantities["temperature"] == Distribution("fixed", pytest.approx(313.15))


@pytest.mark.parametrize(
    ("lines", "match"),
    [
        ("service_temperature_C = 40\ntemperature_C = 20", "temperature is given in two ways"),
        ("line_mass_kg = 1\nline_weight_g_per_m = 8", "line_weight is given in two ways"),
        ("run_out_m = 1", "run_out without slip_force"),
        ("sling_length_m = 1", "sling_length without sling_stiffness"),
        ("second_slack_m = 0.1", "second_slack without second_length"),
        ('line = "recorded"\nlog = "a1.csv"', "takes its stiffness from the log"),
        ('gravity = "yes"', "gravity is 'yes' for kind snatch"),
    ],
)
def test_contradictions_are_refused(read, lines, match):
    with pytest.raises(InputError, match=match):
        _use(read, "snatch", SNATCH + lines)

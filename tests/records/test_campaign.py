"""A sound campaign is read as it stands: every column, every way of writing it."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ratemodel.errors import InputError
from ratemodel.records.campaign import read_campaign
from ratemodel.records.tables import Distribution
from ratemodel.units import UNITS, units_of

TINY_TOML = 'name = "t"\n[series.cord]\n'
SHARED = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def test_a_sound_campaign_is_read_in_si(read):
    campaign = read()
    cord = campaign.series["cord"]
    assert (campaign.name, campaign.tests, cord.material) == ("spring tests", 4, "HMPE")
    assert cord.used.specimen == ("A1", "A2", "A3")
    assert cord.set_aside.excluded == ("slipped in the grip",)
    assert cord.used.row == (2, 3, 4)
    np.testing.assert_allclose(cord.used.strength, [11900, 12300, 10800])
    assert cord.used.broke.tolist() == [True, True, False]
    # 20 mm/min over 500 mm: a free length is pulled out in 25 minutes.
    assert cord.used.strain_rate_per_s[0] == pytest.approx(1 / (25 * 60))
    assert cord.used.temperature_K[0] == pytest.approx(294.65)
    assert math.isnan(cord.used.preload_cycles[1])
    assert cord.used.log == ("a1.csv", "", "")
    assert cord.used.note == ("first", "", "stopped")
    assert cord.diameter_m == pytest.approx(0.003)
    assert cord.rating is not None
    assert cord.rating.strain_rate_per_s == pytest.approx(1 / 1500)
    assert (cord.rating.preload_fraction, cord.rating.preload_cycles) == (0.5, 10)


def test_use_machine_and_free_tables_are_read(read):
    campaign = read()
    drop = campaign.use["drop"]
    assert drop.quantities["mass"] == Distribution("normal", 80.0, 8.0)
    assert drop.quantities["fall"] == Distribution("uniform", 0.5, 2.0)
    assert drop.quantities["stiffness"] == Distribution("lognormal", 60e3, 1.1)
    assert drop.quantities["temperature"].a == pytest.approx(288.15)
    assert drop.quantities["temperature"].b == pytest.approx(5.0)
    assert [(f.name, f.origin) for f in drop.factors] == [
        ("termination", "published"),
        ("wear", "assumed"),
    ]
    assert (drop.design_factor, drop.options["bound"]) == (5.0, "95/95")
    assert campaign.options["plan"] == {"specimens": 12}
    machine = campaign.options["machine"]["frame"]
    assert machine["speed_max_m_per_s"] == pytest.approx(0.5 / 60)
    assert (machine["force_limit_N"], machine["setup_s"]) == (25e3, 1200.0)


def test_identifiers_stay_text(read):
    breaks = (
        "specimen,series,strain_rate_per_s,peak_force_N,batch,colour\n"
        "007,cord,0.1,5,NA,=1+1\nNA,cord,0.1,5,None,-1\nNone,cord,0.1,5,1e3,@x\n"
    )
    used = read(TINY_TOML, breaks).series["cord"].used
    assert used.specimen == ("007", "NA", "None")
    assert used.batch == ("NA", "None", "1e3")
    assert used.extra == {"colour": ("=1+1", "-1", "@x")}


@pytest.mark.parametrize(
    ("header", "cells"),
    [
        ("strain_rate_per_s", "0.01"),
        ("strain_rate_percent_per_min", "60"),
        ("speed_m_per_s,free_length_m", "0.005,0.5"),
        ("speed_in_per_min,free_length_in", "6,10"),
        ("time_to_break_s,strain_at_break", "3.5,0.035"),
        ("time_to_break_min,strain_at_break_percent", "0.5,30"),
        ("strain_rate_per_s,speed_m_per_s,free_length_m", "0.01,0.0051,0.5"),
        ("speed_m_per_s,free_length_m,time_to_break_s,strain_at_break", "0.005,0.5,,0.035"),
    ],
)
def test_three_ways_of_giving_the_rate(read, header, cells):
    breaks = f"specimen,series,peak_force_kN,{header}\nA,cord,5,{cells}\n"
    used = read(TINY_TOML, breaks).series["cord"].used
    assert used.strain_rate_per_s[0] == pytest.approx(0.01)


@pytest.mark.parametrize("sign", [1, -1])
def test_two_ways_may_differ_by_five_percent_and_no_more(write, sign):
    header = "specimen,series,peak_force_kN,strain_rate_per_s,speed_m_per_s,free_length_m\n"
    near, far = (header + f"A,cord,5,0.01,{0.01 * share**sign!r},1\n" for share in (1.04, 1.06))
    used = read_campaign(write(TINY_TOML, near)).series["cord"].used
    assert used.strain_rate_per_s[0] == 0.01
    with pytest.raises(InputError, match="row 2, column speed_m_per_s: two ways"):
        read_campaign(write(TINY_TOML, far))


def test_a_stated_rate_of_the_rating_goes_before_the_nominal_one(write):
    lines = "[series.cord.rating]\nvalue_kN = 5\nspeed_m_per_s = 0.01\nfree_length_m = 1\n"
    breaks = "specimen,series,peak_force_kN,strain_rate_per_s\nA,cord,5,1\n"
    toml = TINY_TOML + lines + "strain_rate_per_s = {}\n"
    rating = read_campaign(write(toml.format(0.0104), breaks)).series["cord"].rating
    assert rating is not None
    assert rating.strain_rate_per_s == 0.0104
    with pytest.raises(InputError, match="strain_rate and speed disagree"):
        read_campaign(write(toml.format(0.0106), breaks))


def test_hash_tells_names_and_borders_of_files_apart(write):
    seen = set()
    folder = write()
    for names in ({"b": "xy", "c": "z"}, {"b": "x", "c": "yz"}, {"b": "xy", "d": "z"}):
        for name, content in names.items():
            (folder / "logs" / name).write_text(content)
        seen.add(read_campaign(folder).sha256)
        for name in names:
            (folder / "logs" / name).unlink()
    assert len(seen) == 3


def test_strain_at_break_of_the_series_serves_rows_that_give_none(read):
    toml = TINY_TOML + "strain_at_break_percent = 3.5\n"
    breaks = "specimen,series,peak_force_kN,time_to_break_s\nA,cord,5,3.5\n"
    used = read(toml, breaks).series["cord"].used
    assert used.strain_rate_per_s[0] == pytest.approx(0.01)
    assert math.isnan(used.strain_at_break[0])


def _variants() -> list[bytes]:
    text = "specimen,series,strain_rate_per_s,peak_force_kN,note\nÅ,cord,0.5,11.5,è\n"
    german = text.replace(",", ";").replace("0.5", "0,5").replace("11.5", "11,5")
    return [
        text.encode(),
        text.encode("utf-8-sig"),
        text.encode("utf-16"),
        text.replace("\n", "\r\n").encode(),
        text.replace("\n", "\r").encode(),
        text.replace(",", ";").encode(),
        text.replace(",", "\t").encode(),
        german.encode(),
        (text + ",,,,\n\n  , ,,,\n").encode(),
        text.replace("note", "note,,").replace("è", "è,,").encode(),
        text.replace(",", " , ").encode(),
    ]


@pytest.mark.parametrize("data", _variants())
def test_one_table_in_many_file_dialects(read, data):
    used = read(TINY_TOML, data).series["cord"].used
    assert (used.specimen, used.note) == (("Å",), ("è",))
    assert (used.strength[0], used.strain_rate_per_s[0]) == (11500.0, 0.5)


def test_rows_are_physical_lines_also_after_a_cell_of_several_lines(write):
    breaks = (
        'specimen,series,note,strain_rate_per_s,peak_force_kN\nA,cord,"one\ntwo\nthree",1,5\n'
        "\nB,cord,,1,5\nC,cord,,1,bad\n"
    )
    with pytest.raises(InputError, match=r"row 7, column peak_force_kN: 'bad' is not a number"):
        read_campaign(write(TINY_TOML, breaks))
    used = read_campaign(write(TINY_TOML, breaks.replace("bad", "5"))).series["cord"].used
    assert used.row == (2, 6, 7)


@SHARED
@given(
    force=st.sampled_from(units_of("force")),
    speed=st.sampled_from(units_of("speed")),
    length=st.sampled_from(units_of("length")),
    temperature=st.sampled_from(units_of("temperature")),
    newtons=st.floats(1.0, 1e6),
)
def test_units_change_nothing(read, force, speed, length, temperature, newtons):
    def cell(symbol: str, si: float) -> str:
        return repr(UNITS[symbol].from_si(si))

    breaks = (
        f"specimen,series,peak_force_{force},speed_{speed},free_length_{length},"
        f"temperature_{temperature}\nA,cord,{cell(force, newtons)},{cell(speed, 0.01)},"
        f"{cell(length, 0.5)},{cell(temperature, 293.0)}\n"
    )
    cord = read(TINY_TOML, breaks).series["cord"]
    assert cord.used.strength[0] == pytest.approx(newtons, rel=1e-12)
    assert cord.used.strain_rate_per_s[0] == pytest.approx(0.02, rel=1e-12)
    assert cord.used.temperature_K[0] == pytest.approx(293.0, rel=1e-12)
    assert cord.strength_unit == UNITS[force]


@SHARED
@given(seed=st.integers(0, 10**6))
def test_order_of_rows_and_columns_changes_nothing(read, seed):
    mixer = random.Random(seed)
    header = ["specimen", "series", "strain_rate_per_s", "peak_force_kN", "broke", "excluded"]
    rows = [
        [f"A{i}", "cord", f"0.{i + 1}", str(10 + i / 8), "no" if i == 3 else "", "x" * (i == 4)]
        for i in range(8)
    ]
    mixer.shuffle(rows)
    order = mixer.sample(range(6), 6)
    lines = [",".join(row[k] for k in order) for row in [header, *rows]]
    cord = read(TINY_TOML, "\n".join(lines)).series["cord"]
    found = {
        name: (float(s), float(r), bool(b))
        for part in (cord.used, cord.set_aside)
        for name, s, r, b in zip(
            part.specimen, part.strength, part.strain_rate_per_s, part.broke, strict=True
        )
    }
    wanted = {f"A{i}": (1e3 * (10 + i / 8), (i + 1) / 10, i != 3) for i in range(8)}
    assert found.keys() == wanted.keys()
    for name, values in wanted.items():
        assert found[name] == pytest.approx(values)
    assert (len(cord.used), cord.set_aside.specimen) == (7, ("A4",))


def test_an_excluded_row_need_not_be_complete(read):
    breaks = (
        "specimen,series,strain_rate_per_s,peak_force_kN,excluded\n"
        "A,cord,1,5,\nB,cord,,,no reading\n"
    )
    cord = read(TINY_TOML, breaks).series["cord"]
    assert math.isnan(cord.set_aside.strength[0])
    assert len(cord.used) == 1


def test_hash_covers_every_input_file_and_only_those(write, read):
    first = read().sha256
    assert read().sha256 == first
    assert len(first) == 64
    assert read(**{"logs/.DS_Store": "x"}).sha256 == first
    seen = {first}
    for name in ("logs/a1.csv", "logs/day/b.csv", "creep/c.csv", "creep.csv", "cycling.csv"):
        seen.add(read(**{name: "changed"}).sha256)
    assert len(seen) == 6


@pytest.mark.parametrize(
    ("unit", "factor", "name"),
    [
        ("strength_MPa", 1e6, "MPa"),
        ("strength_cN_per_tex", 1e-2, "cN_per_tex"),
        ("peak_stress_GPa", 1e9, "GPa"),
        ("tenacity_gf_per_den", 9.80665e-3 * 9, "gf_per_den"),
    ],
)
def test_strength_as_stress_or_specific_strength(read, unit, factor, name):
    breaks = f"specimen,series,strain_rate_per_s,{unit}\nA,cord,1,20\n"
    cord = read(TINY_TOML, breaks).series["cord"]
    assert cord.used.strength[0] == pytest.approx(20 * factor)
    assert cord.strength_unit.symbol == name

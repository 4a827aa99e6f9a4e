"""Creep runs and preload cycling: read in SI, refused with place and remedy."""

from __future__ import annotations

import numpy as np
import pytest

from ratemodel.errors import InputError
from ratemodel.records.campaign import read_campaign
from ratemodel.records.creep import read_creep
from ratemodel.records.cycling import read_cycling

CREEP = (
    "file,series,load_kN,free_length_mm,temperature_C,broke,note\n"
    "c1.csv,cord,5,500,20,no,hung\nc2.csv,cord,6,,,yes,\n"
)
C1 = "time_h,elongation_mm\n0,0\n1,5\n10,7.5\n"
C2 = "time_min,strain_percent\n0,0.1\n60,1\n"
CYCLING = (
    "specimen,series,cycle,preload_fraction,peak_force_kN,residual_elongation_percent,"
    "stiffness_kN,hysteresis_J,excluded\n"
    "P1,cord,0,,11,,,,\nP2,cord,1,0.5,,0.8,60,2.5,\nP2,cord,10,0.5,12.1,1.2,80,1.5,\n"
)


def _creep(write, table=CREEP, one=C1, two=C2):
    folder = write(**{"creep.csv": table, "creep/c1.csv": one, "creep/c2.csv": two})
    return read_creep(folder, read_campaign(folder))


def _cycling(write, table=CYCLING):
    folder = write(**{"cycling.csv": table})
    return read_cycling(folder, read_campaign(folder))


def test_creep_runs_are_read_in_si(write):
    creep = _creep(write)
    assert creep is not None
    first, second = creep.runs
    np.testing.assert_allclose(first.time_s, [0, 3600, 36000])
    np.testing.assert_allclose(first.strain, [0, 0.01, 0.015])
    assert (first.load_N, first.broke, first.row, first.note) == (5000.0, False, 2, "hung")
    assert first.temperature_K == pytest.approx(293.15)
    np.testing.assert_allclose(second.strain, [0.001, 0.01])
    np.testing.assert_allclose(second.time_s, [0, 3600])
    assert second.broke
    assert np.isnan([second.free_length_m, second.temperature_K]).all()


def test_cycling_is_read_in_si(write):
    cycling = _cycling(write)
    assert cycling is not None
    assert cycling.specimen == ("P1", "P2", "P2")
    np.testing.assert_allclose(cycling.strength, [11e3, np.nan, 12.1e3])
    np.testing.assert_allclose(cycling.residual_elongation, [np.nan, 0.008, 0.012])
    np.testing.assert_allclose(cycling.stiffness_N, [np.nan, 60e3, 80e3])
    np.testing.assert_allclose(cycling.hysteresis_J, [np.nan, 2.5, 1.5])
    assert cycling.row == (2, 3, 4)
    assert cycling.broke == (True, True, True)


def test_absent_tables_are_none(write):
    folder = write()
    campaign = read_campaign(folder)
    assert read_creep(folder, campaign) is None
    assert read_cycling(folder, campaign) is None


@pytest.mark.parametrize(
    ("old", "new", "place", "fragment"),
    [
        ("load_kN", "load", "row 1, column load", "no unit"),
        ("load_kN", "lod_kN", "row 1, column load", "load is missing"),
        ("cord,5,", "cord,,", "row 2, column load_kN", "load is missing"),
        ("cord,5,", "cord,-5,", "row 2, column load_kN", "out of range"),
        ("cord,5,", "chord,5,", "row 2, column series", "expected cord"),
        ("20,no", "20,", "row 2, column broke", "neither yes nor no"),
        ("5,500", "5,", "row 2, column free_length_mm", "elongation without a free length"),
        ("5,500", "5,0", "row 2, column free_length_mm", "out of range"),
        ("c2.csv", "c1.csv", "row 3, column file", "stands twice"),
        ("c2.csv", "../creep.csv", "row 3, column file", "may leave the folder"),
        ("c2.csv", "c3.csv", "row 3, column file", "no such file in creep/"),
        ("c2.csv", "", "row 3, column file", "may leave the folder"),
    ],
)
def test_malformed_creep_table(write, old, new, place, fragment):
    with pytest.raises(InputError, match=f"creep.csv, {place}: .*{fragment}"):
        _creep(write, CREEP.replace(old, new, 1))


@pytest.mark.parametrize(
    ("curve", "place", "fragment"),
    [
        ("time_h\n0\n1\n", "row 1, column strain_percent", "neither strain nor elongation"),
        ("time_h,strain_percent,elongation_mm\n0,0,0\n", "row 1, .*", "both strain and"),
        ("time,elongation_mm\n0,0\n", "row 1, column time", "no unit"),
        ("time_h,elongation\n0,0\n", "row 1, column elongation", "no unit"),
        ("time_h,elongation_mm\n0,0\n2,1\n1,2\n", "row 4, column time_h", "does not increase"),
        ("time_h,elongation_mm\n-1,0\n2,1\n", "row 2, column time_h", "out of range"),
        ("time_h,elongation_mm\n0,0\n1,\n", "row 3, column elongation_mm", "a value is missing"),
        ("time_h,elongation_mm\n0,0\n1,9999\n", "row 3, column elongation_mm", "over 3 free"),
        ("time_h,elongation_mm\n", "row 1", "no rows"),
    ],
)
def test_malformed_creep_curve(write, curve, place, fragment):
    with pytest.raises(InputError, match=f"creep/c1.csv, {place}: .*{fragment}"):
        _creep(write, one=curve)


@pytest.mark.parametrize(
    ("old", "new", "place", "fragment"),
    [
        ("cycle,", "cycles,", "row 1, column cycle", "cycle is missing"),
        ("preload_fraction", "preload", "row 1, column preload", "no unit"),
        ("stiffness_kN", "stiffness_kN_per_mm", "row 1, column stiffness_kN_per_mm", "not a unit"),
        ("hysteresis_J", "hysteresis", "row 1, column hysteresis", "no unit"),
        ("P2,cord,1,0.5", "P2,cord,1,", "row 3, column preload_fraction", "missing"),
        ("P2,cord,1,0.5", "P2,cord,1,1.6", "row 3, column preload_fraction", "from 0 to 1.5"),
        ("P2,cord,1,", "P2,cord,10,", "row 4, column cycle", "cycle 10 of P2 stands twice"),
        ("P2,cord,1,", "P2,cord,1.5,", "row 3, column cycle", "whole number"),
        ("P2,cord,1,", "P2,cord,-1,", "row 3, column cycle", "out of range"),
        ("P2,cord,1,", ",cord,1,", "row 3, column specimen", "no name"),
        ("cord,0,,11", "cord,0,,", "row 2, column peak_force_kN", "nothing measured"),
        ("peak_force_kN", "peak_stress_MPa", "row 2, column peak_stress_MPa", "has a force"),
        (",2.5,\n", ",2.5,no\n", "row 3, column excluded", "no reason"),
    ],
)
def test_malformed_cycling(write, old, new, place, fragment):
    with pytest.raises(InputError, match=f"cycling.csv, {place}: .*{fragment}"):
        _cycling(write, CYCLING.replace(old, new, 1))


def test_cycling_without_a_measured_column(write):
    with pytest.raises(InputError, match=r"cycling.csv, row 1, .*nothing measured"):
        _cycling(write, "specimen,series,cycle,preload_fraction\nP1,cord,1,0.5\n")


def test_one_specimen_belongs_to_one_series(write):
    toml = 'name = "t"\n[series.cord]\n[series.sling]\n'
    breaks = "specimen,series,strain_rate_per_s,peak_force_kN\nA,cord,1,5\nB,sling,1,5\n"
    table = CYCLING.replace("P2,cord,10", "P2,sling,10")
    folder = write(toml, breaks, **{"cycling.csv": table})
    with pytest.raises(InputError, match="row 4, column series: P2 is also in cord"):
        read_cycling(folder, read_campaign(folder))

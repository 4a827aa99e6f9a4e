"""Rows of a publication's table: unfolded specimens have exactly its mean and sd."""

from __future__ import annotations

import csv
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from ratemodel.errors import InputError
from ratemodel.records.campaign import read_campaign
from ratemodel.records.strength import unfold

TOML = 'name = "t"\n[series.cord]\n'
HEADER = "specimen,series,strain_rate_per_s,mean_force_kN,sd_force_N,n\n"
REFERENCE = Path(
    os.environ.get(
        "RATEMODEL_REFERENCE_DATA", Path(__file__).parents[2].parent / "shared" / "reference"
    )
)


@settings(deadline=None)
@given(st.floats(1e-3, 1e6), st.floats(0, 0.6), st.integers(2, 400))
def test_log_moments_are_those_of_the_lognormal_distribution(mean, cv, n):
    logs = np.log(unfold(mean, cv * mean, n))
    # scipy's lognormal with these log moments has the published mean and sd.
    published = stats.lognorm(s=max(logs.std(ddof=1), 1e-300), scale=np.exp(logs.mean()))
    assert published.mean() == pytest.approx(mean, rel=1e-9)
    assert published.std() == pytest.approx(cv * mean, rel=1e-6, abs=1e-7 * mean)


def test_summary_and_single_rows_in_one_file(read):
    breaks = (
        "specimen,series,strain_rate_per_s,peak_force_kN,mean_force_kN,sd_force_N,n,batch\n"
        "A,cord,1,,5,250,20,s\nB,cord,2,5.1,,,,t\nC,cord,3,,6,,1,u\nD,cord,3,,6,9,2,w\n"
    )
    used = read(TOML, breaks.replace("9,2,w", "60,2,w")).series["cord"].used
    assert len(used) == 24
    assert used.specimen[:2] == ("A#1", "A#2")
    assert used.specimen[20:] == ("B", "C#1", "D#1", "D#2")
    assert used.summary.tolist() == [True] * 20 + [False] + [True] * 3
    assert used.row == (2,) * 20 + (3, 4, 5, 5)
    assert used.batch[19:22] == ("s", "t", "u")
    assert used.strength[20:22].tolist() == [5100.0, 6000.0]


@pytest.mark.parametrize(
    ("row", "column", "fragment"),
    [
        ("A,cord,1,5,250,", "n", "a mean without n"),
        ("A,cord,1,5,,20", "n", "n above 1 without an sd"),
        ("A,cord,1,5,250,1", "n", "an sd of one specimen"),
        ("A,cord,1,5,250,2.5", "n", "not a whole number"),
        ("A,cord,1,5,250,0", "n", "0 is out of range"),
        ("A,cord,1,5,250,10001", "n", "10001 is out of range"),
        ("A,cord,1,5,-1,20", "sd_force_N", "-1 is out of range"),
        ("A,cord,1,5,6000,20", "sd_force_N", "an sd above the mean"),
        ("A,cord,1,-5,1,20", "mean_force_kN", "-5 is out of range"),
        ("A,cord,1,,250,", "mean_force_kN", "strength is missing"),
    ],
)
def test_incomplete_summary_rows_are_refused(write, row, column, fragment):
    with pytest.raises(InputError, match=fragment) as caught:
        read_campaign(write(TOML, HEADER + row + "\n"))
    assert (caught.value.row, caught.value.column) == (2, column)


@pytest.mark.parametrize(
    ("header", "row", "fragment"),
    [
        ("peak_force_kN,mean_force_kN,sd_force_kN,n", "5,5,1,3", "a single strength and a mean"),
        ("peak_force_kN,n", "5,3", "n belongs to summary rows"),
        ("peak_force_kN,sd_force_kN", "5,3", "an sd without a mean"),
        ("peak_force_kN,sd_strength_MPa", "5,3", "sd_strength without its mean"),
        ("mean_strength_MPa,sd_strength_cN_per_tex,n", "5,3,2", "a specific strength beside"),
        ("mean_strength_MPa,mean_force_kN,n", "5,5,1", "two strength columns"),
        ("mean_force_kN,n,broke", "5,1,no", "a summary row that did not break"),
    ],
)
def test_mixed_up_summary_columns_are_refused(write, header, row, fragment):
    breaks = f"specimen,series,strain_rate_per_s,{header}\nA,cord,1,{row}\n"
    with pytest.raises(InputError, match=fragment):
        read_campaign(write(TOML, breaks))


def test_one_kind_of_strength_in_a_series(write):
    breaks = (
        "specimen,series,strain_rate_per_s,peak_force_kN,mean_strength_MPa,n\n"
        "A,cord,1,5,,\nB,cord,1,,5,1\n"
    )
    with pytest.raises(InputError, match="row 3, column mean_strength_MPa: a stress in a series"):
        read_campaign(write(TOML, breaks))


def test_names_of_unfolded_specimens_are_unique_too(write):
    breaks = HEADER + "A,cord,1,5,,1\nA#1,cord,1,5,,1\n"
    assert read_campaign(write(TOML, breaks)).tests == 2
    both = (
        "specimen,series,strain_rate_per_s,mean_force_kN,n,peak_force_kN\n"
        "A,cord,1,5,1,\nA#1,cord,1,,,5\n"
    )
    with pytest.raises(InputError, match="row 3, column specimen: the specimen A#1 stands twice"):
        read_campaign(write(TOML, both))


def test_summary_rows_cannot_fill_the_memory(write):
    rows = "".join(f"A{i},cord,1,5,1,10000\n" for i in range(101))
    with pytest.raises(InputError, match="row 102, column n: more than 1000000 specimens"):
        read_campaign(write(TOML, HEADER + rows))


def test_published_carbon_bundles_are_read_back(read):
    """Nine rates of 20 bundles each: Naito 2014, doi 10.1007/s11665-013-0823-5."""
    path = REFERENCE / "carbon_bundle_strength_vs_rate.csv"
    if not path.exists():
        pytest.skip(f"reference data not found at {path}; set RATEMODEL_REFERENCE_DATA")
    with path.open(encoding="utf-8", newline="") as stream:
        table = list(csv.DictReader(stream))
    rows = "".join(
        f"r{i},cord,{r['strain_rate_per_s']},{r['strength_GPa']},{r['sd_GPa']},{r['n']}\n"
        for i, r in enumerate(table)
    )
    header = "specimen,series,strain_rate_per_s,mean_strength_GPa,sd_strength_GPa,n\n"
    used = read(TOML, header + rows).series["cord"].used
    assert len(used) == sum(int(r["n"]) for r in table)
    for i, r in enumerate(table):
        logs = np.log(used.strength[np.array(used.row) == i + 2])
        published = stats.lognorm(s=logs.std(ddof=1), scale=np.exp(logs.mean()))
        assert published.mean() == pytest.approx(1e9 * float(r["strength_GPa"]), rel=1e-9)
        assert published.std() == pytest.approx(1e9 * float(r["sd_GPa"]), rel=1e-6)

"""Every layout a lab exports gives the same numbers."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from ratemodel.errors import InputError
from ratemodel.records.logfile import LogMapping, read_log
from ratemodel.records.logfile.headings import parse_unit, read_heading

TIME = np.arange(60) * 0.25
POSITION = TIME * 2.5  # mm
FORCE = TIME**1.5 + 0.125  # kN


def rows(separator: str = ",", decimal: str = ".", pad: str = "") -> list[str]:
    return [
        separator.join(pad + f"{v:.4f}".replace(".", decimal) for v in row)
        for row in zip(TIME, POSITION, FORCE, strict=True)
    ]


def text(header: list[str], body: list[str], newline: str = "\n") -> str:
    return newline.join([*header, *body]) + newline


LAYOUTS = {
    "contract": text(["time_s,position_mm,force_kN"], rows()).encode(),
    "brackets": text(["Time [s],Position [mm],Force [kN]"], rows()).encode(),
    "parentheses and tabs": text(["Time (s)\tStroke (mm)\tLoad (kN)"], rows("\t")).encode(),
    "decimal comma": text(["Zeit [s];Weg [mm];Kraft [kN]"], rows(";", ",")).encode(),
    "units row": text(["Time;Position;Force", "s;mm;kN"], rows(";")).encode(),
    "units row in brackets": text(
        ["Zeit\tWeg\tKraft", "[s]\t[mm]\t[kN]"], rows("\t", ",")
    ).encode(),
    "preamble": text(
        ["Test report", "Operator: X; machine 2", "Speed 20 mm/min", "", "Time/s;Weg/mm;Kraft/kN"],
        rows(";", ","),
    ).encode(),
    "preamble of numbers": text(
        ["Specimen;12", "Area;3,5", "", "Zeit in s;Weg in mm;Kraft in kN"], rows(";", ",")
    ).encode(),
    "bom": b"\xef\xbb\xbf" + text(["time_s,position_mm,force_kN"], rows()).encode(),
    "latin-1": text(
        ["Prüfer: Müller", "Prüfzeit [s];Standardweg [mm];Prüfkraft [kN]"], rows(";", ",")
    ).encode("latin-1"),
    "utf-16": text(["Zeit [s]\tWeg [mm]\tKraft [kN]"], rows("\t", ",")).encode("utf-16"),
    "utf-16 without mark": text(["Zeit [s]\tWeg [mm]\tKraft [kN]"], rows("\t")).encode("utf-16-le"),
    "crlf": text(["time_s,position_mm,force_kN"], rows(), "\r\n").encode(),
    "cr": text(["time_s,position_mm,force_kN"], rows(), "\r").encode(),
    "no newline at the end": text(["time_s,position_mm,force_kN"], rows())[:-1].encode(),
    "aligned by blanks": text(
        ["Time [s]    Position [mm]    Force [kN]"], rows("   ", pad="  ")
    ).encode(),
    "blanks after commas": text(["Time [s], Position [mm], Force [kN]"], rows(", ")).encode(),
    "quoted": text(
        ['"Time [s]","Position, crosshead [mm]","Force [kN]"'],
        [",".join(f'"{c}"' for c in r.split(",")) for r in rows()],
    ).encode(),
    "quoted decimal comma": text(
        ['"Time [s]","Position [mm]","Force [kN]"'],
        [",".join(f'"{c}"' for c in r.split(";")) for r in rows(";", ",")],
    ).encode(),
    "trailing delimiter": text(
        ["Time [s];Position [mm];Force [kN];"], [r + ";" for r in rows(";")]
    ).encode(),
    "trailing delimiter in the rows only": text(
        ["Time [s];Position [mm];Force [kN]"], [r + ";" for r in rows(";")]
    ).encode(),
    "blank lines": text(["time_s,position_mm,force_kN", ""], ["\n" + r for r in rows()]).encode(),
    "other columns": text(
        ["No,Temp [C],Time [s],Force rate [kN/s],Position [mm],Force [kN],Status"],
        [
            f"{i},21.5,{a},9.9,{b},{c},OK"
            for i, (a, b, c) in enumerate(r.split(",") for r in rows())
        ],
    ).encode(),
    "other units": text(
        ["Time [ms],Position [in],Force [N]"],
        [
            f"{t * 1e3:.10g},{p / 25.4:.12g},{f * 1e3:.10g}"
            for t, p, f in zip(TIME, POSITION, np.round(FORCE, 4), strict=True)
        ],
    ).encode(),
    "pound-force": text(
        ["Time (sec),Extension (mm),Load (lbf)"],
        [
            f"{t},{p},{f * 1e3 / 4.4482216152605:.12g}"
            for t, p, f in zip(TIME, POSITION, np.round(FORCE, 4), strict=True)
        ],
    ).encode(),
    "footer": (text(["time_s,position_mm,force_kN"], rows()) + "\nEnd of test\n").encode(),
    "footer with fields": (
        text(["Time [s];Position [mm];Force [kN]"], rows(";")) + "Result;held;broke\n"
    ).encode(),
}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_gives_the_same_numbers(tmp_path, layout):
    path = tmp_path / "log.csv"
    path.write_bytes(LAYOUTS[layout])
    log = read_log(path)
    np.testing.assert_allclose(log.time_s, TIME, atol=1e-12)
    np.testing.assert_allclose(log.position_m, POSITION / 1e3, atol=1e-10)
    np.testing.assert_allclose(log.force_N, np.round(FORCE, 4) * 1e3, rtol=1e-9)
    assert log.sha256 == hashlib.sha256(LAYOUTS[layout]).hexdigest()
    assert log.rows == 60
    assert log.sample_interval_s == pytest.approx(0.25)
    footer = [p.code for p in log.findings]
    assert footer == (["footer-left-out"] if "footer" in layout else [])


MAPPED = {
    "no header": (
        text([], rows()),
        LogMapping(
            time_column=1,
            time_unit="s",
            position_column=2,
            position_unit="mm",
            force_column=3,
            force_unit="kN",
        ),
    ),
    "no header behind a byte order mark": (
        "\ufeff" + text([], rows()),
        LogMapping(1, "s", 2, "mm", 3, "kN"),
    ),
    "named": (
        text(["A,B,Kanal 3"], rows()),
        LogMapping(
            time_column="A",
            time_unit="s",
            position_column="B",
            position_unit="mm",
            force_column="Kanal 3",
            force_unit="kN",
        ),
    ),
    "two forces": (
        text(["Time [s],Position [mm],Force A [kN],Force B [kN]"], [r + ",0.5" for r in rows()]),
        LogMapping(force_column="Force A [kN]"),
    ),
    "numbers above the header": (
        text(["1,2,3", "4,5,6", "7,8,9", "Time [s],Position [mm],Force [kN]"], rows()),
        LogMapping(skip_rows=3),
    ),
    "decimal told": (
        text(["Time [s];Position [mm];Force [kN]"], rows(";", ",")),
        LogMapping(delimiter=";", decimal=","),
    ),
    "encoding told": (
        text(["Time [s];Position [mm];Force [kN]"], rows(";")),
        LogMapping(encoding="utf-8"),
    ),
}


@pytest.mark.parametrize("case", MAPPED)
def test_a_mapping_settles_what_the_file_leaves_open(tmp_path, case):
    content, mapping = MAPPED[case]
    path = tmp_path / "log.csv"
    path.write_text(content)
    log = read_log(path, mapping)
    np.testing.assert_allclose(log.force_N, np.round(FORCE, 4) * 1e3, rtol=1e-9)
    np.testing.assert_allclose(log.position_m, POSITION / 1e3, atol=1e-10)


def test_a_sample_rate_stands_in_for_the_clock_and_runs_through_missing_rows(tmp_path):
    path = tmp_path / "log.csv"
    body = [f"{f}" for f in np.round(FORCE, 4)]
    body[7] = ""
    path.write_text("No;Force [kN]\n" + "\n".join(f"{i};{v}" for i, v in enumerate(body)))
    log = read_log(path, LogMapping(sample_rate_Hz=4.0))
    np.testing.assert_allclose(log.time_s, np.delete(TIME, 7))
    assert {p.code for p in log.findings} == {
        "samples-missing",
        "samples-dropped",
        "no-position",
    }


def test_position_may_be_missing_and_that_is_said(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(
        "time_s,force_kN\n" + "\n".join(f"{t},{f}" for t, f in zip(TIME, FORCE, strict=True))
    )
    log = read_log(path)
    assert log.position_m is None
    assert [p.code for p in log.findings] == ["no-position"]


def test_mapping_table_refuses_what_it_does_not_know():
    assert LogMapping.from_table({"decimal": ",", "skip_rows": 2}).skip_rows == 2
    with pytest.raises(InputError, match=r"column logs.colour: unknown key 'colour'"):
        LogMapping.from_table({"colour": "red"})
    with pytest.raises(InputError, match=r"skip_rows is '2'; expected a number"):
        LogMapping.from_table({"skip_rows": "2"})
    with pytest.raises(InputError, match=r"decimal is ';'"):
        LogMapping.from_table({"decimal": ";"})
    with pytest.raises(InputError, match=r"encoding is 'klingon'"):
        LogMapping.from_table({"encoding": "klingon"})
    with pytest.raises(InputError, match=r"time_unit is True"):
        LogMapping.from_table({"time_unit": True})


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("Force [kN]", "kN"),
        ("Load (lbf)", "lbf"),
        ("force_kN", "kN"),
        ("Kraft / N", "N"),
        ("Kraft in daN", "daN"),
        ("Force, kN", "kN"),
        ("Force kN", "kN"),
        ("Position in", None),
        ("Kraft", None),
        ("Force [furlong]", None),
        ("Force [mN]", None),
    ],
)
def test_headings_say_their_unit_or_none(name, unit):
    found = read_heading(name).unit
    assert (None if found is None else found.symbol) == unit


def test_case_is_not_folded_between_units():
    assert parse_unit("MN").factor == 1e6
    assert parse_unit("mN") is None

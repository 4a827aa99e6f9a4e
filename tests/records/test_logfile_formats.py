"""XLSX, TDMS, Parquet and chunked text give what the same numbers as CSV give."""

from __future__ import annotations

import sys
import zipfile

import numpy as np
import pytest

from ratemodel.errors import InputError
from ratemodel.records.logfile import LogMapping, read_log
from ratemodel.records.logfile.chunked import Thinner
from ratemodel.reduction import ReductionSettings, reduce_log
from ratemodel.simulate_logs import LogTruth, PreloadTruth, simulate_log, write_log_csv

TIME = np.arange(50) * 0.5
POSITION = TIME * 2.0
FORCE = TIME**1.5
HEADER = ["Time [s]", "Position [mm]", "Force [kN]"]


def _rows() -> list[list[float]]:
    return np.column_stack([TIME, POSITION, FORCE]).tolist()


def _workbook(path, sheets):
    openpyxl = pytest.importorskip("openpyxl")
    pytest.importorskip("python_calamine")
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)


def _check(log):
    np.testing.assert_allclose(log.time_s, TIME)
    np.testing.assert_allclose(log.position_m, POSITION / 1e3)
    np.testing.assert_allclose(log.force_N, FORCE * 1e3)


def test_a_workbook_with_preamble_units_row_and_notes(tmp_path):
    path = tmp_path / "log.xlsx"
    top = [["Report"], ["Speed", 20], [], ["Zeit", "Weg", "Kraft"], ["s", "mm", "kN"]]
    _workbook(path, {"Notes": [["nothing"]], "Data": [*top, *_rows()]})
    log = read_log(path)
    _check(log)
    assert log.raw_columns == ("Zeit", "Weg", "Kraft")


def test_sheets_are_not_guessed(tmp_path):
    path = tmp_path / "log.xlsx"
    _workbook(path, {"A": [HEADER, *_rows()], "B": [HEADER, *_rows()]})
    with pytest.raises(InputError, match="sheets A, B all hold numbers; expected sheet in"):
        read_log(path)
    _check(read_log(path, LogMapping(sheet="B")))
    with pytest.raises(InputError, match="no sheet 'C'"):
        read_log(path, LogMapping(sheet="C"))


@pytest.mark.parametrize("cell", ["1,5", "over", True])
def test_text_in_a_workbook_is_refused_with_its_cell(tmp_path, cell):
    path = tmp_path / "log.xlsx"
    rows = _rows()
    rows[20][2] = cell
    _workbook(path, {"A": [HEADER, *rows]})
    with pytest.raises(InputError, match=r"row 22, column Force \[kN\]: .* is no number"):
        read_log(path)


def test_a_failed_formula_is_a_missing_sample(tmp_path):
    path = tmp_path / "log.xlsx"
    rows = _rows()
    rows[20][2] = "#DIV/0!"
    _workbook(path, {"A": [HEADER, *rows]})
    log = read_log(path)
    assert len(log) == 49
    assert "samples-missing" in {p.code for p in log.findings}


def test_a_workbook_without_a_header_or_numbers(tmp_path):
    path = tmp_path / "log.xlsx"
    _workbook(path, {"A": _rows()})
    with pytest.raises(InputError, match="no header row"):
        read_log(path)
    _workbook(path, {"A": [["nothing", "here"]]})
    with pytest.raises(InputError, match="no rows of numbers"):
        read_log(path)


def _archive(path, parts: dict[str, bytes]):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


def test_archive_bombs_are_refused_from_their_directory(tmp_path):
    path = tmp_path / "log.xlsx"
    book = b'<workbook xmlns="x"/>'
    _archive(path, {"xl/workbook.xml": book, "xl/worksheets/sheet1.xml": bytes(30_000_000)})
    with pytest.raises(InputError, match=r"unfolds to .* times its size"):
        read_log(path)
    _archive(path, {"xl/workbook.xml": book} | {f"xl/{i}.xml": b"" for i in range(2500)})
    with pytest.raises(InputError, match="2501 entries"):
        read_log(path)
    _archive(path, {"word/document.xml": b"<a/>"})
    with pytest.raises(InputError, match="no XLSX workbook"):
        read_log(path)


def test_entities_in_a_workbook_are_refused(tmp_path):
    pytest.importorskip("defusedxml")
    path = tmp_path / "log.xlsx"
    bomb = b'<?xml version="1.0"?><!DOCTYPE w [<!ENTITY a "aaaa">]><w>&a;</w>'
    _archive(path, {"xl/workbook.xml": bomb})
    with pytest.raises(InputError, match="document type"):
        read_log(path)
    _archive(path, {"xl/workbook.xml": b"<w", "xl/a.xml": b"<w/>"})
    with pytest.raises(InputError, match="not readable as a workbook"):
        read_log(path)


def _tdms(path, channels, increment=None):
    nptdms = pytest.importorskip("nptdms")
    properties = {} if increment is None else {"wf_increment": increment}
    with nptdms.TdmsWriter(str(path)) as writer:
        writer.write_segment(
            [
                nptdms.ChannelObject("Log", name, data, {"unit_string": unit, **properties})
                for name, unit, data in channels
            ]
        )


def test_tdms_with_units_in_its_properties(tmp_path):
    path = tmp_path / "log.tdms"
    _tdms(path, [("Time", "s", TIME), ("Position", "mm", POSITION), ("Force", "kN", FORCE)])
    _check(read_log(path))


def test_tdms_without_a_time_channel_needs_the_rate(tmp_path):
    path = tmp_path / "log.tdms"
    _tdms(path, [("Position", "mm", POSITION), ("Force", "kN", FORCE)], increment=0.5)
    _check(read_log(path))
    _tdms(path, [("Position", "mm", POSITION), ("Force", "kN", FORCE)])
    with pytest.raises(InputError, match=r"no time column.*sample_rate_Hz"):
        read_log(path)
    _check(read_log(path, LogMapping(sample_rate_Hz=2.0)))


def test_tdms_faults(tmp_path):
    path = tmp_path / "log.tdms"
    _tdms(path, [("Time", "s", TIME), ("Force", "kN", FORCE[:-3])])
    with pytest.raises(InputError, match="unequal length"):
        read_log(path)
    _tdms(path, [("Time", "s", TIME), ("Force", "", FORCE)])
    with pytest.raises(InputError, match="column Force: the unit of force is not given"):
        read_log(path)
    _tdms(path, [("Time", "s", TIME), ("Force", "kN", np.where(TIME == 5, np.inf, FORCE))])
    with pytest.raises(InputError, match="row 11, column Force: an infinite number"):
        read_log(path)


def test_fuzzed_tdms_never_raises_anything_else(tmp_path):
    path = tmp_path / "log.tdms"
    _tdms(path, [("Time", "s", TIME), ("Position", "mm", POSITION), ("Force", "kN", FORCE)])
    good = path.read_bytes()
    rng = np.random.default_rng(3)
    refused = read = 0
    for _ in range(200):
        data = bytearray(good)
        for _ in range(int(rng.integers(1, 4))):
            data[int(rng.integers(4, 400))] = int(rng.integers(256))
        path.write_bytes(bytes(data[: int(rng.integers(300, len(data) + 1))]))
        try:
            read_log(path)
            read += 1
        except InputError:
            refused += 1
    assert refused > 50
    assert read + refused == 200


def test_parquet(tmp_path):
    pytest.importorskip("pyarrow", reason="no Parquet engine is installed")
    pd = pytest.importorskip("pandas")
    path = tmp_path / "log.parquet"
    pd.DataFrame(_rows(), columns=HEADER).to_parquet(path)
    _check(read_log(path))


@pytest.mark.parametrize(
    ("magic", "module", "match"),
    [
        (b"TDSm", "nptdms", r'npTDMS, which is not installed; expected pip install "ratemodel\[io'),
        (b"PAR1", "pyarrow", "pyarrow, which is not installed; expected pip install pyarrow"),
    ],
)
def test_a_missing_extra_is_named(tmp_path, monkeypatch, magic, module, match):
    monkeypatch.setitem(sys.modules, module, None)
    monkeypatch.setitem(sys.modules, "fastparquet", None)
    path = tmp_path / "log"
    path.write_bytes(magic + bytes(100))
    with pytest.raises(InputError, match=match):
        read_log(path)


@pytest.mark.parametrize("module", ["python_calamine", "defusedxml"])
def test_a_missing_workbook_reader_is_named(tmp_path, monkeypatch, module):
    path = tmp_path / "log.xlsx"
    _workbook(path, {"A": [HEADER, *_rows()]})
    monkeypatch.setitem(sys.modules, module, None)
    with pytest.raises(InputError, match=r"which is not installed; expected pip install \"ratemod"):
        read_log(path)


def test_a_long_log_in_chunks_gives_the_same_record(tmp_path, monkeypatch):
    """The thinned log against the whole one: peak and its bound as recorded, the rest close."""
    monkeypatch.setattr("ratemodel.records.logfile.text.CHUNK_ROWS", 20_000)
    monkeypatch.setattr("ratemodel.records.logfile.chunked._BLOCKS", 200)
    truth = LogTruth(
        preload=PreloadTruth(cycles=4), sample_rate_Hz=8000, force_noise_N=20, drops=((0.8, 0.05),)
    )
    path = tmp_path / "log.csv"
    write_log_csv(simulate_log(truth, np.random.default_rng(4)), path)
    settings = ReductionSettings(free_length_m=truth.free_length_m)
    whole = reduce_log(read_log(path), settings)
    log = read_log(path, chunk_above_bytes=1000)
    chunked = reduce_log(log, settings)
    assert log.rows > 5 * len(log) / 2
    assert log.sample_interval_s == pytest.approx(1 / 8000, rel=1e-3)
    assert chunked.peak_low_by_at_most_N == pytest.approx(whole.peak_low_by_at_most_N, rel=0.1)
    assert log.sha256 == whole.sha256
    assert "log-thinned" in {p.code for p in log.findings}
    assert chunked.peak_force_N == whole.peak_force_N
    assert chunked.peak_time_s == whole.peak_time_s
    assert chunked.ended == whole.ended == "broke"
    assert len(chunked.cycles) == 4
    assert len(chunked.drops) == len(whole.drops) == 1
    assert chunked.strain_rate_per_s == pytest.approx(whole.strain_rate_per_s, rel=1e-3)
    assert chunked.force_rate_N_per_s == pytest.approx(whole.force_rate_N_per_s, rel=2e-2)
    assert chunked.energy_J == pytest.approx(whole.energy_J, rel=1e-2)


def test_the_clock_of_a_long_log_is_checked_before_it_is_thinned(tmp_path, monkeypatch):
    monkeypatch.setattr("ratemodel.records.logfile.text.CHUNK_ROWS", 5_000)
    monkeypatch.setattr("ratemodel.records.logfile.chunked._BLOCKS", 100)
    time = np.arange(40_000) * 0.5
    time[30_000:] += 100
    path = tmp_path / "log.csv"
    lines = [f"{t:.1f},{i * 1e-3:.4f}" for i, t in enumerate(time)]
    path.write_text("Time [ms],Force [kN]\n" + "\n".join(lines) + "\n")
    log = read_log(path, chunk_above_bytes=1000)
    assert log.sample_interval_s == pytest.approx(0.5e-3)
    (gap,) = [p for p in log.findings if p.code == "samples-dropped"]
    assert "1 gaps in time, the longest 0.1005 s at a step of 0.0005 s" in gap.message


def test_what_the_thinner_keeps_is_bounded(monkeypatch):
    monkeypatch.setattr("ratemodel.records.logfile.chunked._BLOCKS", 100)
    monkeypatch.setattr("ratemodel.records.logfile.chunked._MOST_KEPT", 2_000)
    thinner = Thinner(force=1, time=0)
    for number in range(60):
        time = number * 10.0 + np.arange(1000) * 0.01
        thinner.add([time, np.full(1000, 1.0) + (number == 30) * np.sin(time)])
    (time, force), findings = thinner.result()
    assert thinner.rows == 60_000
    assert len(time) < 2_000 + 3 * 1000
    assert np.all(np.diff(time) > 0)
    assert force.max() == pytest.approx(2.0, abs=1e-3)
    assert [p.code for p in findings] == ["log-thinned"]

"""Malformed logs: one line that says what is wrong, or a stated finding; never anything else."""

from __future__ import annotations

import gzip
import os
import zipfile

import numpy as np
import pytest

from ratemodel.errors import InputError
from ratemodel.records.logfile import LogMapping, read_log
from ratemodel.reduction import ReductionSettings, reduce_log
from ratemodel.simulate_logs import LogTruth, simulate_log, write_log_csv

HEAD = "time_s,position_mm,force_kN"


def body(n: int = 40) -> list[str]:
    return [f"{i * 0.1:.2f},{i * 0.5:.2f},{i * 0.25:.3f}" for i in range(n)]


def csv(lines: list[str], head: str = HEAD) -> bytes:
    return ("\n".join([head, *lines]) + "\n").encode()


def changed(at: int, line: str) -> bytes:
    lines = body()
    lines[at] = line
    return csv(lines)


REFUSED: dict[str, tuple[bytes, str]] = {
    "empty file": (b"", "the file is empty"),
    "only a header": (csv([]), "no rows of numbers"),
    "only blank lines": (b"\n\n\n\n", "no rows of numbers"),
    "four samples": (csv(body(4)), "4 samples; expected at least 5"),
    "prose": (b"Dear colleague,\nthe log is late.\n" * 20, "no rows of numbers"),
    "no header": (csv(body()[1:], body()[0]), "no header row"),
    "picture": (b"\x89PNG\r\n\x1a\n" + bytes(200), "a picture"),
    "pdf": (b"%PDF-1.4\n" + bytes(200), "a PDF document"),
    "gzip": (gzip.compress(csv(body())), "a gzip archive"),
    "old spreadsheet": (b"\xd0\xcf\x11\xe0" + bytes(600), "an old binary spreadsheet"),
    "hdf5": (b"\x89HDF\r\n\x1a\n" + bytes(200), "an HDF5 file"),
    "random bytes": (np.random.default_rng(5).bytes(5000), ""),
    "zero bytes": (bytes(5000), ""),
    "zero byte in a row": (changed(20, "2.0,1\x000,5"), "row 22.*zero byte"),
    "no unit": (csv(body(), "Time [s],Position [mm],Force"), "column Force: the unit of force"),
    "no unit of time": (csv(body(), "Zeit;Weg [mm];Kraft [kN]".replace(";", ",")), "unit of time"),
    "german heading without unit": (csv(body(), "Zeit [s],Weg [mm],Kraft"), "unit of force"),
    "unknown unit": (csv(body(), "Time [s],Position [mm],Force [stone]"), "'stone' is no unit"),
    "mass for force": (csv(body(), "Time [s],Position [mm],Force [kg]"), "'kg' is a mass"),
    "pound for force": (csv(body(), "Time [s],Position [mm],Load [lbs]"), "'lbs' is a mass"),
    "millinewton": (csv(body(), "Time [s],Position [mm],Force [mN]"), "'mN' is no unit"),
    "voltage": (csv(body(), "Time [s],Position [mm],Load [mV]"), "'mV' is no unit of force"),
    "unit contradicts the units row": (
        csv(["s,mm,N", *body()], "Time [s],Position [mm],Force [kN]"),
        "'kN and N' is no unit",
    ),
    "two forces": (
        csv([b + ",1" for b in body()], "Time [s],Position [mm],Force 1 [kN],Force 2 [kN]"),
        "may all be the force",
    ),
    "the same heading twice": (
        csv([b + ",1" for b in body()], "Time [s],Position [mm],Force [kN],Force [kN]"),
        "may all be the force",
    ),
    "no force column": (csv(body(), "Time [s],Position [mm],Temperature [C]"), "no force column"),
    "no time column": (csv(body(), "Position [mm],Speed [mm/s],Force [kN]"), "no time column"),
    "header too short": (csv(body(), "time_s,force_kN"), "header names 2 columns, the rows"),
    "header too long": (csv(body(), HEAD + ",extra"), "header names 4 columns, the rows"),
    "decimal comma between commas": (
        csv([f"{i},1,{i},25" for i in range(40)], "time_s,force_kN"),
        "decimal comma the columns need another delimiter",
    ),
    "short row": (changed(20, "2.0,10.0"), "row 22: 2 fields"),
    "long row": (changed(20, "2.0,10.0,5.0,7"), "row 22: 4 fields"),
    "short and long row": (
        csv([*body()[:10], "1.0,5.0", "1.1,5.5,2.75,9", *body()[12:]]),
        "row 12: 2 fields",
    ),
    "extra field in every row": (csv([b + ",1" for b in body()]), "header names 3 columns"),
    "text in a number": (changed(20, "2.0,10.0,over"), "row 22, column force_kN: 'over'"),
    "decimal comma in one row": (
        (
            "\n".join(
                [
                    "t [s];Weg [mm];Kraft [kN]",
                    *[b.replace(",", ";") for b in body()],
                    "4.0;20.0;10,5",
                    "4.1;20.5;10.6",
                ]
            )
        ).encode(),
        "row 42, column Kraft .*decimal comma",
    ),
    "thousands separator": (
        (
            "\n".join(
                [
                    "t [s];Weg [mm];Kraft [N]",
                    *[b.replace(",", ";") for b in body()],
                    "4.0;20.0;1,234.5",
                    "4.1;20.5;10.6",
                ]
            )
        ).encode(),
        "thousands separators are not read",
    ),
    "1,234 by tabs": (
        "\n".join(["Time [s]\tForce [N]", *[f"{i}\t1,{i + 200}" for i in range(1, 40)]]).encode(),
        "may be 1201 or 1.201",
    ),
    "1,234 in quotes": (
        "\n".join(
            ['"Time [s]","Force [N]"', *[f'"{i}","1,{i + 200}"' for i in range(1, 40)]]
        ).encode(),
        "may be 1201 or 1.201",
    ),
    "typographic minus": (changed(20, "2.0,10.0,−5.0"), "row 22.*typographic"),
    "too large for a float": (changed(20, "2.0,10.0,1e400"), "row 22, column force_kN: '1e400'"),
    "infinite": (changed(20, "2.0,10.0,inf"), "row 22, column force_kN: 'inf'"),
    "hexadecimal": (changed(20, "2.0,10.0,0x1F"), "row 22, column force_kN: '0x1F'"),
    "underscores": (changed(20, "2.0,10.0,1_000"), "row 22, column force_kN: '1_000'"),
    "fortran exponent": (changed(20, "2.0,10.0,1.5D3"), "row 22, column force_kN: '1.5D3'"),
    "logical": (
        csv([",".join([*b.split(",")[:2], "True"]) for b in body()]),
        "column force_kN: 'True'",
    ),
    "clock times": (
        csv([f"12:00:{i:02d},{i},{i}" for i in range(40)]),
        "column time_s: '12:00:00'",
    ),
    "two logs in one": (csv([*body(), HEAD, *body()]), "row 42, column time_s: 'time_s'"),
    "a second header of another kind": (csv([*body(), "Run 2", *body()]), "row 42: 1 field"),
    "time stands still": (
        csv([f"1.0,{i},{i * 0.3:.2f}" for i in range(40)]),
        "time never moves on",
    ),
    "odd number of utf-16 bytes": (
        csv(body()).decode().encode("utf-16") + b"\x41",
        "not readable as utf-16",
    ),
    "one endless line": (b"1.0,2.0;" * 200_000, ""),
    "thousands of columns": (
        (",".join(f"c{i}" for i in range(5000)) + "\n").encode()
        + (",".join("1" for _ in range(5000)) + "\n").encode() * 9,
        "no rows of numbers",
    ),
    "a heading of a hundred thousand blanks": (
        csv(body(), "time_s,position_mm,Force" + " " * 100_000 + "["),
        "no force column",
    ),
    "quotes left open": (changed(20, '2.0,"10.0,5.0'), "row 22"),
    "force all empty": (csv([",".join([*b.split(",")[:2], ""]) for b in body()]), ""),
    "not a workbook": (b"PK\x03\x04" + bytes(100), "not readable as a workbook"),
    "broken tdms": (b"TDSm" + bytes(range(200)), "TDMS|no channel"),
    "broken parquet": (b"PAR1" + bytes(100) + b"PAR1", "Parquet"),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_a_malformed_log_is_refused_in_one_line(tmp_path, kind):
    content, match = REFUSED[kind]
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    with pytest.raises(InputError, match=match or "log.csv") as caught:
        read_log(path)
    message = str(caught.value)
    assert "\n" not in message
    assert len(message) < 1200
    assert "expected" in message


def test_at_least_forty_kinds():
    assert len(REFUSED) + len(NOTICED) >= 40


def _pull() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    truth = LogTruth(sample_rate_Hz=200, force_noise_N=5.0)
    log = simulate_log(truth, np.random.default_rng(8))
    return log.time_s.copy(), log.position_m * 1e3, log.force_N / 1e3


def _write(path, time, position, force) -> None:
    lines = [f"{t:.8g},{p:.8g},{f:.8g}" for t, p, f in zip(time, position, force, strict=True)]
    path.write_bytes(csv(lines))


def _doubled(t, p, f):
    again = np.sort(np.concatenate([np.arange(len(t)), np.arange(100, 120)]))
    return t[again], p[again], f[again]


def _dropped(t, p, f):
    keep = np.r_[0:200, 230 : len(t)]
    return t[keep], p[keep], f[keep]


def _gap_at_peak(t, p, f):
    peak = int(np.argmax(f))
    keep = np.r_[0 : peak - 10, peak + 1 : len(t)]
    return t[keep], p[keep], f[keep]


def _backwards(t, p, f):
    t[300:] -= 1.0
    return t, p, f


def _saturated(t, p, f):
    return t, p, np.minimum(f, 9.5)


def _spike(t, p, f):
    f[500] = 15.0
    return t, p, f


def _coarse(t, p, f):
    return np.floor(t * 20) / 20, p, f


def _empty_cells(t, p, f):
    f[100:110] = np.nan
    return t, p, f


def _second(t, p, f):
    return np.r_[t, t[-1] + 0.005 + t], np.r_[p, p], np.r_[f, f * 0.9]


def _speed(t, p, f):
    half = int(np.argmax(f > 0.75 * f.max()))
    later = t.copy()
    later[half:] = t[half] + (t[half:] - t[half]) * 2
    return later, p, f


NOTICED = {
    "samples doubled": (_doubled, "samples-doubled"),
    "samples dropped": (_dropped, "samples-dropped"),
    "samples dropped at the peak": (_gap_at_peak, "gap-at-peak"),
    "time runs backwards": (_backwards, "time-backwards"),
    "rows reversed": (lambda t, p, f: (t[::-1], p[::-1], f[::-1]), "rows-reversed"),
    "tension negative": (lambda t, p, f: (t, p, -f), "force-sign-reversed"),
    "position reversed": (lambda t, p, f: (t, 50 - p, f), "position-sign-reversed"),
    "load cell saturated": (_saturated, "saturated"),
    "force offset": (lambda t, p, f: (t, p, f + 0.2), "force-offset"),
    "spike": (_spike, "spike-at-peak"),
    "clock too coarse": (_coarse, "time-coarse"),
    "cells empty": (_empty_cells, "samples-missing"),
    "two pulls": (_second, "second-pull"),
    "speed changes": (_speed, "speed-not-constant"),
    "position stands still": (lambda t, p, f: (t, p * 0 + 7.0, f), "position-still"),
    "cut at the peak": (
        lambda t, p, f: (t[: np.argmax(f) + 1], p[: np.argmax(f) + 1], f[: np.argmax(f) + 1]),
        "log-ends-at-peak",
    ),
    "starts under load": (lambda t, p, f: (t[400:], p[400:], f[400:]), "starts-under-load"),
    "every fortieth sample": (lambda t, p, f: (t[::40], p[::40], f[::40]), "few-samples"),
}


@pytest.mark.parametrize("kind", NOTICED)
def test_what_a_log_can_not_know_is_a_finding(tmp_path, kind):
    change, code = NOTICED[kind]
    path = tmp_path / "log.csv"
    _write(path, *change(*_pull()))
    record = reduce_log(read_log(path), ReductionSettings(free_length_m=0.5))
    assert code in {p.code for p in record.findings}
    low, high = record.peak_low_by_at_most_N, record.peak_high_by_at_most_N
    assert record.peak_force_N - high <= 12_000.0 <= record.peak_force_N + low


def test_a_sound_log_has_no_finding(tmp_path):
    path = tmp_path / "log.csv"
    _write(path, *_pull())
    record = reduce_log(read_log(path), ReductionSettings(free_length_m=0.5))
    assert record.findings == ()


def test_a_flat_log_is_no_pull(tmp_path):
    path = tmp_path / "log.csv"
    rng = np.random.default_rng(1)
    _write(path, np.arange(500) * 0.1, np.arange(500) * 0.1, 0.01 * rng.standard_normal(500))
    with pytest.raises(InputError, match=r"log.csv, column force_kN: no pull"):
        reduce_log(read_log(path))


def test_places_that_are_no_file(tmp_path):
    with pytest.raises(InputError, match=r"absent.csv: no such file"):
        read_log(tmp_path / "absent.csv")
    with pytest.raises(InputError, match="a folder"):
        read_log(tmp_path)
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    with pytest.raises(InputError, match="no such file"):
        read_log(pipe)
    with pytest.raises(InputError, match=r"not readable|no such file"):
        read_log("log\0.csv")


def test_mapping_that_does_not_fit(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(csv(body()))
    with pytest.raises(InputError, match="force_column 'Kraft' is not there"):
        read_log(path, LogMapping(force_column="Kraft"))
    with pytest.raises(InputError, match="force_column is 9, the file has 3 columns"):
        read_log(path, LogMapping(force_column=9))
    with pytest.raises(InputError, match="the file says 'kN', force_unit says 'N'"):
        read_log(path, LogMapping(force_unit="N"))
    with pytest.raises(InputError, match="force_unit 'mm' is no unit of force"):
        read_log(path, LogMapping(force_unit="mm"))
    path.write_bytes(csv(body(), "A,B,C"))
    twice = LogMapping("A", "s", "B", "mm", "B", "kN")
    with pytest.raises(InputError, match="one column is given two roles"):
        read_log(path, twice)


def test_fuzzed_logs_never_raise_anything_else(tmp_path):
    """Bytes struck out, doubled and overwritten at random: a log, or one line."""
    rng = np.random.default_rng(20261125)
    source = tmp_path / "good.csv"
    write_log_csv(simulate_log(LogTruth(sample_rate_Hz=20), rng), source)
    good = source.read_bytes()
    path = tmp_path / "log.csv"
    read = refused = 0
    lines: list[int] = []
    for _ in range(400):
        data = bytearray(good)
        for _ in range(int(rng.integers(1, 3))):
            at, length = int(rng.integers(len(data))), int(rng.integers(1, 8))
            kind = rng.integers(4)
            if kind == 0:
                del data[at : at + length]
            elif kind == 1:
                data[at:at] = data[at : at + length]
            elif kind == 2:
                data[at : at + 1] = rng.bytes(1)
            else:
                data[at:at] = bytes(rng.choice(list(b',;\t"\n\r .-eE0\x00\xff'), length).tolist())
        path.write_bytes(bytes(data))
        try:
            record = reduce_log(read_log(path), ReductionSettings(free_length_m=0.5))
        except InputError as error:
            refused += 1
            lines.append(str(error).count("\n"))
        else:
            assert np.isfinite(record.peak_force_N)
            read += 1
    assert not any(lines)
    assert read > 20
    assert refused > 100


def test_fuzzed_archives_never_raise_anything_else(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    pytest.importorskip("python_calamine")
    book = openpyxl.Workbook()
    book.active.append(HEAD.split(","))
    for line in body():
        book.active.append([float(x) for x in line.split(",")])
    good = tmp_path / "good.xlsx"
    book.save(good)
    rng = np.random.default_rng(11)
    data = good.read_bytes()
    path = tmp_path / "log.xlsx"
    refused = 0
    lines: list[int] = []
    for _ in range(150):
        broken = bytearray(data)
        for _ in range(int(rng.integers(1, 8))):
            broken[int(rng.integers(4, len(broken)))] = int(rng.integers(256))
        path.write_bytes(bytes(broken[: int(rng.integers(len(broken) // 2, len(broken) + 1))]))
        try:
            log = read_log(path)
        except InputError as error:
            refused += 1
            lines.append(str(error).count("\n"))
        else:
            assert len(log) >= 5
    assert not any(lines)
    assert refused > 50
    assert zipfile.is_zipfile(good)

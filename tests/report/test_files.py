"""Writing: whole or not at all, nothing before everything is rendered, nothing emptied."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from ratemodel.analysis import Analysis
from ratemodel.errors import InputError
from ratemodel.report import files as report
from ratemodel.writing import write_folder, write_whole


def test_written_and_not_emptied(small: Analysis, files: dict[str, bytes], tmp_path: Path) -> None:
    out = tmp_path / "deep" / "out"
    out.mkdir(parents=True)
    (out / "mine.txt").write_text("keep")
    written = report.write_report(small, out)
    assert (out / "mine.txt").read_text() == "keep"
    assert {p.name for p in out.iterdir()} == {p.name for p in written} | {"mine.txt"}
    # rendered twice, the same bytes: pictures included
    assert files == {p.name: p.read_bytes() for p in written}


def test_a_fault_in_rendering_writes_nothing(
    small: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: object) -> bytes:
        raise ValueError("made to fail")

    monkeypatch.setattr(report, "results_bytes", fail)
    with pytest.raises(ValueError, match="made to fail"):
        report.write_report(small, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_an_interrupted_write_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "results.json"
    write_whole(target, b"old")

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["results.json"]


def test_ordinary_permissions(tmp_path: Path) -> None:
    plain = tmp_path / "plain"
    plain.write_bytes(b"")
    made = write_whole(tmp_path / "made", b"x")
    assert made.stat().st_mode == plain.stat().st_mode


def test_no_folder_there(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="can not write to"):
        write_folder(tmp_path / "file" / "out", {"a": b""})
    with pytest.raises(InputError, match="can not write to"):
        write_whole(tmp_path / "missing" / "a", b"")

"""The command line: exit status, one line for bad input, nothing written, help at once."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from ratemodel import cli
from ratemodel.demo import demo_folder

FAST = ["--draws", "1000"]


def run(*arguments: str) -> int:
    try:
        return cli.main(arguments)
    except SystemExit as stop:
        return int(stop.code or 0)


def test_analyse(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    code = run("analyse", str(folder), "--out", str(out), "--rate", "1e-2", "--rate", "3.0",
               "--seed", "7", "--level", "0.8", "--bound", "99/95", *FAST)  # fmt: skip
    assert code == 0
    found = json.loads((out / "results.json").read_text(encoding="utf-8"))
    assert (found["seed"], found["draws"]) == (7, 1000)
    series = found["series"][0]
    assert (series["level"], series["bound"]) == (0.8, {"fraction": 0.99, "confidence": 0.95})
    rates = {row["strain_rate_per_s"] for row in series["curve"]}
    assert {0.01, 3.0} <= rates
    said = capsys.readouterr()
    assert said.err == ""
    for part in ("At the rate of use drop", "rating / design factor", "certified equipment",
                 "decades beyond the tested rates", "99 % of them", "report.html"):  # fmt: skip
        assert part in said.out
    assert "\x1b" not in said.out


def test_same_seed_same_bytes(make_campaign: Callable[..., Path], tmp_path: Path) -> None:
    where = make_campaign(tmp_path / "campaign", cut="[use.gust]")
    for name in ("a", "b"):
        assert run("analyse", str(where), "--out", str(tmp_path / name), *FAST) == 0
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()


def _one_line(text: str) -> str:
    assert text.count("\n") == 1
    assert "Traceback" not in text
    return text.strip()


def test_bad_input_writes_nothing(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = tmp_path / "bad"
    bad.mkdir()
    (bad / "campaign.toml").write_bytes((folder / "campaign.toml").read_bytes())
    table = (
        (folder / "breaks.csv")
        .read_text()
        .replace('A02,"cord",S2,frame,2,', 'A02,"cord",S2,frame,-2,')
    )
    (bad / "breaks.csv").write_text(table)
    assert run("analyse", str(bad), "--out", str(tmp_path / "out"), *FAST) == 2
    said = capsys.readouterr()
    line = _one_line(said.err)
    assert "breaks.csv, row 3, column speed_mm_per_min" in line
    assert "expected" in line
    assert said.out == ""
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["analyse", "nowhere", "--out", "x"], "nowhere"),
        (["analyse"], "CAMPAIGN"),
        (["analyse", "c", "--out", "x", "--rate", "-1"], "strain rate"),
        (["analyse", "c", "--out", "x", "--rate", "nan"], "strain rate"),
        (["analyse", "c", "--out", "x", "--rate", "1e400"], "strain rate"),
        (["analyse", "c", "--out", "x", "--rate", "fast"], "not a number"),
        (["analyse", "c", "--out", "x", "--seed", "-3"], "whole number"),
        (["analyse", "c", "--out", "x", "--draws", "10"], "1000"),
        (["analyse", "c", "--out", "x", "--draws", "1e3"], "whole number"),
        (["analyse", "c", "--out", "x", "--level", "1"], "0.5 to 0.999"),
        (["analyse", "c", "--out", "x", "--bound", "95"], "95/95"),
        (["analyse", "c", "--out", "x", "--bound", "95/100"], "95/95"),
        (["analyze"], "invalid choice"),
        ([], "COMMAND"),
        (["reduce", "none.csv", "--out", "x.csv"], "none.csv"),
        (["reduce", "none.csv", "--out", "x.csv", "--free-length-mm", "0"], "above 0"),
    ],
)
def test_wrong_arguments(
    arguments: list[str], words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    assert run(*arguments) == 2
    assert words in _one_line(capsys.readouterr().err)
    assert list(tmp_path.iterdir()) == []


def test_out_that_is_a_file(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("mine")
    for out in (tmp_path / "file", tmp_path / "file" / "deeper"):
        assert run("analyse", str(folder), "--out", str(out), *FAST) == 2
        assert "is no folder" in _one_line(capsys.readouterr().err)
    assert (tmp_path / "file").read_text() == "mine"


def test_a_fault_is_told_apart(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    def fail(*_: object) -> int:
        raise ZeroDivisionError("made\nto fail")

    monkeypatch.setattr("ratemodel.commands.analyse_folder", fail)
    monkeypatch.delenv(cli.TRACEBACK, raising=False)
    assert run("analyse", str(folder), "--out", str(tmp_path / "o")) == 1
    line = _one_line(capsys.readouterr().err)
    assert "a fault in the program (ZeroDivisionError: made to fail)" in line
    monkeypatch.setenv(cli.TRACEBACK, "1")
    with pytest.raises(ZeroDivisionError, match="to fail"):
        cli.main(["analyse", str(folder), "--out", str(tmp_path / "o")])


def test_demo(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("demo", "--out", str(tmp_path / "out"), *FAST) == 0
    said = capsys.readouterr().out
    assert str(tmp_path / "out" / "report.html") in said
    assert "jupyter lab notebooks" in said
    assert "invented" in said
    assert said.strip().splitlines()[-1].endswith("certified equipment.")
    names = {p.name for p in (tmp_path / "out").iterdir()}
    assert {"results.json", "report.html", "report.md"} <= names
    assert demo_folder().name == "kite-tether"


def test_reduce(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    logs = sorted((demo_folder() / "logs").glob("*.csv"))[:2]
    out = tmp_path / "rows.csv"
    assert run("reduce", *map(str, logs), "--out", str(out), "--free-length-mm", "500") == 0
    assert len(out.read_text().splitlines()) == 3
    said = capsys.readouterr().out
    assert "2 rows written" in said
    assert "not a working load" in said
    bad = tmp_path / "bad.csv"
    bad.write_text("nothing here")
    pictures = tmp_path / "pictures"
    done = run("reduce", str(logs[0]), str(bad), "--out", str(out), "--pictures", str(pictures))
    assert done == 0
    assert "left out" in (said := _one_line(capsys.readouterr().err))
    assert "bad.csv" in said
    assert len(out.read_text().splitlines()) == 2
    assert [p.read_bytes()[:4] for p in pictures.iterdir()] == [b"\x89PNG"]
    kept = out.read_bytes()
    assert run("reduce", str(bad), "--out", str(out)) == 2
    assert "bad.csv" in _one_line(capsys.readouterr().err)
    assert out.read_bytes() == kept


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["analyse", "--help"]])
def test_help_loads_nothing_heavy(arguments: list[str]) -> None:
    code = (
        "import sys\nfrom ratemodel.cli import main\n"
        f"try:\n    main({arguments!r})\nexcept SystemExit as stop:\n    assert not stop.code\n"
        "heavy = {'numpy', 'scipy', 'pandas', 'lmfit', 'matplotlib'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "ratemodel" in done.stdout


def test_module_runs(make_campaign: Callable[..., Path]) -> None:
    done = subprocess.run([sys.executable, "-m", "ratemodel", "--version"], capture_output=True,
                          text=True)  # fmt: skip
    assert done.returncode == 0
    assert done.stdout.startswith("ratemodel ")


def test_commands_are_rows_of_a_table() -> None:
    names = [c.name for c in cli.COMMANDS]
    assert len(set(names)) == len(names)
    assert {"analyse", "demo", "reduce"} <= set(names)

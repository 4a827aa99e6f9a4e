"""The README: two commands, pictures that are there and described, a first chart that runs."""

from __future__ import annotations

import re
import struct
from pathlib import Path

import pytest

import ratemodel as rm
from ratemodel.cli import COMMANDS

ROOT = Path(__file__).resolve().parents[1]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


def test_there_are_exactly_two_commands() -> None:
    commands = re.findall(r"^    (\S.*)$", TEXT, flags=re.M)
    outside = [c for c in commands if c not in "\n".join(_python())]
    assert len(outside) == 2
    assert outside[0].startswith("python3 -m venv")
    assert ".[tests]" in outside[1]
    assert not re.search(r"^```(?!python$|$)", TEXT, flags=re.M)


def _python() -> list[str]:
    return re.findall(r"^```python\n(.*?)^```$", TEXT, flags=re.M | re.S)


def test_the_first_chart_takes_less_than_ten_lines_and_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (code,) = _python()
    assert len([line for line in code.splitlines() if line.strip()]) < 10
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    exec(code, names)
    png = (tmp_path / "strength-against-rate.png").read_bytes()
    assert struct.unpack(">II", png[16:24]) == (1200, 675)
    assert "alt=" in rm.charts.picture(names["chart"])._repr_html_()


def test_pictures_are_there_and_described() -> None:
    pictures = re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", TEXT)
    assert len(pictures) == 3
    for words, path in pictures:
        assert len(words) > 100
        assert "working load" in words
        assert (ROOT / path).stat().st_size < 150_000


def test_notebooks_and_commands_named_are_those_there_are() -> None:
    notebooks = {p.stem for p in (ROOT / "notebooks").glob("*.ipynb")}
    assert set(re.findall(r"`(\d\d-[a-z-]+)`", TEXT)) == notebooks
    assert all(f"`{command.name}`" in TEXT for command in COMMANDS)

"""The post: plain findings, pictures in two sizes, units as the reader likes, PDF where wanted."""

from __future__ import annotations

import json
import re
import struct
from pathlib import Path

import pytest

from ratemodel.analysis import Analysis
from ratemodel.cli import main
from ratemodel.errors import InputError
from ratemodel.report import pdf as pdf_module
from ratemodel.report import post as post_module
from ratemodel.report.blocks import Picture
from ratemodel.report.files import render
from ratemodel.report.pdf import to_pdf
from ratemodel.report.pictures import draw_post
from ratemodel.report.post import NOT_SAID, render_post
from ratemodel.report.show import html, text
from ratemodel.units import UNITS, Units
from ratemodel.words import CAUTION, html_escape, limit_text

IMPERIAL = Units.parse("lbf,in/min")
Drawn = tuple[dict[str, Picture], dict[str, bytes]]


@pytest.fixture(scope="module")
def drawn(small: Analysis) -> Drawn:
    return draw_post(small, IMPERIAL)


@pytest.fixture(scope="module")
def post(small: Analysis, drawn: Drawn) -> dict[str, bytes]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(post_module, "draw_post", lambda *_: drawn)
        return render_post(small, units=IMPERIAL)


def size(png: bytes) -> tuple[int, int]:
    return struct.unpack(">II", png[16:24])


def test_pictures_come_in_two_sizes(post: dict[str, bytes]) -> None:
    for name in ("strength-vs-rate-cord", "demand-drop", "demand-gust", "steps-drop",
                 "limits-moored", "next-test"):  # fmt: skip
        assert size(post[f"{name}-post.png"]) == (1200, 675)
        assert size(post[f"{name}-square.png"]) == (1080, 1080)
    assert "demand-given-post.png" not in post


def test_markdown_names_pictures_that_are_there(post: dict[str, bytes]) -> None:
    named = re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", post["post.md"].decode())
    assert len(named) >= 12
    for words, name in named:
        assert len(words) > 60
        assert name in post


def test_findings_are_plain_and_no_guarantee(post: dict[str, bytes], small: Analysis) -> None:
    page = post["post.html"].decode()
    first = page.index("At the rate of use drop")
    assert first < page.index("What this does not say") < page.index("Methods, data and versions")
    assert all(said in page for said in NOT_SAID)
    assert page.count(html_escape(CAUTION)) >= 1 + len(small.series) + len(small.uses)
    assert small.campaign.sha256 in page
    assert "numpy" in page
    lay = page.lower()
    assert "guarantee" not in lay
    assert not re.search(r"\bis safe\b", lay.replace("any line is safe", ""))


def test_every_strength_is_in_the_units_wanted(post: dict[str, bytes], small: Analysis) -> None:
    page = post["post.html"].decode()
    visible = re.sub(r'src(set)?="[^"]*"', "", page)
    assert not re.search(r"\d kN\b", visible)
    assert re.search(r"\d lbf\b", visible)
    assert re.search(r"\d in/min", visible)
    bound = small.uses[0].strength.lower_bound / UNITS["lbf"].factor
    assert limit_text(bound, "lbf") in visible


def test_units_change_what_is_shown_and_not_the_results(small: Analysis) -> None:
    plain, other = render(small), render(small, IMPERIAL)
    assert plain["results.json"] == other["results.json"]
    visible = re.sub(r'src(set)?="[^"]*"', "", other["report.html"].decode())
    assert not re.search(r"\d kN\b", visible)
    assert "mm/min" in plain["report.html"].decode()
    assert "mm/min" not in visible
    assert "lbf" in text(small, "lbf")
    assert "kN" not in html(small.uses[0], "kgf")
    assert list(json.loads(plain["results.json"])) == list(json.loads(other["results.json"]))


def test_pdf(small: Analysis, drawn: Drawn) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    pictures, images = drawn
    blocks = post_module.post(small, pictures, IMPERIAL)
    data = to_pdf(blocks, images, title="small")
    assert data.startswith(b"%PDF-")
    assert data == to_pdf(blocks, images, title="small")
    # one picture object for every picture of the post
    assert data.count(b"/Subtype /Image") >= 12


def test_a_pdf_without_its_package_writes_nothing(
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def missing() -> None:
        raise InputError("a PDF needs the package fpdf2", 'pip install "ratemodel[pdf]"')

    monkeypatch.setattr(pdf_module, "check_pdf", missing)
    assert main(["report", str(folder), "--out", str(tmp_path / "out"), "--pdf"]) == 2
    assert "ratemodel[pdf]" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_command(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    words = ["report", str(folder), "--out", str(out), "--draws", "1000", "--units", "lbf,in/min"]
    assert main(words) == 0
    assert (out / "post.html").is_file()
    assert (out / "post.md").is_file()
    assert not (out / "post.pdf").exists()
    said = capsys.readouterr().out
    assert " lbf" in said
    assert CAUTION[:40] in " ".join(said.split())


@pytest.mark.parametrize("units", ["furlong", "lbf,kN", "lbf,,in/min", "s"])
def test_wrong_units_are_one_line(
    units: str, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["analyse", str(folder), "--out", str(tmp_path / "out"), "--units", units])
    assert len(capsys.readouterr().err.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()

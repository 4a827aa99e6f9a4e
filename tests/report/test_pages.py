"""report.html and report.md: what they say, that text from data stays text, contrast."""

from __future__ import annotations

import base64
import re
from html.parser import HTMLParser

import pytest

from ratemodel.analysis import Analysis
from ratemodel.charts.palette import DARK, LIGHT, colours, darken
from ratemodel.report.blocks import Bullets, Fold, Heading, Picture, Table, Text
from ratemodel.report.files import render
from ratemodel.report.html import to_fragment, to_page
from ratemodel.report.markdown import escape, to_markdown
from ratemodel.report.page_style import CSS
from ratemodel.report.plain import to_plain
from ratemodel.report.show import blocks, html, text
from ratemodel.words import limit_text

VOID = {"meta", "img", "source", "link", "br"}


class Page(HTMLParser):
    """Collects tags, text and images, and checks that tags nest."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.feed(page)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def page(files: dict[str, bytes]) -> Page:
    return Page(files["report.html"].decode())


def test_every_file_is_there(files: dict[str, bytes]) -> None:
    names = set(files)
    assert {"results.json", "report.html", "report.md", "strength-vs-rate-cord.svg",
            "strength-vs-rate-cord.png", "next-test.svg"} <= names  # fmt: skip
    for use in ("drop", "gust", "given", "moored"):
        assert {f"steps-{use}.svg", f"models-{use}.svg", f"limits-{use}.svg"} <= names
    assert list(files)[-1] == "results.json"


def test_answers_stand_first_with_the_caution(page: Page, small: Analysis) -> None:
    told = page.text
    first = told.index("At the rate of use drop")
    assert first < told.index("certified equipment") < told.index("strength against rate")
    for use in small.uses:
        bound = limit_text(use.strength.lower_bound / 1e3, "kN")
        assert f"hold more than {bound}" in told
        for row in use.limits:
            assert limit_text(row.value / 1e3, "kN") in told
    assert told.count("certified equipment") >= 1 + 2 * len(small.uses)
    assert "guarantee" not in told.lower()


def test_page_has_what_a_reader_needs(page: Page, small: Analysis) -> None:
    for wanted in ("What to test next", "Findings", "Screening", "Methods", small.campaign.sha256,
                   "seed", "numpy", "Prior knowledge", "heat balance", "beyond the tested rates",
                   "odds", "termination"):  # fmt: skip
        assert wanted in page.text


def test_page_is_closed_in_itself(files: dict[str, bytes], page: Page) -> None:
    """Nothing is fetched: no address, every picture inside, and a policy that forbids the rest."""
    raw = files["report.html"].decode()
    for _, attributes in page.tags:
        for key in ("src", "srcset", "href"):
            if attributes.get(key):
                assert attributes[key].startswith("data:image/svg+xml;base64,")
    assert not {"script", "link", "iframe", "object"} & {tag for tag, _ in page.tags}
    assert "default-src 'none'" in raw
    assert "url(" not in CSS
    assert "@import" not in CSS


def test_pictures_carry_their_words(page: Page) -> None:
    images = [a for tag, a in page.tags if tag == "img"]
    assert len(images) >= 14
    for image in images:
        assert image["alt"]
        svg = base64.b64decode(image["src"].split(",")[1]).decode()
        assert "<title" in svg
        assert "<desc" in svg
        drawn = re.sub(r"<metadata>.*</metadata>", "", svg, flags=re.DOTALL)
        assert not re.search(r'href="(?!#)|url\((?!#)', drawn)


def test_names_that_try_to_be_markup(nasty: Analysis) -> None:
    files = render(nasty)
    raw = files["report.html"].decode()
    assert "<script" not in raw.lower()
    page = Page(raw)
    assert "script" not in {tag for tag, _ in page.tags}
    assert "breaks on average" in page.text
    assert '<script>alert("1")</script> & $x$ | *b* `c`' in page.text
    markdown = files["report.md"].decode()
    assert "<script" not in markdown.lower()
    assert r"\$x\$ \| \*b\* \`c\`" in markdown
    for name, data in files.items():
        assert re.fullmatch(r"[A-Za-z0-9._-]+", name)
        if name.endswith(".svg"):
            assert b"<script" not in data.lower()
    fragment = html(nasty)
    assert "<script" not in fragment.lower()


def test_markdown_tables_keep_their_columns(files: dict[str, bytes]) -> None:
    lines = files["report.md"].decode().splitlines()
    widths: list[int] = []
    for line in lines:
        if line.startswith("|"):
            widths.append(len(re.findall(r"(?<!\\)\|", line)))
        elif widths:
            assert len(set(widths)) == 1
            widths = []
    linked = re.findall(r"\]\(([^)]+)\)", "\n".join(lines))
    assert linked
    assert set(linked) <= set(files)


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ("1. first", "1\\. first"),
        ("- item", "\\- item"),
        ("# head", "\\# head"),
        ("[a](b)", "\\[a\\](b)"),
        ("<b>&", "&lt;b&gt;&amp;"),
        ("http://x.y", "http&#58;//x.y"),
        ("6.7e-5 /s", "6.7e-5 /s"),
    ],
)
def test_markdown_escape(given: str, expected: str) -> None:
    assert escape(given) == expected


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition; sRGB transfer function)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2)."""
    a, b = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (a + 0.05) / (b + 0.05)


def test_contrast_of_the_formula() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    # WebAIM's published example: #777777 on white is 4.48:1 and just fails
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


def test_page_contrast() -> None:
    """Every text colour on every ground it stands on reaches 4.5:1 (WCAG 2.2 AA)."""
    schemes = re.findall(r"--(\w[\w-]*):(#[0-9a-f]{6})", CSS)
    half = next(i for i, (name, _) in enumerate(schemes) if name == "ink" and i > 0)
    for scheme in (dict(schemes[:half]), dict(schemes[half:])):
        grounds = {"paper": ("ink", "soft"), "wash": ("ink", "soft"), "warn": ("ink", "mark"),
                   "alarm": ("ink", "alarm-ink")}  # fmt: skip
        for ground, inks in grounds.items():
            for ink in inks:
                assert contrast(scheme[ink], scheme[ground]) >= 4.5, (ink, ground)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_chart_contrast(palette: object) -> None:
    for name in ("ink", "soft", "mean", "bound", "use"):
        assert contrast(getattr(palette, name), palette.paper) >= 4.5, name
    assert contrast(palette.ink, palette.wash) >= 4.5
    for colour in palette.machines:
        # marks are graphical objects: 3:1
        assert contrast(colour, palette.paper) >= 3.0, colour


def test_darken_maps_each_colour_once() -> None:
    light, dark = colours(LIGHT), colours(DARK)
    assert not set(light) & set(dark)
    assert len(set(light)) == len(light)
    svg = " ".join(light).encode()
    assert darken(svg) == " ".join(dark).encode()


PARTS = (
    Heading("A <b>", 2),
    Text("lead $x$", "lead"),
    Text("take care", "caution"),
    Bullets(("one", "two | three")),
    Table("cap", ("a", "b"), (("x", "1 | 2"),), (1,)),
    Picture("p.svg", b"<svg/>", 'alt "quoted"'),
    Fold("more", (Text("inside"),)),
)


def test_one_source_for_every_form() -> None:
    page = Page(to_page(PARTS, title="t").decode())
    markdown, plain = to_markdown(PARTS).decode(), to_plain(PARTS)
    for word in ("take care", "two | three", "inside"):
        assert word in page.text
        assert word in plain
        assert escape(word) in markdown
    assert "Caution" in page.text
    assert "Caution: take care" in plain
    assert to_fragment(PARTS).count("<table>") == 1


def test_results_show_themselves(small: Analysis) -> None:
    fit, use = small.series[0].fit, small.uses[0]
    for result in (small, fit, use, use.strength, use.limits[0], small.next_test):
        assert str(result) == text(result)
        assert repr(result).startswith(f"<{type(result).__name__}: ")
        assert "\n" not in repr(result)
        assert len(repr(result)) < 600
        assert Page(result._repr_html_()).text
    for result in (small, fit, use, use.strength, use.limits[0]):
        assert "certified equipment" in str(result)
        assert "certified equipment" in result._repr_html_()
    assert "beyond the tested rates" in str(small)
    with pytest.raises(TypeError, match="int is no result"):
        blocks(3)

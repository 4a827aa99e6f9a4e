"""The page in a real browser: nothing wider than the screen, nothing fetched."""

from __future__ import annotations

from pathlib import Path

import pytest
from browsing import BROWSER, FLAGS, playwright

from ratemodel.analysis import Analysis
from ratemodel.report.post import render_post


@pytest.fixture(scope="module")
def pages(files: dict[str, bytes], small: Analysis) -> dict[str, bytes]:
    return {"report.html": files["report.html"], "post.html": render_post(small)["post.html"]}


@pytest.mark.browser
@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (390, "dark"), (1280, "light")])
def test_fits_the_screen(files: dict[str, bytes], tmp_path: Path, width: int, scheme: str) -> None:
    api = playwright()
    path = tmp_path / "report.html"
    path.write_bytes(files["report.html"])
    asked: list[str] = []
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=BROWSER, args=FLAGS)
        context = browser.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme)
        page = context.new_page()
        page.on("request", lambda request: asked.append(request.url))
        page.goto(path.as_uri())
        wide = page.evaluate("document.documentElement.scrollWidth")
        shown = page.evaluate("[...document.images].every(i => i.complete && i.naturalWidth > 0)")
        paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
        browser.close()
    assert wide <= width
    assert shown
    assert paper == ("rgb(22, 24, 27)" if scheme == "dark" else "rgb(255, 255, 255)")
    assert [a for a in asked if not a.startswith("data:")] == [path.as_uri()]


@pytest.mark.browser
@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (390, "dark"), (1280, "light"),
                                               (1280, "dark")])  # fmt: skip
@pytest.mark.parametrize("name", ["report.html", "post.html"])
def test_reads_well_for_everyone(
    name: str, width: int, scheme: str, pages: dict[str, bytes], tmp_path: Path
) -> None:
    """WCAG 2.1 level A and AA by axe-core, contrast included; every fold open."""
    api = playwright()
    axe = pytest.importorskip("axe_playwright_python.base", reason="axe-core is not installed")
    script = axe.AXE_FILE_PATH.read_text(encoding="utf-8")
    path = tmp_path / name
    path.write_bytes(pages[name])
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=BROWSER, args=FLAGS)
        context = browser.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme)
        page = context.new_page()
        page.goto(path.as_uri())
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        page.evaluate(script)  # the page's own policy forbids a script tag, as it should
        found = page.evaluate("rules => axe.run(rules)", rules)
        wide = page.evaluate("document.documentElement.scrollWidth")
        browser.close()
    checked = {rule["id"] for rule in found["passes"]}
    assert {"color-contrast", "image-alt", "html-has-lang", "document-title"} <= checked
    bad = [(v["id"], [n["html"][:120] for n in v["nodes"]][:3]) for v in found["violations"]]
    assert bad == []
    assert wide <= width

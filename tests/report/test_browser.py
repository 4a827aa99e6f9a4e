"""The page in a real browser: nothing wider than the screen, nothing fetched."""

from __future__ import annotations

from pathlib import Path

import pytest
from browsing import BROWSER, FLAGS, playwright


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

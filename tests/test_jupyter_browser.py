"""JupyterLab in a real browser: notebook 02 runs, a slider moves the number and the picture."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from browsing import BROWSER, FLAGS, jupyterlab, playwright

ROOT = Path(__file__).resolve().parents[1]
NOTEBOOK = "02-strength-at-shock-rate.ipynb"
PICTURE = '.jp-OutputArea img[alt^="What if, use"]'
NUMBER = '.widget-label:has-text("times the demand")'
ERROR = '.jp-OutputArea-output[data-mime-type="application/vnd.jupyter.error"]'
RUN_MS = 40_000


def ran(page: Any, url: str, failed: Path) -> None:
    """Open the notebook and run all its cells; a picture of the page where that takes too long."""
    try:
        _run(page, url)
    except Exception:
        page.screenshot(path=str(failed), full_page=True)
        raise


def _run(page: Any, url: str) -> None:
    page.goto(url)
    page.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=60_000)
    page.wait_for_selector("#jupyterlab-splash", state="detached", timeout=60_000)
    page.wait_for_selector('.jp-Notebook-ExecutionIndicator[data-status="idle"]', timeout=60_000)
    page.wait_for_selector('.jp-StatusBar-Widget :text("| Idle")', timeout=60_000)
    dialog = page.locator(".jp-Dialog button.jp-mod-accept")
    if dialog.count():  # asked for a kernel while one was starting
        dialog.click()
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_text("Run All Cells", exact=True).click()
    page.wait_for_selector(NUMBER, timeout=RUN_MS, state="attached")
    page.wait_for_selector(PICTURE, timeout=60_000, state="attached")


def drag(page: Any, slider: int, by: float) -> None:
    """Drag the handle of one of the panel's sliders sideways."""
    handle = page.locator(".widget-slider .noUi-handle").nth(slider)
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + by, y, steps=8)
    page.mouse.up()


def margin(page: Any) -> tuple[str, float]:
    text = page.locator(NUMBER).first.inner_text()
    return text, float(re.search(r"one line holds ([\d.]+)", text)[1])


@pytest.mark.browser
def test_a_slider_moves_the_answer(tmp_path: Path) -> None:
    api = playwright()
    root = tmp_path / "root"
    root.mkdir()
    shutil.copy(ROOT / "notebooks" / NOTEBOOK, root)
    asked: list[str] = []
    with jupyterlab(tmp_path / "jupyter", root) as (url, token), api.sync_playwright() as play:
        context = play.chromium.launch_persistent_context(
            tmp_path / "profile", executable_path=BROWSER, args=FLAGS,
            viewport={"width": 1280, "height": 1000},
        )  # fmt: skip
        page = context.new_page()
        page.on("request", lambda request: asked.append(request.url))
        ran(page, f"{url}/lab/tree/{NOTEBOOK}?token={token}&reset", tmp_path / "failed.png")
        picture = page.locator(PICTURE).first
        before, source = margin(page), picture.get_attribute("src")
        words = picture.get_attribute("alt")
        drag(page, 0, 60)
        page.wait_for_function(
            "([s, old]) => document.querySelector(s)?.src !== old && "
            "document.querySelector(s)?.naturalWidth > 0", arg=[PICTURE, source], timeout=20_000,
        )  # fmt: skip
        after = margin(page)
        moved = page.locator(PICTURE).first
        words_after = moved.get_attribute("alt")
        moved.scroll_into_view_if_needed()
        shot = page.screenshot(path=str(tmp_path / "panel.png"))
        caution = page.locator('.widget-html:has-text("not a certificate")').first.is_visible()
        failed = page.locator(ERROR).count()
        silent = page.locator('.jp-OutputArea img:not([alt]), .jp-OutputArea img[alt=""]').count()
        context.close()
    # a heavier kite snatches harder: one line holds fewer times the demand
    assert after[1] < before[1]
    assert after[0] != before[0]
    assert words_after != words
    assert words.startswith("What if, use gust: demand against strength")
    assert caution
    assert failed == 0
    assert silent == 0
    assert len(shot) > 20_000
    own = (url, url.replace("http", "ws"), "data:", "blob:")
    elsewhere = [a for a in asked if not a.startswith(own)]
    assert elsewhere == []

"""Every notebook runs from top to bottom, is thin, and is kept without outputs."""

import ast
import json
import re
import warnings
from pathlib import Path

import pytest

import ratemodel as rm

ROOT = Path(__file__).resolve().parents[1]
GALLERY = ROOT / "notebooks" / "00-gallery.ipynb"
NOTEBOOKS = sorted(p for p in (ROOT / "notebooks").glob("*.ipynb") if p != GALLERY)
LONGEST = 5  # lines of a function in a notebook

nbformat = pytest.importorskip("nbformat")
nbclient = pytest.importorskip("nbclient")


def _cells(path, kind):
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return ["".join(c["source"]) for c in cells if c["cell_type"] == kind]


def _python(source):
    return ast.parse(re.sub(r"^%.*$", "", source, flags=re.M))


def test_the_three_stories_are_there():
    names = [p.stem for p in NOTEBOOKS]
    for name in ("01-why-slow-ratings-run-high", "02-strength-at-shock-rate",
                 "03-chart-for-a-post"):  # fmt: skip
        assert name in names


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_runs(path, tmp_path, monkeypatch):
    """Warnings of the notebook's own code are errors, those of the Jupyter machinery are not."""
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    monkeypatch.setenv("JUPYTER_PLATFORM_DIRS", "1")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        notebook = nbformat.read(path, as_version=4)
        strict = "import warnings\nwarnings.filterwarnings('error', module='ratemodel|__main__')"
        notebook.cells.insert(0, nbformat.v4.new_code_cell(strict))
        client = nbclient.NotebookClient(
            notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": tmp_path}}
        )
        client.execute()
    outputs = [o for c in notebook.cells if c.cell_type == "code" for o in c.outputs]
    assert not [o for o in outputs if o.output_type == "error"]
    html = [o.data["text/html"] for o in outputs if "text/html" in o.get("data", {})]
    assert any(re.search(r'<img src="data:image/svg\+xml;base64,[^"]+" alt="[^"]{80,}"', h)
               for h in html)  # fmt: skip
    printed = "".join(o.text for o in outputs if o.output_type == "stream" and o.name == "stdout")
    assert "An estimate" in printed or "not a substitute" in printed


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_is_kept_without_outputs(path):
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
        if cell["cell_type"] == "code":
            assert cell["outputs"] == []
            assert cell["execution_count"] is None


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_is_thin_and_tells_a_story(path):
    code, text = _cells(path, "code"), _cells(path, "markdown")
    assert "**Question.**" in text[0]
    assert any(t.startswith("## Answer") for t in text)
    assert "assert " in code[-1]
    assert sum("CAMPAIGN =" in c for c in code) == 1
    assert "CAMPAIGN =" in code[0]
    for source in code:
        for node in ast.walk(_python(source)):
            if isinstance(node, ast.FunctionDef):
                assert node.end_lineno - node.lineno < LONGEST


def _shown(path):
    """Source of every code cell, and the HTML that it shows."""
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
        if cell["cell_type"] == "code":
            html = [o["data"]["text/html"] for o in cell["outputs"] if "text/html" in o["data"]]
            yield "".join(cell["source"]), "".join("".join(h) for h in html)


def test_the_gallery_keeps_a_picture_with_words_of_every_chart():
    """A chart is drawn in the gallery unless it needs lives or a study, which the demo has not."""
    assert GALLERY.stat().st_size < 1.5e6
    cells = list(_shown(GALLERY))
    for source, html in cells:
        assert ("show(" in source) == ("<img" in html) or "partial" in source
        if "<img" in html:
            assert re.search(r' alt="[^"]{80,}"', html)
    drawn = {name for name in rm.charts.__all__ if any(f"charts.{name}(" in s for s, _ in cells)}
    others = {"alt_lab", "alt_text", "Picture", "picture", "save_figure"}
    assert set(rm.charts.__all__) - drawn - others == {
        "coverage_chart", "life_chart", "force_against_strain"}  # fmt: skip


def test_words_survive_where_a_notebook_is_made_a_page():
    nbconvert = pytest.importorskip("nbconvert", reason="nbconvert comes with JupyterLab")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        page, _ = nbconvert.HTMLExporter().from_filename(str(GALLERY))
    told = [re.search(r' alt="([^"]+)"', html)[1] for _, html in _shown(GALLERY) if "<img" in html]
    assert len(told) > 15
    assert all(f'alt="{words}"' in page for words in told)

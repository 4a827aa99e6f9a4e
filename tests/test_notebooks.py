"""Every notebook runs from top to bottom, is thin, and is kept without outputs."""

import ast
import json
import re
import warnings
from pathlib import Path

import pytest

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

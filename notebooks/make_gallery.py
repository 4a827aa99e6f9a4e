"""Run the gallery notebook and keep its outputs: ``python notebooks/make_gallery.py``."""

from __future__ import annotations

import tempfile
from pathlib import Path

import nbformat
from nbclient import NotebookClient

GALLERY = Path(__file__).with_name("00-gallery.ipynb")


def main() -> None:
    notebook = nbformat.read(GALLERY, as_version=4)
    with tempfile.TemporaryDirectory() as folder:
        NotebookClient(notebook, timeout=600, kernel_name="python3", record_timing=False,
                       resources={"metadata": {"path": folder}}).execute()  # fmt: skip
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)
        for output in cell.get("outputs", []):
            # the text form of a picture is its words, which the HTML has already
            output.get("data", {}).pop("text/plain", None)
    notebook.metadata.pop("language_info", None)
    nbformat.write(notebook, GALLERY)
    print(f"{GALLERY.name}: {GALLERY.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()

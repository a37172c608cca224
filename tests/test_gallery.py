"""The gallery runs, cell by cell, and is written as notebooks."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path

import matplotlib
import pytest

ROOT = Path(__file__).parents[1]
FILES = sorted((ROOT / "docs" / "gallery").glob("*.py"))


def tool():
    spec = importlib.util.spec_from_file_location("gallery_tool", ROOT / "tools" / "gallery.py")
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_cell_runs(path, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    matplotlib.use("Agg")
    found = tool().cells(path.read_text("utf-8"))
    assert [kind for kind, _ in found].count("code") >= 3 and found[0][0] == "markdown"
    names = {}
    for number, (kind, text) in enumerate(found, 1):
        if kind == "code":
            exec(compile(text, f"{path.name}, cell {number}", "exec"), names)
    assert list(tmp_path.iterdir()) == [], "a notebook leaves nothing where it is run"
    matplotlib.pyplot.close("all")


@pytest.mark.published(
    "nbformat 4.5: cells with cell_type, id, metadata, source; code cells with outputs (from memory)"
)
def test_the_notebooks_hold_what_the_files_hold(tmp_path):
    assert tool().main([str(tmp_path)]) == 0
    assert len(list(tmp_path.glob("*.ipynb"))) == len(FILES) >= 3
    for path in FILES:
        made = json.loads((tmp_path / f"{path.stem}.ipynb").read_text("utf-8"))
        code = [cell for cell in made["cells"] if cell["cell_type"] == "code"]
        for cell in code:
            assert set(cell) == {"cell_type", "id", "metadata", "source", "outputs", "execution_count"}
            assert "".join(cell["source"]) in path.read_text("utf-8")
    assert tool().main([]) == 2

"""The Python reference is that of the code, and every entrance says what it takes."""

from __future__ import annotations

import importlib.util
import inspect
from pathlib import Path

import docstring_parser

import roomfield

ROOT = Path(__file__).parents[1]


def _tool():
    spec = importlib.util.spec_from_file_location("api_reference", ROOT / "tools" / "api_reference.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_reference_is_that_of_the_code(tmp_path):
    tool = _tool()
    assert (ROOT / "docs" / "python-reference.md").read_text("utf-8") == tool.text(), (
        "run: python tools/api_reference.py docs/python-reference.md"
    )
    assert tool.main([]) == 2
    assert tool.main([str(tmp_path / "a.md")]) == 0


def test_every_entrance_describes_its_parameters():
    lacking = []
    for name in roomfield.__all__:
        value = getattr(roomfield, name)
        if not inspect.isfunction(value):
            continue
        said = docstring_parser.parse(inspect.getdoc(value) or "", style=docstring_parser.DocstringStyle.NUMPYDOC)
        told = {part.strip(" *") for one in said.params for part in one.arg_name.split(",")}
        missing = set(inspect.signature(value).parameters) - told
        lacking += [f"{name}: {', '.join(sorted(missing))}"] if missing else []
    assert lacking == []

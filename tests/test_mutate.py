"""The mutation runner makes the faults it names, each once, and leaves the rest of a file alone."""

from __future__ import annotations

import ast
import importlib.util
import sys
from pathlib import Path

import pytest

_SPEC = importlib.util.spec_from_file_location("mutate", Path(__file__).parents[1] / "tools" / "mutate.py")
mutate = importlib.util.module_from_spec(_SPEC)
sys.modules["mutate"] = mutate
_SPEC.loader.exec_module(mutate)

TEXT = "def f(a, b):\n    if a < b and a > 0.5:\n        return max(a, b) * 2.0\n    return -a\n"


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "made.py"
    path.write_text(TEXT, "utf-8")
    return path


def test_every_fault_is_another_program(file):
    found = mutate.faults_of(file)
    texts = {mutate.text_with(fault) for fault in found}
    assert len(texts) == len(found) == 8
    assert ast.unparse(ast.parse(TEXT)) not in texts
    for said in ("a < b", "a > 0.5", "a < b and a > 0.5", "max", "max(a, b) * 2.0", "2.0", "0.5", "-a"):
        assert any(fault.told.startswith(f"{said}  ->  ") for fault in found), said


def test_every_room_names_modules_and_tests_that_exist():
    for modules, tests in mutate.ROOMS.values():
        assert all(list((mutate.ROOT / "src" / "roomfield").glob(pattern)) for pattern in modules)
        assert all((mutate.ROOT / "tests" / name).exists() for name in tests)

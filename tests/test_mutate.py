"""The mutation runner makes the faults it names, each once, and leaves the rest of a file alone."""

from __future__ import annotations

import ast
import importlib.util
import json
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


def test_every_fault_called_equivalent_is_one_that_the_code_offers():
    package = mutate.ROOT / "src" / "roomfield"
    for (file, inside, told), why in mutate.equivalents().items():
        path = package / file
        tree = ast.parse(path.read_text("utf-8"))
        offered = [fault for fault in mutate.faults_of(path) if fault.told == told]
        assert any(mutate._statement(tree, fault)[1] == inside for fault in offered), (file, inside, told)
        assert len(why) > 20


def test_a_fault_is_looked_for_in_its_statement_or_in_its_head(file):
    tree = ast.parse(file.read_text("utf-8"))
    found = {fault.told: mutate._statement(tree, fault) for fault in mutate.faults_of(file)}
    assert found["a < b  ->  a >= b"] == (range(2, 3), "f")
    assert found["2.0  ->  2.6"] == (range(3, 4), "f")


def test_a_fault_is_noticed_by_the_test_that_runs_its_line_and_not_by_one_that_does_not(tmp_path):
    (tmp_path / "src").mkdir()
    (tmp_path / "src" / "halved.py").write_text("def half(x):\n    return x / 2.0\n", "utf-8")
    test = tmp_path / "test_halved.py"
    test.write_text(
        "from halved import half\ndef test_half():\n    assert half(4) == 2\ndef test_other():\n    pass\n", "utf-8"
    )
    kept = tmp_path / "lines.json"
    watched = [tmp_path / "src" / "halved.py"]
    assert mutate._forked(lambda: mutate._watched(tmp_path / "src", [str(test)], watched, kept)) == 0
    (lines,) = json.loads(kept.read_text("utf-8"))["lines"].values()
    assert [name.rpartition("::")[2] for name in lines["2"]] == ["test_half"]
    assert not mutate.notices(tmp_path / "src", [str(test)])
    watched[0].write_text("def half(x):\n    return x * 2.0\n", "utf-8")
    assert mutate.notices(tmp_path / "src", [str(test)])
    assert not mutate.notices(tmp_path / "src", [f"{test}::test_other"])

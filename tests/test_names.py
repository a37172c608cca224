"""A name means one thing: no two classes of the package are called the same, and no further modules."""

from __future__ import annotations

import ast
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

import roomfield

SOURCE = Path(roomfield.__file__).parent
MODULES_STILL_DOUBLED = {
    "assignment", "catalogue", "chain", "evidence", "findings", "identity", "logs", "next_measurement", "place", "plan",
    "pulses", "sheet",
}  # fmt: skip
"""Mostly a page or a chapter beside what it shows; the list may only get shorter."""


def doubled_classes(folder: Path) -> dict[str, list[str]]:
    """Every name that more than one class has, and where those stand."""
    found: dict[str, list[str]] = defaultdict(list)
    for path in sorted(folder.rglob("*.py")):
        for name, line in _classes(path):
            found[name].append(f"{path.relative_to(folder)}:{line}")
    return {name: places for name, places in found.items() if len(places) > 1}


def _classes(path: Path) -> Iterator[tuple[str, int]]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ClassDef):
            yield node.name, node.lineno


def test_no_two_classes_have_one_name():
    assert doubled_classes(SOURCE) == {}


@pytest.mark.parametrize(("second", "doubled"), [("Level", ["a.py:1", "b.py:1"]), ("Ratio", None)])
def test_a_doubled_name_is_found(tmp_path, second, doubled):
    (tmp_path / "a.py").write_text("class Level:\n    pass\n", encoding="utf-8")
    (tmp_path / "b.py").write_text(f"class {second}:\n    pass\n", encoding="utf-8")
    assert doubled_classes(tmp_path).get("Level") == doubled


def test_no_further_modules_have_one_name():
    names = [path.stem for path in SOURCE.rglob("*.py") if not path.stem.startswith("__")]
    assert {name for name, count in Counter(names).items() if count > 1} == MODULES_STILL_DOUBLED

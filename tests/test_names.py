"""A name means one thing: no two classes of the package are called the same, nor two modules."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

import roomfield
from source_trees import source_trees

SOURCE = Path(roomfield.__file__).parent


def doubled_classes(folder: Path) -> dict[str, list[str]]:
    """Every name that more than one class has, and where those stand."""
    found: dict[str, list[str]] = defaultdict(list)
    for path, tree in source_trees(folder).items():
        for name, line in _classes(tree):
            found[name].append(f"{path.relative_to(folder)}:{line}")
    return {name: places for name, places in found.items() if len(places) > 1}


def _classes(tree: ast.Module) -> Iterator[tuple[str, int]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef):
            yield node.name, node.lineno


def test_no_two_classes_have_one_name():
    assert doubled_classes(SOURCE) == {}


@pytest.mark.parametrize(("second", "doubled"), [("Level", ["a.py:1", "b.py:1"]), ("Ratio", None)])
def test_a_doubled_name_is_found(tmp_path, second, doubled):
    (tmp_path / "a.py").write_text("class Level:\n    pass\n", encoding="utf-8")
    (tmp_path / "b.py").write_text(f"class {second}:\n    pass\n", encoding="utf-8")
    assert doubled_classes(tmp_path).get("Level") == doubled


def doubled_modules(folder: Path) -> dict[str, list[str]]:
    """Every name that more than one module or package has, and where those stand."""
    found: dict[str, list[str]] = defaultdict(list)
    for path in sorted(folder.rglob("*.py")):
        name = path.parent.name if path.name == "__init__.py" else path.stem
        if name != "__main__":
            found[name].append(str(path.relative_to(folder)))
    return {name: places for name, places in found.items() if len(places) > 1}


def test_no_two_modules_or_packages_have_one_name():
    assert doubled_modules(SOURCE) == {}


def test_a_doubled_module_is_found(tmp_path):
    for name in ("plan/__init__.py", "show/plan.py", "show/__init__.py", "show/__main__.py", "plan/__main__.py"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    assert doubled_modules(tmp_path) == {"plan": ["plan/__init__.py", "show/plan.py"]}

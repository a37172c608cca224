"""Nothing in the package that no door reaches: neither a module nor a public function or class of one.

Doors are the command line, the pages, and the names that ``import roomfield`` offers. From there this follows
imports as they are written, at the top and inside functions; a name taken from a package's ``__init__`` counts for
the module that the name comes from, and not for its neighbours. A function that only tests call is no part of the
product: it is an oracle, and lives with the tests.
"""

from __future__ import annotations

import ast
import re
from collections import Counter
from functools import cached_property
from pathlib import Path

import pytest

import roomfield
from source_trees import source_trees

ROOT = Path(roomfield.__file__).parent
DOORS = ("roomfield", "roomfield.cli.main", "roomfield.web.server")
"""What is run with ``python -m`` is a door as well; migrations are found by Alembic in their folder."""
NOT_OFFERED = frozenset(
    [
        "roomfield.signals.simulation.audio_scene:negative_scene",  # scenes that the classifier was fitted to, made
        "roomfield.signals.simulation.audio_scene:random_scene",  # again by benchmarks.signals_maker
        "roomfield.store.migrate:upgrade_to",  # records of earlier releases, made by tests/data/releases
        "roomfield.field.measured:measured_times_ratio",
        "roomfield.workbench.model.joint_model:emitter_names",
    ]
)
"""Serves making what is shipped, or waits for its door. Nothing is added."""
BY_FOLDER = re.compile(r"roomfield\.store\.migrations(\.|$)")


class Code:
    """The modules of a package as syntax trees.

    Parameters
    ----------
    root : Path
        Folder of the package.
    """

    def __init__(self, root: Path) -> None:
        self.name = root.name
        self.trees = {self._dotted(root, path): tree for path, tree in source_trees(root).items()}
        self.packages = {self._dotted(root, p) for p in root.rglob("__init__.py")}

    @staticmethod
    def _dotted(root: Path, path: Path) -> str:
        parts = (root.name, *path.relative_to(root).with_suffix("").parts)
        return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)

    @cached_property
    def homes(self) -> dict[str, dict[str, str]]:
        """For each package the modules that the names of its ``__init__`` come from."""
        return {package: self._homes(package) for package in self.packages}

    def _homes(self, package: str) -> dict[str, str]:
        found = {}
        for node in ast.walk(self.trees[package]):
            if isinstance(node, ast.ImportFrom) and node.module:
                found |= {alias.asname or alias.name: f"{node.module}:{alias.name}" for alias in node.names}
            elif isinstance(node, ast.Dict):
                for key, value in zip(node.keys, node.values, strict=True):
                    module, name = self._lazy(package, key, value)
                    if module:
                        found[name] = f"{module}:{name}"
        return found

    def _lazy(self, package: str, key: ast.expr | None, value: ast.expr) -> tuple[str, str]:
        """One entry of a table of names that are loaded on first use."""
        if not (isinstance(key, ast.Constant) and isinstance(key.value, str)):
            return "", ""
        first = value.elts[0] if isinstance(value, ast.Tuple) and value.elts else value
        if not (isinstance(first, ast.Constant) and isinstance(first.value, str)):
            return "", ""
        for module in (first.value, f"{package}.{first.value}"):
            if module in self.trees:
                return module, key.value
        return "", ""

    def origin(self, module: str, name: str) -> str:
        """The module that ``from module import name`` reads, through any chain of packages."""
        if f"{module}.{name}" in self.trees:
            return f"{module}.{name}"
        home = self.homes.get(module, {}).get(name)
        if home is None:
            return module
        further, _, original = home.partition(":")
        return self.origin(further, original) if further != module else module

    def reads(self, module: str) -> set[str]:
        """Modules whose content a module asks for."""
        found = set()
        for node in ast.walk(self.trees[module]):
            if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == self.name:
                found |= {self.origin(node.module or "", alias.name) for alias in node.names}
            elif isinstance(node, ast.Import):
                found |= {alias.name for alias in node.names}
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                found |= {node.value} - self.packages
        return found & set(self.trees)

    def reached(self, doors: tuple[str, ...]) -> set[str]:
        """Modules that can be come to from some doors."""
        found: set[str] = set()
        waiting = [*doors, *(m for m, tree in self.trees.items() if any(map(_is_run_alone, tree.body)))]
        while waiting:
            module = waiting.pop()
            if module not in found:
                found.add(module)
                waiting += self.reads(module)
        return found

    def unreached(self, doors: tuple[str, ...]) -> list[str]:
        """Modules with code of their own that no door comes to."""
        return sorted(m for m in set(self.trees) - self.packages - self.reached(doors) if not BY_FOLDER.match(m))

    def unused(self, doors: tuple[str, ...]) -> list[str]:
        """Public functions and classes of reached modules that no reached module names outside of their own body."""
        modules = {m: self.trees[m] for m in self.reached(doors)}
        named = sum((_names(tree) for tree in modules.values()), Counter())
        found = []
        for module, tree in modules.items():
            for node in tree.body:
                if not isinstance(node, ast.FunctionDef | ast.ClassDef) or _is_called_by_others(node):
                    continue
                if named[node.name] <= _names(node)[node.name] and not node.name.startswith("__"):
                    found.append(f"{module}:{node.name}")
        return sorted(found)


def _is_run_alone(node: ast.stmt) -> bool:
    return isinstance(node, ast.If) and "__main__" in ast.unparse(node.test)


def _names(tree: ast.AST) -> Counter[str]:
    """How often each name is used; what ``__all__`` and imports list is not a use."""
    found: Counter[str] = Counter()
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            found[node.id] += 1
        elif isinstance(node, ast.Attribute):
            found[node.attr] += 1
        elif isinstance(node, ast.ImportFrom):
            found.update(alias.name for alias in node.names if alias.asname)
        elif isinstance(node, ast.Tuple) and len(node.elts) == 2 and isinstance(node.elts[1], ast.Constant):
            found[str(node.elts[1].value)] += 1  # an entry of a table of names: (module, name)
    return found


def _is_called_by_others(node: ast.FunctionDef | ast.ClassDef) -> bool:
    """Whether a decorator hands it to someone who calls it: a page, a command, a handler."""
    quiet = {"dataclass", "lru_cache", "cache", "contextmanager", "kernel", "inner", "compiled", "inlined", "overload"}
    marks = [d.func if isinstance(d, ast.Call) else d for d in node.decorator_list]
    return any(getattr(m, "id", getattr(m, "attr", "")) not in quiet for m in marks)


@pytest.fixture(scope="module")
def code() -> Code:
    return Code(ROOT)


def test_every_module_is_reached_by_a_door(code: Code) -> None:
    assert set(code.unreached(DOORS)) - NOT_OFFERED == set()


def test_every_public_function_is_used_by_what_a_door_reaches(code: Code) -> None:
    assert set(code.unused(DOORS)) - NOT_OFFERED == set()


def test_the_check_can_fail(tmp_path: Path) -> None:
    """A made-up package: one module behind a package's name, one inside a function, two that nobody needs."""
    texts = {
        "__init__.py": "_NAMES = {'answer': ('house.rooms.kept', 'answer')}\ndef __getattr__(name):\n    return name\n",
        "rooms/__init__.py": "from house.rooms.kept import answer\nfrom house.rooms.dead import other\n",
        "rooms/kept.py": "def answer():\n    from house.rooms import inside\n    return inside.f()\ndef spare():\n    return spare\n",
        "rooms/inside.py": "def f():\n    return 1\n",
        "rooms/dead.py": "from house.rooms.deader import other\n",
        "rooms/deader.py": "def other():\n    return 2\n",
    }
    for name, text in texts.items():
        path = tmp_path / "house" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    made = Code(tmp_path / "house")
    assert made.unreached(("house",)) == ["house.rooms.dead", "house.rooms.deader"]
    assert made.unused(("house",)) == ["house.rooms.kept:spare"]

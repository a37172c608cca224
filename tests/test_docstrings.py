"""What a room offers says what it takes: every parameter, in words, in the place where help() looks."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from test_reach import ROOT, Code

LEAST_OF_ALL = 0.29
"""Share of all public functions, offered or not, that describe each of their parameters; it may only be raised."""


def functions_of(node: ast.AST) -> Iterator[ast.FunctionDef]:
    """A function itself, or the public methods of a class; stubs that only carry types are left out."""
    nodes = [node] if isinstance(node, ast.FunctionDef) else getattr(node, "body", [])
    for one in nodes:
        if isinstance(one, ast.FunctionDef) and not one.name.startswith("_") and not _is_stub(one):
            yield one


def _is_stub(node: ast.FunctionDef) -> bool:
    return any(getattr(mark, "id", "") == "overload" for mark in node.decorator_list)


def undescribed(node: ast.FunctionDef) -> list[str]:
    """Parameters that the docstring has no entry for."""
    given = node.args
    names = [one.arg for one in (*given.posonlyargs, *given.args, *given.kwonlyargs) if one.arg not in ("self", "cls")]
    told = ast.get_docstring(node) or ""
    return [name for name in names if not re.search(rf"(?m)^\s*(?:\w+, )*{name}(?:, \w+)* ?(:|$)", told)]


def takes_something(node: ast.FunctionDef) -> bool:
    """Whether there is a parameter to describe."""
    return any(
        one.arg not in ("self", "cls") for one in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)
    )


def offered(code: Code) -> set[tuple[str, str]]:
    """Module and name of all that the ``__init__`` of a package re-exports, at once or when first used."""
    found = set()
    for names in code.homes.values():
        for home in names.values():
            module, _, name = home.partition(":")
            found.add((module, name))
    return {(module, name) for module, name in found if module in code.trees}


def test_what_a_room_offers_describes_every_parameter():
    code = Code(ROOT)
    lacking = {}
    for module, name in sorted(offered(code)):
        for node in code.trees[module].body:
            if getattr(node, "name", "") == name:
                for one in functions_of(node):
                    if found := undescribed(one):
                        lacking[f"{module}:{name}.{one.name}"] = found
    assert lacking == {}


def test_no_fewer_of_the_other_public_functions_do():
    public = (n for tree in Code(ROOT).trees.values() for n in tree.body if not getattr(n, "name", "_").startswith("_"))
    every = [one for node in public for one in functions_of(node)]
    taking = [one for one in every if takes_something(one)]
    assert sum(not undescribed(one) for one in taking) / len(taking) >= LEAST_OF_ALL


def test_the_check_can_fail(tmp_path: Path):
    (tmp_path / "house").mkdir()
    (tmp_path / "house" / "__init__.py").write_text("from house.levels import shifted\n")
    told = 'def shifted(level, offset_db, *, by):\n    """Shift.\n\n    Parameters\n    ----------\n    level, by : float\n        [dB].\n    """\n'
    (tmp_path / "house" / "levels.py").write_text(told)
    code = Code(tmp_path / "house")
    assert offered(code) == {("house.levels", "shifted")}
    assert [undescribed(one) for node in code.trees["house.levels"].body for one in functions_of(node)] == [
        ["offset_db"]
    ]

"""Doors parse, call and render: they multiply no level, convert no unit and take no logarithm."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import roomfield

SOURCE = Path(roomfield.__file__).parent
DOORS = (*sorted((SOURCE / "web").rglob("*.py")), *sorted((SOURCE / "cli").rglob("*.py")), SOURCE / "__init__.py")
OPERATORS = (ast.Mult, ast.Div, ast.FloorDiv, ast.Mod, ast.Pow)
CALLS = re.compile(r"(math\.\w+|log10|statistics\.\w+|fmean|fsum)")
PATH = re.compile(r"Path\(.*\)|\w*(path|folder|home|root|HERE)|.*\.parent", re.IGNORECASE)
ALLOWED = {
    "web/logsheet.py": "geometry of the drawings of a log: stair, week, bursts",
    "web/levelsheet.py": "rows of a drawing, one under the other",
    "web/formats.py": "significant digits of a number that is written",
    "web/page_texts.py": "whether half of the page texts are there in a language",
    "web/access_code.py": "how long to wait after wrong codes",
    "web/connections.py": "addresses of the system's table of connections, byte by byte",
}
"""What is neither a level nor a unit, and why it may stand there; the list may only get shorter."""


def arithmetic(text: str) -> list[int]:
    """Lines that reckon: products, quotients, powers, remainders, sums of values and calls of mathematics."""
    return sorted({node.lineno for node in ast.walk(ast.parse(text)) if _reckons(node)})


def _reckons(node: ast.AST) -> bool:
    if isinstance(node, ast.AugAssign):
        return isinstance(node.op, OPERATORS)
    if isinstance(node, ast.BinOp):
        sides = (node.left, node.right)
        of_constants = all(isinstance(leaf, ast.Constant) for side in sides for leaf in _leaves(side))
        return isinstance(node.op, OPERATORS) and not of_constants and not _is_text_or_path(node)
    if isinstance(node, ast.Call):
        name = ast.unparse(node.func)
        return (bool(CALLS.fullmatch(name)) and name not in HARMLESS) or (name == "sum" and not _counts(node))
    return False


HARMLESS = {"math.isfinite", "math.isnan", "math.isinf", "math.isclose", "math.ceil"}


def _leaves(node: ast.expr) -> list[ast.expr]:
    return [*_leaves(node.left), *_leaves(node.right)] if isinstance(node, ast.BinOp) else [node]


def _is_text_or_path(node: ast.BinOp) -> bool:
    """Whether it joins a path, repeats a text or a list, or fills an old template."""
    sides = (node.left, node.right)
    if any(isinstance(side, (ast.JoinedStr, ast.List, ast.Tuple)) for side in sides):
        return True
    if any(isinstance(side, ast.Constant) and isinstance(side.value, str) for side in sides):
        return True
    return isinstance(node.op, ast.Div) and PATH.fullmatch(ast.unparse(node.left)) is not None


def _counts(call: ast.Call) -> bool:
    """Whether a sum adds ones or lengths."""
    given = call.args[0] if call.args else None
    each = ast.unparse(given.elt) if isinstance(given, ast.GeneratorExp) else ""
    return each == "1" or each.startswith("len(")


@pytest.mark.parametrize("path", DOORS, ids=lambda path: str(path.relative_to(SOURCE)))
def test_a_door_does_no_arithmetic(path: Path) -> None:
    name = str(path.relative_to(SOURCE))
    found = arithmetic(path.read_text(encoding="utf-8"))
    if name in ALLOWED:
        assert found, f"{name} reckons no longer: take it off the list"
    else:
        assert found == [], f"{name}, lines {found}: move it to workbench or show"


def test_the_check_can_fail() -> None:
    reckoning = "a = level * 1e6\nb = 10 ** (x / 10)\nc = sum(r.value for r in rows)\nd = math.log10(v)\ne *= 2\n"
    assert arithmetic(reckoning) == [1, 2, 3, 4, 5]
    harmless = "a = 14 * 86400\nb = Path(x) / name\nc = sum(1 for r in rows)\nd = n + 1\ne = '-' * width\nf = [0] * n\n"
    assert arithmetic(harmless) == []

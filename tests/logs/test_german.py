"""Every remark that a log's figures come with is known in German, by its pattern."""

from __future__ import annotations

import ast
import re
from importlib.resources import files
from pathlib import Path

from roomfield.logs.log_series import GapRule
from roomfield.show.words.told import teller

MODULES = ("summary", "intake", "pulses", "profile", "periods", "duration")
MAKERS = ("_remarks", "_profile", "_rolling", "_why_not")


def _said(node: ast.AST) -> str:
    """The sentence of an expression, with some value in every hole; empty if it is none."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value.replace("{}", "17")
    if isinstance(node, ast.JoinedStr):
        return "".join(_said(part) if isinstance(part, ast.Constant) else _value(part) for part in node.values)
    return ""


def _value(hole: ast.expr) -> str:
    return "averaged as power" if "'merged'" in ast.dump(hole) else "5"


def remarks() -> list[str]:
    """The sentences of the functions that make remarks."""
    found = set()
    for name in MODULES:
        tree = ast.parse(Path(str(files("roomfield.logs").joinpath(f"{name}.py"))).read_text(encoding="utf-8"))
        makers = [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.name in MAKERS]
        for maker in makers:
            body = maker.body[1:] if ast.get_docstring(maker) else maker.body
            inner = {id(p) for b in body for n in ast.walk(b) if isinstance(n, ast.JoinedStr) for p in ast.walk(n)} - {
                id(n) for b in body for n in ast.walk(b) if isinstance(n, ast.JoinedStr)
            }
            found |= {_said(n) for b in body for n in ast.walk(b) if id(n) not in inner}
    return sorted(s for s in found if re.fullmatch(r"[A-Z1-9].{20,}\.", s, re.DOTALL))


def test_remarks_are_found():
    assert len(remarks()) >= 25


def test_every_remark_is_told_in_german():
    for english in (*remarks(), GapRule.usual(0.05).in_words(), GapRule.usual(900.0).in_words()):
        said = teller("de")(english)
        assert said != english
        pointed = re.sub(r"(?<=\d),(?=\d)", ".", said)  # German writes a decimal comma
        assert re.findall(r"[0-9.]*[0-9]", english) == re.findall(r"[0-9.]*[0-9]", pointed), english

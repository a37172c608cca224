"""Sentences that calls have filled in already, in the reader's language."""

from __future__ import annotations

import ast
import re
from importlib.resources import files
from pathlib import Path

import pytest

from roomfield.show.words.told import told_catalogue
from roomfield.web.page_texts import catalogue, told, tongue

OURS = ("readings_intake", "editing", "plan_document", "field_entry", "plan_import", "survey_list", "table_intake")
HOLE = re.compile(r"\{\w+\}")


def sentence(node) -> str:
    """The text of an expression with a letter for every value; empty if it is none."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(part.value if isinstance(part, ast.Constant) else "7" for part in node.values)
    return ""


def refusals() -> list[str]:
    """Every sentence with which the calls behind the pages refuse something."""
    found = set()
    workbench = Path(str(files("roomfield.workbench")))
    web = Path(str(files("roomfield.web")))
    for path in (*(workbench / "record" / f"{name}.py" for name in OURS), *web.glob("*.py"), *web.glob("pages/*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "").endswith("Error"):
                parts = [*node.args, *(k.value for k in node.keywords if k.arg == "mend")]
                found |= {sentence(part) for part in parts}
    return sorted(one for one in found if one.endswith((".", "?")))


@pytest.mark.parametrize("language", ["de", "fr"])
def test_every_refusal_of_the_pages_is_told(language):
    found = refusals()
    assert len(found) > 50
    assert [english for english in found if tongue(language, english) != language] == []


def test_values_come_through_unchanged():
    assert told("de", "there is no visit named 'Bed'.") == "Besuch 'Bed' gibt es nicht."
    assert told("en", "there is no visit named 'Bed'.") == "there is no visit named 'Bed'."


def test_figures_get_the_decimal_sign_of_the_language():
    english = "frequency is 0.5; allowed is 0.1 to 3.25."
    assert told("en", english) == english
    assert told("de", english) == "frequency ist 0,5; erlaubt ist 0,1 bis 3,25."
    assert "0,5" in told("fr", english)
    assert "3.0" in told("de", "it is of version 3.0; this release reads versions 1.0 to 2.0.")


def test_joined_parts_are_told_one_by_one_and_the_unknown_stays():
    said = told("de", "wall 'w1' has no length; something new; place Bed needs at least three corners.")
    assert said == "Wand 'w1' hat keine Länge; something new; Platz Bed braucht mindestens drei Ecken."
    assert tongue("de", "Something nobody translated.") == "en"


def test_a_value_is_never_read_as_a_placeholder():
    assert told("de", "there is no visit named '{kind}'.") == "Besuch '{kind}' gibt es nicht."


@pytest.mark.parametrize("language", ["de", "fr"])
def test_a_pattern_keeps_its_values_and_finds_itself(language):
    for english, other in told_catalogue(language).items():
        assert set(HOLE.findall(other)) <= set(HOLE.findall(english)), english
        assert len(HOLE.findall(english)) == len(set(HOLE.findall(english))), english
        filled = HOLE.sub("7", english)
        if filled not in catalogue(language):
            assert told(language, filled) == HOLE.sub("7", other)


def test_a_refusal_reaches_a_german_reader_in_german(client, survey_id):
    answer = client.post(f"/surveys/{survey_id}/assignment", data={"title": " "}, headers={"accept-language": "de"})
    assert answer.status_code == 422
    assert "Eine Aufnahme braucht einen Titel." in answer.text

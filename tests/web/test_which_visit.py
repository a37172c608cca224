"""A page or a file is of the visit that was asked for; of none that has this name, it says so."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import pytest

import roomfield
from roomfield.demo.invented_survey import FIRST, FOLLOW_UP, demo_survey

DEMO = demo_survey()
BASE = f"/surveys/{DEMO.id}"
SOURCE = Path(roomfield.__file__).parent


@pytest.mark.parametrize("page", ["what-if", "readings/sheet.pdf", "walk"])
def test_a_visit_that_is_not_there_is_refused_by_name(client, records, page):
    records.create(DEMO)
    answer = client.get(f"{BASE}/{page}?visit=ghost")
    assert answer.status_code == 404
    assert "ghost" in answer.text


@pytest.mark.parametrize(("visit", "day"), [("", FIRST.started_at[:10]), (FOLLOW_UP.id, FOLLOW_UP.started_at[:10])])
def test_a_field_sheet_bears_the_day_of_its_visit(client, records, visit, day):
    records.create(DEMO)
    assert day in client.get(f"{BASE}/readings/sheet.pdf?visit={visit}").headers["content-disposition"]


def test_before_any_visit_the_page_opens_and_the_sheet_lists_places(client, records):
    records.create(
        replace(DEMO, visits=(), readings=(), recordings=(), logs=(), bearings=(), amendments=(), adopted_plan=None)
    )
    assert client.get(f"{BASE}/what-if").status_code == 200
    sheet = client.get(f"{BASE}/readings/sheet.pdf")
    assert sheet.status_code == 200
    assert (
        sheet.headers["content-disposition"]
        == 'attachment; filename="invented-terraced-house-musterweg-5-sheet-en.pdf"'
    )


def picks_by_position(text: str) -> list[int]:
    """Lines that take the first or last visit themselves: an index on ``visits``, or the first of an iterator of it."""
    found = []
    for node in ast.walk(ast.parse(text)):
        of_visits = isinstance(node, ast.Subscript) and ast.unparse(node.value).endswith(".visits")
        if of_visits and ast.unparse(node.slice) in ("0", "-1"):
            found.append(node.lineno)
    return found


CHOOSES = {"workbench/record/visit_choice.py", "survey/survey_record.py"}
JUST_BEGUN = {
    "web/pages/assignment_form.py",
    "workbench/record/setting_up.py",
    "workbench/record/begin.py",
    "cli/demo_command.py",
}
"""Name the visit that they have made in the lines before; there is nothing to choose."""


def test_which_visit_is_decided_in_one_place():
    found = {str(p.relative_to(SOURCE)) for p in SOURCE.rglob("*.py") if picks_by_position(p.read_text("utf-8"))}
    assert found - JUST_BEGUN == CHOOSES


def test_a_choice_of_its_own_is_found():
    assert picks_by_position("a = survey.visits[0]\nb = survey.visits[1:]\nc = x.survey.visits[-1].id") == [1, 3]

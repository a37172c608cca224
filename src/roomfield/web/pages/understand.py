"""Findings: levels at places, causes, map; each part loads by itself."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from roomfield.errors import TooEarlyError
from roomfield.survey import Survey
from roomfield.web.bedsheet import place_cards
from roomfield.web.contexts import LevelsPart, SwitchesPart, UnderstandPage
from roomfield.web.dependencies import Opened
from roomfield.web.formats import Show
from roomfield.web.levelsheet import KIND_NAMES, chance_words, place_sheets
from roomfield.web.page_texts import say
from roomfield.web.rendering import language_of, render
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.publish.answers import answer, answer_sentences
from roomfield.workbench.publish.plain_values import assessment_plain
from roomfield.workbench.record.visit_choice import visit_asked_or_latest_read

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/understand")


@dataclass(frozen=True)
class SwitchRow:
    """What one switch took away at one place."""

    place: str
    kind: str
    states: str
    difference: str
    span: str
    clear: bool
    chance: str


@dataclass(frozen=True)
class SwitchGroup:
    """One switch with what hangs on it, and the places where it was tried.

    Parameters
    ----------
    clear, unclear : tuple of SwitchRow
        Comparisons that can and cannot be told from chance.
    """

    name: str
    clear: tuple[SwitchRow, ...]
    unclear: tuple[SwitchRow, ...]


@router.get("")
def show(request: Request, opened: Opened, visit: str = "") -> Response:
    """The answer, the plan, one card for each place; everything behind it opens where it is asked for."""
    survey, language = opened.survey, language_of(request)
    chosen = visit_asked_or_latest_read(survey, visit)
    visit_id = chosen.id if chosen else ""
    try:
        content = answer(survey, visit_id)
    except TooEarlyError:
        return render(request, UnderstandPage(opened.head_at(visit_id), visit_id, (), ()))
    page = UnderstandPage(
        opened.head_at(visit_id), visit_id, answer_sentences(content, language), place_cards(content, language)
    )
    return render(request, page)


@router.get("/levels")
def levels(request: Request, opened: Opened, visit: str = "") -> Response:
    """Levels at places against law and guideline."""
    plain = assessment_plain(assess(opened.survey, visit or None))
    guideline = next((row["reference"] for row in plain["places"] if row["category"]), "")
    sheets = place_sheets(plain, Show(language_of(request)))
    return render(request, LevelsPart(sheets, plain["law"], guideline))


@router.get("/switches")
def switches(request: Request, opened: Opened, visit: str = "") -> Response:
    """What went away with each switch."""
    plain = assessment_plain(assess(opened.survey, visit or None))
    language = language_of(request)
    rows = sorted(plain["switches"], key=lambda row: str(row["source"]))
    groups = tuple(
        _group(name, [_row(row, opened.survey, language) for row in some])
        for name, some in groupby(rows, key=lambda row: str(row["source"]))
    )
    return render(request, SwitchesPart(groups))


def _group(name: str, rows: list[SwitchRow]) -> SwitchGroup:
    return SwitchGroup(name, tuple(r for r in rows if r.clear), tuple(r for r in rows if not r.clear))


def _row(row: dict[str, Any], survey: Survey, language: str) -> SwitchRow:
    show = Show(language)
    nothing = row["difference_w_m2"] <= 0.0
    states = {state.id: state.name for visit in survey.visits for state in visit.radio_states}
    return SwitchRow(
        survey.place(row["place_id"]).name,
        KIND_NAMES[row["kind"]],
        f"{states.get(row['state_with'], '')} – {states.get(row['state_without'], '')}",
        say(language, "nothing") if nothing else show.density(row["difference_w_m2"]),
        show.span(max(0.0, row["low_w_m2"]), row["high_w_m2"]),
        not row["includes_zero"],
        chance_words(row["probability_contributes"], show),
    )

"""The plan with its numbers, for the small sheet that stands on every page."""

from __future__ import annotations

import json
from dataclasses import asdict

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from roomfield.errors import TooEarlyError
from roomfield.web.bedsheet import bed_numbers
from roomfield.web.dependencies import Opened
from roomfield.web.rendering import language_of
from roomfield.workbench.model.model_fit import meter_question_at
from roomfield.workbench.publish.answers import answer, answer_figures, touch_maps
from roomfield.workbench.record import plan_document
from roomfield.workbench.record.visit_choice import visit_asked_or_latest_read

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/sheet")


@router.get("")
def sheet(opened: Opened, visit: str = "") -> Response:
    """The plan and the bearings of the visit, at once; the numbers follow."""
    survey = opened.survey
    chosen = visit_asked_or_latest_read(survey, visit)
    bearings = [one for one in survey.current_bearings() if chosen and one.visit_id == chosen.id]
    return JSONResponse(
        {
            "plan": json.loads(plan_document.write_plan(plan_document.plan_of(survey))),
            "bearings": [
                {"id": b.id, "position": b.position, "strongest_deg": b.strongest_deg, "null_deg": b.null_deg}
                for b in bearings
            ],
        }
    )


@router.get("/numbers")
def numbers(request: Request, opened: Opened, visit: str = "", sources: bool = False) -> Response:
    """The number at each place and what they are; with ``sources`` who makes most of it, which takes the model."""
    survey = opened.survey
    chosen = visit_asked_or_latest_read(survey, visit)
    try:
        content = answer(survey, chosen.id if chosen else "", modelled=sources)
    except TooEarlyError:
        return JSONResponse({"figures": "", "question": "", "numbers": {}})
    language = language_of(request)
    found = bed_numbers(content, language)
    plain = {place_id: asdict(number) for place_id, number in found.items()}
    asked = meter_question_at(survey, chosen.id if chosen else None, language) if sources else ""
    said = {"figures": answer_figures(content, language), "question": asked}
    return JSONResponse({**said, "numbers": plain})


@router.get("/between")
def between(opened: Opened, visit: str = "") -> Response:
    """Levels between the places, storey by storey, for a hand that touches the plan there."""
    survey = opened.survey
    chosen = visit_asked_or_latest_read(survey, visit)
    try:
        content = answer(survey, chosen.id if chosen else "", modelled=True)
    except TooEarlyError:
        return JSONResponse([])
    return JSONResponse([asdict(one) for one in touch_maps(survey, content)])

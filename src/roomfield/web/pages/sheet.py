"""The plan with its numbers, for the small sheet that stands on every page."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from roomfield.errors import TooEarlyError
from roomfield.survey import Survey
from roomfield.web.bedsheet import bed_numbers
from roomfield.web.dependencies import Opened
from roomfield.web.formats import Show
from roomfield.web.rendering import language_of
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.model.source_contributions import causes
from roomfield.workbench.publish.plain_values import assessment_plain
from roomfield.workbench.record import plan_document
from roomfield.workbench.record.progress import chosen_with_readings

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/sheet")


@router.get("")
def sheet(request: Request, opened: Opened, visit: str = "", sources: bool = False) -> Response:
    """The plan, the numbers at its places, and the bearings of the visit.

    With ``sources`` each number names its largest source, which takes the model of the dwelling.
    """
    survey = opened.survey
    chosen = chosen_with_readings(survey, visit)
    visit_id = chosen.id if chosen else ""
    plan = json.loads(plan_document.write_plan(plan_document.plan_of(survey)))
    bearings = [one for one in survey.current_bearings() if one.visit_id == visit_id]
    return JSONResponse(
        {
            "plan": plan,
            "numbers": _numbers(survey, visit_id, Show(language_of(request)), sources),
            "bearings": [
                {"id": b.id, "position": b.position, "strongest_deg": b.strongest_deg, "null_deg": b.null_deg}
                for b in bearings
            ],
        }
    )


def _numbers(survey: Survey, visit_id: str, show: Show, sources: bool) -> dict[str, Any]:
    try:
        plain = assessment_plain(assess(survey, visit_id or None))
        found = causes(survey, visit_id, "peak") if sources else ()
    except TooEarlyError:
        return {}
    names = {one.name: one.id for one in survey.places}
    largest = {names[one.place]: one.shares[0][0] for one in found if one.shares}
    return {place_id: asdict(number) for place_id, number in bed_numbers(plain, show, largest).items()}

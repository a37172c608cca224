"""The walk page: fast entry of readings on the plan."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from roomfield.errors import TooEarlyError
from roomfield.web.contexts import WalkPage
from roomfield.web.dependencies import Opened
from roomfield.web.rendering import render
from roomfield.web.walksheet import stamp_of, start_of

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/walk")


@router.get("")
def show(request: Request, opened: Opened, visit: str = "") -> Response:
    """Enter readings of the latest visit, or of the one asked for."""
    survey = opened.survey
    latest = survey.latest_visit
    if latest is None or not survey.meters:
        raise TooEarlyError("there is no visit or no meter yet.", mend="Begin a visit under Assignment first.")
    start = start_of(survey, opened.revision, visit or latest.id)
    start["stamp"] = stamp_of(opened.revision, opened.additions)
    return render(request, WalkPage(opened.head, start))

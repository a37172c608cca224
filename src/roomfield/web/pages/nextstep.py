"""What to do next, as one line that follows the readings."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from roomfield.web.contexts import NextPart
from roomfield.web.dependencies import Opened
from roomfield.web.rendering import language_of, render
from roomfield.workbench.plan.live_advice import advice_now

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/next")


@router.get("")
def line(request: Request, opened: Opened, visit: str = "", soon: bool = False) -> Response:
    """The line; with ``soon`` what can be said at once, which says itself whether it is the last word."""
    found = advice_now(opened.survey, visit, language_of(request), soon=soon)
    return render(request, NextPart(found))

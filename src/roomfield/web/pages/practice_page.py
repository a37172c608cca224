"""The practice home: a scan with the pointer, the order of switching, the plan."""

from __future__ import annotations

from secrets import randbelow

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from roomfield.web.contexts import PracticePage
from roomfield.web.rendering import render
from roomfield.workbench.practice.practice_scan import practice_sheet

router = APIRouter(include_in_schema=False)


@router.get("/practice")
def any_home() -> Response:
    """A home that nobody chose."""
    return RedirectResponse(f"/practice/{1 + randbelow(9999)}", status_code=303)


@router.get("/practice/{seed}")
def show(request: Request, seed: int) -> Response:
    """The home of a seed; the same seed gives the same home."""
    return render(request, PracticePage(practice_sheet(seed)))

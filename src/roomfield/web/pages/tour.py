"""Looking around in the invented home."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from roomfield.web.dependencies import Desk
from roomfield.workbench.record import demo_tour

router = APIRouter(include_in_schema=False)


@router.post("/tour")
def begin(records: Desk) -> Response:
    """Open the invented survey, making it if it is not there."""
    return RedirectResponse(f"/surveys/{demo_tour.begin(records)}/assignment#tour", status_code=303)

"""Looking around in the invented home."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from roomfield.web.dependencies import Desk
from roomfield.web.long_work import LongWorks, ProgressCall, WorkResult
from roomfield.web.pages.work_pages import work_view
from roomfield.workbench.record import demo_tour

router = APIRouter(include_in_schema=False)
STAGES = (
    (0.0, "Furnishing the invented home ..."),
    (0.1, "Measuring a night at the cot ..."),
    (0.5, "Recording what is heard ..."),
)
"""What making the invented home does from which share on."""


@router.post("/tour")
def begin(records: Desk) -> Response:
    """Open the invented survey, making it if it is not there."""
    return RedirectResponse(f"/surveys/{demo_tour.begin(records)}/assignment#tour", status_code=303)


@router.post("/tour/work")
def begin_in_work(request: Request, records: Desk) -> Response:
    """Make the invented survey beside the page; answers a work that says how far it is and can be stopped."""

    def call(progress: ProgressCall) -> WorkResult:
        return WorkResult(f"/surveys/{demo_tour.begin(records, progress)}/assignment#tour")

    works: LongWorks = request.app.state.works
    return JSONResponse(work_view(request, works.begin(STAGES, call)), status_code=202)

"""The report: which parts, a preview as pages, and the file to hand over."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from roomfield.web.contexts import ReportPage
from roomfield.web.dependencies import Form, Opened
from roomfield.web.long_work import LongWorks, ProgressCall, WorkResult
from roomfield.web.pages.work_pages import PREVIEW_POLICY, work_view
from roomfield.web.rendering import render
from roomfield.workbench.publish import report_request
from roomfield.workbench.publish.report_request import ReportOrder
from roomfield.workbench.record import releasing
from roomfield.workbench.record.authorship import present_identity
from roomfield.workbench.record.visit_choice import visit_asked_or_latest_read

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/report")
STAGES = (
    (0.0, "Levels and verdicts ..."),
    (0.2, "The model of the dwelling, transmitters and remedies ..."),
    (0.5, "Recordings, logs and photos ..."),
    (0.7, "Setting the pages ..."),
)
"""What making a report does from which share on."""
Parts = Annotated[list[str] | None, Query()]


@router.get("")
def show(request: Request, opened: Opened, visit: str = "", language: str = "", parts: Parts = None) -> Response:
    """Choices and preview."""
    survey = opened.survey
    latest = visit_asked_or_latest_read(survey, visit)
    visit_id = latest.id if latest else ""
    chosen = tuple(parts or report_request.PARTS)
    told = language or survey.assignment.language
    kept = [("part", part) for part in chosen] if set(chosen) != set(report_request.PARTS) else []
    address = urlencode([("visit", visit_id), ("language", told), *kept])
    readings = len(survey.current_readings(visit_id))
    page = ReportPage(
        opened.head_at(visit_id), survey.visits, visit_id, report_request.PARTS, chosen, told, readings, address,
        releasing.report_standing(survey, visit_id), opened.records.account() or present_identity().name,
    )  # fmt: skip
    return render(request, page)


@router.post("/sign-off")
def sign_off(opened: Opened, form: Form) -> Response:
    """Put the report up for review, say that it was reviewed, or release it."""
    visit = form.text("visit")
    releasing.sign_off(
        opened.records, opened.survey.id, form.text("stage"), visit_id=visit or None, note=form.text("note")
    )
    return RedirectResponse(f"/surveys/{opened.survey.id}/report?{urlencode({'visit': visit})}", status_code=303)


@router.get("/preview")
def preview(opened: Opened, visit: str = "", language: str = "", part: Parts = None) -> Response:
    """The report as a page to look at."""
    order = ReportOrder(visit, language, "html", tuple(part or ()))
    made = report_request.report_file(opened.records, opened.survey.id, order)
    return Response(made.content, media_type=made.media_type, headers={"content-security-policy": PREVIEW_POLICY})


@router.post("/preview")
def make_preview(request: Request, opened: Opened, visit: str = "", language: str = "", part: Parts = None) -> Response:
    """Begin to make that page beside the requests; the work shows it under ``/work/{id}/page``."""
    return _begun(request, opened, ReportOrder(visit, language, "html", tuple(part or ())))


@router.post("/make.{form}")
def make(
    request: Request, opened: Opened, form: str, visit: str = "", language: str = "", part: Parts = None
) -> Response:
    """Begin to make the report as a file; answers a work that says how far it is and can be stopped."""
    return _begun(request, opened, ReportOrder(visit, language, form, tuple(part or ())))


def _begun(request: Request, opened: Opened, order: ReportOrder) -> Response:
    records, survey_id = opened.records, opened.survey.id

    def call(progress: ProgressCall) -> WorkResult:
        made = report_request.report_file(records, survey_id, order, progress)
        return WorkResult("", made.file_name, made.media_type, made.content)

    works: LongWorks = request.app.state.works
    return JSONResponse(work_view(request, works.begin(STAGES, call)), status_code=202)


@router.get("/file.{form}")
def download(opened: Opened, form: str, visit: str = "", language: str = "", part: Parts = None) -> Response:
    """The report as a file."""
    order = ReportOrder(visit, language, form, tuple(part or ()))
    made = report_request.report_file(opened.records, opened.survey.id, order)
    headers = {"content-disposition": f'attachment; filename="{made.file_name}"'}
    return Response(made.content, media_type=made.media_type, headers=headers)

"""The checklists: what is seen to before the job and on arrival."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse
from starlette.responses import Response

from roomfield.web.contexts import ChecklistPage
from roomfield.web.dependencies import Form, Opened
from roomfield.web.rendering import render
from roomfield.workbench.record import checklist_ticks

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/checklist")


@router.get("")
def show_checklist(request: Request, opened: Opened) -> Response:
    """Both lists, as they stand for the visit."""
    head = opened.head
    lines = checklist_ticks.checklist_of(opened.survey, head.visit_id)
    prepare = tuple(line for line in lines if line.row.stretch == checklist_ticks.PREPARE)
    arrive = tuple(line for line in lines if line.row.stretch != checklist_ticks.PREPARE)
    return render(request, ChecklistPage(head, prepare, arrive))


@router.post("")
def tick(opened: Opened, form: Form) -> Response:
    """Tick a row or take its tick away."""
    visit_id = form.text("visit_id")
    done = form.text("done") == "yes"
    checklist_ticks.set_tick(opened.records, opened.survey.id, form.text("row"), visit_id, done=done)
    asked = f"?visit={visit_id}" if visit_id else ""
    return RedirectResponse(f"/surveys/{opened.survey.id}/checklist{asked}", status_code=303)

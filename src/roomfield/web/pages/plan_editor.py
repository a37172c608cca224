"""The plan editor's page and the files of a survey."""

from __future__ import annotations

import json
from dataclasses import asdict

from fastapi import APIRouter, Request
from starlette.responses import Response

from roomfield.web.contexts import PlanPage
from roomfield.web.dependencies import Opened
from roomfield.web.rendering import render
from roomfield.workbench.record import form_choices, plan_document, survey_list

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}")
SHOWN_TYPES = frozenset({"image/png", "image/jpeg", "image/webp", "audio/wav", "audio/x-wav", "audio/flac"})


@router.get("/plan")
def show(request: Request, opened: Opened) -> Response:
    """The plan editor."""
    start = {
        "survey_id": opened.survey.id,
        "revision": opened.revision,
        "plan": json.loads(plan_document.write_plan(plan_document.plan_of(opened.survey))),
        "materials": [asdict(one) for one in form_choices.wall_materials()],
        "technologies": [asdict(one) for one in form_choices.technologies()],
    }
    return render(request, PlanPage(opened.head, start))


@router.get("/media/{sha256}")
def media(opened: Opened, sha256: str) -> Response:
    """A file of the survey; only pictures and sound are shown in the browser, the rest is saved."""
    item, content = survey_list.kept_file(opened.records, opened.survey.id, sha256)
    shown = item.media_type in SHOWN_TYPES
    headers = {"cache-control": "private, max-age=31536000, immutable", "content-security-policy": "sandbox"}
    if not shown:
        headers["content-disposition"] = "attachment"
    return Response(content, media_type=item.media_type if shown else "application/octet-stream", headers=headers)

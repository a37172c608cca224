"""The plan as one document, and what can be laid under it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.concurrency import run_in_threadpool

from roomfield.web.dependencies import Desk, Form, Opened, body_of
from roomfield.workbench.record import plan_document, plan_import, survey_list
from roomfield.workbench.record.plan_import import Asked
from roomfield.workbench.record.plan_merge import ItemChange, change_plan
from roomfield.workbench.record.survey_list import Records

router = APIRouter(prefix="/api/v1/surveys/{survey_id}/plan", tags=["plan"])


@router.get("")
def read_plan(opened: Opened) -> dict[str, Any]:
    """The plan with the revision to hand back when it is replaced."""
    written = plan_document.write_plan(plan_document.plan_of(opened.survey))
    return {"revision": opened.revision, "plan": json.loads(written)}


@router.put("")
async def replace_plan(
    request: Request, records: Desk, survey_id: str, revision: Annotated[int, Query(ge=1)]
) -> dict[str, int]:
    """Replace the plan as a whole, unless the survey was changed since ``revision``."""
    content = await body_of(request, plan_document.LONGEST_PLAN_BYTES)
    return {"revision": await run_in_threadpool(_replaced, records, survey_id, content, revision)}


def _replaced(records: Records, survey_id: str, content: bytes, revision: int) -> int:
    sheet = plan_document.read_plan(content)
    return survey_list.revise(records, survey_id, partial(plan_document.with_plan, sheet=sheet), revision)


@dataclass(frozen=True)
class PlanChange:
    """Items of the plan that changed since ``revision``."""

    revision: int
    changes: tuple[ItemChange, ...]


@router.patch("")
def change_items(records: Desk, survey_id: str, change: PlanChange) -> dict[str, Any]:
    """Change items of the plan one by one.

    Items that somebody else changed since are left as they are and answered as ``conflicts``. ``plan`` is answered if
    it holds more than the sender knows.
    """
    done = change_plan(records, survey_id, change.revision, change.changes)
    plan = None if done.plan is None else json.loads(plan_document.write_plan(done.plan))
    return {"revision": done.revision, "plan": plan, "conflicts": [asdict(one) for one in done.conflicts]}


@router.post("/underlay")
async def add_underlay(opened: Opened, form: Form) -> dict[str, Any]:
    """A picture or PDF page to trace over (answers its hash), or a DXF or GeoJSON file (answers a plan).

    Form fields beside ``file``: ``page`` of a PDF, ``coordinates`` of GeoJSON (metres or degrees),
    ``metres_per_unit`` of a DXF drawing that does not say it, and ``storey`` of an IFC file or GeoPackage with several.
    """
    upload = form.file("file")
    content = await upload.read()
    asked = Asked(
        int(form.number("page", 1.0)),
        form.text("coordinates"),
        form.number("metres_per_unit", 0.0),
        form.text("storey"),
    )
    name = upload.filename or ""
    taken = await run_in_threadpool(plan_import.take_in, opened.records, opened.survey.id, content, name, asked)
    if taken.plan is not None:
        return {"plan": json.loads(plan_document.write_plan(taken.plan)), "sha256": "", "remarks": taken.remarks}
    return {"plan": None, "sha256": taken.sha256}

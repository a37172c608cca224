"""Long work as the pages ask for it: how far it is, that it be stopped, and the file that came of it."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from roomfield.errors import InputError
from roomfield.web.long_work import DONE, LongWorks, Work
from roomfield.web.page_texts import say, told
from roomfield.web.rendering import language_of

router = APIRouter(include_in_schema=False, prefix="/work/{work_id}")
PREVIEW_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; frame-ancestors 'self'"
"""The report is one file with its own style and no script; it is shown in a frame of its own."""


@router.get("")
def how_far(request: Request, work_id: str) -> Response:
    """How far a work is, and where it leads when it is done."""
    return JSONResponse(work_view(request, _work(request, work_id)))


@router.post("/stop")
def stop(request: Request, work_id: str) -> Response:
    """Stop a work after the step under way."""
    _works(request).stop(work_id)
    return JSONResponse(work_view(request, _work(request, work_id)))


@router.get("/file")
def take_file(request: Request, work_id: str) -> Response:
    """The file that came of a work."""
    outcome = _work(request, work_id).outcome
    if outcome is None or not outcome.file_name:
        raise InputError("no file came of this work.", mend="Ask for it again.")
    headers = {"content-disposition": f'attachment; filename="{outcome.file_name}"'}
    return Response(outcome.content, media_type=outcome.media_type, headers=headers)


@router.get("/page")
def show_page(request: Request, work_id: str) -> Response:
    """The page that came of a work, to look at in a frame."""
    outcome = _work(request, work_id).outcome
    if outcome is None or not outcome.media_type.startswith("text/html"):
        raise InputError("no page came of this work.", mend="Ask for it again.")
    return Response(outcome.content, media_type=outcome.media_type, headers={"content-security-policy": PREVIEW_POLICY})


def work_view(request: Request, work: Work) -> dict[str, object]:
    """A work as plain values, in the reader's language."""
    language = language_of(request)
    view: dict[str, object] = {"work": work.id, "state": work.state, "share": work.share}
    view["words"] = say(language, work.words)
    if work.state == DONE and work.outcome is not None:
        view["next"] = work.outcome.next or f"/work/{work.id}/file"
        view["is_file"] = not work.outcome.next
    if work.fault is not None:
        view |= {"what": told(language, work.fault.what), "mend": told(language, work.fault.mend), "where": ""}
    return view


def _works(request: Request) -> LongWorks:
    works: LongWorks = request.app.state.works
    return works


def _work(request: Request, work_id: str) -> Work:
    work = _works(request).of(work_id)
    if work is None:
        raise InputError("this work is not known any more.", mend="Ask for it again.")
    return work

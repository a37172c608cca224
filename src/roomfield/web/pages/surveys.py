"""The list of surveys: search, begin, copy, package, delete."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse, Response

from roomfield.scratch import scratch_folder
from roomfield.show.page_drawings import bounding_box
from roomfield.survey import Dwelling
from roomfield.web.contexts import NewSurveyPage, SurveysPage
from roomfield.web.dependencies import Desk, Form, Opened, saved_upload
from roomfield.web.page_texts import say
from roomfield.web.rendering import language_of, render
from roomfield.workbench.record import backups, editing, form_choices, own_homes, packages, survey_list, usual
from roomfield.workbench.record.plan_templates import starters

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class StarterDrawing:
    """A dwelling to start from as the form draws it."""

    key: str
    name: str
    words: str
    view_box: str
    lines: tuple[str, ...]


@router.get("/")
def show_list(request: Request, records: Desk, query: str = "", saved: str = "", archive: str = "") -> Response:
    """The list, or what a search finds in it; a search looks into the archive as well."""
    everything = survey_list.list_surveys(records)
    found = survey_list.list_surveys(records, query[:200]) if query.strip() else everything
    if not query.strip():
        found = tuple(card for card in found if card.archived == bool(archive))
    put_away = len([card for card in everything if card.archived])
    has_demo = any(card.invented for card in everything)
    backed_up = backups.kept_as(records, saved) if saved else ""
    page = SurveysPage(found, query[:200], len(everything), has_demo, backed_up, put_away, bool(archive))
    return render(request, page)


@router.post("/backup")
def back_up(records: Desk) -> Response:
    """A copy of the record with all its files, now."""
    return _to(f"/?saved={backups.back_up(records).name}")


@router.get("/surveys/new")
def show_new(request: Request, records: Desk) -> Response:
    """The form for a new survey, with what stays the same from job to job."""
    homes = (*starters(), *own_homes.own_homes())
    drawings = tuple(_drawing(one.key, one.name, one.words, one.sheet.dwelling) for one in homes)
    known = usual.usual_of(records)
    page = NewSurveyPage(
        drawings,
        form_choices.legal_limits(),
        form_choices.guidelines(),
        known.assignment,
        known.meters,
        tuple((one.key, one.name) for one in own_homes.own_homes()),
    )
    return render(request, page)


@router.post("/surveys/new")
def begin(request: Request, records: Desk, form: Form) -> Response:
    """A new survey from a dwelling to start from."""
    known = usual.usual_of(records)
    assignment = replace(
        known.assignment,
        client=form.text("client"),
        address=form.text("address"),
        assessor=form.text("assessor", known.assignment.assessor),
        jurisdiction=form.text("jurisdiction") or known.assignment.jurisdiction,
        guideline=form.text("guideline"),
        language=language_of(request),
    )
    word = partial(say, language_of(request))
    begun = editing.started_survey(form.text("title"), assignment, form.text("starter", "blank"), word)
    survey = usual.with_usual_meters(begun, known)
    return _to(f"/surveys/{survey_list.keep_new(records, survey)}/plan")


@router.post("/surveys/import")
async def take_in(records: Desk, form: Form) -> Response:
    """A survey from a package of another computer."""
    with scratch_folder() as folder:
        path = await saved_upload(form.file("package"), folder, "package.zip")
        survey_id = await run_in_threadpool(packages.take_in, records, path)
    return JSONResponse({"next": f"/surveys/{survey_id}/assignment"})


@router.get("/surveys/{survey_id}/package")
def package(opened: Opened) -> Response:
    """The survey as a package to take along."""
    made = packages.packed(opened.records, opened.survey.id)
    return Response(
        made.content,
        media_type="application/zip",
        headers={"content-disposition": f'attachment; filename="{made.file_name}"'},
    )


@router.post("/surveys/{survey_id}/duplicate")
def duplicate(request: Request, opened: Opened) -> Response:
    """A copy for the follow-up visit."""
    title = say(language_of(request), "{title}, follow-up", title=opened.survey.title)
    copy_id = survey_list.copy_for_follow_up(opened.records, opened.survey.id, title)
    return _to(f"/surveys/{copy_id}/assignment")


@router.post("/surveys/{survey_id}/archive")
def put_away(opened: Opened, form: Form) -> Response:
    """Put a survey into the archive, or bring it back."""
    survey_list.set_archived(opened.records, opened.survey.id, archived=form.text("archived") == "yes")
    return _to("/")


@router.post("/surveys/{survey_id}/template")
def keep_template(opened: Opened, form: Form) -> Response:
    """Keep the plan as a template to begin other surveys from."""
    own_homes.keep_home(opened.survey, form.text("name"))
    return _to("/surveys/new")


@router.post("/templates/{key}/remove")
def remove_template(key: str) -> Response:
    """Remove a template of one's own; surveys begun from it stay as they are."""
    own_homes.forget_home(key)
    return _to("/surveys/new")


@router.post("/surveys/{survey_id}/delete")
def delete(opened: Opened, form: Form) -> Response:
    """Delete a survey whose title was typed."""
    survey_list.delete_survey(opened.records, opened.survey.id, form.text("typed"))
    return _to("/")


def _to(path: str) -> Response:
    return RedirectResponse(path, status_code=303)


def _drawing(key: str, name: str, words: str, dwelling: Dwelling) -> StarterDrawing:
    first = dwelling.storeys[0].id
    walls = [wall for wall in dwelling.walls if wall.storey_id == first]
    ends = [point for wall in walls for point in (wall.start, wall.end)] or [(0.0, 0.0), (9.0, 6.0)]
    box = bounding_box(ends).view(margin_m=0.5)
    sheet = ("M0 0H9V-6H0Z",) if not walls else ()
    lines = sheet + tuple(f"M{w.start[0]:g} {-w.start[1]:g}L{w.end[0]:g} {-w.end[1]:g}" for w in walls)
    return StarterDrawing(key, name, words, box, lines)

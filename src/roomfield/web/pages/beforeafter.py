"""Before and after: two visits side by side."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from roomfield.web.contexts import BeforeAfterPage, ChangesPart
from roomfield.web.desk import Opened
from roomfield.web.formats import Show
from roomfield.web.levelsheet import KIND_NAMES
from roomfield.web.rendering import language_of, render
from roomfield.workbench import beforeafter
from roomfield.workbench.beforeafter import PlaceChange

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/before-after")
WIDEST_DB = 30.0


@dataclass(frozen=True)
class ChangeRow:
    """A change as a bar on an axis from -30 to +30 dB; places on the drawing from 0 to 300."""

    place: str
    kind: str
    before: str
    after: str
    words: str
    outcome: str
    x_low: float
    x_middle: float
    x_high: float


@router.get("")
def show(request: Request, opened: Opened, first: str = "", second: str = "") -> Response:
    """The frame of the page."""
    survey = opened.survey
    ids = [visit.id for visit in survey.visits]
    chosen = (first or (ids[0] if ids else ""), second or (ids[-1] if len(ids) > 1 else ""))
    done_ids = survey.visit(chosen[1]).done_action_ids if chosen[1] else ()
    done = tuple(action.name for action in survey.actions if action.id in done_ids)
    return render(request, BeforeAfterPage(opened.head, survey.visits, *chosen, done))


@router.get("/changes")
def changes(request: Request, opened: Opened, first: str, second: str) -> Response:
    """The changes themselves."""
    show = Show(language_of(request))
    rows = tuple(_row(one, show) for one in beforeafter.changes(opened.survey, first, second))
    return render(request, ChangesPart(rows))


def _row(one: PlaceChange, show: Show) -> ChangeRow:
    low, middle, high = one.change_db
    words = f"{show.number(middle)} dB" if abs(low) < 1e9 and abs(high) < 1e9 else ""
    return ChangeRow(
        one.place,
        KIND_NAMES[one.kind],
        show.span(one.before_w_m2[0], one.before_w_m2[2]),
        show.span(one.after_w_m2[0], one.after_w_m2[2]),
        words,
        one.outcome,
        _x(low),
        _x(middle),
        _x(high),
    )


def _x(change_db: float) -> float:
    return round(150.0 + 150.0 * max(-WIDEST_DB, min(WIDEST_DB, change_db)) / WIDEST_DB, 1)

"""Before and after: two visits side by side."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from math import isnan

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from roomfield.show.page_drawings import change_x, tone_of
from roomfield.web.bedsheet import BedNumber
from roomfield.web.contexts import BeforeAfterPage, ChangesPart
from roomfield.web.dependencies import Opened
from roomfield.web.formats import Show
from roomfield.web.levelsheet import KIND_NAMES
from roomfield.web.page_texts import say
from roomfield.web.rendering import language_of, render
from roomfield.workbench.prove import before_after, unplanned_changes
from roomfield.workbench.prove.before_after import PlaceChange
from roomfield.workbench.record.visit_choice import visit_asked_or_before

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/before-after")
AGREEMENTS = {
    "as_predicted": "as predicted",
    "less_than_predicted": "less than predicted",
    "more_than_predicted": "more than predicted",
}


@dataclass(frozen=True)
class ChangeRow:
    """A change as a bar on an axis from -30 to +30 dB; places on the drawing from 0 to 300.

    Parameters
    ----------
    expected : str
        The predicted change; empty if there is none.
    agreement : str
        How the change compares with it.
    chance : str
        Probability that the agreed target is met; empty if there is none for this kind.
    x_expected : float or None
        Where the predicted change stands on the drawing.
    """

    place: str
    kind: str
    before: str
    after: str
    words: str
    outcome: str
    x_low: float
    x_middle: float
    x_high: float
    expected: str
    agreement: str
    chance: str
    x_expected: float | None


@router.get("")
def show(request: Request, opened: Opened, first: str = "", second: str = "") -> Response:
    """The frame of the page."""
    survey = opened.survey
    latest = survey.latest_visit
    later = second or (latest.id if latest and len(survey.visits) > 1 else "")
    chosen = (visit_asked_or_before(survey, first, later).id if later else first, later)
    done = before_after.done_names(survey, chosen[1]) if chosen[1] else ()
    return render(request, BeforeAfterPage(opened.head, survey.visits, *chosen, done))


@router.get("/changes")
def changes(request: Request, opened: Opened, first: str, second: str) -> Response:
    """The changes themselves."""
    language = language_of(request)
    found = before_after.follow_up(opened.survey, first, second, language)
    rows = tuple(_row(one, Show(language)) for one in found.rows)
    told = unplanned_changes.what_changed_told(opened.survey, first, second, language)
    return render(request, ChangesPart(rows, found, told, Show(language).share(found.coverage)))


@router.get("/numbers")
def numbers(request: Request, opened: Opened, first: str, second: str) -> Response:
    """The change at each place, to stand on the plan; its shade is the level afterwards."""
    show = Show(language_of(request))
    names = {place.name: place.id for place in opened.survey.places}
    found: dict[str, BedNumber] = {}
    for one in before_after.changes(opened.survey, first, second):
        found.setdefault(names[one.place], _number(one, show))
    plain = {place_id: asdict(number) for place_id, number in found.items()}
    said = before_after.figures_words(opened.survey, first, second, show.language)
    return JSONResponse({"figures": said, "numbers": plain})


def _number(one: PlaceChange, show: Show) -> BedNumber:
    low, middle, high = one.change_db
    words = f"{show.number(middle)} dB"
    said = say(
        show.language,
        "{place}: {change} ({coverage}: {low} to {high} dB); {kind} {before} before, {after} after",
        place=one.place,
        coverage=show.share(one.coverage),
        change=words,
        low=show.number(low),
        high=show.number(high),
        kind=say(show.language, KIND_NAMES[one.kind]),
        before=show.density(one.before_w_m2[1]),
        after=show.density(one.after_w_m2[1]),
    )
    return BedNumber(words, tone_of(one.after_w_m2[1]), said)


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
        change_x(low),
        change_x(middle),
        change_x(high),
        "" if isnan(one.predicted_db) else f"{show.number(one.predicted_db)} dB",
        AGREEMENTS.get(one.agreement, ""),
        "" if isnan(one.probability_met) else show.share(one.probability_met),
        None if isnan(one.predicted_db) else change_x(one.predicted_db),
    )

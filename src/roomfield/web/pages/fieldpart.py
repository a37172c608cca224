"""What readings, walls and emitters say together: contributions, maps, where to measure next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fastapi import APIRouter, Request
from starlette.responses import Response

from roomfield.show.trade_units import PERCENT
from roomfield.show.words import load_words
from roomfield.web.contexts import FieldPart, WaysPart
from roomfield.web.dependencies import Opened
from roomfield.web.formats import Show
from roomfield.web.rendering import language_of, render
from roomfield.workbench.model.source_contributions import NamedShare, PlaceCauses, causes
from roomfield.workbench.publish import level_maps
from roomfield.workbench.publish.ways_picture import ways_picture
from roomfield.workbench.record.visit_choice import visit_asked_or_first

router = APIRouter(include_in_schema=False, prefix="/surveys/{survey_id}/understand")
KindName = Literal["peak", "highest_held", "average"]


@dataclass(frozen=True)
class ShareRow:
    """The part of what hangs on one switch, or of one band of it, in the level at one place [%]."""

    emitter: str
    low: float
    median: float
    high: float
    level: str
    chance_largest: str
    band: bool = False


@dataclass(frozen=True)
class ShareSheet:
    """Who contributes what at one place."""

    place: str
    rows: tuple[ShareRow, ...]
    contradicted: bool = False


@router.get("/field")
def field(request: Request, opened: Opened, visit: str = "", kind: KindName = "peak") -> Response:
    """Contributions, maps and the next points."""
    survey, show = opened.survey, Show(language_of(request))
    visit_id = visit_asked_or_first(survey, visit).id
    sheets = tuple(_sheet(one, show) for one in causes(survey, visit_id, kind))
    storeys = tuple(storey for storey in survey.dwelling.storeys if storey.outline)
    nearest = level_maps.next_readings(survey, visit_id)
    sought = level_maps.sought_in_words(survey, visit_id, show.language)
    page = FieldPart(survey.id, visit_id, kind, sheets, storeys, nearest, sought)
    return render(request, page)


@router.get("/ways")
def ways(request: Request, opened: Opened, place: str, visit: str = "") -> Response:
    """What reaches a place, as ways through walls."""
    visit_id, language = visit_asked_or_first(opened.survey, visit).id, language_of(request)
    svg = ways_picture(opened.survey, visit_id, place, language)
    caption = load_words(language).say("ways.caption", place=opened.survey.place(place).name)
    return render(request, WaysPart(svg, caption))


@router.get("/map/{storey_id}.svg")
def map_picture(request: Request, opened: Opened, storey_id: str, visit: str, kind: KindName = "peak") -> Response:
    """The map of one storey as a picture."""
    made = level_maps.storey_map(opened.survey, visit, storey_id, kind, language_of(request))
    return Response(made.svg, media_type="image/svg+xml")


def _sheet(place: PlaceCauses, show: Show) -> ShareSheet:
    rows = [
        row
        for switch in place.shares[:6]
        for row in (_row(switch, show), *(_row(band, show, band=True) for band in switch.bands))
    ]
    return ShareSheet(place.place, tuple(rows), place.contradicted)


def _row(one: NamedShare, show: Show, *, band: bool = False) -> ShareRow:
    part = one.share.share
    return ShareRow(
        one.name,
        round(PERCENT.shown(part.low), 1),
        round(PERCENT.shown(part.median), 1),
        round(PERCENT.shown(part.high), 1),
        show.density(one.share.level_w_m2.median),
        show.share(one.share.probability_largest),
        band,
    )

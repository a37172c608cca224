"""The plan as one document: what is refused, what follows from the rooms, what survives a round trip."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from shapely import Polygon

from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.survey import Assignment, Dwelling, Opening, OpeningKind, Place, Room, Storey
from roomfield.workbench.record.editing import started_survey
from roomfield.workbench.record.plan_document import PlanSheet, plan_faults, plan_of, read_plan, with_plan, write_plan
from roomfield.workbench.record.plan_templates import STARTERS, starter, starters


@pytest.mark.parametrize("key", STARTERS)
def test_every_starter_is_a_sound_plan_and_comes_back_from_json_unchanged(key):
    sheet = starter(key).sheet
    assert list(plan_faults(sheet)) == []
    assert read_plan(write_plan(sheet)) == sheet
    assert started_survey("x", Assignment(), key).faults() == ()


def test_an_unknown_starter_is_named_with_the_choices():
    with pytest.raises(UnknownNameError, match="castle"):
        starter("castle")


@pytest.mark.published("GEOS through shapely: area of a polygon")
def test_the_outline_of_a_storey_holds_all_its_rooms():
    for one in starters()[1:]:
        for storey in one.sheet.dwelling.storeys:
            around = Polygon(storey.outline)
            rooms = [Polygon(r.outline) for r in one.sheet.dwelling.rooms if r.storey_id == storey.id]
            assert around.is_valid
            assert all(around.buffer(1e-6).contains(room) for room in rooms)
            assert around.area == pytest.approx(sum(room.area for room in rooms), rel=0.02)


def test_the_outline_follows_a_room_that_is_drawn_larger():
    survey = started_survey("x", Assignment(), "one-room-flat")
    sheet = plan_of(survey)
    larger = tuple(
        replace(r, outline=((-1.0, 0.0), (5.4, 0.0), (5.4, 4.6), (-1.0, 4.6))) if r.name == "Main room" else r
        for r in sheet.dwelling.rooms
    )
    after = with_plan(survey, replace(sheet, dwelling=replace(sheet.dwelling, rooms=larger)))
    assert min(x for x, _ in after.dwelling.storeys[0].outline) == -1.0
    assert with_plan(after, plan_of(after)).dwelling.storeys == after.dwelling.storeys


def broken(change):
    sheet = starter("one-room-flat").sheet
    return replace(sheet, dwelling=change(sheet.dwelling))


@pytest.mark.parametrize(
    ("words", "change"),
    [
        ("no length", lambda d: replace(d, walls=(replace(d.walls[0], end=d.walls[0].start, openings=()),))),
        ("no height", lambda d: replace(d, walls=(replace(d.walls[0], top_m=0.0, openings=()),))),
        ("storey that is not there", lambda d: replace(d, rooms=(replace(d.rooms[0], storey_id="attic"),))),
        ("three corners", lambda d: replace(d, rooms=(replace(d.rooms[0], outline=((0.0, 0.0), (1.0, 0.0))),))),
        ("no id of its own", lambda d: replace(d, rooms=(d.rooms[0], d.rooms[0]))),
        ("ceiling under its floor", lambda d: replace(d, storeys=(replace(d.storeys[0], ceiling_m=-1.0),))),
        ("-10 and 10 km", lambda d: replace(d, rooms=(replace(d.rooms[0], outline=((0.0, 0.0), (1e9, 0.0), (1.0, 1.0))),))),
        ("does not fit", lambda d: replace(d, walls=(replace(d.walls[0], openings=(
            Opening("o", OpeningKind.DOOR, 7.0, 9.0, 0.0, 2.0),)),))),
    ],
)  # fmt: skip
def test_a_plan_that_cannot_be_is_refused_in_words(words, change):
    survey = started_survey("x", Assignment())
    with pytest.raises(InputError, match=words):
        with_plan(survey, broken(change))


def test_a_plan_is_refused_with_all_its_faults_counted():
    rooms = tuple(Room(f"r{n}", f"r{n}", "nowhere", ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0))) for n in range(9))
    with pytest.raises(InputError, match="and 5 more"):
        with_plan(
            started_survey("x", Assignment()),
            PlanSheet(Dwelling(storeys=(Storey("s", "s", 0.0, 2.0, ()),), rooms=rooms)),
        )


@pytest.mark.parametrize(
    "text",
    ["", "[]", '{"dwelling": 3}', '{"places": [{"id": "a"}]}', '{"unknown": 1}', '{"dwelling": {"north_deg": NaN}}'],
)
def test_json_that_is_no_plan_names_the_field(text):
    with pytest.raises(FormatError):
        read_plan(text)


def test_a_plan_too_large_for_a_dwelling_is_refused_before_it_is_gone_through():
    places = tuple(Place(f"p{n}", "p") for n in range(6000))
    assert list(plan_faults(PlanSheet(places=places))) == ["the plan has 6000 items; at most 5000 are taken"]


def test_the_document_is_plain_json():
    document = json.loads(write_plan(starter("terraced-house").sheet))
    assert set(document) == {"dwelling", "places", "emitters"}

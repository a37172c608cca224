"""Two devices at one plan: different items both win, the same item is asked about, nothing unsound is kept."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor

import pytest

from roomfield.errors import FormatError, InputError
from roomfield.survey import Assignment
from roomfield.workbench.record import editing, survey_list
from roomfield.workbench.record.plan_document import plan_of, write_plan
from roomfield.workbench.record.plan_merge import ItemChange, change_plan


@pytest.fixture
def records(tmp_path):
    opened = survey_list.open_records(str(tmp_path / "record.sqlite"))
    yield opened
    opened.close()


@pytest.fixture
def survey_id(records):
    return survey_list.keep_new(records, editing.started_survey("Flat", Assignment(), "three-room-flat"))


def plan_in(records, survey_id):
    stored = survey_list.opened(records, survey_id)
    return stored.revision, json.loads(write_plan(plan_of(stored.survey)))


def renamed(plan, kind, name, at=0):
    item = plan[kind][at]
    return ItemChange(kind, item["id"], item, {**item, "name": name})


def test_changes_of_different_items_from_one_state_both_stand(records, survey_id):
    revision, plan = plan_in(records, survey_id)
    wall = plan["dwelling"]["walls"][0]
    first = change_plan(records, survey_id, revision, (renamed(plan, "places", "Bed by the wall"),))
    thicker = {**wall, "layers": [{"material": "concrete", "thickness_m": 0.3}]}
    second = change_plan(records, survey_id, revision, (ItemChange("walls", wall["id"], wall, thicker),))
    assert first.plan is None and first.conflicts == second.conflicts == ()
    assert second.plan.places[0].name == "Bed by the wall"  # the sender did not know it
    _, now = plan_in(records, survey_id)
    assert now["places"][0]["name"] == "Bed by the wall"
    assert now["dwelling"]["walls"][0]["layers"][0]["material"] == "concrete"


def test_the_same_item_is_left_as_the_other_made_it_and_the_rest_is_kept(records, survey_id):
    revision, plan = plan_in(records, survey_id)
    change_plan(records, survey_id, revision, (renamed(plan, "places", "Theirs"),))
    mine = (renamed(plan, "places", "Mine"), renamed(plan, "places", "Desk, mine", 1))
    done = change_plan(records, survey_id, revision, mine)
    (conflict,) = done.conflicts
    assert (conflict.kind, conflict.name, conflict.theirs["name"]) == ("places", "Theirs", "Theirs")
    assert [p.name for p in done.plan.places[:2]] == ["Theirs", "Desk, mine"]
    again = ItemChange("places", conflict.id, conflict.theirs, mine[0].after)  # the reader keeps theirs no longer
    assert change_plan(records, survey_id, done.revision, (again,)).conflicts == ()
    assert plan_in(records, survey_id)[1]["places"][0]["name"] == "Mine"


def test_taken_out_here_and_changed_there_is_asked_and_taken_out_twice_is_not(records, survey_id):
    revision, plan = plan_in(records, survey_id)
    room, place = plan["dwelling"]["rooms"][0], plan["places"][-1]
    gone = (ItemChange("rooms", room["id"], room, None), ItemChange("places", place["id"], place, None))
    change_plan(records, survey_id, revision, gone)
    done = change_plan(records, survey_id, revision, (gone[0], renamed(plan, "places", "Still used", -1)))
    (conflict,) = done.conflicts
    assert (conflict.kind, conflict.theirs, conflict.name) == ("places", None, "Still used")


def test_the_same_change_sent_twice_changes_nothing_more(records, survey_id):
    revision, plan = plan_in(records, survey_id)
    change = (renamed(plan, "places", "Once"), ItemChange("north_deg", "", plan["dwelling"]["north_deg"], 12.5))
    first = change_plan(records, survey_id, revision, change)
    second = change_plan(records, survey_id, first.revision, change)
    assert (second.revision, second.conflicts) == (first.revision, ())


def test_a_new_item_without_its_optional_fields_is_no_conflict_later(records, survey_id):
    revision, plan = plan_in(records, survey_id)
    storey = plan["dwelling"]["storeys"][0]["id"]
    bare = {"id": "room-new", "name": "Nook", "storey_id": storey, "outline": [[0, 0], [1, 0], [1, 1]]}
    place = {"id": "place-new", "name": "Chair", "kind": "seat", "position": [0.5, 0.5, 1]}
    form = {key: value for key, value in plan["places"][0].items() if key in {"id", "name", "kind", "position"}}
    place["kind"] = form["kind"]
    done = change_plan(
        records,
        survey_id,
        revision,
        (ItemChange("rooms", "room-new", None, bare), ItemChange("places", "place-new", None, place)),
    )
    moved = {**place, "name": "Armchair"}
    after = change_plan(
        records,
        survey_id,
        done.revision,
        (
            ItemChange("places", "place-new", place, moved),
            ItemChange(
                "storeys",
                storey,
                plan["dwelling"]["storeys"][0],
                {**plan["dwelling"]["storeys"][0], "name": "Upstairs"},
            ),
        ),
    )
    assert after.conflicts == ()
    assert plan_in(records, survey_id)[1]["places"][-1]["name"] == "Armchair"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (ItemChange("visits", "v", None, {}), "no kind of item"),
        (ItemChange("places", "one", None, {"id": "other", "name": "x", "kind": "bed"}), "another id inside"),
        (ItemChange("walls", "w", None, {"id": "w", "storey_id": "none", "start": [0, 0], "end": [0, 0], "base_m": 0, "top_m": 2, "layers": []}), "storey that is not there"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_is_kept(records, survey_id, change, words):
    revision, before = plan_in(records, survey_id)
    good = renamed(before, "places", "Never")
    with pytest.raises(InputError, match=words):
        change_plan(records, survey_id, revision, (good, change))
    with pytest.raises(FormatError):
        change_plan(records, survey_id, revision, (ItemChange("rooms", "r", None, {"id": "r", "nonsense": 1}),))
    assert plan_in(records, survey_id) == (revision, before)


def test_ten_devices_that_write_at_once_lose_nothing(records, survey_id):
    revision, plan = plan_in(records, survey_id)
    form = plan["places"][0]
    changes = [ItemChange("places", f"p{n}", None, {**form, "id": f"p{n}", "name": f"Place {n}"}) for n in range(10)]

    def send(change):
        for _ in range(20):
            try:
                return change_plan(records, survey_id, revision, (change,))
            except Exception as fault:
                if type(fault).__name__ != "ConflictError":
                    raise
        raise AssertionError("never taken")

    with ThreadPoolExecutor(10) as pool:
        list(pool.map(send, changes))
    names = {place["name"] for place in plan_in(records, survey_id)[1]["places"]}
    assert {f"Place {n}" for n in range(10)} <= names

"""Surveys in and out of SQLite and PostgreSQL."""

from __future__ import annotations

from dataclasses import MISSING, fields, is_dataclass, replace
from typing import Any

import pytest

from roomfield.errors import ConflictError, FormatError, InputError, StoreError, UnknownNameError
from roomfield.quantities.kind import Kind
from roomfield.store import parts
from roomfield.store.repository import Store, open_store
from roomfield.survey import (
    Assignment,
    Censoring,
    HeardTechnology,
    LogRecord,
    MediaItem,
    Meter,
    Origin,
    Place,
    Reading,
    Survey,
    VisitPurpose,
)
from roomfield.survey.survey_record import WITHDRAWN


def reading(name: str, **changes: Any) -> Reading:
    plain = Reading(name, "v1", "m1", "st1", Kind.PEAK, 2e-5, "bed1")
    return replace(plain, **changes)


def defaults_left(value: Any, path: str = "") -> list[str]:
    """Fields of a record and of everything in it that still hold their default."""
    if isinstance(value, tuple):
        return [left for item in value[:1] for left in defaults_left(item, path)]
    if not is_dataclass(value):
        return []
    found = []
    for field in fields(value):
        held = getattr(value, field.name)
        if field.default is not MISSING and held == field.default:
            found.append(f"{path}.{field.name}")
        found += defaults_left(held, f"{path}.{field.name}")
    return found


def test_sample_record_has_no_field_at_its_default(survey: Survey):
    assert defaults_left(survey) == [".actions.surfaces.part"]


def test_everything_comes_back_as_it_went_in(store: Store, survey: Survey):
    store.create(survey)
    loaded = store.load(survey.id)
    assert loaded.survey == survey
    assert loaded.revision == 1


def test_it_comes_back_after_closing(url: str, survey: Survey, tmp_path):
    with open_store(url, media_folder=tmp_path) as first:
        first.create(survey)
    with open_store(url, media_folder=tmp_path) as second:
        assert second.load(survey.id).survey == survey


def test_order_of_observations_is_the_order_of_adding(store: Store, survey: Survey):
    store.create(survey)
    store.append(survey.id, [reading("z"), reading("a")])
    store.append(survey.id, [reading("m")])
    assert [r.id for r in store.load(survey.id).survey.readings] == ["r1", "r2", "z", "a", "m"]


def test_same_ids_in_two_surveys_do_not_meet(store: Store, survey: Survey):
    other = replace(survey, id=survey.id[::-1], readings=survey.readings[:1])
    store.create(survey)
    store.create(other)
    assert len(store.load(survey.id).survey.readings) == 2
    assert len(store.load(other.id).survey.readings) == 1


def test_creating_twice_is_refused(store: Store, survey: Survey):
    store.create(survey)
    with pytest.raises(StoreError, match="already a survey"):
        store.create(survey)


def test_a_wrong_type_is_refused_before_anything_is_written(store: Store, survey: Survey):
    with pytest.raises(InputError, match="readings"):
        store.create(replace(survey, readings=(reading("n", value_w_m2=float("nan")),)))
    with pytest.raises(UnknownNameError):
        store.load(survey.id)


def test_a_text_that_the_database_cannot_hold_is_one_clear_error(store: Store, survey: Survey):
    store.create(survey)
    with pytest.raises(InputError, match="NUL"):
        store.append(survey.id, [reading("nul", note="a\x00b")])
    assert len(store.load(survey.id).survey.readings) == 2


def test_half_a_character_is_one_clear_error(store: Store, survey: Survey):
    store.create(survey)
    with pytest.raises(StoreError, match="half a character"):
        store.append(survey.id, [reading("odd", note="\ud800")])
    with pytest.raises(InputError, match="half a character"):
        store.update(survey.id, 1, title="\ud800")
    assert store.load(survey.id).survey == survey


# Parts and revisions


def test_update_counts_revisions_and_lists_changes(store: Store, survey: Survey):
    store.create(survey)
    assert store.update(survey.id, 1, title="New title", adopted_plan=None) == 2
    assert store.update(survey.id, 2, places=(*survey.places, Place("p3", "sofa"))) == 3
    loaded = store.load(survey.id)
    assert (loaded.survey.title, loaded.survey.adopted_plan, len(loaded.survey.places)) == (
        "New title",
        None,
        3,
    )
    assert [(c.revision, c.what) for c in store.changes(survey.id)] == [
        (1, "created"),
        (2, "adopted_plan, title"),
        (3, "places"),
    ]


def test_two_tabs_editing_meet_in_a_conflict(store: Store, survey: Survey):
    store.create(survey)
    store.update(survey.id, 1, dwelling=replace(survey.dwelling, north_deg=1.0))
    with pytest.raises(ConflictError) as caught:
        store.update(survey.id, 1, dwelling=replace(survey.dwelling, north_deg=2.0))
    assert (caught.value.expected, caught.value.found, caught.value.changed) == (1, 2, ("dwelling",))
    assert store.load(survey.id).survey.dwelling.north_deg == 1.0


def test_readings_added_in_one_tab_do_not_disturb_the_plan_in_another(store: Store, survey: Survey):
    store.create(survey)
    store.append(survey.id, [reading("r9")])
    assert store.update(survey.id, 1, title="Still fits") == 2


def test_an_empty_update_changes_nothing(store: Store, survey: Survey):
    store.create(survey)
    assert store.update(survey.id, 1) == 1


@pytest.mark.parametrize(
    ("part", "value", "fault"),
    [
        ("readings", (), UnknownNameError),
        ("title", 7, InputError),
        ("places", None, InputError),
        (
            "places",
            (Meter("m", "no place", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5),),
            InputError,
        ),
    ],
)
def test_what_is_no_part_is_refused(store: Store, survey: Survey, part, value, fault):
    store.create(survey)
    with pytest.raises(fault):
        store.update(survey.id, 1, **{part: value})
    assert store.load(survey.id).revision == 1


@pytest.mark.parametrize("part", ["places", "meters", "visits"])
def test_what_observations_refer_to_cannot_go(store: Store, survey: Survey, part: str):
    store.create(survey)
    with pytest.raises(StoreError, match="there is no"):
        store.update(survey.id, 1, **{part: ()})
    assert store.load(survey.id).survey == survey


def test_what_an_amendment_refers_to_cannot_go(store: Store, survey: Survey):
    store.create(survey)
    store.amend(survey.id, "r2", "place_id", "p2", reason="wrong place", by="A")
    with pytest.raises(StoreError, match="no place 'p2'"):
        store.update(survey.id, 1, places=survey.places[:1])


# Observations


def test_append_is_all_or_nothing(store: Store, survey: Survey):
    store.create(survey)
    with pytest.raises(StoreError, match="no place 'nowhere'"):
        store.append(survey.id, [reading("good"), reading("bad", place_id="nowhere")])
    assert [r.id for r in store.load(survey.id).survey.readings] == ["r1", "r2"]


def test_places_come_with_their_readings_or_not_at_all(store: Store, survey: Survey):
    store.create(survey)
    cot = Place("cot", "Cot")
    assert store.append(survey.id, [reading("r9", place_id="cot")], new_places=[cot]) == 1
    loaded = store.load(survey.id)
    assert (loaded.survey.places[-1], loaded.survey.readings[-1].place_id, loaded.revision) == (cot, "cot", 2)
    assert store.changes(survey.id)[-1].what == "places"
    with pytest.raises(StoreError, match="no place 'attic'"):
        store.append(survey.id, [reading("r10", place_id="attic")], new_places=[Place("cellar", "Cellar")])
    with pytest.raises(StoreError, match="'cot' stands 2 times"):
        store.append(survey.id, [reading("r10", place_id="cot")], new_places=[cot])
    assert store.load(survey.id).survey == loaded.survey


def test_sending_the_same_entry_again_neither_fails_nor_doubles(store: Store, survey: Survey):
    store.create(survey)
    assert store.append(survey.id, [reading("again")]) == 1
    assert store.append(survey.id, [reading("again"), reading("next")]) == 1
    assert [r.id for r in store.load(survey.id).survey.readings][2:] == ["again", "next"]


def test_another_value_under_a_used_id_is_refused(store: Store, survey: Survey):
    store.create(survey)
    with pytest.raises(StoreError, match="'r1' stands already"):
        store.append(survey.id, [reading("new"), reading("r1", value_w_m2=9e-5)])
    assert len(store.load(survey.id).survey.readings) == 2


def test_an_id_twice_in_one_batch_is_refused(store: Store, survey: Survey):
    store.create(survey)
    with pytest.raises(InputError, match="'twin' stands twice"):
        store.append(survey.id, [reading("twin"), reading("twin", value_w_m2=1e-6)])


def test_only_observations_can_be_added(store: Store, survey: Survey):
    store.create(survey)
    with pytest.raises(InputError, match="only readings"):
        store.append(survey.id, [Place("p", "place")])  # type: ignore[list-item]


def test_several_types_at_once(store: Store, survey: Survey):
    store.create(survey)
    log = LogRecord("l9", "v1", "m1", "st1", Kind.PEAK, "0" * 64)
    assert store.append(survey.id, [log, reading("r9")]) == 2
    loaded = store.load(survey.id).survey
    assert loaded.logs[-1] == log
    assert loaded.readings[-1].id == "r9"


def test_many_at_once_keep_every_digit(store: Store, survey: Survey):
    store.create(survey)
    many = [reading(f"n{i}", value_w_m2=1e-9 * 1.37**i / 3, origin=Origin("f.csv", "", i)) for i in range(60)]
    store.append(survey.id, many)
    assert list(store.load(survey.id).survey.readings[2:]) == many


# Amendments


def test_an_amendment_keeps_what_was_observed(store: Store, survey: Survey):
    store.create(survey)
    amendment = store.amend(survey.id, "r2", "value_w_m2", 3e-6, reason="misread the decimal point", by="A. Sessor")
    loaded = store.load(survey.id).survey
    assert loaded.readings == survey.readings
    assert loaded.amendments[-1] == amendment
    assert (amendment.old, amendment.new) == (repr(0.1 + 0.2), "3e-06")
    assert loaded.current_readings()[1].value_w_m2 == 3e-6


def test_amendments_follow_one_another(store: Store, survey: Survey):
    store.create(survey)
    store.amend(survey.id, "r2", "value_w_m2", 3e-6, reason="slip", by="A")
    second = store.amend(survey.id, "r2", "value_w_m2", 4e-6, reason="slip again", by="A")
    assert second.old == "3e-06"
    assert store.load(survey.id).survey.current_readings()[1].value_w_m2 == 4e-6


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("censoring", Censoring.ABOVE),
        ("position", (1.0, 2.0, 3.0)),
        ("position", None),
        ("kind", "average"),
    ],
)
def test_amended_values_come_back_with_their_type(store: Store, survey: Survey, field: str, value: object):
    store.create(survey)
    target = "r2" if value is not None else "r1"
    store.amend(survey.id, target, field, value, reason="slip", by="A")
    found = {r.id: r for r in store.load(survey.id).survey.current_readings()}[target]
    assert getattr(found, field) == value
    assert type(getattr(found, field)) is type(getattr(survey.readings[0], field)) or value is None


def test_what_was_heard_can_be_amended(store: Store, survey: Survey):
    store.create(survey)
    heard = (HeardTechnology("wlan", 0.8, "beacons at 102.4 ms"), HeardTechnology("dect", 0.1))
    store.amend(survey.id, "c1", "heard", heard, reason="analysed again", by="A")
    assert store.load(survey.id).survey.current_recordings()[0].heard == heard
    with pytest.raises(FormatError):
        store.amend(survey.id, "c1", "heard", ("wlan",), reason="slip", by="A")


def test_withdrawing_and_restoring(store: Store, survey: Survey):
    store.create(survey)
    store.amend(survey.id, "r2", WITHDRAWN, True, reason="phone was on", by="A")
    assert [r.id for r in store.load(survey.id).survey.current_readings()] == ["r1"]
    with pytest.raises(InputError, match="already"):
        store.amend(survey.id, "r2", WITHDRAWN, True, reason="phone was on", by="A")
    with pytest.raises(StoreError, match="no place"):
        store.amend(survey.id, "r2", "place_id", "nowhere", reason="slip", by="A")
    store.amend(survey.id, "r2", WITHDRAWN, False, reason="it was off after all", by="A")
    assert len(store.load(survey.id).survey.current_readings()) == 2


@pytest.mark.parametrize(
    ("target", "field", "value", "fault"),
    [
        ("nobody", "note", "x", StoreError),
        ("r1", "colour", "x", UnknownNameError),
        ("r1", "id", "x", UnknownNameError),
        ("r1", "origin", "x", UnknownNameError),
        ("r1", "kind", "loudest", FormatError),
        ("r1", "value_w_m2", "a lot", FormatError),
        ("r1", "value_w_m2", float("inf"), InputError),
        ("r1", "value_w_m2", None, FormatError),
        ("r1", "note", object(), InputError),
        ("r1", "value_w_m2", 1e-8, InputError),
        ("r1", WITHDRAWN, 1, FormatError),
    ],
)
def test_amendments_that_do_not_fit_are_refused(store: Store, survey: Survey, target, field, value, fault):
    store.create(survey)
    with pytest.raises(fault):
        store.amend(survey.id, target, field, value, reason="slip", by="A")
    assert store.load(survey.id).survey == survey


@pytest.mark.parametrize(("reason", "by"), [("", "A"), ("  ", "A"), ("slip", ""), ("slip", " ")])
def test_an_amendment_needs_a_reason_and_a_name(store: Store, survey: Survey, reason: str, by: str):
    store.create(survey)
    with pytest.raises(InputError, match="reason and a name"):
        store.amend(survey.id, "r1", "note", "x", reason=reason, by=by)


# The list, copies and removal


def test_search_needs_every_word_somewhere(store: Store, survey: Survey):
    mark = survey.id[:12]
    store.create(replace(survey, title=f"Flat {mark}"))
    store.create(replace(survey, id=f"second-{mark}", title="100% House", assignment=Assignment(client="Bob")))
    assert [s.title for s in store.surveys(f"flat {mark} ann river")] == [f"Flat {mark}"]
    assert [s.client for s in store.surveys(f"100% {mark}")] == ["Bob"]
    assert store.surveys(f"{mark} _") == ()
    assert [s.readings for s in store.surveys(mark)] == [2, 2]


def test_the_list_follows_changes(store: Store, survey: Survey):
    store.create(survey)
    store.update(survey.id, 1, title="Renamed", assignment=Assignment(client="Eve", address="Elsewhere"))
    (line,) = store.surveys(survey.id)
    assert (line.title, line.client, line.address, line.revision) == ("Renamed", "Eve", "Elsewhere", 2)


def test_duplicate_for_the_follow_up_visit(store: Store, survey: Survey):
    store.create(survey)
    copy = store.duplicate(survey.id, title="Second visit")
    assert copy.survey.id != survey.id
    assert copy.survey.readings == survey.readings
    assert copy.survey.visits[-1].purpose is VisitPurpose.FOLLOW_UP
    assert copy.survey.visits[-1].radio_states == survey.visits[0].radio_states
    assert store.load(copy.survey.id).survey == copy.survey
    assert store.load(survey.id).survey == survey


def test_duplicate_as_the_start_of_another_survey(store: Store, survey: Survey):
    store.create(survey)
    copy = store.duplicate(survey.id, for_follow_up=False).survey
    assert (copy.readings, copy.amendments, copy.visits, copy.actions) == ((), (), (), ())
    assert (copy.dwelling, copy.places, copy.meters) == (survey.dwelling, survey.places, survey.meters)
    assert copy.media == survey.media


def test_delete_needs_the_title(store: Store, survey: Survey):
    store.create(survey)
    with pytest.raises(InputError, match="Flat by the river"):
        store.delete(survey.id, "flat by the river")
    store.delete(survey.id, "Flat by the river")
    with pytest.raises(UnknownNameError):
        store.load(survey.id)
    store.create(survey)
    assert store.load(survey.id).survey == survey


def test_attach_adds_without_a_revision(store: Store, survey: Survey):
    store.create(survey)
    item = store.media.put(b"RIFF...", file_name="bed.wav")
    store.attach(survey.id, item)
    store.attach(survey.id, item)
    loaded = store.load(survey.id)
    assert loaded.survey.media == (*survey.media, item)
    assert loaded.revision == 1


def test_attach_needs_the_file(store: Store, survey: Survey):
    store.create(survey)
    with pytest.raises(StoreError, match="missing"):
        store.attach(survey.id, MediaItem("f" * 64, "gone.wav", "audio/wav", 3))


@pytest.mark.parametrize("call", ["load", "changes"])
def test_an_unknown_survey_is_named(store: Store, call: str):
    with pytest.raises(UnknownNameError, match="no survey named 'nobody'"):
        getattr(store, call)("nobody")


@pytest.mark.parametrize("value", [-5e-6, 0.0, 5e-324, 1e302])
def test_a_level_that_cannot_be_is_kept_by_no_way_in(store: Store, survey: Survey, value: float):
    store.create(survey)
    with pytest.raises(InputError, match="level is"):
        store.append(survey.id, [reading("odd", value_w_m2=value)])
    with pytest.raises(InputError, match="level is"):
        store.amend(survey.id, "r2", "value_w_m2", value, reason="slip", by="A")
    with pytest.raises(InputError, match="level is"):
        store.create(replace(survey, id="other", readings=(reading("odd", value_w_m2=value),)))
    assert store.load(survey.id).survey == survey


def test_a_meter_that_cannot_be_is_refused_and_one_let_in_before_can_be_mended_piece_by_piece(
    store: Store, survey: Survey
):
    store.create(survey)
    bad = replace(survey.meters[0], tolerance_db=-6.0)
    with pytest.raises(InputError, match="tolerance is -6 dB"):
        store.update(survey.id, 1, meters=(bad,))
    body = parts.encode("meters", (bad, replace(bad, id="m2")))
    with store._engine.begin() as connection:
        parts.write_parts(connection, survey.id, {"meters": body}, 1)
    store.update(survey.id, 1, meters=(survey.meters[0], replace(bad, id="m2")))
    assert [meter.tolerance_db for meter in store.load(survey.id).survey.meters] == [4.5, -6.0]

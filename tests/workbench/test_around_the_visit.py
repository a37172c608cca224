"""Around the visit: the orienting walk, checklists, templates of homes, the archive."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.quantities import Kind
from roomfield.references.checklists import STRETCHES, checklist_rows
from roomfield.survey import Assignment
from roomfield.workbench.publish.whole_report import Wishes, whole_report
from roomfield.workbench.record import editing, own_homes, survey_list
from roomfield.workbench.record.checklist_ticks import checklist_of, set_tick
from roomfield.workbench.record.field_entry import Entry, Value, enter
from roomfield.workbench.record.hot_spots import SpotMark, mark_spot, take_spot_away, walk_order
from roomfield.workbench.record.job import Job


@pytest.fixture
def records(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    opened = survey_list.open_records(str(tmp_path / "record.sqlite"))
    yield opened
    opened.close()


@pytest.fixture
def survey_id(records):
    return survey_list.keep_new(records, editing.started_survey("Flat", Assignment(client="A"), "three-room-flat"))


def spot(survey, place, by, spot_id):
    x, y, z = place.position
    return SpotMark(spot_id, survey.visits[0].id, (x + by, y, z), "short bursts")


def test_places_beside_a_loud_spot_come_first_then_spots_by_themselves_then_the_rest(records, survey_id):
    survey = records.load(survey_id).survey
    visit_id, places = survey.visits[0].id, survey.places
    assert [stop.place_id for stop in walk_order(survey, visit_id)] == [place.id for place in places]
    last = places[-1]
    mark_spot(records, survey_id, spot(survey, last, 0.4, "at-the-last"))
    lonely = SpotMark("lonely", visit_id, (-40.0, -40.0, 1.0))
    mark_spot(records, survey_id, lonely)
    mark_spot(records, survey_id, lonely)  # sent again because its answer was lost
    order = walk_order(records.load(survey_id).survey, visit_id)
    assert order[0].place_id == last.id
    spots = [stop.spot_id for stop in order if stop.spot_id]
    assert spots == ["lonely"]  # the other lies at a place that is measured anyway
    assert sorted(stop.place_id for stop in order if stop.place_id) == sorted(place.id for place in places)
    take_spot_away(records, survey_id, "at-the-last")
    take_spot_away(records, survey_id, "at-the-last")
    assert [one.id for one in records.load(survey_id).survey.hot_spots] == ["lonely"]


def test_a_spot_that_cannot_be_is_refused(records, survey_id):
    visit_id = records.load(survey_id).survey.visits[0].id
    for mark in (
        SpotMark("", visit_id, (0.0, 0.0, 0.0)),
        SpotMark("s", visit_id, (1e300, 0.0, 0.0)),
        SpotMark("s" * 61, visit_id, (0.0, 0.0, 0.0)),
    ):
        with pytest.raises(InputError):
            mark_spot(records, survey_id, mark)
    with pytest.raises(UnknownNameError):
        mark_spot(records, survey_id, SpotMark("s", "no visit", (0.0, 0.0, 0.0)))
    assert records.load(survey_id).survey.hot_spots == ()


def test_rows_have_ids_of_their_own_and_both_stretches():
    ids = [row.id for row in checklist_rows()]
    assert len(set(ids)) == len(ids)
    assert {row.stretch for row in checklist_rows()} == set(STRETCHES)


def test_preparation_is_ticked_once_and_arrival_at_each_visit_and_the_report_says_so_in_one_line(
    records, survey_id, tmp_path
):
    survey = records.load(survey_id).survey
    first = survey.visits[0].id
    state, place = survey.visits[0].radio_states[0].id, survey.places[0].id
    one = Entry("entry-1", first, survey.meters[0].id, state, (Value(340.0, Kind.HIGHEST_HELD),), place_id=place)
    enter(records, survey_id, one)
    assert "Checklists" not in _annex(records, survey_id, tmp_path, "en")
    for row in ("meter-charged", "own-phone-off", "own-phone-off"):
        set_tick(records, survey_id, row, first, done=True)
    survey = records.load(survey_id).survey
    assert {line.row.id for line in checklist_of(survey, first) if line.at} == {"meter-charged", "own-phone-off"}
    assert {line.row.id for line in checklist_of(survey, "another") if line.at} == {"meter-charged"}
    english = _annex(records, survey_id, tmp_path, "en")
    assert f"2 of {len(checklist_rows())} rows were seen to" in english
    assert "A floor plan was asked for" in english
    assert "Nach einem Grundriss wurde gefragt" in _annex(records, survey_id, tmp_path, "de")
    set_tick(records, survey_id, "own-phone-off", first, done=False)
    assert [tick.row for tick in records.load(survey_id).survey.ticks] == ["meter-charged"]
    with pytest.raises(UnknownNameError):
        set_tick(records, survey_id, "no row", first, done=True)


def _annex(records, survey_id, folder, language):
    job = Job(records.load(survey_id).survey, records)
    text = whole_report(job, folder / "report.html", Wishes(language=language, short=True)).read_text(encoding="utf-8")
    return re.sub(r"\s+", " ", text)


def test_a_home_of_one_s_own_begins_another_survey_without_what_belongs_to_the_client(records, survey_id):
    survey = records.load(survey_id).survey
    key = own_homes.keep_home(
        replace(survey, dwelling=replace(survey.dwelling, north_deg=20.0)), "Flat in Müller's row"
    )
    assert key == "own-flat-in-muller-s-row"
    begun = editing.started_survey("Other", Assignment(client="B"), key)
    assert begun.dwelling.walls == survey.dwelling.walls
    assert begun.places == survey.places
    assert (begun.dwelling.north_deg, begun.emitters, begun.readings) == (None, (), ())
    assert [one.name for one in own_homes.own_homes()] == ["Flat in Müller's row"]
    assert survey_list.keep_new(records, begun)
    for name, words in (("  ", "needs a name"), ("blank", "nothing is drawn")):
        with pytest.raises(InputError, match=words):
            own_homes.keep_home(editing.started_survey("Blank", Assignment()), name)
    own_homes.forget_home(key)
    own_homes.forget_home("own-../../identity")
    assert own_homes.own_homes() == ()


def test_a_damaged_template_hides_no_other_and_is_refused_by_name(records, survey_id):
    own_homes.keep_home(records.load(survey_id).survey, "Good")
    for name, content in (
        ("a", "{"),
        ("b", '{"schema": "other/1"}'),
        ("c", '{"schema": "roomfield-home/1", "name": "C", "plan": {"walls": 3}}'),
    ):
        (own_homes.home_folder() / f"{name}.json").write_text(content, encoding="utf-8")
    assert [one.name for one in own_homes.own_homes()] == ["Good"]
    for name in "abc":
        with pytest.raises(FormatError):
            editing.started_survey("X", Assignment(), f"own-{name}")
    with pytest.raises(UnknownNameError):
        editing.started_survey("X", Assignment(), "own-none")


def test_the_archive_hides_and_changes_nothing(records, survey_id):
    before = records.load(survey_id).survey
    survey_list.set_archived(records, survey_id, archived=True)
    (card,) = survey_list.list_surveys(records)
    assert card.archived
    assert replace(records.load(survey_id).survey, archived=False) == before
    copy = survey_list.copy_for_follow_up(records, survey_id, "Copy")
    assert {one.id: one.archived for one in survey_list.list_surveys(records)} == {survey_id: True, copy: False}
    survey_list.set_archived(records, survey_id, archived=False)
    assert not any(one.archived for one in survey_list.list_surveys(records))

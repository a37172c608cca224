"""Readings and bearings listed, put right and withdrawn with a reason; the way through the job."""

from __future__ import annotations

import pytest

from roomfield.quantities.kind import Kind
from roomfield.survey import VisitPurpose
from roomfield.workbench.record import editing, field_entry, survey_list
from roomfield.workbench.record.bearing_entry import BearingEntry, bearing_of, enter_bearing
from roomfield.workbench.record.field_entry import Entry, Value
from roomfield.workbench.record.progress import progress_of
from roomfield.workbench.record.readings_ledger import ledger_of


@pytest.fixture
def place_id(records, survey_id) -> str:
    return survey_list.opened(records, survey_id).survey.places[0].id


@pytest.fixture
def reading_id(records, survey_id, place_id) -> str:
    return read(records, survey_id, place_id, 480.0)


def read(records, survey_id, place_id, number, visit_id="visit-1") -> str:
    survey = survey_list.opened(records, survey_id).survey
    state = survey.visit(visit_id).radio_states[0].id
    entry = Entry(
        editing.new_id("entry"),
        visit_id,
        survey.meters[0].id,
        state,
        (Value(number, Kind.PEAK),),
        place_id=place_id,
    )
    return field_entry.enter(records, survey_id, entry).worth[0].reading.id


def the_survey(records, survey_id):
    return survey_list.opened(records, survey_id).survey


def form(client, address, **fields):
    return client.post(address, data=fields, follow_redirects=False)


def test_a_typed_reading_is_listed_and_leads_to_its_correction(client, survey_id, reading_id):
    page = client.get(f"/surveys/{survey_id}/readings").text
    assert ">480<" in page
    assert f"/readings/entry/{reading_id}" in page
    assert "to measure" in page, "the other place has an empty cell"


def test_a_correction_keeps_what_was_noted_first_with_the_reason(client, records, survey_id, reading_id):
    address = f"/surveys/{survey_id}/readings/entry/{reading_id}"
    noted = the_survey(records, survey_id).readings[0]
    fields = {"value": "48", "kind": "average", "place_id": noted.place_id, "state_id": noted.radio_state_id}
    answer = form(client, address, **fields, note="", reason="typing error", do="correct")
    assert answer.status_code == 303
    survey = the_survey(records, survey_id)
    assert [(r.value_w_m2, r.kind) for r in survey.current_readings()] == [(pytest.approx(48e-6), "average")]
    assert survey.readings[0].value_w_m2 == pytest.approx(480e-6)
    assert {(one.field, one.reason, one.by) for one in survey.amendments} == {
        ("value_w_m2", "typing error", "A. Beispiel"), ("kind", "typing error", "A. Beispiel")}  # fmt: skip


@pytest.mark.parametrize(("value", "reason"), [("48", " "), ("loud", "typing error"), ("480", "nothing differs")])
def test_a_refused_correction_stays_in_the_form(client, records, survey_id, reading_id, value, reason):
    noted = the_survey(records, survey_id).readings[0]
    fields = {"value": value, "kind": "peak", "place_id": noted.place_id, "state_id": noted.radio_state_id}
    answer = form(client, f"/surveys/{survey_id}/readings/entry/{reading_id}", **fields, note="", reason=reason)
    assert answer.status_code == 422
    assert f'value="{value}"' in answer.text
    assert 'role="alert"' in answer.text
    assert the_survey(records, survey_id).amendments == ()


def test_a_withdrawn_reading_is_told_with_its_reason_and_no_longer_counted(client, survey_id, reading_id):
    form(client, f"/surveys/{survey_id}/readings/entry/{reading_id}", reason="wrong place", do="withdraw")
    page = client.get(f"/surveys/{survey_id}/readings").text
    assert "wrong place" in page
    assert f"/readings/entry/{reading_id}" not in page
    assert client.get("/api/v1/surveys", headers={"accept": "application/json"}).json()[0]["readings"] == 0


def test_a_bearing_goes_in_is_listed_and_put_right(client, records, survey_id, place_id):
    survey = the_survey(records, survey_id)
    entry = {"entry_id": "b1", "visit_id": "visit-1", "meter_id": survey.meters[0].id, "place_id": place_id,
             "radio_state_id": survey.visits[0].radio_states[0].id, "null_deg": 200.0, "null": 12.0}  # fmt: skip
    answer = client.post(f"/api/v1/surveys/{survey_id}/bearings", json=entry)
    assert answer.status_code == 201
    kept = the_survey(records, survey_id).bearings[0]
    assert (kept.null_deg, kept.strongest_deg, kept.null_w_m2) == (20.0, None, pytest.approx(12e-6))
    assert kept.position == survey.places[0].position
    assert "20°" in client.get(f"/surveys/{survey_id}/readings").text
    fields = {"strongest_deg": "110", "null_deg": "25", "std_deg": "8", "state_id": kept.radio_state_id}
    form(client, f"/surveys/{survey_id}/readings/entry/b1", **fields, note="", reason="typing error", do="correct")
    now = the_survey(records, survey_id).current_bearings()[0]
    assert (now.strongest_deg, now.null_deg, now.std_deg) == (110.0, 25.0, 8.0)


@pytest.mark.calculated("arithmetic: an angle from north plus north's angle from up is the angle from up")
def test_an_angle_of_a_compass_is_turned_by_the_north_arrow(records, survey_id, place_id):
    survey = the_survey(records, survey_id)
    entry = BearingEntry("b", "visit-1", survey.meters[0].id, survey.visits[0].radio_states[0].id,
                         strongest_deg=170.0, from_true_north=True, place_id=place_id)  # fmt: skip
    with pytest.raises(Exception, match="no north arrow"):
        bearing_of(survey, entry)
    turned = survey_list.revise(
        records, survey_id, lambda s: editing.replace(s, dwelling=editing.replace(s.dwelling, north_deg=20.0))
    )
    assert turned > 1
    assert enter_bearing(records, survey_id, entry).strongest_deg == 10.0


def test_a_follow_up_shows_the_earlier_value_of_the_same_cell(client, records, survey_id, place_id, reading_id):
    survey_list.revise(records, survey_id, lambda s: editing.with_visit(s, VisitPurpose.FOLLOW_UP))
    second = the_survey(records, survey_id).visits[1].id
    cell = ledger_of(the_survey(records, survey_id), second).rows[0].cells[0]
    assert ([r.id for r in cell.readings], [r.id for r in cell.earlier]) == ([], [reading_id])
    assert "before:" in client.get(f"/surveys/{survey_id}/readings").text
    progress = progress_of(the_survey(records, survey_id))
    assert (progress.visit.id, progress.measured, progress.next_cell.place.id) == (second, 0, place_id)
    assert progress_of(the_survey(records, survey_id), "visit-1").measured == 1


def test_a_visit_that_begins_leads_to_its_own_walk(client, records, survey_id):
    answer = form(client, f"/surveys/{survey_id}/assignment/visit", purpose="follow_up", conditions="rain")
    second = the_survey(records, survey_id).visits[1].id
    assert answer.headers["location"] == f"/surveys/{survey_id}/walk?visit={second}"
    assert "follow-up of" in client.get(answer.headers["location"]).text


def test_the_next_survey_takes_over_assessor_references_and_meter(client, records, survey_id):
    changed = {"name": "Long name 7", "tolerance_db": "4"}
    meter = the_survey(records, survey_id).meters[0]
    form(client, f"/surveys/{survey_id}/assignment/meter", meter_id=meter.id, **changed)
    page = client.get("/surveys/new").text
    assert 'value="A. Beispiel"' in page
    assert "Long name 7" in page
    made = form(client, "/surveys/new", title="Next", starter="blank").headers["location"].split("/")[2]
    survey = the_survey(records, made)
    assert (survey.assignment.assessor, survey.assignment.client) == ("A. Beispiel", "")
    assert (survey.meters[0].name, survey.meters[0].tolerance_db) == ("Long name 7", 4.0)


def test_an_assignment_that_keeps_itself_is_told_its_revision(client, records, survey_id):
    before = survey_list.opened(records, survey_id).revision
    answer = client.post(f"/surveys/{survey_id}/assignment", headers={"accept": "application/json"},
                         data={"title": "Lindenweg 4", "question": "Why no sleep?", "revision": str(before)})  # fmt: skip
    assert answer.json() == {"revision": before + 1}
    assert the_survey(records, survey_id).assignment.question == "Why no sleep?"


LOG = "time;level\n" + "".join(f"2026-03-02 {h:02d}:{m:02d}:00;{10 + m}\n" for h in range(3) for m in range(60))


@pytest.mark.parametrize(("zone", "status"), [("", 422), ("Nirgendwo", 422), ("Berlin", 303), ("Europe/Berlin", 303)])
def test_a_time_zone_is_asked_for_in_the_form_and_a_town_will_do(client, records, survey_id, zone, status):
    told = client.post(f"/surveys/{survey_id}/logs/offer", files={"log": ("night.csv", LOG.encode())})
    answers = {"name": "night.csv", "kind": "average", "unit": "uW/m2", "zone": zone}
    answer = form(client, told.json()["next"].partition("?")[0], **answers)
    assert answer.status_code == status
    assert "confirm(" not in answer.text
    if status == 422:
        assert f'id="zone" name="zone" value="{zone}"' in answer.text
        assert 'role="alert"' in answer.text


def test_files_of_two_languages_and_visits_do_not_collide(client, survey_id, reading_id):
    names = {
        client.get(f"/surveys/{survey_id}/report/file.html?visit=visit-1&language={language}").headers[
            "content-disposition"
        ]
        for language in ("en", "de")
    }
    assert len(names) == 2
    assert all("lindenweg-4-20" in name for name in names)


def test_a_meter_has_a_page_for_certificate_zones_and_checks(client, records, survey_id):
    meter = the_survey(records, survey_id).meters[0].id
    page = f"/surveys/{survey_id}/assignment/meter/{meter}"
    assert "not stated" in client.get(page).text
    form(client, f"{page}/certificate", frequency_mhz="900", correction_db="-1,5", std_db="0.8")
    form(client, f"{page}/zone", low_mhz="400", high_mhz="3000", tolerance_db="4")
    form(client, f"{page}/check", source="Signal source, 10 cm", deviation_db="0.4")
    kept = the_survey(records, survey_id).meters[0]
    assert [(p.frequency_hz, p.correction_db, p.std_db) for p in kept.calibration] == [(900e6, -1.5, 0.8)]
    assert [(z.low_hz, z.high_hz, z.tolerance_db) for z in kept.zones] == [(400e6, 3e9, 4.0)]
    assert [(c.source, c.deviation_db) for c in kept.checks] == [("Signal source, 10 cm", 0.4)]
    assert "Signal source, 10 cm" in client.get(page).text
    refused = form(client, f"{page}/zone", low_mhz="2000", high_mhz="6000", tolerance_db="4")
    assert refused.status_code == 422

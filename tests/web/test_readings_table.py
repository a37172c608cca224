"""A table of readings through the pages: guessed, questioned, tried out, taken in, taken back."""

from __future__ import annotations

import io
import re

import pytest
from openpyxl import Workbook

from roomfield.quantities.kind import Kind
from roomfield.survey import Censoring
from roomfield.workbench.record import editing, survey_list

RFC_4180 = (
    "Place,Peak [uW/m2],Average [uW/m2],Note\r\n"
    '"Bed","1250.5","30.2","head, left ""pillow"""\r\n'
    "Desk,<0.01,,\r\n"
)  # fmt: skip
GERMAN = (
    "Ort;Spitzenwert [µW/m²];Merker;Datum\n"
    "Bett;1.250,5;;14.03.2026\n"
    "Bed;17;OL;14.03.2026\n"
    "Desk;-3;;14.03.2026\n"
)  # fmt: skip


def bring(client, survey_id, content, name="readings.csv"):
    if isinstance(content, str):
        content = content.encode("utf-8")
    told = client.post(f"/surveys/{survey_id}/readings/offer", files={"table": (name, content)})
    assert told.status_code == 200, told.text
    return told.json()["next"]


def settle(client, address, **answers):
    path, _, query = address.partition("?name=")
    given = {"name": query, "visit_id": "visit-1", "decimal": ".", "do": "take", **answers}
    return client.post(path, data=given, follow_redirects=False)


def readings(records, survey_id):
    return survey_list.opened(records, survey_id).survey.current_readings()


@pytest.mark.published("RFC 4180, section 2: quoted fields, doubled quotes, commas inside a field")
def test_a_table_is_looked_at_and_taken_in_unchanged(client, records, survey_id):
    address = bring(client, survey_id, RFC_4180)
    page = client.get(address).text
    assert "head, left &#34;pillow&#34;" in page
    assert readings(records, survey_id) == (), "looking keeps nothing"
    answer = settle(client, address)
    assert answer.headers["location"].endswith("?new=3")
    kept = readings(records, survey_id)
    assert [(r.kind, r.censoring) for r in kept] == [
        (Kind.PEAK, Censoring.NONE), (Kind.AVERAGE, Censoring.NONE),
        (Kind.PEAK, Censoring.BELOW),
    ]  # fmt: skip
    assert [r.value_w_m2 for r in kept] == pytest.approx([1250.5e-6, 30.2e-6, 0.01e-6])
    assert kept[0].note == 'head, left "pillow"'
    assert kept[0].origin.file_name == "readings.csv"


def test_what_would_be_rejected_is_shown_with_its_line_and_reason(client, records, survey_id):
    address = bring(client, survey_id, GERMAN)
    page = client.get(address, headers={"accept-language": "de"}).text
    rows = re.findall(
        r'<td class="num">(\d+)</td><th scope="row">[^<]*</th><td>([^<]*)</td><td lang="de">([^<]*)', page
    )
    assert rows == [
        ("2", "Bett", "Platz dieses Namens gibt es nicht (bekannt: Bed, Desk)"),
        ("4", "-3", "ein Pegel kann nicht negativ sein"),
    ]
    assert 'value="take"' not in page, "not offered while rows would be lost"
    assert settle(client, address, decimal=",").status_code == 200
    assert readings(records, survey_id) == ()
    assert settle(client, address, decimal=",", grouped="1", accept_rest="1", make_places="1").status_code == 303
    assert [r.value_w_m2 for r in readings(records, survey_id)] == pytest.approx([1250.5e-6, 17e-6])
    assert readings(records, survey_id)[1].censoring is Censoring.ABOVE
    assert "Bett" in {place.name for place in survey_list.opened(records, survey_id).survey.places}


def test_a_question_stays_open_until_it_is_answered(client, records, survey_id):
    address = bring(client, survey_id, "where,how much\nBed,12\n")
    page = client.get(address).text
    assert page.count("A question only you can answer") >= 2
    assert 'value="take"' not in page
    half = settle(client, address, **{"meaning-0": "place", "meaning-1": "peak"}).text
    assert "names no unit" in half
    assert readings(records, survey_id) == ()
    done = settle(client, address, **{"meaning-0": "place", "meaning-1": "peak", "unit-1": "mW/m2"})
    assert done.status_code == 303
    assert readings(records, survey_id)[0].value_w_m2 == pytest.approx(12e-3)


def test_a_column_with_a_unit_can_be_left_out(client, records, survey_id):
    address = bring(client, survey_id, "Place,Peak [uW/m2],Battery [uW/m2]\nBed,12,1\n")
    assert "is it peak, highest held or average, or not to be used" in client.get(address).text.replace("&#39;", "'")
    assert settle(client, address, **{"meaning-2": "unused"}).status_code == 303
    assert len(readings(records, survey_id)) == 1


def test_with_several_radio_states_the_page_asks_for_the_one(client, records, survey_id):
    survey_list.revise(records, survey_id, lambda s: editing.with_radio_state(s, "visit-1", "Fuse out", ()))
    address = bring(client, survey_id, "Place,Peak [uW/m2]\nBed,12\n")
    refused = client.get(address)
    assert refused.status_code == 422
    assert "does not say which radio state" in refused.text
    state = survey_list.opened(records, survey_id).survey.visits[0].radio_states[1].id
    assert settle(client, address, state_id=state).status_code == 303
    assert readings(records, survey_id)[0].radio_state_id == state


def test_the_same_table_twice_is_meant_or_refused_and_can_be_taken_back(client, records, survey_id):
    address = bring(client, survey_id, "Place,Peak [uW/m2]\nBed,12\n")
    assert settle(client, address).status_code == 303
    again = settle(client, address)
    assert (again.status_code, "taken in before" in again.text) == (422, True)
    hash_ = readings(records, survey_id)[0].origin.file_sha256
    client.post(f"/surveys/{survey_id}/readings/back", data={"sha256": hash_})
    assert readings(records, survey_id) == ()
    survey = survey_list.opened(records, survey_id).survey
    assert len(survey.readings) == 1, "what was observed stays in the record"
    assert survey.amendments[0].reason == "table taken back"
    assert client.post(f"/surveys/{survey_id}/readings/back", data={"sha256": hash_}).status_code == 404


def workbook(rows) -> bytes:
    book = Workbook()
    for row in rows:
        book.active.append(row)
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


@pytest.mark.published("ISO/IEC 29500-1 (SpreadsheetML), written by openpyxl")
def test_a_workbook_is_read_as_a_table_is(client, records, survey_id):
    content = workbook([["Place", "Peak [uW/m2]", "Max-hold [uW/m2]"], ["Bed", 480, 390.5], ["Desk", None, 12]])
    address = bring(client, survey_id, content, "visit.xlsx")
    assert settle(client, address).status_code == 303
    assert sorted(r.value_w_m2 for r in readings(records, survey_id)) == pytest.approx([12e-6, 390.5e-6, 480e-6])


@pytest.mark.parametrize(
    ("name", "content"),
    [("a.exe", b"MZ"), ("a.csv", b""), ("a.csv", b"\x00\x01\x02"), ("a.xlsx", b"PK\x03\x04broken")],
)
def test_what_is_no_table_is_refused_with_one_sentence(client, records, survey_id, name, content):
    told = client.post(
        f"/surveys/{survey_id}/readings/offer", files={"table": (name, content)}, headers={"accept": "application/json"}
    )
    assert told.status_code == 422
    assert told.json()["what"]
    assert told.json()["mend"]


@pytest.mark.parametrize("name", ["../../x.csv", "/etc/cron.d/x.csv", "a\x00b.csv", "." * 200 + ".csv"])
def test_a_table_s_name_is_only_a_label(client, records, survey_id, tmp_path, name):
    hash_ = bring(client, survey_id, RFC_4180).rpartition("/")[2].partition("?")[0]
    answer = client.get(f"/surveys/{survey_id}/readings/offer/{hash_}", params={"name": name})
    assert answer.status_code in {200, 422}
    assert [p for p in tmp_path.rglob("*") if p.suffix == ".csv" and "cron" in str(p)] == []


def test_the_field_sheet_is_a_pdf_of_this_survey(client, survey_id):
    from pypdf import PdfReader

    sheet = client.get(f"/surveys/{survey_id}/readings/sheet.pdf?visit=visit-1")
    assert sheet.headers["content-type"] == "application/pdf"
    words = PdfReader(io.BytesIO(sheet.content)).pages[0].extract_text()
    assert "Lindenweg 4" in words
    assert "Bed" in words

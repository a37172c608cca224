"""A trace or levels by band of a second instrument through the pages: recognised, questioned, tried out, taken in."""

from __future__ import annotations

import re

import pytest

from roomfield.quantities.kind import Kind
from roomfield.workbench.record import survey_list

LEVELS = "Band;From [MHz];To [MHz];Average [V/m]\nFM;87,5;108;0,02\nGSM;935;960;0,03\n"
TRACE = "Frequency [MHz],RMS [dBm]\n" + "".join(f"{80 + n / 10:.1f},-{60 + n % 3}\n" for n in range(400))
FACTORS = "frequency [MHz],antenna factor [dB/m],std [dB]\n50,10,0.5\n6000,30,0.5\n"
BROADBAND = "Place,Peak [uW/m2],Average [uW/m2]\nBed,1250.5,30.2\n"


def bring(client, survey_id, content, name="levels.csv"):
    told = client.post(f"/surveys/{survey_id}/readings/offer", files={"table": (name, content.encode("utf-8"))})
    assert told.status_code == 200, told.text
    return told.json()["next"]


def settle(client, address, files=None, **answers):
    path, _, query = address.partition("?name=")
    given = {"name": query, "visit_id": "visit-1", "do": "look", **answers}
    return client.post(path, data=given, files=files, follow_redirects=False)


def readings(records, survey_id):
    return survey_list.opened(records, survey_id).survey.current_readings()


def bed(records, survey_id):
    return next(p.id for p in survey_list.opened(records, survey_id).survey.places if p.name == "Bed")


def state(records, survey_id):
    return survey_list.opened(records, survey_id).survey.visits[0].radio_states[0].id


def test_each_table_goes_to_its_own_reading_and_leads_to_the_other(client, survey_id):
    over, plain = bring(client, survey_id, LEVELS), bring(client, survey_id, BROADBAND)
    assert "/readings/bands/" in over and "/readings/offer/" in plain
    assert over.replace("/bands/", "/offer/").partition("?")[0] in client.get(over).text
    assert plain.replace("/offer/", "/bands/").partition("?")[0] in client.get(plain).text


def test_levels_by_band_are_shown_with_their_budget_and_taken_in(client, records, survey_id):
    address = bring(client, survey_id, LEVELS)
    first = client.get(address).text
    assert "does not say at which place" in first and readings(records, survey_id) == ()
    answers = {"place": bed(records, survey_id), "state_id": state(records, survey_id), "accuracy": "1,5", "axes": "3"}
    looked = settle(client, address, **answers).text
    assert readings(records, survey_id) == (), "looking keeps nothing"
    rows = re.findall(r"<tr><th scope=\"row\">(FM|GSM).*?</tr>", looked, re.DOTALL)
    assert rows == ["FM", "GSM"]
    assert "accuracy" in looked and "0.866" in looked, "1.5 dB evenly spread is 1.5 / sqrt(3)"
    answer = settle(client, address, **answers, do="take")
    assert answer.headers["location"].endswith("?new=2")
    kept = readings(records, survey_id)
    assert [(r.kind, r.value_w_m2) for r in kept] == [
        (Kind.AVERAGE, pytest.approx(0.02**2 / 376.730, rel=1e-4)),
        (Kind.AVERAGE, pytest.approx(0.03**2 / 376.730, rel=1e-4)),
    ]
    again = settle(client, address, **answers, do="take")
    assert again.status_code == 422 and "taken in before" in again.text


def test_a_trace_needs_its_filter_and_antenna_and_keeps_what_was_brought(client, records, survey_id):
    address = bring(client, survey_id, TRACE)
    answers = {"place": bed(records, survey_id), "state_id": state(records, survey_id), "rbw": "100 kHz"}
    without = settle(client, address, **answers)
    assert without.status_code == 422 and "no antenna is named" in without.text
    assert "--antenna" not in without.text, "a page has fields, not options"
    looked = settle(client, address, {"antenna": ("antenna.csv", FACTORS.encode())}, **answers)
    assert looked.status_code == 200 and "antenna.csv" in looked.text and "antenna factor" in looked.text
    kept = dict(re.findall(r'name="(antenna_\w+)" value="([^"]+)"', looked.text))
    answer = settle(client, address, **answers, **kept, do="take")
    assert answer.headers["location"].endswith("?new=1")
    (reading,) = readings(records, survey_id)
    assert reading.note.startswith("206 points") or "points" in reading.note


def test_what_is_typed_wrong_is_told_and_nothing_is_kept(client, records, survey_id):
    address = bring(client, survey_id, LEVELS)
    answers = {"place": bed(records, survey_id), "state_id": state(records, survey_id)}
    for wrong in ({"accuracy": "much"}, {"rbw": "wide"}, {"kind": "loud"}):
        answer = settle(client, address, **{**answers, **wrong}, do="take")
        assert answer.status_code == 422, wrong
    bad = settle(client, address, {"antenna": ("antenna.pdf", b"%PDF")}, **answers)
    assert bad.status_code == 422 and readings(records, survey_id) == ()


@pytest.mark.parametrize(("language", "words"), [("de", "Standardunsicherheit"), ("fr", "Incertitude-type")])
def test_the_page_speaks_the_readers_language(client, records, survey_id, language, words):
    address = bring(client, survey_id, LEVELS)
    answers = {"place": bed(records, survey_id), "state_id": state(records, survey_id)}
    client.headers["accept-language"] = language
    page = settle(client, address, **answers).text
    assert words in page

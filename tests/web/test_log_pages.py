"""A long log through the pages: how it is read, held against a bound, on its own clock."""

from __future__ import annotations

import random
import re
from datetime import UTC, datetime, timedelta

import pytest

from roomfield.survey import Assignment, VisitPurpose
from roomfield.workbench.record import editing, survey_list

MINUTES = [2, 2, 30, 40, 2, 2, 2, 35, 2, 2]
LOG = "time,average power density [uW/m2]\n" + "".join(
    f"2026-03-14T22:{minute:02d}:00+01:00,{value}\n" for minute, value in enumerate(MINUTES)
)


@pytest.fixture
def kept(client, records):
    survey_id = survey_list.keep_new(records, editing.started_survey("Night", Assignment(), "one-room-flat"))
    told = client.post(f"/surveys/{survey_id}/logs/offer", files={"log": ("night.csv", LOG.encode())})
    address = told.json()["next"].partition("?")[0]
    answers = {"name": "night.csv", "kind": "average", "zone": "Europe/Berlin", "place_id": "place-1"}
    made = client.post(address, data=answers, follow_redirects=False)
    assert made.status_code == 303, made.text
    return made.headers["location"]


@pytest.mark.calculated("arithmetic: two runs above 10, two minutes and one minute of ten")
def test_a_bound_shows_runs_time_above_and_the_highest(client, kept):
    page = client.get(f"{kept}?bound=10").text
    assert 'data-load="' in page
    address = re.search(r'data-load="([^"]+)"', page)[1]
    facts = client.get(address).text
    assert "2 runs, 3 min in all, 30 % of the time observed; the longest took 2 min." in facts
    rows = re.findall(r'class="num">([^<]+)</th><td class="num">([^<]+)</td><td class="num right">([^<]+)<', facts)
    assert rows == [
        ("14 Mar 2026, 22:02:00", "2 min", "40 µW/m²"), ("14 Mar 2026, 22:07:00", "60 s", "35 µW/m²"),
    ]  # fmt: skip


@pytest.mark.calculated("arithmetic: the highest value is 40")
def test_a_bound_above_everything_says_so(client, kept):
    address = re.search(r'data-load="([^"]+)"', client.get(f"{kept}?bound=40,5").text)[1]
    assert "Nothing observed exceeds it." in client.get(address).text


@pytest.mark.parametrize("bound", ["abc", "-3", "0", "1e999", "nan"])
def test_a_bound_that_cannot_be_is_refused_in_words(client, kept, bound):
    answer = client.get(kept, params={"bound": bound})
    assert answer.status_code == 422
    assert "bound" in answer.text
    assert "Traceback" not in answer.text


def test_without_a_bound_nothing_is_compared(client, kept):
    page = client.get(kept).text
    address = re.search(r'data-load="([^"]+)"', page)[1]
    assert "above-sheet" not in client.get(address).text
    assert "take a bound that is meant for averages" in page


@pytest.mark.published("RFC 9557 and the tz database: Europe/Berlin is one hour ahead of UTC on 14 March 2026")
def test_the_timeline_names_the_clock_of_the_log(client, kept):
    told = client.get(f"{kept}/window").json()
    assert told["zone"] == "Europe/Berlin"
    assert told["first"] == "2026-03-14T21:00:00+00:00"
    inner = client.get(f"{kept}/window", params={"start": "2026-03-14T21:02:00Z", "end": "2026-03-14T21:04:00Z"}).json()
    assert max(v for v in inner["high"] if v is not None) == pytest.approx(40e-6)


def test_a_log_goes_to_the_visit_and_radio_state_chosen_together(client, records):
    survey_id = survey_list.keep_new(records, editing.started_survey("Two", Assignment(), "one-room-flat"))
    survey_list.revise(records, survey_id, lambda s: editing.with_visit(s, VisitPurpose.FOLLOW_UP))
    second = survey_list.opened(records, survey_id).survey.visits[1].id
    survey_list.revise(records, survey_id, lambda s: editing.with_radio_state(s, second, "Fuse out", ()))
    state = survey_list.opened(records, survey_id).survey.visits[1].radio_states[1].id
    told = client.post(f"/surveys/{survey_id}/logs/offer", files={"log": ("night.csv", LOG.encode())})
    assert f'value="{second} {state}"' in client.get(told.json()["next"]).text
    answers = {"name": "night.csv", "kind": "average", "when": f"{second} {state}"}
    client.post(told.json()["next"].partition("?")[0], data=answers)
    kept = survey_list.opened(records, survey_id).survey.current_logs()[0]
    assert (kept.visit_id, kept.radio_state_id) == (second, state)


def test_a_german_reader_begins_with_german_names(client, records):
    answers = {"title": "Lindenweg", "starter": "one-room-flat"}
    made = client.post("/surveys/new", data=answers, headers={"accept-language": "de"}, follow_redirects=False)
    survey = survey_list.opened(records, made.headers["location"].split("/")[2]).survey
    assert survey.visits[0].radio_states[0].name == "Wie vorgefunden"
    assert "Bett" in {place.name for place in survey.places}
    assert "Hauptraum" in {room.name for room in survey.dwelling.rooms}


def long_log(days, level):
    start = datetime(2026, 3, 2, tzinfo=UTC)
    rows = (f"{(start + timedelta(minutes=10 * n)).isoformat()},{level(n):.6g}\n" for n in range(144 * days))
    return "time,average power density [uW/m2]\n" + "".join(rows)


def facts_of(client, records, text, language="en", name="long.csv"):
    survey_id = survey_list.keep_new(records, editing.started_survey("Long", Assignment(), "one-room-flat"))
    told = client.post(f"/surveys/{survey_id}/logs/offer", files={"log": (name, text.encode())})
    answers = {"name": name, "kind": "average", "zone": "UTC", "place_id": "place-1"}
    made = client.post(told.json()["next"].partition("?")[0], data=answers, follow_redirects=False)
    assert made.status_code == 303, made.text
    return client.get(made.headers["location"] + "/facts", headers={"accept-language": language}).text


@pytest.mark.calculated("arithmetic: a step by a factor of 10 is 10 dB")
@pytest.mark.parametrize(("language", "words"), [("en", "Steps of the level"), ("de", "Stufen des Pegels")])
def test_a_lasting_step_is_drawn_and_stands_in_the_table(client, records, language, words):
    rng = random.Random(4)
    text = long_log(6, lambda n: (10.0 if n < 144 * 3 else 100.0) * 10 ** rng.gauss(0.0, 0.05))
    facts = facts_of(client, records, text, language)
    assert words in facts
    steps = re.findall(r'<td class="num right">([+\N{MINUS SIGN}][^<]+) dB</td><td class="num right">([^<]+)<', facts)
    assert len(steps) == 1
    assert float(steps[0][0].replace(",", ".")) == pytest.approx(10.0, abs=0.3)
    assert float(re.match(r"[\d,.]+", steps[0][1])[0].replace(",", ".")) == pytest.approx(10.0, rel=0.1)
    stair = re.search(r'class="stair" d="M0 ([\d.]+)H([\d.]+)V([\d.]+)H600"', facts)
    assert float(stair[2]) == pytest.approx(300.0, abs=3.0)
    assert float(stair[3]) < float(stair[1])
    assert 'data-from="2026-03-0' in facts


@pytest.mark.calculated("arithmetic: Mondays alone are at 50; 2 March 2026 was a Monday (ISO 8601)")
def test_two_weeks_are_shown_by_weekday_with_a_table(client, records):
    rng = random.Random(5)
    text = long_log(21, lambda n: (50.0 if n // 144 % 7 == 0 else 5.0) * 10 ** rng.gauss(0.0, 0.02))
    facts = facts_of(client, records, text)
    rows = re.findall(r'<th scope="row">(\w+day)</th><td class="num right">([\d.]+) ', facts)
    assert [name for name, _ in rows] == [f"{d}day" for d in ("Mon", "Tues", "Wednes", "Thurs", "Fri", "Satur", "Sun")]
    assert float(rows[0][1]) == pytest.approx(50.0, rel=0.1)
    assert all(float(value) == pytest.approx(5.0, rel=0.1) for _, value in rows[1:])
    assert facts.count('class="week-band"') == 7
    assert "Every hour of the week" in facts
    assert len(facts) < 60_000


@pytest.mark.calculated("arithmetic: a burst of 0.3 s every 3 s fills a tenth of the time, 10 dB")
def test_bursts_of_a_fast_log_are_shown_with_why_peak_and_average_differ(client, records):
    start = datetime(2026, 3, 2, tzinfo=UTC)
    rows = (
        f"{(start + timedelta(milliseconds=100 * n)).isoformat(timespec='milliseconds')},{200.0 if n % 30 < 3 else 1.0}\n"
        for n in range(6000)
    )
    facts = facts_of(client, records, "time,average power density [uW/m2]\n" + "".join(rows))
    assert re.search(r"Bursts seen</th><td class=\"num right\">200<", facts)
    assert re.search(r"Share of the time within bursts</th><td class=\"num right\">10(\.0)? %<", facts)
    assert re.search(r"Regular, every</th><td class=\"num right\">3 s<", facts)
    assert re.search(r"fill only a part of the time</th><td class=\"num right\">10 dB<", facts)
    assert "Through the week" not in facts
    slow = facts_of(client, records, LOG, name="night.csv")
    assert "Bursts per day" not in slow and "Steps of the level" not in slow

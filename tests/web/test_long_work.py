"""Long work: it says how far it is, is stopped between its steps, and keeps all or nothing."""

from __future__ import annotations

import threading
import time

import pytest

from roomfield.errors import InputError, TooEarlyError
from roomfield.quantities import Kind
from roomfield.web.long_work import KEPT_FOR_S, MOST_AT_ONCE, LongWorks, WorkResult
from roomfield.workbench.record import demo_tour
from roomfield.workbench.record.authorship import Identity, acting_as, present_identity
from roomfield.workbench.record.field_entry import Entry, Value, enter

STAGES = ((0.0, "first"), (0.5, "second"))


def until(holds):
    for _ in range(600):
        if (found := holds()) is not None:
            return found
        time.sleep(0.02)
    raise TimeoutError


def ended(works, work_id):
    return until(lambda: work if (work := works.of(work_id)).state != "working" else None)


def test_it_tells_its_share_and_stage_and_gives_its_outcome_in_the_name_of_who_asked():
    works, go, told = LongWorks(), threading.Event(), []

    def call(progress):
        progress(0.5)
        go.wait(10)
        told.append(present_identity().name)
        return WorkResult("/there")

    with acting_as(Identity("A. Beispiel", "phone")):
        work = works.begin(STAGES, call)
    midway = until(lambda: now if (now := works.of(work.id)).share == 0.5 else None)
    assert (midway.state, midway.words) == ("working", "second")
    go.set()
    assert ended(works, work.id).outcome == WorkResult("/there")
    assert told == ["A. Beispiel"]


def test_it_stops_at_its_next_step_and_a_refusal_is_told():
    works, reached, go = LongWorks(), [], threading.Event()

    def call(progress):
        reached.append("begun")
        go.wait(10)
        progress(0.6)
        reached.append("never")
        return WorkResult("/there")

    work = works.begin(STAGES, call)
    works.stop(work.id)
    go.set()
    assert ended(works, work.id).state == "stopped"
    assert reached in (["begun"], [])

    def refused(progress):
        raise InputError("it cannot be.", mend="Do otherwise.")

    assert ended(works, works.begin(STAGES, refused).id).fault.mend == "Do otherwise."

    def broken(progress):
        raise ZeroDivisionError

    assert "nobody foresaw" in ended(works, works.begin(STAGES, broken).id).fault.what


def test_too_many_at_once_are_refused_and_old_outcomes_are_forgotten():
    now, go = [0.0], threading.Event()
    works = LongWorks(lambda: now[0])

    def call(progress):
        go.wait(10)
        return WorkResult("/there")

    begun = [works.begin(STAGES, call) for _ in range(MOST_AT_ONCE)]
    with pytest.raises(TooEarlyError, match="too much"):
        works.begin(STAGES, call)
    go.set()
    for work in begun:
        ended(works, work.id)
    now[0] = KEPT_FOR_S + 1.0
    works.begin(STAGES, call)
    assert works.of(begun[0].id) is None


def followed(client, begun):
    def over():
        now = client.get(f"/work/{begun['work']}").json()
        return now if now["state"] != "working" else None

    return until(over)


def test_a_report_is_made_beside_the_page_and_its_file_is_that_of_the_link(client, survey_id, records):
    survey = records.load(survey_id).survey
    visit, place = survey.visits[0], survey.places[0]
    said = (Value(340.0, Kind.HIGHEST_HELD),)
    enter(
        records, survey_id, Entry("e", visit.id, survey.meters[0].id, visit.radio_states[0].id, said, place_id=place.id)
    )
    begun = client.post(f"/surveys/{survey_id}/report/make.csv?visit={visit.id}&language=de")
    assert begun.status_code == 202
    told = followed(client, begun.json())
    assert (told["state"], told["is_file"]) == ("done", True)
    made, linked = (
        client.get(told["next"]),
        client.get(f"/surveys/{survey_id}/report/file.csv?visit={visit.id}&language=de"),
    )
    assert made.headers["content-disposition"] == linked.headers["content-disposition"]
    assert len(made.content.splitlines()) == len(linked.content.splitlines()) > 1
    assert b"340" in made.content
    refused = client.post(f"/surveys/{survey_id}/report/make.doc", headers={"accept-language": "de"}).json()
    told = followed(client, refused)
    assert told["state"] == "refused"
    assert "cannot be written as 'doc'" in told["what"]
    assert client.get("/work/none").status_code == 422
    assert client.post("/work/none/stop").status_code == 422


def test_a_log_that_is_stopped_leaves_nothing_and_one_that_goes_on_is_kept(client, survey_id, records, monkeypatch):
    rows = "\n".join(f"2026-01-10T{n // 3600:02d}:{n // 60 % 60:02d}:{n % 60:02d},{100 + n % 7}" for n in range(20000))
    brought = {"log": ("night.csv", f"time,level (uW/m2)\n{rows}\n".encode())}
    address = client.post(f"/surveys/{survey_id}/logs/offer", files=brought).json()["next"]
    sha256 = address.split("/offer/")[1].split("?")[0]
    survey = records.load(survey_id).survey
    answers = {"name": "night.csv", "zone": "Europe/Berlin", "kind": "peak", "unit": "uW/m2", "place_id": survey.places[0].id,
               "when": f"{survey.visits[0].id} {survey.visits[0].radio_states[0].id}"}  # fmt: skip
    works, begin = client.app.state.works, client.app.state.works.begin

    def stopped_at_once(stages, call):
        def unwanted(progress):
            works.stop(next(iter(reversed(works._works))))
            return call(progress)

        return begin(stages, unwanted)

    monkeypatch.setattr(works, "begin", stopped_at_once)
    begun = client.post(f"/surveys/{survey_id}/logs/offer/{sha256}/keep", data=answers).json()
    assert followed(client, begun)["state"] == "stopped"
    assert records.load(survey_id).survey.logs == ()
    assert not [path for path in records.media.folder.rglob("*") if "incoming" in path.name]
    monkeypatch.setattr(works, "begin", begin)
    begun = client.post(f"/surveys/{survey_id}/logs/offer/{sha256}/keep", data=answers).json()
    told = followed(client, begun)
    assert (told["state"], told.get("what", "")) == ("done", "")
    assert told["next"].endswith(records.load(survey_id).survey.logs[0].id)


def test_a_tour_that_is_stopped_half_way_leaves_no_half_home(records):
    class Unwanted(Exception):
        pass

    def stopped(share):
        if share >= 0.5:
            raise Unwanted

    with pytest.raises(Unwanted):
        demo_tour.begin(records, stopped)
    assert records.surveys() == ()


def test_the_preview_is_a_work_that_shows_a_page(client, survey_id, records):
    survey = records.load(survey_id).survey
    visit, place = survey.visits[0], survey.places[0]
    said = (Value(340.0, Kind.HIGHEST_HELD),)
    enter(
        records, survey_id, Entry("e", visit.id, survey.meters[0].id, visit.radio_states[0].id, said, place_id=place.id)
    )
    asked = f"visit={visit.id}&language=de"
    begun = client.post(f"/surveys/{survey_id}/report/preview?{asked}&part=levels").json()
    assert followed(client, begun)["state"] == "done"
    page = client.get(f"/work/{begun['work']}/page")
    assert 'lang="de"' in page.text
    assert "default-src 'none'" in page.headers["content-security-policy"]
    assert "content-disposition" not in page.headers
    table = client.post(f"/surveys/{survey_id}/report/make.csv?{asked}").json()
    assert followed(client, table)["state"] == "done"
    assert client.get(f"/work/{table['work']}/page").status_code == 422

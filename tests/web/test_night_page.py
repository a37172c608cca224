"""A night on a sound cable through its page: brought piece by piece or followed, kept, and told alike by every door."""

from __future__ import annotations

import io
import json
import re
import shutil
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from roomfield.quantities import Kind
from roomfield.show.shown_night import ShownNight
from roomfield.show.words import load_words
from roomfield.web.abovesheet import in_zone
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.publish.contents.long_logs import log_entries
from roomfield.workbench.record import survey_list
from roomfield.workbench.record.field_entry import Entry, Value, enter
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.locked_record import lock
from roomfield.workbench.record.long_series import kept_series, series_folder
from roomfield.workbench.record.night_desk import NightDesk

RATE = 8000
SECONDS = 24
SCALE_UW = 1e3
"""Power density of one unit of the invented sound, through a square-law detector [µW/m²]."""
BEGAN = "2026-11-28T22:59:50+01:00"
ORIGIN = {"host": "127.0.0.1:8765", "origin": "http://127.0.0.1:8765"}


def sound(seconds: int = SECONDS) -> np.ndarray:
    """Bursts of 2 ms every 100 ms whose height wanders; the eighth second holds one twice as high."""
    moment = np.arange(seconds * RATE) / RATE
    height = 0.2 * 10 ** (0.2 * np.sin(2 * np.pi * moment / 7))
    height[7 * RATE : 7 * RATE + RATE // 10] = 0.8
    noise = 2e-4 * np.random.default_rng(5).standard_normal(len(moment))
    return (np.mod(moment, 0.1) < 2e-3) * height + noise


def wav(samples: np.ndarray) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, samples, RATE, subtype="PCM_16", format="WAV")
    return file.getvalue()


def shown(samples: np.ndarray, at_s: float) -> dict[str, str]:
    """What a display would show at a moment, as typed by a German hand."""
    part = samples[int((at_s - 1.25) * RATE) : int(at_s * RATE)]
    peak, held = samples[int((at_s - 5) * RATE) : int(at_s * RATE)].max(), samples[: int(at_s * RATE)].max()
    numbers = {"peak": peak, "held": held, "average": part.mean()}
    return {name: f"{value * SCALE_UW:.5g}".replace(".", ",") for name, value in numbers.items()}


def typed(samples: np.ndarray, *moments: float) -> dict[str, list[str]]:
    rows = [{"at": f"0:{moment:g}", **shown(samples, moment)} for moment in moments]
    return {name: [row[name] for row in rows] + [""] for name in ("at", "peak", "held", "average")}


def done(client, begun) -> dict:
    assert begun.status_code == 202, begun.text
    told = begun.json()
    until = time.monotonic() + 120
    while told["state"] == "working" and time.monotonic() < until:
        time.sleep(0.05)
        told = client.get(f"/work/{told['work']}").json()
    return told


def bring(client, survey_id: str, content: bytes, name: str = "night.wav") -> str:
    about = {"name": name, "size": str(len(content))}
    night = client.post(f"/surveys/{survey_id}/night/sound", data=about).json()["night"]
    have = 0
    while have < len(content):
        address = f"/surveys/{survey_id}/night/sound/{night}?at={have}"
        have = client.post(address, content=content[have : have + 100_000]).json()["have"]
    return night


@pytest.fixture
def kept(client, survey_id):
    """A night that was brought and kept: address of its log of averages, and what the work said."""
    samples = sound()
    night = bring(client, survey_id, wav(samples))
    answers = {"night_id": night, "began": BEGAN, "place_id": "place-1", "coupling": "0", "law": "square"}
    told = done(client, client.post(f"/surveys/{survey_id}/night/keep", data=answers | typed(samples, 6.0, 20.0)))
    assert told["state"] == "done", told
    return told["next"]


@pytest.mark.calculated("the invented sound times its scale, mean over its seconds")
def test_every_door_tells_the_same_night(client, records, survey_id, kept):
    samples = sound()
    survey = survey_list.opened(records, survey_id).survey
    average, peak = survey.current_logs()
    assert (average.kind.value, peak.kind.value) == ("average", "peak")
    assert kept.endswith(average.id)
    notes = next(
        item for item in survey.media if item.caption.endswith(average.media_sha256) and "night" in item.caption
    )
    stored = json.loads(records.media.path(notes.sha256).read_bytes())
    night = ShownNight.from_plain(stored["night"])
    truth = samples.mean() * SCALE_UW * 1e-6
    assert night.average.low < truth < night.average.high
    assert abs(10 * np.log10(night.average.median / truth)) < 0.5
    spot = Entry("entry-1", "visit-1", "meter-1", "as-found", (Value(9.0, Kind.AVERAGE),), place_id="place-1")
    enter(records, survey_id, spot)
    survey = survey_list.opened(records, survey_id).survey
    job = Job(survey, records)
    assert kept_series(job, average).zone == "+01:00"
    facts = client.get(f"{kept}/facts").text
    said = [load_words("en").text(one) for one in night.sentences()]
    assert all(one in re.sub(r"&#39;", "'", facts) for one in said)
    entries = {entry.id: entry for entry in log_entries(job, assess(survey, average.visit_id))}
    reported = [load_words("en").text(one) for one in entries[average.id].statements]
    assert set(said) <= set(reported)
    window = client.get(f"{kept}/window", params={"sender": "", "bins": 24}).json()
    level, low, high = (np.array(window[name], float) for name in ("mean", "surely_low", "surely_high"))
    assert np.nanmean(level) == pytest.approx(night.average.median, rel=1e-5)
    assert (low <= level).all() and (level <= high).all()


@pytest.mark.calculated("the eighth second of the invented sound is made the highest")
def test_the_highest_held_of_the_morning_is_joined_to_its_second(client, kept):
    facts = client.get(f"{kept}/facts").text.replace("\u00a0", " ")
    assert "The highest held of 800 µW/m² that the display showed at 23:00:10 (0:00:20 after the start)" in facts
    assert "came at 22:59:57 (0:00:07 after the start)" in facts


def test_two_logs_of_one_file_are_made_again_each_with_its_own_column(records, survey_id, kept):
    job = Job(survey_list.opened(records, survey_id).survey, records)
    before = {record.id: kept_series(job, record).id for record in job.survey.current_logs()}
    shutil.rmtree(series_folder(job))
    assert {record.id: kept_series(job, record).id for record in job.survey.current_logs()} == before


def test_a_broken_line_goes_on_where_it_broke_off(client, survey_id):
    content = wav(sound())
    night = client.post(f"/surveys/{survey_id}/night/sound", data={"name": "n.wav", "size": len(content)}).json()[
        "night"
    ]
    address = f"/surveys/{survey_id}/night/sound/{night}"
    assert client.post(f"{address}?at=0", content=content[:1000]).json() == {"have": 1000}
    assert client.post(f"{address}?at=0", content=content[:1000]).json() == {"have": 1000}, "the same piece again"
    assert client.post(f"{address}?at=5000", content=content[5000:]).json() == {"have": 1000}, "a piece went missing"
    answers = {"night_id": night, "began": BEGAN, "at": "0:06", "peak": "1", "held": "1", "average": ""}
    told = done(client, client.post(f"/surveys/{survey_id}/night/keep", data=answers))
    assert (told["state"], told["what"]) == ("refused", "the recording is not here as a whole yet.")
    refused = client.post(f"{address}?at=1000", content=content + b"more")
    assert refused.status_code == 422
    assert "is here in part" in client.get(f"/surveys/{survey_id}/night").text


@pytest.mark.parametrize(
    ("given", "what"),
    [
        ({"at": "", "peak": "5", "held": "", "average": ""}, "numbers of the display stand without their moment."),
        ({"at": "0:06", "peak": "", "held": "", "average": ""}, "nothing was read off the display."),
        ({"at": "later", "peak": "5", "held": "", "average": ""}, "is no moment of a recording."),
        ({"at": "0:06", "peak": "much", "held": "", "average": ""}, "is not a number."),
        ({"at": "0:06", "peak": "5", "held": "4", "average": ""}, "the peak above the highest held"),
        ({"at": "0:06", "peak": "5", "held": "", "average": "", "began": "yesterday"}, "not a moment with its offset"),
    ],
)
def test_what_cannot_be_used_is_told_and_the_recording_stays(client, records, survey_id, given, what):
    night = bring(client, survey_id, wav(sound()))
    answers = {"night_id": night, "began": BEGAN, "coupling": "0", "law": "square"} | given
    answer = client.post(f"/surveys/{survey_id}/night/keep", data=answers, headers={"accept": "application/json"})
    told = done(client, answer) if answer.status_code == 202 else answer.json()
    assert what in told["what"], told
    assert survey_list.opened(records, survey_id).survey.current_logs() == ()
    assert [one.whole for one in NightDesk(records).waiting(survey_id)] == [True]


def test_what_is_no_sound_is_refused_before_it_comes(client, survey_id):
    for name, size, what in (
        ("night.csv", 10, "not read as sound"),
        ("night.wav", 0, "empty"),
        ("a.wav", 10**15, "room"),
    ):
        answer = client.post(
            f"/surveys/{survey_id}/night/sound",
            data={"name": name, "size": size},
            headers={"accept": "application/json"},
        )
        assert answer.status_code == 422 and what in answer.json()["what"]
    assert client.post(f"/surveys/{survey_id}/night/sound/{'x' * 16}?at=0", content=b"1").status_code in (404, 422)


def follow(client, survey_id: str, seconds: int) -> str:
    about = {"rate": str(RATE), "coupling": "0", "law": "square"}
    night = client.post(f"/surveys/{survey_id}/night/live", data=about).json()["night"]
    send(client, survey_id, night, sound(seconds))
    return night


def send(client, survey_id: str, night: str, samples: np.ndarray) -> dict:
    """Bring sound as the page does, a second at a time; what is here already is not sent again."""
    address = f"/surveys/{survey_id}/night/live/{night}"
    with client.websocket_connect(address, headers=ORIGIN) as line:
        have = line.receive_json()["have"]
        told = {}
        for first in range(have, len(samples), RATE):
            line.send_bytes(samples[first : first + RATE].astype("<f4").tobytes())
            told = line.receive_json()
    return told


def test_a_computer_that_dies_keeps_the_night_but_the_last_minute(client, records, survey_id):
    night = follow(client, survey_id, 30)
    samples = sound(150)
    note = client.post(f"/surveys/{survey_id}/night/live/{night}/shown", data=shown(samples, 30.0))
    assert note.status_code == 200, note.text
    told = send(client, survey_id, night, samples)
    assert told["have"] == len(samples) and told["saved_s"] >= 120
    (waiting,) = NightDesk(records).waiting(survey_id)  # another process: nothing of the first one is in memory
    assert waiting.live and not waiting.going_on and waiting.has_scale
    assert waiting.seconds >= 150 - 60
    made = done(client, client.post(f"/surveys/{survey_id}/night/live/{night}/keep", data={"place_id": "place-1"}))
    assert made["state"] == "done", made
    assert "What the sound of this night says" in client.get(f"{made['next']}/facts").text
    assert NightDesk(records).waiting(survey_id) == ()


def test_a_night_that_nobody_read_the_display_for_is_not_kept_as_levels(client, records, survey_id):
    night = follow(client, survey_id, 3)
    told = done(client, client.post(f"/surveys/{survey_id}/night/live/{night}/keep", data={}))
    assert (told["state"], told["what"]) == (
        "refused", "the night has no scale yet: nothing was read off the display.",
    )  # fmt: skip
    assert "its levels have no scale" in client.get(f"/surveys/{survey_id}/night").text
    gone = client.post(f"/surveys/{survey_id}/night/{night}/throw-away", follow_redirects=False)
    assert gone.status_code == 303
    assert NightDesk(records).waiting(survey_id) == ()


def test_a_broken_chunk_ends_the_line_with_a_sentence(client, survey_id):
    night = follow(client, survey_id, 1)
    with client.websocket_connect(f"/surveys/{survey_id}/night/live/{night}", headers=ORIGIN) as line:
        line.receive_json()
        line.send_bytes(b"123")
        assert line.receive_json()["fault"]["what"] == "a chunk of sound is broken."


def test_a_night_that_waits_is_locked_in_by_nobody_and_goes_with_its_survey(client, records, survey_id, tmp_path):
    bring(client, survey_id, wav(sound()))
    folder = next(Path(records.media.folder).parent.glob("nights/*/*"))
    survey_list.delete_survey(records, survey_id, survey_list.opened(records, survey_id).survey.title)
    assert not folder.exists()


def test_a_record_with_a_waiting_night_is_not_locked(tmp_path):
    opened = survey_list.open_records(str(tmp_path / "record.sqlite"))
    (tmp_path / "nights" / "survey" / "night").mkdir(parents=True)
    opened.close()
    with pytest.raises(Exception, match="wait to be kept"):
        lock(str(tmp_path), "a long enough passphrase")


@pytest.mark.published("ISO 8601-1:2019, 4.3.13 (offset from UTC)")
def test_a_moment_is_shown_on_the_clock_of_an_offset():
    assert in_zone("2026-11-28T21:00:17+00:00", "+01:00") == "2026-11-28T22:00:17"
    assert in_zone("2026-11-28T21:00:17+00:00", "-03:30") == "2026-11-28T17:30:17"


@pytest.mark.parametrize("language", ["en", "de", "fr"])
def test_the_page_stands_in_each_language(client, survey_id, language):
    answer = client.get(f"/surveys/{survey_id}/night", headers={"accept-language": language})
    assert answer.status_code == 200
    assert f'<html lang="{language}">' in answer.text
    assert not re.search(r"\sstyle=|\son[a-z]+=", answer.text)

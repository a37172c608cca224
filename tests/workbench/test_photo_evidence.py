"""Photos: kept without what the camera adds unless chosen, in the report only if chosen, there in a smaller copy."""

from __future__ import annotations

import io
import re

import pikepdf
import pytest
from PIL import Image

from roomfield.errors import InputError, UnknownNameError
from roomfield.quantities import Kind
from roomfield.survey import Assignment, PhotoSubject
from roomfield.workbench.publish.whole_report import Wishes, whole_report
from roomfield.workbench.record import editing, field_entry, survey_list
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.photos import LARGEST_COPY_BYTES, PhotoNote, choose_photo, keep_photo, photos_of

DISPLAY = PhotoNote("Bed, head end", "photo-1", PhotoSubject.DISPLAY, taken_at="2026-11-29T14:03:00+01:00")


def jpeg(width=1600, height=1200, *, exif=False, shade=90):
    picture = Image.effect_noise((width, height), shade).convert("RGB")
    content, more = io.BytesIO(), {}
    if exif:
        data = Image.Exif()
        data[0x8825] = {1: "N", 2: (48.0, 8.0, 0.0)}  # GPS IFD, Exif 2.32, section 4.6.6
        more = {"exif": data}
    picture.save(content, "JPEG", quality=60, **more)
    return content.getvalue()


@pytest.fixture
def records(tmp_path):
    opened = survey_list.open_records(str(tmp_path / "record.sqlite"))
    yield opened
    opened.close()


@pytest.fixture
def survey_id(records):
    return survey_list.keep_new(records, editing.started_survey("Flat", Assignment(client="A"), "one-room-flat"))


def with_reading(records, survey_id):
    survey = records.load(survey_id).survey
    visit = survey.visits[0]
    entry = field_entry.Entry(
        "entry-1", visit.id, survey.meters[0].id, visit.radio_states[0].id,
        (field_entry.Value(340.0, Kind.HIGHEST_HELD),), place_id=survey.places[0].id,
    )  # fmt: skip
    field_entry.enter(records, survey_id, entry)
    return {
        "place_id": entry.place_id,
        "visit_id": entry.visit_id,
        "radio_state_id": entry.radio_state_id,
        "entry_id": "entry-1",
    }


@pytest.mark.published("Exif 2.32, section 4.7.2: data of the camera lie in APP1 behind 'Exif'")
def test_what_the_camera_adds_is_refused_unless_it_is_chosen_and_never_reaches_the_report(records, survey_id):
    with pytest.raises(InputError, match="data of the camera"):
        keep_photo(records, survey_id, jpeg(exif=True), DISPLAY)
    assert records.load(survey_id).survey.media == ()
    chosen = keep_photo(records, survey_id, jpeg(exif=True), PhotoNote("Front", "photo-2", keeps_camera_data=True))
    assert chosen.camera_data
    with pytest.raises(InputError, match="copy for the report"):
        choose_photo(records, survey_id, "photo-2", in_report=True, small=jpeg(400, 300, exif=True))
    with pytest.raises(InputError, match="needs a smaller copy"):
        choose_photo(records, survey_id, "photo-2", in_report=True)


def test_a_photo_sent_twice_is_kept_once_and_the_copy_is_no_photo_of_its_own(records, survey_id):
    picture = jpeg()
    assert keep_photo(records, survey_id, picture, DISPLAY) == keep_photo(records, survey_id, picture, DISPLAY)
    choose_photo(records, survey_id, "photo-1", in_report=True, small=jpeg(400, 300), caption="Bed, foot end")
    (photo,) = photos_of(records.load(survey_id).survey)
    assert (photo.caption, photo.in_report, photo.subject) == ("Bed, foot end", True, "display")
    with pytest.raises(UnknownNameError):
        choose_photo(records, survey_id, "photo-9", in_report=False)
    with pytest.raises(InputError, match="too large"):
        choose_photo(records, survey_id, "photo-1", in_report=True, small=b"\xff\xd8" + b"x" * LARGEST_COPY_BYTES)


def test_only_what_was_chosen_stands_in_the_report_with_reading_time_and_hash(records, survey_id, tmp_path):
    bound = with_reading(records, survey_id)
    mine = keep_photo(
        records,
        survey_id,
        jpeg(),
        PhotoNote("Head end", "photo-1", PhotoSubject.DISPLAY, taken_at=DISPLAY.taken_at, **bound),
    )
    other = keep_photo(records, survey_id, jpeg(shade=30), PhotoNote("Private corner", "photo-2", PhotoSubject.ROOM))
    choose_photo(records, survey_id, "photo-1", in_report=True, small=jpeg(480, 640))
    job = Job(records.load(survey_id).survey, records)
    html = whole_report(job, tmp_path / "report.html").read_text(encoding="utf-8")
    assert html.count("data:image/jpeg;base64,") == 1
    assert "img-src data:" in html
    caption = re.search(r"<figcaption>([^<]*Head end[^<]*)</figcaption>", html)[1]
    assert "Display of the meter: Head end." in caption
    assert "highest held 340\N{NO-BREAK SPACE}µW/m²" in caption
    assert "14:03" in caption
    assert mine.sha256 in caption.replace(" ", "")
    assert "Private corner" not in html and other.sha256 not in html.replace(" ", "")
    german = whole_report(job, tmp_path / "bericht.html", Wishes(language="de")).read_text(encoding="utf-8")
    assert "Anzeige des Messgeräts: Head end." in german
    pdf = whole_report(job, tmp_path / "report.pdf")
    with pikepdf.open(pdf) as document:
        images = [image for page in document.pages for image in _images(page)]
    assert (480, 640) in images
    assert pdf.stat().st_size < 1_000_000


def _images(page):
    found = []

    def walk(resources):
        for one in dict(resources.get("/XObject", {})).values():
            if one.get("/Subtype") == "/Image":
                found.append((int(one.Width), int(one.Height)))
            elif "/Resources" in one:
                walk(one.Resources)

    walk(page.get("/Resources", {}))
    return found

"""What a camera puts into a photo: shown as its own word, never taken as the moment."""

from __future__ import annotations

import io
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

import roomfield as rf
from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.workbench.record.bring_photo import bring_photo
from roomfield.workbench.record.camera_clock import CameraNote, camera_notes, camera_says, drawn_anew
from roomfield.workbench.record.photos import CAMERA_DATA

EXIF = "Exif 2.32: DateTimeOriginal 0x9003 and OffsetTimeOriginal 0x9011 (4.6.5), GPS tags 1 to 4 (4.6.6); numbers from memory"


def picture(*, taken="", offset="", gps=None, turned=1, size=(60, 40)):
    data = Image.Exif()
    data[0x0112] = turned
    if taken:
        data.get_ifd(0x8769)[0x9003] = taken
    if offset:
        data.get_ifd(0x8769)[0x9011] = offset
    if gps:
        data.get_ifd(0x8825).update(gps)
    made = io.BytesIO()
    Image.effect_noise(size, 90).convert("RGB").save(made, "JPEG", exif=data)
    return made.getvalue()


@pytest.fixture
def job(tmp_path):
    begun = rf.begin(tmp_path / "flat.sqlite", "Flat", starter="one-room-flat")
    return begun


@pytest.mark.published(EXIF)
@given(st.datetimes(min_value=datetime(1990, 1, 1), max_value=datetime(2090, 1, 1)))
def test_the_moment_is_the_one_that_was_written(moment):
    whole = moment.replace(microsecond=0)
    said = camera_says(picture(taken=whole.strftime("%Y:%m:%d %H:%M:%S")))
    assert said == CameraNote(whole.isoformat())


@pytest.mark.published(EXIF)
def test_offset_and_position_are_read_and_nonsense_is_nothing():
    where = {1: "S", 2: (33.0, 51.0, 36.0), 3: "E", 4: (151.0, 12.0, 0.0)}
    said = camera_says(picture(taken="2027:03:14 10:12:00", offset="+01:00", gps=where))
    assert said.moment == "2027-03-14T10:12:00+01:00"
    assert (said.latitude_deg, said.longitude_deg) == pytest.approx((-33.86, 151.2))
    for taken in ("0000:00:00 00:00:00", "yesterday", "2027:13:41 99:00:00", ""):
        assert camera_says(picture(taken=taken)).moment == ""
    assert camera_says(picture(taken="2027:03:14 10:12:00", offset="noon")).moment == "2027-03-14T10:12:00"
    assert camera_says(picture(gps={1: "N", 2: (148.0, 0.0, 0.0), 3: "E", 4: (9.0, 0.0, 0.0)})) == CameraNote()
    with pytest.raises(FormatError, match="no whole picture"):
        camera_says(b"\xff\xd8\xff nothing")


def test_a_photo_comes_without_the_cameras_data_and_upright_with_its_clock_in_words(job, tmp_path):
    path = tmp_path / "p.jpg"
    path.write_bytes(
        picture(taken="2027:03:14 10:12:00", gps={1: "N", 2: (47.0, 8.0, 0.0), 3: "E", 4: (9.0, 0.0, 0.0)}, turned=6)
    )
    place = job.survey.places[0]
    brought = bring_photo(job, path, "Display at the bed", place=place.name, subject="display")
    assert brought.photo.caption == "Display at the bed (by the camera's clock 2027-03-14 10:12:00, not checked)"
    assert (brought.photo.taken_at, brought.photo.place_id, brought.photo.camera_data) == ("", place.id, False)
    kept = job.store.media.path(brought.photo.sha256).read_bytes()
    assert CAMERA_DATA not in kept and camera_says(kept) == CameraNote()
    assert Image.open(io.BytesIO(kept)).size == (40, 60)
    assert camera_notes(job.store, [brought.photo]) == {}


def test_the_users_own_time_stands_and_the_cameras_file_is_kept_if_chosen(job, tmp_path):
    path = tmp_path / "p.jpg"
    path.write_bytes(picture(taken="2027:03:14 10:12:00"))
    brought = bring_photo(job, path, "Front", taken_at="2027-03-14T09:12:00+01:00", keeps_camera_data=True)
    assert (brought.photo.caption, brought.photo.taken_at) == ("Front", "2027-03-14T09:12:00+01:00")
    assert brought.photo.camera_data
    assert camera_notes(job.store, [brought.photo])[brought.photo.id].moment == "2027-03-14T10:12:00"


def test_what_cannot_be_is_refused(job, tmp_path):
    path = tmp_path / "p.jpg"
    path.write_bytes(picture())
    with pytest.raises(UnknownNameError, match="no place named"):
        bring_photo(job, path, "x", place="Attic")
    with pytest.raises(UnknownNameError, match="subject"):
        bring_photo(job, path, "x", subject="dog")
    with pytest.raises(InputError, match="needs words"):
        bring_photo(job, path, " ")
    with pytest.raises(InputError, match="cannot be read"):
        bring_photo(job, tmp_path / "none.jpg", "x")
    assert rf.open(tmp_path / "flat.sqlite").survey.photographs == ()


def test_a_large_picture_becomes_smaller():
    assert max(Image.open(io.BytesIO(drawn_anew(picture(size=(3000, 1500))))).size) == 2400

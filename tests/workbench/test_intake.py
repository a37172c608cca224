"""Circumstances of a table: what is taken without being named, and what must be."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace

import pytest

from roomfield.errors import InputError
from roomfield.store.repository import open_store
from roomfield.survey import Assignment, Meter, VisitPurpose
from roomfield.workbench.record.editing import started_survey, with_meter, with_radio_state, with_visit
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.packages import packed
from roomfield.workbench.record.readings_intake import (
    Circumstances,
    Corrections,
    context_for,
    guessed,
    previewed,
    take_in,
)

PLAIN = "Place,Peak [uW/m2]\nBed,12\n"
WITH_STATE = "Place,Radio state,Peak [uW/m2]\nBed,As found,12\nBed,,13\n"


@pytest.fixture
def survey():
    return started_survey("x", Assignment(), "one-room-flat")


@pytest.fixture
def table(tmp_path):
    def write(text):
        path = tmp_path / "table.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def with_two_states(survey):
    return with_radio_state(survey, "visit-1", "Fuse out", ())


def test_the_only_state_and_meter_are_taken_by_themselves(survey, table):
    plan = previewed(survey, table(PLAIN), guessed(table(PLAIN)), Circumstances())
    reading = plan.readings[0]
    assert (reading.radio_state_id, reading.meter_id) == ("as-found", "meter-1")


def test_one_of_several_states_is_never_taken_silently(survey, table):
    path = table(PLAIN)
    with pytest.raises(InputError, match="which radio state") as refused:
        previewed(with_two_states(survey), path, guessed(path), Circumstances())
    assert "Fuse out" in refused.value.mend
    plan = previewed(with_two_states(survey), path, guessed(path), Circumstances(state_id="as-found"))
    assert plan.readings[0].radio_state_id == "as-found"


def test_a_row_that_names_no_state_is_rejected_where_others_do(survey, table):
    path = table(WITH_STATE)
    plan = previewed(with_two_states(survey), path, guessed(path), Circumstances())
    assert [r.radio_state_id for r in plan.readings] == ["as-found"]
    assert [(f.line, f.reason) for f in plan.faults] == [(3, "there is no radio state for this value")]


def test_one_of_several_meters_is_never_taken_silently(survey):
    two = with_meter(
        survey, Meter("meter-2", "Another", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5)
    )
    with pytest.raises(InputError, match="which meter"):
        context_for(two, Circumstances())
    assert context_for(two, Circumstances(meter_id="meter-2")).meter_id == "meter-2"


def test_one_of_several_visits_is_never_taken_silently(survey):
    with pytest.raises(InputError, match="2 visits"):
        context_for(with_visit(survey, VisitPurpose.FOLLOW_UP), Circumstances())


def test_a_survey_without_a_visit_or_meter_is_told_what_comes_first(survey):
    for bare, lacking in ((replace(survey, visits=()), "no visit"), (replace(survey, meters=()), "no meter")):
        with pytest.raises(InputError, match=lacking):
            context_for(bare, Circumstances())


def test_a_column_taken_as_unused_loses_its_unit_and_its_question(table):
    path = table("Place,Peak [uW/m2],Battery [uW/m2]\nBed,12,3\n")
    assert guessed(path).questions()
    assert guessed(path, Corrections(("Battery [uW/m2]=unused",))).questions() == ()


def test_an_empty_table_is_told_before_anything_is_asked(survey, table):
    path = table("Place,Peak [uW/m2]\n")
    with pytest.raises(InputError, match="holds no reading"):
        previewed(with_two_states(survey), path, guessed(path), Circumstances())


@pytest.mark.published("RFC 8493 (BagIt), section 2.1.3: the payload manifest lists every file with its checksum")
def test_a_table_travels_in_the_package_as_received(survey, table, tmp_path, monkeypatch):
    store = open_store(str(tmp_path / "r.sqlite"))
    store.create(survey)
    path = table(PLAIN)
    job = Job(survey, store)
    take_in(job, path, guessed(path), Circumstances(), confirmed=True)
    reading = job.again().survey.readings[0]
    with zipfile.ZipFile(io.BytesIO(packed(store, survey.id).content)) as package:
        manifest = next(
            n for n in package.namelist() if n.endswith("/manifest-sha256.txt") or n == "manifest-sha256.txt"
        )
        listed = dict(reversed(line.split(None, 1)) for line in package.read(manifest).decode().splitlines())
        root = manifest.removesuffix("manifest-sha256.txt")
        (name,) = (name for name, sha256 in listed.items() if sha256 == reading.origin.file_sha256)
        assert package.read(root + name) == path.read_bytes()
    monkeypatch.setattr("roomfield.workbench.record.readings_intake.MOST_KEPT_BYTES", 3)
    longer = tmp_path / "longer.csv"
    longer.write_text(PLAIN + "Desk,3\n", encoding="utf-8")
    take_in(job.again(), longer, guessed(longer), Circumstances(), confirmed=True)
    assert [item.file_name for item in job.again().survey.media] == ["table.csv"]

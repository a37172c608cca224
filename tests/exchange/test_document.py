"""The survey document: lossless, described by its schema, and strict."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from roomfield.errors import FormatError, InputError
from roomfield.exchange.json_schema import main, schema_text
from roomfield.exchange.survey_document import (
    document_schema,
    parse_document,
    read_document,
    read_document_file,
    write_document,
)
from roomfield.quantities.kind import Kind
from roomfield.survey import Meter, RadioState, Reading, Survey, Visit

PUBLISHED = Path(__file__).parents[2] / "docs" / "schema" / "survey-3.json"
VALIDATOR = Draft202012Validator(document_schema())
RELAXED = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


@RELAXED
@given(data=st.data())
def test_any_survey_comes_back_as_it_was(surveys: st.SearchStrategy[Survey], data: st.DataObject):
    survey = data.draw(surveys)
    content = write_document(survey)
    assert parse_document(content) == survey
    assert write_document(parse_document(content)) == content
    assert [fault.message for fault in VALIDATOR.iter_errors(json.loads(content))] == []


@pytest.mark.published("JSON Schema, draft 2020-12, meta-schema as shipped by the jsonschema package")
def test_the_schema_is_a_schema():
    Draft202012Validator.check_schema(document_schema())


def test_the_published_schema_is_up_to_date(tmp_path: Path):
    assert PUBLISHED.read_text(encoding="utf-8") == schema_text(), (
        "write it again: python -m roomfield.exchange.json_schema docs/schema/survey-3.json"
    )
    assert main([str(tmp_path / "again.json")]) == 0
    assert (tmp_path / "again.json").read_text(encoding="utf-8") == schema_text()
    assert main([]) == 2


def changed(survey: Survey, **values: object) -> bytes:
    document = json.loads(write_document(survey))
    document["survey"] |= values
    return json.dumps(document).encode()


PLACE = {"id": "a", "name": "a"}


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"title": 7}, "survey.title"),
        ({"colour": "red"}, "survey.colour"),
        ({"places": [PLACE, {"id": "b"}]}, r"survey.places\[1\].name"),
        ({"places": [PLACE | {"kind": "throne"}]}, r"survey.places\[0\].kind"),
        ({"places": [PLACE | {"position": [1.0, 2.0]}]}, r"survey.places\[0\].position"),
        ({"places": [PLACE | {"night_hours": "8"}]}, r"survey.places\[0\].night_hours"),
        ({"places": {"a": PLACE}}, "survey.places"),
        ({"invented": 1}, "survey.invented"),
        ({"readings": [{"id": "r"}]}, r"survey.readings\[0\]"),
    ],
)
def test_reader_and_schema_refuse_the_same(survey: Survey, values: dict[str, object], words: str):
    content = changed(survey, **values)
    with pytest.raises(FormatError, match=words) as caught:
        read_document(content, where="x.json")
    assert caught.value.sentence().startswith("x.json: ")
    assert "\n" not in caught.value.sentence()
    assert not VALIDATOR.is_valid(json.loads(content))


@pytest.mark.parametrize("version", [4, 99, 0, "1", None, True, 1.5])
def test_an_unknown_version_is_refused_with_its_name(survey: Survey, version: object):
    document = json.loads(write_document(survey)) | {"version": version, "new field of tomorrow": 1}
    with pytest.raises(FormatError, match=r"version .*; this release reads versions 1 to 3"):
        read_document(json.dumps(document).encode())


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b'"text"',
        b"{}",
        b'{"document": "letter"}',
        b"\xff\xfe",
        b"[" * 100_000,
        b"NaN",
    ],
)
def test_what_is_no_document_is_one_clear_sentence(content: bytes):
    with pytest.raises(FormatError, match=r"no JSON|no survey document") as caught:
        read_document(content)
    assert "\n" not in caught.value.sentence()


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_a_number_that_json_cannot_hold_is_refused(survey: Survey, number: float):
    odd = replace(survey, places=(replace(survey.places[0], night_hours=number),))
    with pytest.raises(InputError, match="finite"):
        write_document(odd)


@pytest.mark.parametrize("text", ["NaN", "Infinity", "1e999"])
def test_a_number_out_of_range_is_refused(survey: Survey, text: str):
    content = write_document(survey).replace(b'"night_hours":0.0', f'"night_hours":{text}'.encode())
    with pytest.raises(FormatError):
        read_document(content)


def test_reading_a_file(survey: Survey, tmp_path: Path):
    path = tmp_path / "flat.json"
    path.write_bytes(write_document(survey))
    assert read_document_file(path) == survey
    with pytest.raises(InputError, match=r"gone.json: it cannot be read"):
        read_document_file(tmp_path / "gone.json")


def test_a_document_of_the_first_version_is_read_with_its_word_for_the_held_maximum(survey: Survey):
    visit = Visit("v1", "2026-01-10T10:00:00+01:00", "A. Sessor", radio_states=(RadioState("s1", "as found"),))
    held = Reading("r1", "v1", "m1", "s1", Kind.HIGHEST_HELD, 1e-6, watched_s=45.0)
    old = json.loads(
        write_document(replace(survey, readings=(held,), meters=(Meter("m1", "meter"),), visits=(visit,)))
    ) | {"version": 1}
    for reading in old["survey"]["readings"]:
        reading["kind"] = "max_hold"
        for name in ("watched_s", "height_m", "body_distance_m", "accessory_id"):
            del reading[name]
    read = read_document(json.dumps(old).encode())
    assert {r.kind for r in read.readings} == {Kind.HIGHEST_HELD}
    assert {r.watched_s for r in read.readings} == {None}
    assert b'"max_hold"' not in write_document(read)

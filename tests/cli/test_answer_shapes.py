"""Answers as JSON keep the shapes that are published."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

ROOT = Path(__file__).parents[2]
PUBLISHED = json.loads((ROOT / "docs" / "schema" / "answers.json").read_text("utf-8"))
MEND = "run: python tools/answer_shapes.py docs/schema/answers.json, and tell it in CHANGELOG.md"


def _tool():
    spec = importlib.util.spec_from_file_location("answer_shapes", ROOT / "tools" / "answer_shapes.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


TOOL = _tool()


def closed(schema):
    """The schema with no member allowed that it does not name."""
    if isinstance(schema, list):
        return [closed(one) for one in schema]
    if not isinstance(schema, dict):
        return schema
    held = {key: closed(value) for key, value in schema.items()}
    return held | {"additionalProperties": False} if schema.get("type") == "object" else held


@pytest.mark.published("JSON Schema, draft 2020-12, meta-schema as shipped by the jsonschema package")
def test_the_shapes_are_schemas_and_closed_ones_refuse_what_they_do_not_name():
    Draft202012Validator.check_schema(PUBLISHED)
    strict = Draft202012Validator(closed(PUBLISHED["$defs"]["show place"]))
    shown = {key: "" for key in PUBLISHED["$defs"]["show place"]["required"]}
    assert any("unexpected" in fault.message for fault in strict.iter_errors({**shown, "another": 1}))


@pytest.mark.parametrize("question", TOOL.QUESTIONS)
def test_an_answer_has_the_published_shape(demo_record, question):
    strict = Draft202012Validator(closed(PUBLISHED["$defs"][TOOL.name_of(question)]))
    faults = [
        f"{fault.json_path}: {fault.message[:120]}"
        for fault in strict.iter_errors(TOOL.answer_of(question, demo_record))
    ]
    assert faults == [], MEND


def test_every_published_shape_is_asked_for():
    assert {TOOL.name_of(question) for question in TOOL.QUESTIONS} == PUBLISHED["$defs"].keys()

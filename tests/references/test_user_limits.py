"""A user's own limits: the published form, and one clear answer to every kind of mistake."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from roomfield.errors import FormatError, InputError, RejectedRows, RoomfieldError
from roomfield.references import limits
from roomfield.references.source import Authority, Knowledge
from roomfield.references.user_limits import load_user_limits, schema_text

GOOD = """\
schema = "roomfield-limits/1"

[[set]]
id = "house-rule"
title = "Agreed house rule"
document = "Agreement between tenant and owner"
edition = "1 March 2026"
clause = "2"

[[set.level]]
f_low_mhz = 100
f_high_mhz = 400
quantity = "electric_field"
coefficient = 6
averaging_min = 6

[[set.level]]
f_low_mhz = 400
f_high_mhz = 6000
quantity = "power_density"
coefficient = 0.0002
exponent = 1
"""
DOCS = Path(__file__).parents[2] / "docs" / "references.md"
SCHEMA = json.loads(schema_text())


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "limits.toml"
    path.write_text(text, encoding="utf-8")
    return path


def refused(tmp_path: Path, text: str) -> RejectedRows:
    with pytest.raises(RejectedRows) as caught:
        load_user_limits(write(tmp_path, text))
    return caught.value


def test_values_edges_and_source(tmp_path):
    (mine,) = load_user_limits(write(tmp_path, GOOD))
    assert mine.at(900e6).value_w_m2 == pytest.approx(0.18)
    assert mine.at(400e6, "electric_field").value_v_m == pytest.approx(6.0)
    found = mine.at(300e6)
    assert (found.equivalent, found.averaging_s) == (True, 360.0)
    assert found.value_w_m2 == pytest.approx(36 / 376.730313412)
    assert mine.at(900e6).averaging_s is None
    assert mine.standing is Authority.STATED_BY_USER
    assert mine.laws[0].source.knowledge is Knowledge.USER
    assert mine.laws[1].source.clause == "2"


def test_it_is_selected_like_any_other(tmp_path):
    sets = load_user_limits(write(tmp_path, GOOD))
    assert limits.select("user", sets=sets).set_id == "house-rule"
    assert sets[0].smallest_in_band(200e6, 6e9).value_w_m2 == pytest.approx(0.08)


def test_a_fault_in_each_place_is_listed_with_its_line(tmp_path):
    text = GOOD.replace('clause = "2"\n', "").replace("coefficient = 6", "coefficient = -6")
    text = text.replace('"power_density"', '"power"').replace("exponent = 1", 'exponent = "one"\ncolour = "red"')
    error = refused(tmp_path, text)
    found = {(fault.line, fault.column) for fault in error.faults}
    assert found >= {(3, "clause"), (9, "coefficient"), (16, "quantity"), (16, "exponent"), (16, "colour")}
    assert "limits.toml" in str(error) and "First: line" in str(error)


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("f_low_mhz = 100", "f_low_mhz = 500", "f_low_mhz is above f_high_mhz"),
        ('id = "house-rule"', 'id = "ch-immission-limit"', "already the name of another set"),
        ('"electric_field"\ncoefficient = 6', '"power_density"\ncoefficient = 6', None),
    ],
)
def test_faults_between_values(tmp_path, old, new, reason):
    text = GOOD.replace(old, new)
    if reason is None:
        text = text.replace("f_low_mhz = 400", "f_low_mhz = 300")
        reason = "inside the range of another level"
    assert reason in refused(tmp_path, text).faults[0].reason


def test_a_set_without_levels_and_two_of_one_name(tmp_path):
    head = GOOD.split("[[set.level]]")[0]
    reasons = [fault.reason for fault in refused(tmp_path, head).faults]
    assert "the set has no [[set.level]]" in reasons
    twice = GOOD + "\n" + GOOD.split("\n", 1)[1]
    faults = refused(tmp_path, twice).faults
    assert [(f.line, f.column) for f in faults] == [(25, "id")]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("schema = ", "this is not TOML"),
        ('schema = "other/1"\n', 'Begin the file with schema = "roomfield-limits/1"'),
        ('schema = "roomfield-limits/1"\n', "no [[set]]"),
        ('schema = "roomfield-limits/1"\nset = 3\n', "no [[set]]"),
    ],
)
def test_files_of_another_form(tmp_path, text, words):
    with pytest.raises(FormatError, match=re.escape(words)):
        load_user_limits(write(tmp_path, text))


def test_a_file_that_cannot_be_read(tmp_path):
    with pytest.raises(InputError, match="cannot be opened"):
        load_user_limits(tmp_path / "nothing.toml")
    (tmp_path / "latin.toml").write_bytes(b'schema = "\xe4"')
    with pytest.raises(FormatError, match="UTF-8"):
        load_user_limits(tmp_path / "latin.toml")


@pytest.mark.parametrize("levels", ["level = 3", "level = [1, 2]", "[set.level]\nquantity = 1"])
def test_levels_that_are_no_list_of_tables(tmp_path, levels):
    text = GOOD.split("[[set.level]]")[0] + levels + "\n"
    assert "write [[set.level]]" in refused(tmp_path, text).faults[0].reason


@given(
    line=st.integers(0, GOOD.count("\n") - 1),
    new=st.sampled_from(
        [
            "",
            "coefficient = nan",
            "id = 3",
            "level = 1",
            'x = "y"',
            "f_low_mhz = true",
            "[[set]]",
            "]",
            "document = []",
            "edition = {a = 1}",
            "how = 2020-01-01",
        ]
    ),
)
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_broken_line_gives_a_fault_we_name(tmp_path, line, new):
    lines = GOOD.splitlines()
    lines[line] = new
    try:
        load_user_limits(write(tmp_path, "\n".join(lines)))
    except RoomfieldError as error:
        assert "limits.toml" in str(error)


@pytest.mark.published("JSON Schema 2020-12: the published schema and the reader agree")
def test_schema_and_reader_agree(tmp_path):
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(tomllib.loads(GOOD), SCHEMA)
    broken = [
        GOOD.replace('clause = "2"\n', ""),
        GOOD.replace('"power_density"', '"power"'),
        GOOD.replace("coefficient = 6", "coefficient = -6"),
        GOOD.replace("exponent = 1", "exponent = 9"),
        GOOD.replace("averaging_min = 6", 'colour = "red"'),
        GOOD.split("[[set.level]]")[0],
        GOOD.replace("f_high_mhz = 6000\n", ""),
    ]
    for text in broken:
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(tomllib.loads(text), SCHEMA)
        assert refused(tmp_path, text).faults


def test_the_example_in_the_documentation_loads(tmp_path):
    example = re.search(r"```toml\n(.*?)```", DOCS.read_text(encoding="utf-8"), re.DOTALL)
    assert example
    jsonschema.validate(tomllib.loads(example[1]), SCHEMA)
    (mine,) = load_user_limits(write(tmp_path, example[1]))
    assert mine.laws

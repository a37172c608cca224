"""Records as JSON: strict both ways."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roomfield.errors import FormatError, InputError
from roomfield.quantities.kind import Kind
from roomfield.survey import AdoptedPlan, Place, PlaceKind, Reading
from roomfield.survey.json_codec import checked, from_json, schema_of, to_json

BED = Place("bed", "Bed", PlaceKind.BED, position=(1.0, 2.0, 0.5))
READING = Reading("r", "v", "m", "s", Kind.PEAK, 0.1 + 0.2)


def test_there_and_back():
    text = to_json((BED,), tuple[Place, ...])
    assert '"kind":"bed"' in text
    assert from_json(text, tuple[Place, ...]) == (BED,)
    assert from_json(text.encode(), tuple[Place, ...]) == (BED,)


@pytest.mark.parametrize("number", [0.1 + 0.2, 5e-324, 1.7976931348623157e308, -0.0, 1e-9 / 3])
def test_every_digit_is_kept(number: float):
    back = from_json(to_json(replace(READING, value_w_m2=number), Reading), Reading)
    assert back.value_w_m2.hex() == number.hex()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (replace(READING, value_w_m2=float("nan")), "value_w_m2: input should be a finite number"),
        (replace(READING, value_w_m2="3"), "value_w_m2: input should be a valid number"),
        (replace(READING, kind="peak"), "kind"),
        (replace(READING, position=[1.0, 2.0, 3.0]), "position: input should be a valid tuple"),
        (replace(READING, replicate=True), "replicate"),
        (BED, "Reading"),
    ],
)
def test_a_record_with_a_wrong_field_is_not_written(wrong: object, words: str):
    for write in (to_json, checked):
        with pytest.raises(InputError, match=words) as caught:
            write(wrong, Reading, where="here")
        assert caught.value.where == "here"


def test_half_a_character_is_not_written():
    with pytest.raises(InputError, match="half a character"):
        to_json(replace(READING, note="\ud800"), Reading)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("null", "null in place of a record"),
        ("{}", "id: field required and 1 more faults"),
        ('{"id": "a", "name": "b", "colour": 1}', "colour: unexpected"),
        ('{"id": "a", "name": "b", "position": [1, 2]}', "position"),
        ('{"id": "a", "name": "b", "night_hours": NaN}', "night_hours"),
        ('{"id": "a"', "invalid JSON"),
        ("[]", "input"),
    ],
)
def test_wrong_json_is_one_sentence(text: str, words: str):
    with pytest.raises(FormatError, match=words) as caught:
        from_json(text, Place, where="there")
    assert "\n" not in caught.value.sentence()
    assert caught.value.sentence().startswith("there: ")


def test_a_schema_forbids_what_it_does_not_know():
    schema = schema_of(AdoptedPlan)["$defs"]["AdoptedPlan"]
    assert schema["additionalProperties"] is False
    assert "target_w_m2" in schema["required"]

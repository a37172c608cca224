"""The record: amendments leave the observation alone, faults are all listed."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from roomfield.errors import UnknownNameError
from roomfield.quantities.kind import Kind
from roomfield.survey import (
    Amendment,
    Censoring,
    Meter,
    Place,
    RadioState,
    Reading,
    Survey,
    Visit,
)

READING = Reading("r1", "v1", "m1", "as_found", Kind.PEAK, 1e-3, place_id="bed")
SURVEY = Survey(
    "s1",
    "Invented flat",
    "2026-03-01T09:00:00+01:00",
    places=(Place("bed", "Bed"),),
    meters=(Meter("m1", "invented meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5),),
    visits=(
        Visit(
            "v1",
            "2026-03-01T09:00:00+01:00",
            "A. Assessor",
            radio_states=(RadioState("as_found", "As found"),),
        ),
    ),
    readings=(READING,),
)


def amend(field: str, new: object, number: int = 1) -> Amendment:
    return Amendment(f"a{number}", "r1", field, "", json.dumps(new), "misread", "A. Assessor", "2026-03-02")


def test_a_sound_record_has_no_faults():
    assert SURVEY.faults() == ()


def test_amendments_change_the_finding_and_not_the_observation():
    survey = replace(SURVEY, amendments=(amend("value_w_m2", 2e-3), amend("value_w_m2", 4e-3, 2)))
    assert survey.readings[0].value_w_m2 == 1e-3
    assert survey.current_readings()[0].value_w_m2 == 4e-3


def test_amended_enumerations_and_positions_keep_their_type():
    survey = replace(
        SURVEY,
        amendments=(
            amend("kind", "average"),
            amend("censoring", "overload", 2),
            amend("position", [1, 2, 3], 3),
        ),
    )
    found = survey.current_readings("v1")[0]
    assert found.kind is Kind.AVERAGE
    assert found.censoring is Censoring.ABOVE
    assert found.position == (1, 2, 3)


def test_withdrawn_observations_leave_the_findings_and_can_return():
    withdrawn = replace(SURVEY, amendments=(amend("withdrawn", True),))
    assert withdrawn.current_readings() == ()
    returned = replace(SURVEY, amendments=(amend("withdrawn", True), amend("withdrawn", False, 2)))
    assert len(returned.current_readings()) == 1


def test_every_broken_reference_is_listed():
    broken = replace(
        SURVEY,
        readings=(
            READING,
            READING,
            replace(READING, id="r2", place_id="attic"),
            replace(READING, id="r3", visit_id="v9"),
            replace(READING, id="r4", radio_state_id="off"),
            replace(READING, id="r5", meter_id="m9"),
        ),
        amendments=(
            amend("value_w_m2", 1),
            replace(amend("height", 1, 2)),
            replace(amend("note", "", 3), target_id="r9"),
        ),
    )
    text = "\n".join(broken.faults())
    expected = (
        "'r1' stands 2 times",
        "no place 'attic'",
        "no visit 'v9'",
        "no radio state 'off'",
        "no meter 'm9'",
        "no field 'height'",
        "no observation 'r9'",
    )
    for part in expected:
        assert part in text
    assert len(broken.faults()) == 7


def test_unknown_ids_name_the_choices():
    with pytest.raises(UnknownNameError, match=r"no place named 'attic'.*Choose one of: bed"):
        SURVEY.place("attic")

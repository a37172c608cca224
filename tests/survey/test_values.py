"""What cannot be is refused, whatever holds it; what a person can measure is let through."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, get_type_hints

import pytest

from roomfield.demo.invented_survey import demo_survey
from roomfield.errors import InputError
from roomfield.quantities.kind import Kind
from roomfield.survey import (
    Amendment,
    AudioOutput,
    Bearing,
    CalibrationPoint,
    Censoring,
    Emitter,
    Meter,
    Place,
    RadioState,
    Reading,
    Survey,
    Visit,
)
from roomfield.survey import __all__ as RECORDS
from roomfield.survey.soundness import refuse_unsound, soundness_faults
from roomfield.survey.values import RULES, level_fault, moment_fault, refuse_impossible, value_faults

READING = Reading("r1", "v1", "m1", "found", Kind.PEAK, 1e-6, place_id="bed", taken_at="2026-03-02T10:00:00")
METER = Meter("m1", "invented meter", tolerance_db=6.0, floor_w_m2=1e-8, overload_w_m2=2.5)


def survey(**changed: Any) -> Survey:
    made = Survey(
        "s1",
        "Invented flat",
        "2026-03-01T08:00:00+01:00",
        places=(Place("bed", "Bed"),),
        meters=(METER,),
        visits=(Visit("v1", "2026-03-02T10:00:00+01:00", "A", radio_states=(RadioState("found", "As found"),)),),
        readings=(READING,),
    )
    return replace(made, **changed)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("value_w_m2", -5e-6),
        ("value_w_m2", 0.0),
        ("value_w_m2", 1e296),
        ("value_w_m2", 5e-324),
        ("value_w_m2", float("nan")),
        ("value_w_m2", float("inf")),
        ("position", (1e300, 0.0, 0.0)),
        ("position", (0.0, 5e-324, 0.0)),
        ("scan_edge_m", -1.0),
        ("taken_at", "1800-01-01"),
        ("taken_at", "9999-12-31T10:00:00"),
        ("taken_at", "2026-03-02T25:00"),
        ("taken_at", "yesterday"),
        ("replicate", -1),
        ("note", "a\0b"),
        ("id", ""),
        ("id", "a\nb"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_by_field_and_value(field: str, value: Any):
    with pytest.raises(InputError) as caught:
        refuse_unsound(survey(readings=(replace(READING, **{field: value}),)), "x.json")
    assert field in caught.value.where or field == "id"
    assert caught.value.where.startswith("x.json")
    assert caught.value.what.endswith(".")
    assert caught.value.mend


@pytest.mark.parametrize(
    "changed",
    [
        {"tolerance_db": -6.0},
        {"tolerance_db": 1e300},
        {"floor_w_m2": -1.0},
        {"floor_w_m2": 3.0},
        {"overload_w_m2": float("inf")},
        {"band_low_hz": 8e9, "band_high_hz": 6e9},
        {"response_s": -1.0},
        {"pickup_axes": 0},
        {"calibration_due": "soon"},
        {"calibration": (CalibrationPoint(-1.0, 0.0, 1.0),)},
        {"calibration": (CalibrationPoint(1e9, 0.0, -1.0),)},
        {"audio": AudioOutput(coupling_hz=-20.0)},
    ],
)
def test_a_meter_that_cannot_be_is_refused(changed: dict[str, Any]):
    with pytest.raises(InputError, match="meter"):
        refuse_unsound(survey(meters=(replace(METER, **changed),)))


def test_what_can_be_measured_is_let_through():
    weak = replace(READING, value_w_m2=1e-15, censoring=Censoring.BELOW, taken_at="2026-03-02")
    strong = replace(READING, id="r2", value_w_m2=1e3, position=(-4000.0, 12.0, 300.0), taken_at="")
    refuse_unsound(survey(readings=(weak, strong)))
    refuse_unsound(demo_survey())
    assert level_fault(1e-9) == moment_fault("2026-03-02T10:11:12+01:00") == ""


def test_every_number_of_the_record_has_bounds_even_one_without_a_rule():
    odd = {Emitter: "eirp_w", Place: "night_hours", Bearing: "std_deg", Meter: "averaging_s"}
    made = {Emitter: Emitter("e", "router"), Place: Place("p", "Desk"), Meter: METER,
            Bearing: Bearing("b", "v1", "m1", "found", (0.0, 0.0, 1.0))}  # fmt: skip
    for kind, field in odd.items():
        assert list(value_faults(replace(made[kind], **{field: float("nan")}))), (kind, field)


def test_rules_name_fields_that_exist():
    for kind, rules in RULES.items():
        assert set(rules) <= {field.name for field in fields(kind)}, kind


def test_every_record_is_reached_from_the_survey():
    """A type that no rule and no field leads to would pass unseen."""
    import roomfield.survey as package

    seen, waiting = set(), [Survey]
    while waiting:
        kind = waiting.pop()
        if kind in seen:
            continue
        seen.add(kind)
        for hint in get_type_hints(kind).values():
            parts = [hint]
            while parts:
                part = parts.pop()
                parts += list(getattr(part, "__args__", ()))
                if hasattr(part, "__dataclass_fields__"):
                    waiting.append(part)
    # Worked out from meters and readings, and never kept.
    declared = {getattr(package, name) for name in RECORDS} - {package.MeterFigures, package.OutOfOrder}
    assert {kind for kind in declared if hasattr(kind, "__dataclass_fields__")} <= seen


def test_an_unknown_place_and_a_broken_amendment_are_named():
    with pytest.raises(InputError, match="there is no place 'attic'"):
        refuse_unsound(survey(readings=(replace(READING, place_id="attic"),)))
    wrong = Amendment("a1", "r1", "kind", '"peak"', '"loudest"', "slip", "A", "2026-03-03")
    with pytest.raises(InputError, match="amendment 'a1'"):
        refuse_unsound(survey(amendments=(wrong,)))
    negative = replace(wrong, field="value_w_m2", old="1e-6", new="-1.0")
    assert [fault.where for fault in soundness_faults(survey(amendments=(negative,)))] == [
        "as amended, 'r1': value_w_m2"
    ]


def test_a_record_alone_can_be_asked():
    refuse_impossible((READING, METER))
    with pytest.raises(InputError, match="readings 'r1': value_w_m2: level is -1 W/m²"):
        refuse_impossible((replace(READING, value_w_m2=-1.0),), "readings")

"""What a value of the record can be: one set of bounds for every door, from the walk to a survey package.

The bounds say what cannot be, not what is usual. They are our judgement, wide enough for anything that a person can
measure in or around a dwelling; no source.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import datetime
from enum import Enum
from functools import cache, lru_cache
from typing import Any

from roomfield.errors import InputError, RangeError, RoomfieldError
from roomfield.survey.action import Action, AdoptedPlan, CostRange
from roomfield.survey.dwelling import (
    Dwelling,
    FittedShield,
    Layer,
    Opening,
    PlanImage,
    ShieldSheet,
    Slab,
    Storey,
    Wall,
)
from roomfield.survey.emitter import Emitter, EmitterActivity
from roomfield.survey.equipment import (
    AccessoryPoint,
    AudioOutput,
    BandZone,
    CalibrationPoint,
    Meter,
    ReferenceCheck,
    SelfTest,
)
from roomfield.survey.observation import (
    Bearing,
    HeardTechnology,
    ListenedScan,
    LogRecord,
    MediaItem,
    Origin,
    Reading,
    Recording,
)
from roomfield.survey.person import Stay
from roomfield.survey.place import Place
from roomfield.survey.site_notes import HotSpot, Photograph, Tick
from roomfield.survey.survey_record import Survey
from roomfield.survey.visit import Visit

LOWEST_LEVEL_W_M2, HIGHEST_LEVEL_W_M2 = 1e-18, 1e4
FARTHEST_M = 1e5
FIRST_YEAR, LAST_YEAR = 1980, 2100
LONGEST_TEXT = 200_000
_MOST = 2**53
_LARGEST, _SMALLEST = 1e15, 1e-30


@dataclass(frozen=True, slots=True)
class Bounds:
    """What a number can be.

    Parameters
    ----------
    name : str
        What it is called in a message.
    low, high : float
        The least and the greatest it can be, in ``unit``.
    """

    name: str
    low: float
    high: float
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Moment:
    """A date, or a date with a time; may be left out."""

    name: str


@dataclass(frozen=True, slots=True)
class Hash:
    """A hash of a content as 32 to 64 hexadecimal digits; may be left out."""

    name: str


Rule = Bounds | Moment | Hash

_LEVEL = Bounds("level", LOWEST_LEVEL_W_M2, HIGHEST_LEVEL_W_M2, "W/m²")
_FREQUENCY = Bounds("frequency", 1e3, 3e12, "Hz")
_DEGREES = Bounds("angle", -360.0, 360.0, "deg")
_SHARE = Bounds("share", 0.0, 1.0)
_SPREAD = Bounds("standard uncertainty", 0.0, 60.0, "dB")
_LENGTH = Bounds("length", 0.0, FARTHEST_M, "m")
_HEIGHT = Bounds("height", -FARTHEST_M, FARTHEST_M, "m")
_MISSING = Bounds("what a scan misses", 0.0, 60.0, "dB")
_HOURS = Bounds("hours", 0.0, 24.0, "h")
_COORDINATE = Bounds("coordinate", -FARTHEST_M, FARTHEST_M, "m")
_NUMBER = Bounds("number", -_LARGEST, _LARGEST)

RULES: Mapping[type, Mapping[str, Rule]] = {
    Survey: {"created_at": Moment("date")},
    Reading: {
        "value_w_m2": _LEVEL,
        "scan_edge_m": Bounds("edge of the scanned cube", 0.0, 100.0, "m"),
        "taken_at": Moment("time"),
        "replicate": Bounds("replicate", 0, 1_000_000),
        "watched_s": Bounds("time of watching", 0.0, 1e7, "s"),
        "height_m": Bounds("height above the floor", -10.0, 100.0, "m"),
        "body_distance_m": Bounds("distance from the body", 0.0, 50.0, "m"),
    },
    ListenedScan: {
        "seconds": Bounds("length of the scan", 0.0, 1e5, "s"),
        "spots": Bounds("number of places", 1, 1_000_000),
        "low_db": _MISSING,
        "shortfall_db": _MISSING,
        "high_db": _MISSING,
        "orientation_share": _SHARE,
    },
    Bearing: {
        "strongest_deg": _DEGREES,
        "null_deg": _DEGREES,
        "std_deg": Bounds("standard uncertainty", 0.0, 180.0, "deg"),
        "strongest_w_m2": _LEVEL,
        "null_w_m2": _LEVEL,
        "taken_at": Moment("time"),
    },
    Recording: {
        "media_sha256": Hash("file"),
        "duration_s": Bounds("duration", 0.0, 1e7, "s"),
        "taken_at": Moment("time"),
    },
    HeardTechnology: {"probability": Bounds("probability", 0.0, 1.0)},
    LogRecord: {
        "media_sha256": Hash("file"),
        "series_sha256": Hash("series"),
        "started_at": Moment("time"),
        "ended_at": Moment("time"),
    },
    MediaItem: {"sha256": Hash("file"), "size_bytes": Bounds("length", 0, _MOST, "byte")},
    Photograph: {"sha256": Hash("file"), "small_sha256": Hash("file"), "taken_at": Moment("time")},
    HotSpot: {"noted_at": Moment("time")},
    Tick: {"at": Moment("time")},
    Origin: {"file_sha256": Hash("file"), "line": Bounds("line", 0, _MOST)},
    Meter: {
        "band_low_hz": _FREQUENCY,
        "band_high_hz": _FREQUENCY,
        "tolerance_db": Bounds("tolerance", 0.0, 40.0, "dB"),
        "repeatability_db": Bounds("repeatability", 0.0, 20.0, "dB"),
        "floor_w_m2": Bounds("floor", LOWEST_LEVEL_W_M2, HIGHEST_LEVEL_W_M2, "W/m²"),
        "overload_w_m2": Bounds("overload value", LOWEST_LEVEL_W_M2, 1e6, "W/m²"),
        "response_s": Bounds("response time", 0.0, 3600.0, "s"),
        "averaging_s": Bounds("averaging window", 0.0, 3600.0, "s"),
        "body_distance_m": Bounds("distance from the body", 0.0, 5.0, "m"),
        "pickup_axes": Bounds("number of axes", 1, 3),
        "calibrated_on": Moment("date"),
        "calibration_due": Moment("date"),
    },
    CalibrationPoint: {
        "frequency_hz": _FREQUENCY,
        "correction_db": Bounds("correction", -60.0, 60.0, "dB"),
        "std_db": _SPREAD,
    },
    BandZone: {
        "low_hz": _FREQUENCY,
        "high_hz": _FREQUENCY,
        "tolerance_db": Bounds("tolerance", 0.0, 40.0, "dB"),
    },
    AccessoryPoint: {
        "frequency_hz": _FREQUENCY,
        "change_db": Bounds("change", -100.0, 100.0, "dB"),
        "std_db": _SPREAD,
    },
    SelfTest: {"at": Moment("date")},
    ReferenceCheck: {"at": Moment("date"), "deviation_db": Bounds("deviation", -100.0, 100.0, "dB")},
    AudioOutput: {
        "coupling_hz": Bounds("corner frequency", 0.0, 1e9, "Hz"),
        "lowpass_hz": Bounds("corner frequency", 0.0, 1e9, "Hz"),
        "response_s": Bounds("response time", 0.0, 3600.0, "s"),
    },
    Emitter: {
        "frequency_hz": _FREQUENCY,
        "bearing_deg": _DEGREES,
        "eirp_w": Bounds("radiated power", 1e-15, 1e9, "W"),
        "eirp_std_db": _SPREAD,
        "duty": Bounds("share of time on air", 0.0, 1.0),
        "duty_std_db": _SPREAD,
    },
    EmitterActivity: {
        "duty": Bounds("share of time on air", 0.0, 1.0),
        "interval_s": Bounds("time between transmissions", 0.0, 1e7, "s"),
    },
    Place: {"night_hours": _HOURS, "day_hours": _HOURS},
    Stay: {"from_hour": _HOURS, "to_hour": _HOURS},
    Visit: {"started_at": Moment("time"), "ended_at": Moment("time")},
    Layer: {"thickness_m": Bounds("thickness", 0.0, 100.0, "m")},
    Opening: {"start_m": _LENGTH, "end_m": _LENGTH, "sill_m": _HEIGHT, "head_m": _HEIGHT},
    ShieldSheet: {"std_db": _SPREAD},
    FittedShield: {"coverage": _SHARE},
    Wall: {"base_m": _HEIGHT, "top_m": _HEIGHT},
    Slab: {"height_m": _HEIGHT},
    Storey: {"floor_m": _HEIGHT, "ceiling_m": _HEIGHT},
    PlanImage: {
        "media_sha256": Hash("file"),
        "metres_per_pixel": Bounds("scale", 1e-9, FARTHEST_M, "m per pixel"),
        "rotation_deg": _DEGREES,
    },
    Dwelling: {"north_deg": _DEGREES},
    Action: {
        "reduction_db": Bounds("reduction", 0.0, 200.0, "dB"),
        "off_hours": _HOURS,
        "coverage": _SHARE,
    },
    CostRange: {"low": Bounds("cost", 0.0, 1e12), "high": Bounds("cost", 0.0, 1e12)},
    AdoptedPlan: {
        "target_w_m2": _LEVEL,
        "confidence": Bounds("probability", 0.0, 1.0),
        "adopted_at": Moment("date"),
    },
}
"""Bounds by type and field; a number without an entry must only be finite and of a size that can be counted with."""

_COORDINATES = frozenset({"position", "start", "end", "outline", "outlines", "origin", "low", "high"})
_RISING = {
    Meter: (
        ("band_low_hz", "band_high_hz", "the band's lower end is not below its upper end."),
        ("floor_w_m2", "overload_w_m2", "the floor is not below the overload value."),
    ),
    BandZone: (("low_hz", "high_hz", "the zone's lower end is not below its upper end."),),
}
_SHA256 = re.compile(r"[0-9a-f]{32,64}")
_ID = re.compile(r"[^\0-\x1f\x7f]{1,200}")


def value_faults(record: object, where: str = "") -> Iterator[RoomfieldError]:
    """Everything in a record, and in what it holds, that cannot be.

    Parameters
    ----------
    record : object
        A record of :mod:`roomfield.survey`, or a tuple of them.
    where : str
        Named in the faults, before the name of the record itself.
    """
    if isinstance(record, tuple):
        for number, item in enumerate(record):
            yield from value_faults(item, where if _named(item) else f"{where}[{number}]")
    elif is_dataclass(record):
        yield from _faults_of(record, where)


def refuse_impossible(record: object, where: str = "") -> None:
    """Refuse a record that holds a value that cannot be.

    Raises
    ------
    InputError
        The first fault, with field, value and what is allowed.
    """
    fault = next(value_faults(record, where), None)
    if fault is not None:
        raise fault


def level_fault(value_w_m2: float) -> str:
    """Why a power density cannot be what a meter showed; empty if it can be.

    Parameters
    ----------
    value_w_m2 : float
        Power density [W/m²].
    """
    return "" if _fits(value_w_m2, _LEVEL) else f"not a level from {_LEVEL.low:g} to {_LEVEL.high:g} W/m²"


def moment_fault(text: str) -> str:
    """Why a text is no date or time of a survey; empty if it is one.

    Parameters
    ----------
    text : str
        ISO 8601.
    """
    if not _is_moment(text):
        return "no date or time"
    return "" if FIRST_YEAR <= int(text[:4]) < LAST_YEAR else f"not between {FIRST_YEAR} and {LAST_YEAR}"


def _faults_of(record: Any, where: str) -> Iterator[RoomfieldError]:
    kind: Any = type(record)
    here = ""
    for name, rule in _plan(kind):
        value = getattr(record, name)
        if _is_plainly_fine(value, rule):
            continue
        here = here or (f"{where} {record.id!r}".strip() if _named(record) and kind is not Survey else where)
        yield from _field_faults(value, rule, here, name)
    if _named(record) and not _ID.fullmatch(record.id):
        yield InputError(f"{record.id[:80]!r} cannot be an id.", where=where, mend="Give 1 to 200 printable letters.")
    for low, high, words in _RISING.get(kind, ()):
        lowest, highest = getattr(record, low), getattr(record, high)
        if None not in (lowest, highest) and not lowest < highest:
            there = f"{where} {record.id!r}".strip() if _named(record) else where
            yield InputError(words, where=f"{there}: {low}, {high}", mend="Correct this field.")


def _is_plainly_fine(value: Any, rule: Rule | None) -> bool:
    """What nearly every field is, told quickly: there may be a hundred thousand readings."""
    if value is None or value == "" or value == ():
        return True
    if rule is None:
        return isinstance(value, Enum) or (value.__class__ is str and "\0" not in value and len(value) <= LONGEST_TEXT)
    if value.__class__ is float or value.__class__ is int:
        return isinstance(rule, Bounds) and _fits(value, rule)
    return isinstance(rule, Moment) and value.__class__ is str and not moment_fault(value)


def _field_faults(value: Any, rule: Rule | None, here: str, name: str) -> Iterator[RoomfieldError]:
    if isinstance(rule, Bounds):
        yield from _number_faults(value, rule, f"{here}: {name}")
    elif rule is not None:
        yield from _text_rule_faults(value, rule, f"{here}: {name}")
    elif isinstance(value, str):
        if "\0" in value or len(value) > LONGEST_TEXT:
            yield _text_fault(value, f"{here}: {name}")
    elif isinstance(value, tuple) and isinstance(value[0], str):
        for text in value:
            yield from _field_faults(text, None, here, name)
    else:
        yield from value_faults(value, f"{here} {name}".strip())


@cache
def _plan(kind: Any) -> tuple[tuple[str, Rule | None], ...]:
    """Fields to look at with their rules; switches and words of a fixed list are left out."""
    rules = RULES.get(kind, {})
    plan: list[tuple[str, Rule | None]] = []
    for field in fields(kind):
        declared = str(field.type)
        if field.name in rules:
            plan.append((field.name, rules[field.name]))
        elif "Point" in declared and field.name in _COORDINATES:
            plan.append((field.name, _COORDINATE))
        elif "float" in declared or "int" in declared.split():
            plan.append((field.name, _NUMBER))
        elif declared != "bool":
            plan.append((field.name, None))
    return tuple(plan)


def _number_faults(value: Any, rule: Bounds, where: str) -> Iterator[RoomfieldError]:
    if isinstance(value, tuple):
        for part in value:
            yield from _number_faults(part, rule, where)
    elif isinstance(value, (int, float)) and not _fits(value, rule):
        yield RangeError(rule.name, value, (rule.low, rule.high), rule.unit, where=where, mend="Correct this field.")


def _fits(value: float, rule: Bounds) -> bool:
    return rule.low <= value <= rule.high and math.isfinite(value) and (value == 0 or abs(value) >= _SMALLEST)


def _text_rule_faults(value: Any, rule: Moment | Hash, where: str) -> Iterator[RoomfieldError]:
    if isinstance(rule, Moment):
        if reason := moment_fault(value):
            words = f"the {rule.name} {value[:40]!r} is {reason}."
            yield InputError(words, where=where, mend="Write it as 2027-06-01T14:30:00+02:00.")
    elif not _SHA256.fullmatch(value):
        yield InputError(f"{value[:80]!r} is no hash.", where=where, mend="Ask for the file again.")


@lru_cache(maxsize=8192)
def _is_moment(text: str) -> bool:
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return len(text) >= len("2027-06-01") and text[4] == text[7] == "-" and text[:4].isdecimal()


def _text_fault(value: str, where: str) -> InputError:
    if "\0" in value:
        return InputError("a text holds a character that cannot be kept (NUL).", where=where, mend="Take it out.")
    return InputError(
        f"a text has {len(value)} characters; at most {LONGEST_TEXT} are kept.", where=where, mend="Shorten it."
    )


def _named(item: object) -> bool:
    return isinstance(getattr(item, "id", None), str)

"""The walk through the rooms: readings entered one after the other, each kept the moment it is entered."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from roomfield.errors import InputError
from roomfield.instrument.correct import to_level
from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.survey import ListenedScan, Meter, Orientation, Point3, Reading, Scan, Survey, out_of_order
from roomfield.survey.values import level_fault
from roomfield.workbench.record.editing import now
from roomfield.workbench.record.survey_list import Records, opened, withdraw

UNDONE = "undone at entry"
MOST_AT_ONCE = 50
NEAR_M = 2.5
"""Readings within this distance are held against one another [m]; our judgement, no source."""
SPREAD_AT_ONE_PLACE_DB = 3.0
"""Standard deviation of two hand scans of one place, fading included [dB]; our judgement, no source."""
SPREAD_PER_METRE_DB = 2.5
"""How much more two places may differ per metre between them [dB]; our judgement, no source."""
SURPRISE = 3.0
"""How many standard deviations are surprising."""


class MeterUnit(StrEnum):
    """Units that a meter of this class shows power density in."""

    NANO = "nW/m²"
    MICRO = "µW/m²"
    MILLI = "mW/m²"


FACTOR_W_M2 = {MeterUnit.NANO: 1e-9, MeterUnit.MICRO: 1e-6, MeterUnit.MILLI: 1e-3}


@dataclass(frozen=True)
class Value:
    """One value as typed.

    Parameters
    ----------
    number : float or None
        What the display showed; None with a censoring key (then the meter's floor or overload value stands in).
    censoring : Censoring
        Whether the display showed a number at all.
    kind : Kind
        Peak, highest held or average.
    orientation : Orientation
        How the antenna was turned.
    watched_s : float or None
        How long the hold ran or the display was watched [s]; None if not noted.
    """

    number: float | None
    kind: Kind
    censoring: Censoring = Censoring.NONE
    orientation: Orientation = Orientation.BEST_AXIS
    watched_s: float | None = None


@dataclass(frozen=True)
class Entry:
    """One or several values taken at one point in one go.

    Parameters
    ----------
    entry_id : str
        Made by the device; the same entry sent twice is kept once.
    values : tuple of Value
        What was read.
    unit : Unit
        Unit of all of them.
    place_id : str
        The place; empty if only a position is known.
    position : (float, float, float) or None
        Position on the plan [m].
    taken_at : str
        ISO 8601; now if empty.
    height_m, body_distance_m : float or None
        Height above the floor of the room and distance from the body [m]; None if not noted.
    accessory_id : str
        What stood in front of the meter; empty for nothing.
    listened : ListenedScan or None
        What the scan is worth by its sound.
    """

    entry_id: str
    visit_id: str
    meter_id: str
    radio_state_id: str
    values: tuple[Value, ...]
    unit: MeterUnit = MeterUnit.MICRO
    place_id: str = ""
    position: Point3 | None = None
    scan: Scan = Scan.HAND_SCAN
    taken_at: str = ""
    note: str = ""
    height_m: float | None = None
    body_distance_m: float | None = None
    accessory_id: str = ""
    listened: ListenedScan | None = None


@dataclass(frozen=True)
class EntryRemark:
    """Something worth a second look before going on.

    Parameters
    ----------
    reading_id : str
        Which new reading it is about.
    words : str
        English sentence with placeholders in braces.
    values : dict of str to str
        What stands in the placeholders.
    """

    reading_id: str
    words: str
    values: dict[str, str]


@dataclass(frozen=True)
class Worth:
    """What a reading is worth: its interval at 95 %.

    Parameters
    ----------
    low_w_m2, high_w_m2 : float
        Ends of the interval [W/m²]; 0 or infinity if open.
    flags : tuple of str
        Floor, overload, overdue calibration, drifting meter.
    """

    reading: Reading
    low_w_m2: float
    high_w_m2: float
    flags: tuple[str, ...]


@dataclass(frozen=True)
class EntryResult:
    """What came of an entry."""

    worth: tuple[Worth, ...]
    remarks: tuple[EntryRemark, ...]


def enter(records: Records, survey_id: str, entry: Entry) -> EntryResult:
    """Keep an entry and say what it is worth and whether it fits.

    Raises
    ------
    InputError
        If a value cannot be.
    StoreError
        If visit, radio state, meter or place do not exist.
    """
    survey = opened(records, survey_id).survey
    readings = readings_of(survey, entry)
    records.append(survey_id, readings)
    meter = survey.meter(entry.meter_id)
    remarks = tuple(remark for reading in readings for remark in _remarks(survey, meter, reading, readings))
    return EntryResult(tuple(worth_of(reading, meter) for reading in readings), remarks)


def undo(records: Records, survey_id: str, reading_ids: tuple[str, ...]) -> int:
    """Withdraw readings just entered; they stay in the record with the reason.

    Parameters
    ----------
    reading_ids : tuple of str
        Which ones.

    Returns
    -------
    int
        How many were withdrawn.
    """
    survey = opened(records, survey_id).survey
    current = {reading.id for reading in survey.current_readings()}
    going = [reading_id for reading_id in reading_ids if reading_id in current]
    for reading_id in going:
        withdraw(records, survey_id, reading_id, UNDONE, survey.assignment.assessor)
    return len(going)


def readings_of(survey: Survey, entry: Entry) -> tuple[Reading, ...]:
    """The readings that an entry stands for.

    Parameters
    ----------
    survey : Survey
        Names the meter's floor and overload value.
    entry : Entry
        As typed.

    Raises
    ------
    InputError
        If there is no value, no point, or a number cannot be.
    """
    if not 0 < len(entry.values) <= MOST_AT_ONCE:
        raise InputError(f"{len(entry.values)} values in one entry.", mend=f"Enter 1 to {MOST_AT_ONCE}.")
    if not entry.place_id and entry.position is None:
        raise InputError("no point was chosen.", where="entry", mend="Press a place or a point on the plan first.")
    if not entry.entry_id or len(entry.entry_id) > 60:
        raise InputError("an entry needs an id of 1 to 60 letters.", where="entry")
    meter = survey.meter(entry.meter_id)
    taken_at, scan_number = entry.taken_at or now(), _scan_number(survey, entry)
    return tuple(
        Reading(
            id=f"{entry.entry_id}-{number}",
            visit_id=entry.visit_id,
            meter_id=entry.meter_id,
            radio_state_id=entry.radio_state_id,
            kind=value.kind,
            value_w_m2=_value_w_m2(value, entry.unit, meter),
            place_id=entry.place_id,
            position=entry.position,
            censoring=value.censoring,
            orientation=value.orientation,
            scan=entry.scan,
            taken_at=taken_at,
            replicate=scan_number,
            note=entry.note[:500],
            watched_s=value.watched_s,
            height_m=entry.height_m,
            body_distance_m=entry.body_distance_m,
            accessory_id=entry.accessory_id,
            listened=entry.listened,
        )
        for number, value in enumerate(entry.values, 1)
    )


def worth_of(reading: Reading, meter: Meter) -> Worth:
    """What a reading is worth by itself, over an unknown mix of frequencies.

    Parameters
    ----------
    reading : Reading
        As entered.
    meter : Meter
        That took it.
    """
    metered = to_level(reading, meter)
    interval = metered.level.interval()
    return Worth(reading, interval.low_w_m2, interval.high_w_m2, metered.flags)


def _value_w_m2(value: Value, unit: MeterUnit, meter: Meter) -> float:
    figures = meter.figures
    bound = {Censoring.BELOW: figures.floor_w_m2, Censoring.ABOVE: figures.overload_w_m2}
    if value.censoring is not Censoring.NONE and value.number is None:
        if not math.isfinite(bound[value.censoring]):
            raise InputError(
                "the meter's overload value is not stated.",
                where="value",
                mend="Type the highest value it shows, or enter the meter's figures.",
            )
        return bound[value.censoring]
    if value.number is None or not math.isfinite(value.number) or value.number < 0.0:
        raise InputError(f"{value.number!r} is not a level.", where="value", mend="Enter what the display shows.")
    if value.number == 0.0:
        raise InputError(
            "a meter cannot show that there is nothing.",
            where="value",
            mend="Use the key for below the floor.",
        )
    level = value.number * FACTOR_W_M2[unit]
    if level_fault(level):
        raise InputError(
            f"{value.number:g} {unit.value} is no level that a meter can show.",
            where="value",
            mend="Check the unit and the number.",
        )
    return level


def _scan_number(survey: Survey, entry: Entry) -> int:
    kept = next((reading for reading in survey.readings if reading.id == f"{entry.entry_id}-1"), None)
    if kept is not None:
        return kept.replicate  # sent again because its answer was lost; others may have come in between
    same = [
        reading.replicate
        for reading in survey.current_readings(entry.visit_id)
        if (reading.radio_state_id, reading.place_id, reading.position)
        == (entry.radio_state_id, entry.place_id, entry.position)
        and not reading.id.startswith(f"{entry.entry_id}-")
    ]
    return max(same, default=-1) + 1


def _remarks(survey: Survey, meter: Meter, new: Reading, together: tuple[Reading, ...]) -> list[EntryRemark]:
    others = [r for r in survey.current_readings(new.visit_id) if r.id not in {one.id for one in together}]
    found = [
        _beyond_meter(new, meter),
        _impossible(new, [*others, *(r for r in together if r.id != new.id)]),
        _unlike_neighbour(survey, new, others),
        _louder_with_less(survey, new, others),
    ]
    return [remark for remark in found if remark is not None]


def _beyond_meter(new: Reading, meter: Meter) -> EntryRemark | None:
    floor, overload = meter.floor_w_m2, meter.overload_w_m2
    if new.censoring is Censoring.NONE and floor is not None and new.value_w_m2 < floor:
        return EntryRemark(new.id, "This is below what the meter can tell from nothing. Is the unit right?", {})
    if new.censoring is Censoring.NONE and overload is not None and new.value_w_m2 > overload:
        return EntryRemark(new.id, "This is more than the meter can show. Is the unit right?", {})
    return None


_IMPOSSIBLE = {
    (Kind.AVERAGE, Kind.PEAK): "An average cannot exceed the peak at the same place. "
    "One of the two is mistyped or mistaken.",
    (Kind.AVERAGE, Kind.HIGHEST_HELD): "An average cannot exceed the highest held at the same place. "
    "One of the two is mistyped or mistaken.",
    (Kind.PEAK, Kind.HIGHEST_HELD): "A peak cannot exceed the highest held at the same place, unless the hold was "
    "reset in between. One of the two is mistyped or mistaken.",
}


def _impossible(new: Reading, others: Sequence[Reading]) -> EntryRemark | None:
    pairs = (p for p in out_of_order((*others, new)) if new.id in (p.lower.id, p.higher.id))
    found = next(pairs, None)
    return EntryRemark(new.id, _IMPOSSIBLE[found.lower.kind, found.higher.kind], {}) if found else None


def _unlike_neighbour(survey: Survey, new: Reading, others: list[Reading]) -> EntryRemark | None:
    here = _where(survey, new)
    if here is None or new.censoring is not Censoring.NONE:
        return None
    alike = [
        (other, math.dist(here, there))
        for other in others
        if other.kind is new.kind
        and other.radio_state_id == new.radio_state_id
        and other.censoring is Censoring.NONE
        and (there := _where(survey, other)) is not None
        and math.dist(here, there) <= NEAR_M
    ]
    if not alike:
        return None
    other, gap_m = min(alike, key=lambda pair: pair[1])
    difference_db = 10.0 * math.log10(new.value_w_m2 / other.value_w_m2)
    allowed_db = SURPRISE * (SPREAD_AT_ONE_PLACE_DB + SPREAD_PER_METRE_DB * gap_m)
    if abs(difference_db) <= allowed_db:
        return None
    words = "{amount} dB {direction} than what you measured {gap} m away. Check the unit, then scan again."
    return EntryRemark(
        new.id,
        words,
        {
            "amount": f"{abs(difference_db):.0f}",
            "direction": "more" if difference_db > 0 else "less",
            "gap": f"{gap_m:.1f}",
        },
    )


def _louder_with_less(survey: Survey, new: Reading, others: list[Reading]) -> EntryRemark | None:
    visit = survey.visit(new.visit_id)
    off = {state.id: set(state.off_groups) for state in visit.radio_states}
    mine = off.get(new.radio_state_id, set())
    louder = [
        other
        for other in others
        if other.kind is new.kind
        and _same_spot(new, other)
        and off.get(other.radio_state_id, set()) < mine
        and Censoring.NONE is new.censoring is other.censoring
        and 10.0 * math.log10(new.value_w_m2 / other.value_w_m2) > SURPRISE * SPREAD_AT_ONE_PLACE_DB
    ]
    if not louder:
        return None
    return EntryRemark(new.id, "More than before, with less switched on. Is the right radio state chosen?", {})


def _same_spot(one: Reading, other: Reading) -> bool:
    return (one.place_id, one.position) == (other.place_id, other.position)


def _where(survey: Survey, reading: Reading) -> Point3 | None:
    if reading.position is not None or not reading.place_id:
        return reading.position
    return next((place.position for place in survey.places if place.id == reading.place_id), None)

"""Bearings noted on site: the axis of strongest and of weakest pickup at a point, by hand or by the phone's compass."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.errors import InputError
from roomfield.survey import Bearing, Point3, Survey
from roomfield.workbench.record.editing import now
from roomfield.workbench.record.field_entry import FACTOR_W_M2, MeterUnit
from roomfield.workbench.record.survey_list import Records, opened

HALF_TURN_DEG = 180.0
WIDEST_STD_DEG = 60.0


@dataclass(frozen=True)
class BearingEntry:
    """One bearing as noted.

    Parameters
    ----------
    entry_id : str
        Made by the device; the same entry sent twice is kept once.
    strongest_deg, null_deg : float or None
        Axis of strongest and of weakest pickup, clockwise [deg]; one of them may be missing.
    std_deg : float
        Standard uncertainty of each [deg].
    from_true_north : bool
        True for angles of a compass; they are then turned by the plan's north arrow.
    strongest, null : float or None
        What the meter showed there, in ``unit``.
    place_id : str
        The place; empty if only a position is known.
    position : (float, float, float) or None
        Position on the plan [m].
    """

    entry_id: str
    visit_id: str
    meter_id: str
    radio_state_id: str
    strongest_deg: float | None = None
    null_deg: float | None = None
    std_deg: float = 12.0
    from_true_north: bool = False
    strongest: float | None = None
    null: float | None = None
    unit: MeterUnit = MeterUnit.MICRO
    place_id: str = ""
    position: Point3 | None = None
    taken_at: str = ""
    note: str = ""


def enter_bearing(records: Records, survey_id: str, entry: BearingEntry) -> Bearing:
    """Keep a bearing.

    Raises
    ------
    InputError
        If there is no angle, no point, or a compass angle on a plan without north.
    """
    made = bearing_of(opened(records, survey_id).survey, entry)
    records.append(survey_id, (made,))
    return made


def bearing_of(survey: Survey, entry: BearingEntry) -> Bearing:
    """The bearing that an entry stands for.

    Raises
    ------
    InputError
        If it cannot be.
    """
    if entry.strongest_deg is None and entry.null_deg is None:
        raise InputError("a bearing needs an angle.", where="bearing", mend="Turn the line to the peak or to the null.")
    if not 0.0 < entry.std_deg <= WIDEST_STD_DEG:
        raise InputError("the spread of a bearing is over 0 and up to 60 degrees.", where="bearing")
    if not entry.entry_id or len(entry.entry_id) > 60:
        raise InputError("an entry needs an id of 1 to 60 letters.", where="entry")
    factor = FACTOR_W_M2[entry.unit]
    turn = _turn_deg(survey, entry)
    return Bearing(
        id=entry.entry_id,
        visit_id=entry.visit_id,
        meter_id=entry.meter_id,
        radio_state_id=entry.radio_state_id,
        position=_position(survey, entry),
        strongest_deg=_axis(entry.strongest_deg, turn),
        null_deg=_axis(entry.null_deg, turn),
        std_deg=entry.std_deg,
        strongest_w_m2=_level(entry.strongest, factor),
        null_w_m2=_level(entry.null, factor),
        taken_at=entry.taken_at or now(),
        note=entry.note[:500],
    )


def _turn_deg(survey: Survey, entry: BearingEntry) -> float:
    if not entry.from_true_north:
        return 0.0
    if survey.dwelling.north_deg is None:
        raise InputError(
            "the plan has no north arrow, so a compass angle cannot be laid on it.",
            where="bearing",
            mend="Turn the north arrow on the plan first, or draw the line by hand.",
        )
    return survey.dwelling.north_deg


def _position(survey: Survey, entry: BearingEntry) -> Point3:
    position = entry.position or (survey.place(entry.place_id).position if entry.place_id else None)
    if position is None:
        raise InputError("no point was chosen.", where="bearing", mend="Press a place or a point on the plan first.")
    return position


def _axis(angle_deg: float | None, turn_deg: float) -> float | None:
    return None if angle_deg is None else round((angle_deg + turn_deg) % HALF_TURN_DEG, 1)


def _level(number: float | None, factor: float) -> float | None:
    if number is None:
        return None
    if not 0.0 < number * factor < 1e4:
        raise InputError(f"{number:g} is not a level.", where="bearing", mend="Enter what the display shows.")
    return number * factor

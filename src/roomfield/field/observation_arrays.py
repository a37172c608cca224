"""The survey's readings and bearings as arrays.

What has no position on the plan is left out: a model of the dwelling cannot say what such a reading means. Repeated
scans of one thing are put together (`roomfield.field.repeats`), so that a night of them costs what one does.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from math import floor
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import TooEarlyError
from roomfield.field.emitter_states import ACTIVITIES, ActivityMode, EmitterStates, with_modes
from roomfield.field.heard import HeardRows, heard_rows, listened, position_of
from roomfield.field.level_rows import AVERAGE_ROW as AVERAGE_ROW
from roomfield.field.level_rows import KINDS as KINDS
from roomfield.field.level_rows import LevelRows as LevelRows
from roomfield.field.repeats import together
from roomfield.instrument import bounded_value, record_change, with_clipped_averages
from roomfield.instrument.accessory import in_front, reading_in_front
from roomfield.instrument.correct import scan_key
from roomfield.quantities import Kind
from roomfield.survey import Bearing, Meter, Point3, Reading, Scan, Survey

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Mask = NDArray[np.bool_]

SAME_SITE_M = 0.02
SAME_PLACE_M = 0.25
"""Readings of one place that stand this near each other (half the edge of a scanned cube) are of one site [m]."""
WATCHED_S = {Kind.PEAK: 5.0, Kind.HIGHEST_HELD: 45.0, Kind.AVERAGE: 30.0}
"""How long a display is watched or held if nothing is noted (our judgement) [s]."""
ROOM_EDGE_M, ROOM_STD_DB = 3.0, 5.0
"""A hold through a whole room: its edge, and how its largest spot scatters about the cube at the place."""
FIXED_STD_DB = 4.0
"""Scatter of one fixed spot about the local mean (Rayleigh fading has 5.6 dB, a steady path less)."""
NULL_STD_DB = 5.0
"""The same for what is left at the null, which scattered waves fill."""


@dataclass(frozen=True)
class BearingRows:
    """One row per axis noted: of the strongest pickup, or of the null turned by 90 degrees.

    Parameters
    ----------
    site : ndarray of int, shape (b,)
        Index of the site.
    axis_deg, std_deg : ndarray, shape (b,)
        Axis of strongest pickup [deg, 0 to 180] and its standard uncertainty.
    on : ndarray of bool, shape (b, k)
        Which emitters were on.
    """

    site: Indices
    axis_deg: Array
    std_deg: Array
    on: Mask

    def __len__(self) -> int:
        return len(self.site)


@dataclass(frozen=True)
class Observations:
    """Everything that was observed, indexed.

    Parameters
    ----------
    sites : ndarray, shape (p, 3)
        Where something was observed [m].
    place_ids : tuple of str
        Place of each site; empty if none.
    modes : tuple of ActivityMode
        What emitters did in some readings beside what each does as found.
    unplaced : tuple of str
        Ids of places that were read but have no position, and so play no part.
    """

    sites: Array
    place_ids: tuple[str, ...]
    levels: LevelRows
    bearings: BearingRows
    meters: tuple[Meter, ...]
    heard: HeardRows
    modes: tuple[ActivityMode, ...] = ()
    unplaced: tuple[str, ...] = ()


class _Sites:
    """Distinct sites, found again by the cell of a grid in which they stand."""

    def __init__(self) -> None:
        self.positions: list[Point3] = []
        self.place_ids: list[str] = []
        self._in_cell: dict[tuple[int, ...], list[int]] = {}

    def index(self, position: Point3, place_id: str) -> int:
        """Number of the site; one that is new is added."""
        cell = tuple(floor(value / SAME_PLACE_M) for value in position)
        about = product(*((value - 1, value, value + 1) for value in cell))
        for k in sorted(k for near in about for k in self._in_cell.get(near, ())):
            reach = SAME_PLACE_M if place_id and self.place_ids[k] == place_id else SAME_SITE_M
            if max(abs(a - b) for a, b in zip(position, self.positions[k], strict=True)) < reach:
                return k
        self.positions.append(position)
        self.place_ids.append(place_id)
        self._in_cell.setdefault(cell, []).append(len(self.positions) - 1)
        return len(self.positions) - 1


def observe(survey: Survey, visit_id: str | None = None) -> Observations:
    """Arrays of a survey's observations, amendments applied.

    Parameters
    ----------
    survey : Survey
        The record.
    visit_id : str, optional
        Only one visit; left out: all.

    Raises
    ------
    TooEarlyError
        If there is no reading yet.
    """
    sites, states = _Sites(), EmitterStates(survey)
    readings, unplaced = _placed(survey, visit_id)
    rows = [_reading_row(survey, r, p, sites, states) for r, p in readings]
    axes = []
    for bearing in (b for b in survey.current_bearings() if visit_id is None or b.visit_id == visit_id):
        site = sites.index(bearing.position, "")
        on = states.on(bearing.visit_id, bearing.radio_state_id, bearing.meter_id)
        if bearing.strongest_deg is not None:
            axes.append((site, bearing.strongest_deg % 180.0, bearing.std_deg, on))
        if bearing.null_deg is not None:
            axes.append((site, (bearing.null_deg + 90.0) % 180.0, bearing.std_deg, on))
        rows += _bearing_levels(survey, bearing, site, states)
    if not rows:
        raise TooEarlyError(
            "there is no reading to infer anything from.", mend="Enter or import readings for this visit first."
        )
    recordings = [(r, p) for r in listened(survey, visit_id) if (p := position_of(survey, r)) is not None]
    heard = heard_rows(
        survey, [r for r, _ in recordings], [sites.index(p, r.place_id) for r, p in recordings],
        [states.on(r.visit_id, r.radio_state_id, r.meter_id) for r, _ in recordings],
    )  # fmt: skip
    levels, modes = with_modes(_level_rows(rows, len(survey.emitters)))
    return Observations(
        np.array(sites.positions, dtype=np.float64), tuple(sites.place_ids), together(levels),
        _bearing_rows(axes, survey), survey.meters, heard, modes, unplaced,
    )  # fmt: skip


def _placed(survey: Survey, visit_id: str | None) -> tuple[list[tuple[Reading, Point3]], tuple[str, ...]]:
    """Readings with where they were taken, and the ids of places without a position."""
    at = {p.id: p.position for p in survey.places}
    found: list[tuple[Reading, Point3]] = []
    without: dict[str, None] = {}
    for reading in with_clipped_averages(survey.current_readings(visit_id), survey.meters):
        position = reading.position or (at[survey.place(reading.place_id).id] if reading.place_id else None)
        if position is None:
            without[reading.place_id] = None
        else:
            found.append((reading, position))
    return found, tuple(without)


class _Row(NamedTuple):
    """One reading, see `LevelRows`; ``activity`` holds an index of `ACTIVITIES` per emitter."""

    id: str
    site: int
    kind: int
    meter: int
    scan: str
    value_db: float
    censor: int
    on: tuple[bool, ...]
    edge_m: float
    added_std_db: float
    axis_deg: float
    axis_std_deg: float
    null: bool
    watched_s: float
    activity: tuple[int, ...]
    front_db: tuple[float, ...]
    record_db2: float = 0.0


_Axis = tuple[int, float, float, tuple[bool, ...]]
_HELD = {Scan.FIXED: (0.0, FIXED_STD_DB), Scan.ROOM: (ROOM_EDGE_M, ROOM_STD_DB)}


def _reading_row(survey: Survey, reading: Reading, position: Point3, sites: _Sites, states: EmitterStates) -> _Row:
    meter = survey.meter(reading.meter_id)
    value = bounded_value(reading, meter)
    side, record = value.censoring.side, record_change(meter, reading)
    edge_m, added_db = _HELD.get(reading.scan, (reading.scan_edge_m, 0.0))
    noted = states.activities(reading.visit_id, reading.radio_state_id)
    usual_db = reading_in_front(reading, meter).change_db
    fronts = [in_front(meter, reading.accessory_id, e.frequency_hz) for e in survey.emitters]
    added_db = float(np.hypot(added_db, max((f.contribution.std_db for f in fronts if f.contribution), default=0.0)))
    return _Row(
        reading.id, sites.index(position, reading.place_id), KINDS.index(reading.kind),
        _meter(survey, reading.meter_id), scan_key(reading),
        10.0 * float(np.log10(value.density_w_m2)) + record.offset_db, side,
        states.on(reading.visit_id, reading.radio_state_id, reading.meter_id), edge_m, added_db, np.nan, np.nan, False,
        reading.watched_s or WATCHED_S[reading.kind], tuple(ACTIVITIES.index(a) for a in noted),
        tuple(f.change_db - usual_db for f in fronts), record.variance_db2,
    )  # fmt: skip


def _bearing_levels(survey: Survey, bearing: Bearing, site: int, states: EmitterStates) -> list[_Row]:
    """What was read on the axis of the strongest pickup and at the null."""
    null_w_m2 = bearing.null_w_m2 if bearing.null_deg is not None else None
    known = (
        (bearing.strongest_w_m2, bearing.strongest_deg, FIXED_STD_DB, False),
        (null_w_m2, bearing.null_deg, NULL_STD_DB, True),
    )
    on = states.on(bearing.visit_id, bearing.radio_state_id, bearing.meter_id)
    did = tuple(ACTIVITIES.index(a) for a in states.activities(bearing.visit_id, bearing.radio_state_id))
    return [
        _Row(bearing.id, site, AVERAGE_ROW, _meter(survey, bearing.meter_id), f"bearing/{bearing.id}",
             10.0 * float(np.log10(level)), 0, on, 0.0, std_db, np.nan if axis_deg is None else axis_deg,
             bearing.std_deg, null, WATCHED_S[Kind.AVERAGE], did, (0.0,) * len(on))
        for level, axis_deg, std_db, null in known
        if level
    ]  # fmt: skip


def _meter(survey: Survey, meter_id: str) -> int:
    return [m.id for m in survey.meters].index(survey.meter(meter_id).id)


def _level_rows(rows: list[_Row], emitters: int) -> LevelRows:
    column = {name: [getattr(row, name) for row in rows] for name in _Row._fields}
    scans = {key: k for k, key in enumerate(dict.fromkeys(column["scan"]))}
    arrays = {name: np.array(column[name]) for name in ("site", "kind", "meter", "censor")}
    arrays |= {name: np.array(column[name], dtype=np.float64) for name in _FLOATS}
    return LevelRows(
        ids=tuple(column["id"]), scan=np.array([scans[s] for s in column["scan"]]),
        on=np.array(column["on"], dtype=bool).reshape(len(rows), emitters), null=np.array(column["null"], dtype=bool),
        mode=np.array(column["activity"], dtype=np.int64).reshape(len(rows), emitters), count=np.ones(len(rows)),
        front_db=np.array(column["front_db"], dtype=np.float64).reshape(len(rows), emitters),
        **arrays,
    )  # fmt: skip


_FLOATS = ("value_db", "edge_m", "added_std_db", "axis_deg", "axis_std_deg", "watched_s", "record_db2")


def _bearing_rows(axes: list[_Axis], survey: Survey) -> BearingRows:
    on = np.array([a[3] for a in axes], dtype=bool).reshape(len(axes), len(survey.emitters))
    return BearingRows(
        np.array([a[0] for a in axes], dtype=np.int64), np.array([a[1] for a in axes], dtype=np.float64),
        np.array([a[2] for a in axes], dtype=np.float64), on,
    )  # fmt: skip

"""The survey's readings and bearings as arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import TooEarlyError
from roomfield.field.heard import HeardRows, heard_rows, listened, position_of
from roomfield.instrument import bounded_value
from roomfield.instrument.correct import scan_key
from roomfield.quantities import Censor, Kind
from roomfield.survey import Bearing, Meter, Point3, Reading, Scan, Survey

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Mask = NDArray[np.bool_]

KINDS = (Kind.PEAK, Kind.HIGHEST_HELD, Kind.AVERAGE)
AVERAGE_ROW = KINDS.index(Kind.AVERAGE)
"""Only averages are weighed by the duty; peaks and held maxima are instantaneous powers."""
SAME_SITE_M = 0.02
FIXED_STD_DB = 4.0
"""Scatter of one fixed spot about the local mean (Rayleigh fading has 5.6 dB, a steady path less)."""
NULL_STD_DB = 5.0
"""The same for what is left at the null, which scattered waves fill."""


@dataclass(frozen=True)
class LevelRows:
    """One row per reading.

    Parameters
    ----------
    ids : tuple of str
        Ids of the readings (or bearings).
    site, kind, meter, scan : ndarray of int, shape (r,)
        Index of the site, of `KINDS`, of the meter, and of the scan whose repeatability is shared.
    value_db : ndarray, shape (r,)
        Reading, or the bound [dB re 1 W/m²].
    censor : ndarray of int, shape (r,)
        0 a value, -1 below the bound, +1 above it.
    on : ndarray of bool, shape (r, k)
        Which emitters were on.
    edge_m : ndarray, shape (r,)
        Edge of the scanned cube; 0 for a fixed antenna [m].
    added_std_db : ndarray, shape (r,)
        Scatter beyond that of a scan [dB].
    axis_deg, axis_std_deg : ndarray, shape (r,)
        Axis of a figure-of-eight antenna held level, and how sure it is [deg]; NaN if turned every way.
    null : ndarray of bool, shape (r,)
        True for what was read on the axis that shows least.
    """

    ids: tuple[str, ...]
    site: Indices
    kind: Indices
    meter: Indices
    scan: Indices
    value_db: Array
    censor: Indices
    on: Mask
    edge_m: Array
    added_std_db: Array
    axis_deg: Array
    axis_std_deg: Array
    null: Mask

    def __len__(self) -> int:
        return len(self.site)


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
    placeless : ndarray of bool, shape (p,)
        True where the record gives no position; such a site stands at the middle of the others.
    place_ids : tuple of str
        Place of each site; empty if none.
    """

    sites: Array
    placeless: Mask
    place_ids: tuple[str, ...]
    levels: LevelRows
    bearings: BearingRows
    meters: tuple[Meter, ...]
    heard: HeardRows


class _Sites:
    def __init__(self) -> None:
        self.positions: list[Point3 | None] = []
        self.place_ids: list[str] = []

    def index(self, position: Point3 | None, place_id: str) -> int:
        for k, known in enumerate(self.positions):
            if position is None or known is None:
                if position is known and self.place_ids[k] == place_id:
                    return k
            elif max(abs(a - b) for a, b in zip(position, known, strict=True)) < SAME_SITE_M:
                return k
        self.positions.append(position)
        self.place_ids.append(place_id)
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
    sites = _Sites()
    meters = survey.meters
    rows = [_reading_row(survey, r, sites) for r in survey.current_readings(visit_id)]
    bearings = [b for b in survey.current_bearings() if visit_id is None or b.visit_id == visit_id]
    axes = []
    for bearing in bearings:
        site = sites.index(bearing.position, "")
        on = _on(survey, bearing.visit_id, bearing.radio_state_id)
        if bearing.strongest_deg is not None:
            axes.append((site, bearing.strongest_deg % 180.0, bearing.std_deg, on))
        if bearing.null_deg is not None:
            axes.append((site, (bearing.null_deg + 90.0) % 180.0, bearing.std_deg, on))
        rows += _bearing_levels(survey, bearing, site, on)
    if not rows:
        raise TooEarlyError(
            "there is no reading to infer anything from.", mend="Enter or import readings for this visit first."
        )
    recordings = listened(survey, visit_id)
    heard = heard_rows(
        survey, recordings, [sites.index(position_of(survey, r), r.place_id) for r in recordings],
        [_on(survey, r.visit_id, r.radio_state_id) for r in recordings],
    )  # fmt: skip
    positions = np.array([p if p is not None else (np.nan,) * 3 for p in sites.positions], dtype=np.float64)
    placeless = np.isnan(positions[:, 0])
    middle = positions[~placeless].mean(axis=0) if np.any(~placeless) else np.zeros(3)
    positions[placeless] = middle
    return Observations(
        positions,
        placeless,
        tuple(sites.place_ids),
        _level_rows(rows),
        _bearing_rows(axes, survey),
        meters,
        heard,
    )


_Row = tuple[str, int, int, int, str, float, int, tuple[bool, ...], float, float, float, float, bool]
_Axis = tuple[int, float, float, tuple[bool, ...]]


def _reading_row(survey: Survey, reading: Reading, sites: _Sites) -> _Row:
    meter = survey.meter(reading.meter_id)
    position = reading.position
    if position is None and reading.place_id:
        position = survey.place(reading.place_id).position
    value = bounded_value(reading, meter)
    side = {Censor.NONE: 0, Censor.BELOW: -1, Censor.ABOVE: 1}[value.censor]
    fixed = reading.scan is Scan.FIXED
    return (
        reading.id, sites.index(position, reading.place_id), KINDS.index(reading.kind),
        _meter(survey, reading.meter_id), scan_key(reading), 10.0 * float(np.log10(value.density_w_m2)), side,
        _on(survey, reading.visit_id, reading.radio_state_id), 0.0 if fixed else reading.scan_edge_m,
        FIXED_STD_DB if fixed else 0.0, np.nan, np.nan, False,
    )  # fmt: skip


def _bearing_levels(survey: Survey, bearing: Bearing, site: int, on: tuple[bool, ...]) -> list[_Row]:
    """What was read on the axis of the strongest pickup and at the null."""
    null_w_m2 = bearing.null_w_m2 if bearing.null_deg is not None else None
    known = (
        (bearing.strongest_w_m2, bearing.strongest_deg, FIXED_STD_DB, False),
        (null_w_m2, bearing.null_deg, NULL_STD_DB, True),
    )
    return [
        (bearing.id, site, 2, _meter(survey, bearing.meter_id), f"bearing/{bearing.id}", 10.0 * float(np.log10(level)),
         0, on, 0.0, std_db, np.nan if axis_deg is None else axis_deg, bearing.std_deg, null)
        for level, axis_deg, std_db, null in known
        if level
    ]  # fmt: skip


def _meter(survey: Survey, meter_id: str) -> int:
    return [m.id for m in survey.meters].index(survey.meter(meter_id).id)


def _on(survey: Survey, visit_id: str, state_id: str) -> tuple[bool, ...]:
    off = survey.radio_state(visit_id, state_id).off_groups
    return tuple(e.group not in off and e.id not in off for e in survey.emitters)


def _level_rows(rows: list[_Row]) -> LevelRows:
    ids, site, kind, meter, scan, value, side, on, edge, added, axis, axis_std, null = zip(*rows, strict=True)
    scans = {key: k for k, key in enumerate(dict.fromkeys(scan))}
    return LevelRows(
        tuple(ids), np.array(site), np.array(kind), np.array(meter), np.array([scans[s] for s in scan]),
        np.array(value, dtype=np.float64), np.array(side), np.array(on, dtype=bool).reshape(len(rows), -1),
        np.array(edge, dtype=np.float64), np.array(added, dtype=np.float64),
        np.array(axis, dtype=np.float64), np.array(axis_std, dtype=np.float64), np.array(null, dtype=bool),
    )  # fmt: skip


def _bearing_rows(axes: list[_Axis], survey: Survey) -> BearingRows:
    on = np.array([a[3] for a in axes], dtype=bool).reshape(len(axes), len(survey.emitters))
    return BearingRows(
        np.array([a[0] for a in axes], dtype=np.int64), np.array([a[1] for a in axes], dtype=np.float64),
        np.array([a[2] for a in axes], dtype=np.float64), on,
    )  # fmt: skip

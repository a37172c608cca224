"""Observations to rows and back: one plain table row for each."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import RowMapping, Table

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.store import schema
from roomfield.survey.amendment import Amendment
from roomfield.survey.dwelling import Point3
from roomfield.survey.json_codec import from_json, to_json
from roomfield.survey.observation import (
    Bearing,
    HeardTechnology,
    ListenedScan,
    LogRecord,
    Orientation,
    Origin,
    Reading,
    Recording,
    Scan,
)

Observation = Reading | Bearing | Recording | LogRecord
Row = dict[str, Any]

_HEARD = tuple[HeardTechnology, ...]
_WORDS = tuple[str, ...]


@dataclass(frozen=True)
class RowKind:
    """How one type of record is kept.

    Parameters
    ----------
    field : str
        Its field of ``Survey``.
    record : type
        Its class.
    many : type
        A tuple of them.
    """

    field: str
    record: type
    many: Any
    table: Table
    to_row: Callable[[Any], Row]
    from_row: Callable[[RowMapping], Any]


def _point_row(position: Point3 | None) -> Row:
    x_m, y_m, z_m = position or (None, None, None)
    return {"x_m": x_m, "y_m": y_m, "z_m": z_m}


def _point(row: RowMapping) -> Point3 | None:
    return None if row["x_m"] is None else (row["x_m"], row["y_m"], row["z_m"])


def _origin_row(origin: Origin) -> Row:
    return {
        "origin_file_name": origin.file_name,
        "origin_file_sha256": origin.file_sha256,
        "origin_line": origin.line,
    }


def _origin(row: RowMapping) -> Origin:
    if not row["origin_file_name"] and not row["origin_line"] and not row["origin_file_sha256"]:
        return Origin()
    return Origin(row["origin_file_name"], row["origin_file_sha256"], row["origin_line"])


def _circumstances(item: Observation) -> Row:
    return {
        "id": item.id,
        "visit_id": item.visit_id,
        "meter_id": item.meter_id,
        "radio_state_id": item.radio_state_id,
    }


def _reading_row(item: Reading) -> Row:
    # Written out in one go: there may be a hundred thousand of these.
    x_m, y_m, z_m = item.position or (None, None, None)
    return {
        "id": item.id,
        "visit_id": item.visit_id,
        "meter_id": item.meter_id,
        "radio_state_id": item.radio_state_id,
        "kind": item.kind.value,
        "value_w_m2": item.value_w_m2,
        "place_id": item.place_id,
        "x_m": x_m,
        "y_m": y_m,
        "z_m": z_m,
        "censoring": item.censoring.value,
        "orientation": item.orientation.value,
        "scan": item.scan.value,
        "scan_edge_m": item.scan_edge_m,
        "taken_at": item.taken_at,
        "replicate": item.replicate,
        "note": item.note,
        "origin_file_name": item.origin.file_name,
        "origin_file_sha256": item.origin.file_sha256,
        "origin_line": item.origin.line,
        "watched_s": item.watched_s,
        "height_m": item.height_m,
        "body_distance_m": item.body_distance_m,
        "accessory_id": item.accessory_id,
        "listened": "" if item.listened is None else to_json(item.listened, ListenedScan),
    }


def _reading(row: RowMapping) -> Reading:
    return Reading(
        id=row["id"],
        visit_id=row["visit_id"],
        meter_id=row["meter_id"],
        radio_state_id=row["radio_state_id"],
        kind=Kind(row["kind"]),
        value_w_m2=row["value_w_m2"],
        place_id=row["place_id"],
        position=_point(row),
        censoring=Censoring(row["censoring"]),
        orientation=Orientation(row["orientation"]),
        scan=Scan(row["scan"]),
        scan_edge_m=row["scan_edge_m"],
        taken_at=row["taken_at"],
        replicate=row["replicate"],
        note=row["note"],
        origin=_origin(row),
        watched_s=row["watched_s"],
        height_m=row["height_m"],
        body_distance_m=row["body_distance_m"],
        accessory_id=row["accessory_id"],
        listened=from_json(row["listened"], ListenedScan) if row["listened"] else None,
    )


def _bearing_row(item: Bearing) -> Row:
    return _circumstances(item) | _point_row(item.position) | _origin_row(item.origin) | {
        "strongest_deg": item.strongest_deg,
        "null_deg": item.null_deg,
        "std_deg": item.std_deg,
        "strongest_w_m2": item.strongest_w_m2,
        "null_w_m2": item.null_w_m2,
        "taken_at": item.taken_at,
        "note": item.note,
    }  # fmt: skip


def _bearing(row: RowMapping) -> Bearing:
    return Bearing(
        id=row["id"],
        visit_id=row["visit_id"],
        meter_id=row["meter_id"],
        radio_state_id=row["radio_state_id"],
        position=(row["x_m"], row["y_m"], row["z_m"]),
        strongest_deg=row["strongest_deg"],
        null_deg=row["null_deg"],
        std_deg=row["std_deg"],
        strongest_w_m2=row["strongest_w_m2"],
        null_w_m2=row["null_w_m2"],
        taken_at=row["taken_at"],
        note=row["note"],
        origin=_origin(row),
    )


def _recording_row(item: Recording) -> Row:
    return _circumstances(item) | _point_row(item.position) | {
        "media_sha256": item.media_sha256,
        "place_id": item.place_id,
        "duration_s": item.duration_s,
        "heard": to_json(item.heard, _HEARD),
        "unknown_signals": to_json(item.unknown_signals, _WORDS),
        "analysed_with": item.analysed_with,
        "taken_at": item.taken_at,
        "note": item.note,
    }  # fmt: skip


def _recording(row: RowMapping) -> Recording:
    return Recording(
        id=row["id"],
        visit_id=row["visit_id"],
        meter_id=row["meter_id"],
        radio_state_id=row["radio_state_id"],
        media_sha256=row["media_sha256"],
        place_id=row["place_id"],
        position=_point(row),
        duration_s=row["duration_s"],
        heard=from_json(row["heard"], _HEARD),
        unknown_signals=from_json(row["unknown_signals"], _WORDS),
        analysed_with=row["analysed_with"],
        taken_at=row["taken_at"],
        note=row["note"],
    )


def _log_row(item: LogRecord) -> Row:
    return _circumstances(item) | {
        "kind": item.kind.value,
        "media_sha256": item.media_sha256,
        "series_sha256": item.series_sha256,
        "place_id": item.place_id,
        "started_at": item.started_at,
        "ended_at": item.ended_at,
        "note": item.note,
    }


def _log(row: RowMapping) -> LogRecord:
    fields = {name: row[name] for name in row if name not in ("seq", "survey_id", "kind")}
    return LogRecord(kind=Kind(row["kind"]), **fields)


def _amendment_row(item: Amendment) -> Row:
    return {
        "id": item.id,
        "target_id": item.target_id,
        "field": item.field,
        "old": item.old,
        "new": item.new,
        "reason": item.reason,
        "by": item.by,
        "at": item.at,
    }


def _amendment(row: RowMapping) -> Amendment:
    return Amendment(**{name: row[name] for name in row if name not in ("seq", "survey_id")})


ROW_KINDS: tuple[RowKind, ...] = (
    RowKind("readings", Reading, tuple[Reading, ...], schema.reading, _reading_row, _reading),
    RowKind("bearings", Bearing, tuple[Bearing, ...], schema.bearing, _bearing_row, _bearing),
    RowKind("recordings", Recording, tuple[Recording, ...], schema.recording, _recording_row, _recording),
    RowKind("logs", LogRecord, tuple[LogRecord, ...], schema.log_record, _log_row, _log),
    RowKind("amendments", Amendment, tuple[Amendment, ...], schema.amendment, _amendment_row, _amendment),
)

OBSERVED: tuple[RowKind, ...] = ROW_KINDS[:4]


def rows_of(kind: RowKind, survey_id: str, items: Iterable[object]) -> list[Row]:
    """Rows to insert, in the order of the items."""
    rows = [kind.to_row(item) for item in items]
    for row in rows:
        row["survey_id"] = survey_id
    return rows

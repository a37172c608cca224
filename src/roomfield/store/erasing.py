"""Deleting a survey: every row of it, and the files that nobody else uses."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

from sqlalchemy import Connection, delete, insert, or_, select

from roomfield.store import schema
from roomfield.store.chain_links import head_of
from roomfield.store.identity import present_identity
from roomfield.store.parts import read_parts

_HOLDERS = (schema.recording.c.media_sha256, schema.log_record.c.media_sha256, schema.log_record.c.series_sha256)


def files_of(connection: Connection, survey_id: str) -> frozenset[str]:
    """Content hashes of all files that a survey names."""
    stored = read_parts(connection, survey_id, ("media", "dwelling"))
    named = {item.sha256 for item in stored["media"]}
    named |= {image.media_sha256 for image in stored["dwelling"].plan_images}
    for column in _HOLDERS:
        query = select(column).where(column.table.c.survey_id == survey_id)
        named |= set(connection.execute(query).scalars())
    return frozenset(named - {""})


def unused_of(connection: Connection, files: Iterable[str]) -> tuple[str, ...]:
    """Those files that no survey names."""
    return tuple(sha256 for sha256 in sorted(files) if not _is_used(connection, sha256))


def erase(connection: Connection, survey_id: str) -> None:
    """Remove every row of a survey and leave one that says when it was deleted and by whom."""
    head, who = head_of(connection, survey_id), present_identity()
    connection.execute(insert(schema.erasure), [{"survey_id": survey_id}])
    for table in (*schema.APPEND_ONLY, *schema.CHAIN, schema.survey_part, schema.survey_change, schema.survey_owner):
        connection.execute(delete(table).where(table.c.survey_id == survey_id))
    connection.execute(delete(schema.survey).where(schema.survey.c.id == survey_id))
    connection.execute(delete(schema.erasure))
    now = datetime.now(UTC).isoformat(timespec="milliseconds")
    row = {"survey_id": survey_id, "head": head.sha256 if head else "", "at": now, "by": who.name, "device": who.device}
    connection.execute(insert(schema.deletion), [row])


def _is_used(connection: Connection, sha256: str) -> bool:
    part = schema.survey_part
    in_parts = select(part.c.survey_id).where(
        or_(part.c.name == "media", part.c.name == "dwelling"), part.c.body.contains(sha256, autoescape=True)
    )
    queries = [in_parts, *(select(column).where(column == sha256) for column in _HOLDERS)]
    return any(connection.execute(query.limit(1)).first() is not None for query in queries)

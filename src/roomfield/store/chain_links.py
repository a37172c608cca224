"""The chain in the database: a link written with every entry and change, read back and walked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, insert, select

from roomfield.store import schema
from roomfield.store.identity import present_identity
from roomfield.store.office import account_of
from roomfield.store.rows import ROW_KINDS, Row
from roomfield.store.signing import signature_of
from roomfield.survey.chain import BEGINNING, ChainFault, Link, chain_faults, content_faults, content_of

_LEFT_OUT = frozenset({"seq", "survey_id"})


def add_link(
    connection: Connection,
    survey_id: str,
    what: str,
    rows: Mapping[str, Sequence[Row]] | None = None,
    bodies: Mapping[str, str] | None = None,
) -> Link:
    """Write one more link, and the bodies of the parts that changed, inside the caller's transaction.

    Parameters
    ----------
    rows : mapping of str to rows
        Rows just added, by table.
    bodies : mapping of str to str
        Parts just written, by name.
    """
    last = head_of(connection, survey_id)
    who = present_identity()
    link = Link(
        survey_id,
        last.number + 1 if last else 1,
        datetime.now(UTC).isoformat(timespec="milliseconds"),
        who.name,
        who.device,
        what,
        content_of({table: [_bare(row) for row in some] for table, some in (rows or {}).items()}, bodies or {}),
        last.sha256 if last else BEGINNING,
    ).sealed()
    signature = signature_of(link.sha256, who.signer)
    link = replace(link, signer=who.signer if signature else "", signature=signature, account=account_of(connection))
    connection.execute(insert(schema.chain_link), [asdict(link)])
    if bodies:
        kept = [
            {"survey_id": survey_id, "number": link.number, "name": name, "body": body} for name, body in bodies.items()
        ]
        connection.execute(insert(schema.part_version), kept)
    return link


def head_of(connection: Connection, survey_id: str) -> Link | None:
    """The last link of a survey; None if it has none."""
    table = schema.chain_link
    query = select(table).where(table.c.survey_id == survey_id).order_by(table.c.number.desc()).limit(1)
    row = connection.execute(query).mappings().first()
    return Link(**row) if row is not None else None


def read_links(connection: Connection, survey_id: str) -> tuple[Link, ...]:
    """All links of a survey, the first one first."""
    table = schema.chain_link
    query = select(table).where(table.c.survey_id == survey_id).order_by(table.c.number)
    return tuple(Link(**row) for row in connection.execute(query).mappings())


def faults_in(connection: Connection, survey_id: str) -> tuple[ChainFault, ...]:
    """Everything in a stored survey that does not fit its chain."""
    links = read_links(connection, survey_id)
    parts = schema.survey_part
    query = select(parts.c.name, parts.c.body).where(parts.c.survey_id == survey_id)
    bodies = {str(name): str(body) for name, body in connection.execute(query)}
    rows = {kind.table.name: _stored(connection, kind.table, survey_id) for kind in ROW_KINDS}
    return (*chain_faults(links), *content_faults(links, rows, bodies))


def _stored(connection: Connection, table: Any, survey_id: str) -> list[dict[str, Any]]:
    query = select(table).where(table.c.survey_id == survey_id).order_by(table.c.seq)
    return [_bare(dict(row)) for row in connection.execute(query).mappings()]


def _bare(row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name not in _LEFT_OUT}

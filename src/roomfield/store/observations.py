"""Observations in the database: added in one go, read in their order, never changed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, insert, select

from roomfield.errors import InputError, StoreError
from roomfield.store.rows import OBSERVED, ROW_KINDS, Observation, Row, RowKind, rows_of
from roomfield.survey.amendment import Amendment
from roomfield.survey.json_codec import checked
from roomfield.survey.soundness import amendment_faults, as_amended
from roomfield.survey.survey_record import Survey

FIELDS = tuple(kind.field for kind in ROW_KINDS)
_MOST_IN_A_QUERY = 500


def read_observations(connection: Connection, survey_id: str) -> dict[str, tuple[Any, ...]]:
    """All observations and amendments of a survey, by the name of their field, in the order added."""
    return {kind.field: _read(connection, kind, survey_id) for kind in ROW_KINDS}


def _read(connection: Connection, kind: RowKind, survey_id: str) -> tuple[Any, ...]:
    table = kind.table
    query = select(table).where(table.c.survey_id == survey_id).order_by(table.c.seq)
    return tuple(kind.from_row(row) for row in connection.execute(query).mappings())


def find_observation(connection: Connection, survey_id: str, observation_id: str) -> Observation | None:
    """The observation with this id, of whatever type; None if there is none."""
    for kind in OBSERVED:
        table = kind.table
        query = select(table).where(table.c.survey_id == survey_id, table.c.id == observation_id)
        row = connection.execute(query).mappings().first()
        if row is not None:
            observation: Observation = kind.from_row(row)
            return observation
    return None


def read_amendments(connection: Connection, survey_id: str, observation_id: str) -> tuple[Amendment, ...]:
    """The amendments of one observation, oldest first."""
    kind = ROW_KINDS[-1]
    table = kind.table
    query = select(table).where(table.c.survey_id == survey_id, table.c.target_id == observation_id)
    return tuple(kind.from_row(row) for row in connection.execute(query.order_by(table.c.seq)).mappings())


def sorted_by_kind(items: Sequence[object]) -> dict[str, tuple[Any, ...]]:
    """Observations by the name of their field of ``Survey``, their order kept.

    Raises
    ------
    InputError
        If an item is not an observation, has a wrong field, or an id stands twice.
    """
    found: dict[str, tuple[Any, ...]] = {}
    for kind in OBSERVED:
        mine = tuple(item for item in items if isinstance(item, kind.record))
        if mine:
            found[kind.field] = checked(mine, kind.many, where=kind.field)
    if sum(len(mine) for mine in found.values()) != len(items):
        raise InputError("only readings, bearings, recordings and logs can be added.", mend="Give one of these.")
    seen: set[str] = set()
    for item in items:
        name = str(getattr(item, "id", ""))
        if name in seen:
            raise InputError(f"the id {name!r} stands twice.", mend="Give every observation its own id.")
        seen.add(name)
    return found


def add_rows(connection: Connection, survey_id: str, by_field: dict[str, tuple[Any, ...]]) -> dict[str, list[Row]]:
    """Insert observations or amendments; those stored already and equal are passed over.

    A door that got no answer may send the same entry again: it must neither fail nor be doubled.

    Returns
    -------
    dict of str to rows
        Those that were new, by table.

    Raises
    ------
    StoreError
        If an id is taken by something else.
    """
    return {
        kind.table.name: _add(connection, kind, survey_id, by_field.get(kind.field, ()))
        for kind in ROW_KINDS
        if by_field.get(kind.field)
    }


def _add(connection: Connection, kind: RowKind, survey_id: str, items: tuple[Any, ...]) -> list[Row]:
    # The survey's row is locked by the caller, so that nobody adds the same ids in between.
    stored = {item.id: item for item in _stored(connection, kind, survey_id, [item.id for item in items])}
    for item in items:
        if item.id in stored and stored[item.id] != item:
            raise StoreError(
                f"the id {item.id!r} stands already for another of the {kind.field}.",
                mend="Amend that one, or give the new one an id of its own.",
            )
    fresh = tuple(item for item in items if item.id not in stored)
    rows = rows_of(kind, survey_id, fresh)
    if rows:
        _insert(connection, kind, rows)
    return rows


def _insert(connection: Connection, kind: RowKind, rows: list[Row]) -> None:
    # Rows hold plain values only, so the driver can take them as they are: twice as fast for many of them.
    compiled = insert(kind.table).compile(dialect=connection.dialect, column_keys=list(rows[0]))
    order = compiled.positiontup
    given = rows if order is None else list(map(itemgetter(*order), rows))
    connection.exec_driver_sql(str(compiled), given)


def _stored(connection: Connection, kind: RowKind, survey_id: str, ids: list[str]) -> Iterator[Any]:
    table = kind.table
    for start in range(0, len(ids), _MOST_IN_A_QUERY):
        some = ids[start : start + _MOST_IN_A_QUERY]
        query = select(table).where(table.c.survey_id == survey_id, table.c.id.in_(some))
        yield from (kind.from_row(row) for row in connection.execute(query).mappings())


def refuse_broken_references(survey: Survey) -> None:
    """Refuse a survey in which something refers to what does not exist, as observed or as amended.

    Raises
    ------
    StoreError
        Naming the first broken reference and how many there are.
    FormatError
        If an amendment's new value is not of the kind of its field.
    """
    undecodable = next(amendment_faults(survey), None)
    if undecodable is not None:
        raise undecodable
    faults = survey.faults() or (as_amended(survey).faults() if survey.amendments else ())
    if faults:
        more = f", and {len(faults) - 1} more" if len(faults) > 1 else ""
        raise StoreError(
            f"{faults[0]}{more}; nothing was written.",
            where=f"survey {survey.id}",
            mend="Add what is missing, or correct the name.",
        )

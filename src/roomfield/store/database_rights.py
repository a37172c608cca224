"""Who may do what on a server: assessors add and cannot rewrite, reviewers sign reports, readers only read.

The account that owns the tables makes and upgrades them; daily work goes on under another one, to which the database
itself grants no change and no removal of observations and of the chain, and no way round the triggers that guard them.
"""

from __future__ import annotations

import re
from enum import StrEnum

from sqlalchemy import Connection, delete, insert

from roomfield.errors import InputError, UnknownNameError
from roomfield.store import schema

_ROLE = re.compile(r"[a-z_][a-z0-9_]{0,62}")
_ADDED = (*schema.APPEND_ONLY, *schema.CHAIN, schema.survey_change)
_REPLACED = (schema.survey_part,)
_OFFICE = (schema.survey_owner, *schema.MEDIA)


class Right(StrEnum):
    """What an account may do."""

    ASSESS = "assess"
    REVIEW = "review"
    READ = "read"


def grant(connection: Connection, role: str, right: str) -> tuple[str, ...]:
    """Give an account its rights, and take away all others on our tables.

    Parameters
    ----------
    connection : Connection
        Of the account that owns the tables.
    role : str
        Name of an account that the server knows.
    right : str
        ``assess``, ``review`` or ``read``.

    Returns
    -------
    tuple of str
        The statements that were carried out.

    Raises
    ------
    InputError
        If the record lies in no PostgreSQL, or the name is none.
    UnknownNameError
        If there is no such right.
    """
    if connection.dialect.name != "postgresql":
        raise InputError("a file knows no accounts.", mend="Rights are given on a PostgreSQL server.")
    if not _ROLE.fullmatch(role):
        raise InputError(f"{role[:60]!r} is no name of an account.", mend="Give small letters, digits and _.")
    if right not in set(Right):
        raise UnknownNameError("right", right, [one.value for one in Right])
    statements = _statements(role, Right(right))
    for statement in statements:
        connection.exec_driver_sql(statement)
    table = schema.account_right
    connection.execute(delete(table).where(table.c.account == role))
    connection.execute(insert(table), [{"account": role, "granted": right}])
    return statements


def _statements(role: str, right: Right) -> tuple[str, ...]:
    everything = ", ".join((*sorted(schema.metadata.tables), "alembic_version"))
    made = [f"REVOKE ALL ON {everything} FROM {role}", f"GRANT SELECT ON {everything} TO {role}"]
    if right is Right.ASSESS:
        made += [f"GRANT INSERT ON {table.name} TO {role}" for table in (*_ADDED, *_REPLACED, *_OFFICE, schema.survey)]
        made += [f"GRANT UPDATE ON {schema.survey.name} TO {role}"]
        made += [f"GRANT DELETE ON {table.name} TO {role}" for table in _REPLACED]
        made += [f"GRANT USAGE ON SEQUENCE {table.name}_seq_seq TO {role}" for table in schema.APPEND_ONLY]
    if right is Right.REVIEW:
        made += [f"GRANT INSERT ON {table.name} TO {role}" for table in (*schema.CHAIN, *_REPLACED)]
        made += [f"GRANT DELETE ON {table.name} TO {role}" for table in _REPLACED]
        made += [f"GRANT UPDATE (additions, changed_at) ON {schema.survey.name} TO {role}"]
    return tuple(made)

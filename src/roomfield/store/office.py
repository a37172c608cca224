"""Accounts on a server: who acts, to whom a survey belongs, and who may do what.

A file has no accounts: there everybody who can read it may write, and the chain carries the names that people gave.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import Connection, insert, select

from roomfield.errors import InputError, RightsError
from roomfield.store import schema


@dataclass(frozen=True)
class Ownership:
    """One row of who had a survey.

    Parameters
    ----------
    owner, given_by : str
        Accounts of the server.
    at : str
        Since when, ISO 8601.
    """

    owner: str
    given_by: str
    at: str


def account_of(connection: Connection) -> str:
    """The account that acts; empty in a file."""
    if connection.dialect.name != "postgresql":
        return ""
    return str(connection.exec_driver_sql("SELECT current_user").scalar_one())


def owners_of(connection: Connection, survey_id: str) -> tuple[Ownership, ...]:
    """Who had a survey, the first one first; empty in a file, and for surveys from before accounts were kept."""
    table = schema.survey_owner
    query = select(table.c.owner, table.c.given_by, table.c.at).where(table.c.survey_id == survey_id)
    return tuple(Ownership(*row) for row in connection.execute(query.order_by(table.c.number)))


def give_to(connection: Connection, survey_id: str, owner: str) -> None:
    """Note that a survey belongs to an account from now on; does nothing in a file."""
    giver = account_of(connection)
    if giver:
        row = {
            "survey_id": survey_id,
            "number": len(owners_of(connection, survey_id)) + 1,
            "owner": owner,
            "given_by": giver,
            "at": datetime.now(UTC).isoformat(timespec="seconds"),
        }
        connection.execute(insert(schema.survey_owner), [row])


def rights_of(connection: Connection) -> dict[str, str]:
    """What each account of the server may do."""
    table = schema.account_right
    return {str(account): str(granted) for account, granted in connection.execute(select(table).order_by(*table.c))}


def refuse_stranger(connection: Connection, survey_id: str) -> None:
    """Refuse, in words, an account to which a survey does not belong; the database would refuse it too.

    Raises
    ------
    RightsError
        If the survey belongs to another account, or this one may only read.
    """
    owners, me = owners_of(connection, survey_id), account_of(connection)
    if me and rights_of(connection).get(me) == "read":
        raise RightsError(
            f"{me} may only read this record.", mend="Ask whoever owns the database for the right to assess."
        )
    if me and owners and owners[-1].owner != me and not _is_keeper(connection):
        raise RightsError(
            f"the survey belongs to {owners[-1].owner}, and you are {me}.",
            where=f"survey {survey_id}",
            mend=f"Ask {owners[-1].owner} to hand it over: roomfield hand-over {me} --survey {survey_id}",
        )


def refuse_no_assessor(connection: Connection, account: str) -> None:
    """Refuse to hand a survey to an account that may not write.

    Raises
    ------
    InputError
        If the record has no accounts, or this one is no assessor.
    """
    if connection.dialect.name != "postgresql":
        raise InputError("a file knows no accounts.", mend="Hand over a copy: roomfield pack, roomfield unpack.")
    rights = rights_of(connection)
    if rights.get(account) != "assess":
        known = ", ".join(name for name, right in rights.items() if right == "assess")
        raise InputError(
            f"{account[:60]!r} is no assessor of this record.", mend=f"Assessors are: {known or 'none yet'}."
        )


def _is_keeper(connection: Connection) -> bool:
    """True for the account that owns the tables, which no rule holds."""
    question = "SELECT pg_has_role(current_user, relowner, 'USAGE') FROM pg_class WHERE oid = 'survey'::regclass"
    return bool(connection.exec_driver_sql(question).scalar_one())

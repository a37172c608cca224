"""Bring a database to the present schema when it is opened; refuse one that is newer or not ours."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, func, inspect, select

from roomfield.errors import StoreError

_FOLDER = Path(__file__).parent / "migrations"
_ONE_AT_A_TIME = 7_204_771


def is_up_to_date(connection: Connection) -> bool:
    """Whether the database has the schema of this release."""
    return MigrationContext.configure(connection).get_current_revision() == newest_schema()


def newest_schema() -> str:
    """Name of the schema that this release writes."""
    return str(ScriptDirectory(str(_FOLDER)).get_current_head())


def bring_up_to_date(connection: Connection, shown: str) -> tuple[str | None, str]:
    """Apply the steps that are missing, inside the connection's transaction.

    Returns
    -------
    (str or None, str)
        The schema before and after.

    Raises
    ------
    StoreError
        If the database was written by a newer release, or is not one of ours.
    """
    if connection.dialect.name == "postgresql":
        connection.execute(select(func.pg_advisory_xact_lock(_ONE_AT_A_TIME)))
    config = _config(connection)
    script = ScriptDirectory.from_config(config)
    newest = str(script.get_current_head())
    found = MigrationContext.configure(connection).get_current_revision()
    if found == newest:
        return found, newest
    if found is None and inspect(connection).get_table_names():
        raise StoreError(
            "it holds tables that roomfield did not make.",
            where=shown,
            mend="Choose an empty or a new database.",
        )
    if found is not None and found not in {step.revision for step in script.walk_revisions()}:
        raise StoreError(
            f"it has schema {found}, and this release knows schemas up to {newest}.",
            where=shown,
            mend="Open it with the newer release that wrote it.",
        )
    command.upgrade(config, "head")
    return found, newest


def refuse_bare(connection: Connection, shown: str) -> None:
    """Refuse a file that is there but holds no tables: a copy without what stood in its log.

    Raises
    ------
    StoreError
        If there is not one table in it.
    """
    if connection.dialect.name == "sqlite" and not inspect(connection).get_table_names():
        raise StoreError(
            "the file holds no tables: it was copied while the record was in use, and what was written is not in it.",
            where=shown,
            mend="Copy it again with 'roomfield backup', or after the program was stopped.",
        )


def upgrade_to(connection: Connection, revision: str) -> None:
    """Apply the steps up to one named schema, as a release of that time would have done."""
    command.upgrade(_config(connection), revision)


def _config(connection: Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", str(_FOLDER).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config

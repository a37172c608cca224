"""Connections: SQLite with write-ahead log by default, PostgreSQL by URL; one transaction for each write."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from sqlite3 import Connection as SqliteConnection
from sqlite3 import Error as SqliteError

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError

from roomfield.errors import StoreError

DATABASE_NAME = "roomfield.sqlite"
_WRITES = "roomfield_writes"


@dataclass(frozen=True)
class Address:
    """Where a store lies.

    Parameters
    ----------
    url : URL
        Database address.
    beside : Path or None
        Folder that the database lies in; None for a server.
    shown : str
        The address without a password.
    """

    url: URL
    beside: Path | None
    shown: str


def address_of(url_or_path: str | Path) -> Address:
    """The database meant by a path (file or folder) or by a URL.

    Raises
    ------
    StoreError
        If the URL names a database of a kind that is not served.
    """
    text = str(url_or_path)
    if "://" not in text:
        path = Path(text).expanduser().resolve()
        file = path / DATABASE_NAME if path.is_dir() else path
        return Address(URL.create("sqlite+pysqlite", database=str(file)), file.parent, str(file))
    try:
        url = make_url(text)
    except ArgumentError:
        raise StoreError("the address cannot be read.", mend="Give a path or a URL.") from None
    shown = url.render_as_string(hide_password=True)
    if url.get_backend_name() == "sqlite" and url.database:
        return address_of(url.database)
    if url.get_backend_name() in ("postgresql", "postgres"):
        return Address(url.set(drivername="postgresql+psycopg"), None, shown)
    raise StoreError(
        f"a {url.get_backend_name()} database is not served.",
        where=shown,
        mend="Give the path of a file, or a URL that begins with postgresql://.",
    )


def connect(address: Address) -> Engine:
    """An engine whose connections are set up for safe writing.

    Raises
    ------
    StoreError
        If the folder is missing or the driver is not installed.
    """
    if address.beside is not None and not address.beside.is_dir():
        raise StoreError("the folder does not exist.", where=str(address.beside), mend="Make it, or give another path.")
    try:
        # A connection that the server dropped, for example at its restart, is noticed and made again.
        on_server = address.beside is None
        asked = {"client_encoding": "utf8"} if on_server else {}
        engine = create_engine(address.url, pool_pre_ping=on_server, connect_args=asked)
    except ModuleNotFoundError:
        raise StoreError(
            "the PostgreSQL driver is not installed.",
            where=address.shown,
            mend="Install roomfield with its extra named postgres.",
        ) from None
    if address.beside is not None:
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def refuse_wrong_encoding(connection: Connection, shown: str) -> None:
    """Refuse a server's database that cannot hold every letter.

    Raises
    ------
    StoreError
        If its encoding is another than UTF-8.
    """
    if connection.dialect.name != "postgresql":
        return
    encoding = str(connection.exec_driver_sql("SHOW server_encoding").scalar_one())
    if encoding != "UTF8":
        raise StoreError(
            f"the database has the encoding {encoding}, which does not hold every letter.",
            where=shown,
            mend="Make one with: createdb --encoding=UTF8 --template=template0 NAME",
        )


def fold_in(engine: Engine, *, all_of_it: bool = False) -> None:
    """Bring what stands in SQLite's write-ahead log into the database file, so that a plain copy of it is whole.

    Parameters
    ----------
    all_of_it : bool
        True to empty the log too; waits for readers. False takes what can be taken without waiting.
    """
    if engine.dialect.name != "sqlite":
        return
    raw = engine.raw_connection()
    try:
        raw.driver_connection.execute(f"PRAGMA wal_checkpoint({'TRUNCATE' if all_of_it else 'PASSIVE'})")  # type: ignore[union-attr]
    except SqliteError:
        pass  # nothing is lost: the log stays where it is and the next write tries again
    finally:
        raw.close()


@contextmanager
def reading(engine: Engine, shown: str) -> Iterator[Connection]:
    """A transaction that only reads: all it sees is of one moment."""
    with _translated(shown), engine.connect() as connection:
        if engine.dialect.name == "postgresql":
            connection = connection.execution_options(isolation_level="REPEATABLE READ")
        with connection.begin():
            yield connection


@contextmanager
def writing(engine: Engine, shown: str) -> Iterator[Connection]:
    """A transaction that writes: all of it is kept, or nothing."""
    with _translated(shown), engine.connect() as connection:
        marked = connection.execution_options(**{_WRITES: True})
        with marked.begin():
            yield marked
    fold_in(engine)


@contextmanager
def _translated(shown: str) -> Iterator[None]:
    try:
        yield
    except DBAPIError as fault:
        raise StoreError(_in_words(fault), where=shown, mend=_mend(fault)) from fault
    except UnicodeEncodeError:
        raise StoreError("a text holds half a character.", where=shown, mend="Type the text again.") from None


def _in_words(fault: DBAPIError) -> str:
    first = str(fault.orig).strip().splitlines()
    return f"the database refused: {first[0] if first else type(fault.orig).__name__}."


def _mend(fault: DBAPIError) -> str:
    text = str(fault.orig).lower()
    if "locked" in text:
        return "Another program is writing; try again in a moment."
    if "not a database" in text or "malformed" in text:
        return "Choose a file that roomfield made, or restore a backup."
    if "readonly" in text or "read-only" in text or "unable to open" in text:
        return "Check that the file and its folder may be written to."
    if "full" in text:
        return "Free some space on the disk."
    if "permission denied" in text or "must be owner" in text:
        return "Ask whoever owns the database, or open it with an account that may do this."
    if "encod" in text or "sql_ascii" in text:
        return "Make the database with: createdb --encoding=UTF8 --template=template0 NAME"
    if "connection" in text:
        return "Check that the database server runs and that the address is right."
    return "Nothing was written."


def _set_up_sqlite(connection: SqliteConnection, _record: object) -> None:
    connection.isolation_level = None  # transactions are begun by _begin_sqlite, not guessed by the driver
    for statement in (
        "PRAGMA busy_timeout = 10000",
        "PRAGMA journal_mode = WAL",
        "PRAGMA synchronous = FULL",
        "PRAGMA foreign_keys = ON",
        "PRAGMA recursive_triggers = ON",
        "PRAGMA secure_delete = ON",  # what is deleted is overwritten
    ):
        connection.execute(statement)


def _begin_sqlite(connection: Connection) -> None:
    # Taking the write lock at once turns a lost race into a wait instead of an error half-way.
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

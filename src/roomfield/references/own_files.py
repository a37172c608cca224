"""A user's own tables of references: TOML files in a folder, read beside the tables that come with the program.

The folder is ``references`` where the user's settings lie, or the one that ``ROOMFIELD_REFERENCES`` names. Every file
begins with ``schema = "roomfield-references/1"`` and holds any of ``[[guideline]]``, ``[[material]]``,
``[[technology]]`` and ``[[measure]]`` (`docs/references.md`, `docs/remedy.md`).
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from roomfield.errors import FormatError, InputError, RejectedRows, RowFault
from roomfield.regular_files import refuse_irregular
from roomfield.user_folder import settings_folder

SCHEMA_NAME = "roomfield-references/1"
TABLES = ("guideline", "material", "technology", "measure")
STATED = "stated by the user"
_HEADER = re.compile(r"^\s*\[\[\s*([a-z]+)\s*\]\]")
_LARGEST_BYTES = 1_000_000


@dataclass(frozen=True)
class OwnTable:
    """One entry of a user's file.

    Parameters
    ----------
    where : str
        Path of the file.
    line : int
        Line of its header.
    row : mapping
        Its content.
    """

    where: str
    line: int
    row: Mapping[str, Any]


def own_folder() -> Path:
    """Folder of the user's own tables; it need not exist."""
    named = os.environ.get("ROOMFIELD_REFERENCES", "")
    return Path(named) if named else settings_folder() / "references"


def own_tables(name: str) -> tuple[OwnTable, ...]:
    """Every entry of one kind in the user's folder, file by file.

    Parameters
    ----------
    name : str
        "guideline", "material", "technology" or "measure".

    Raises
    ------
    InputError
        If a file cannot be opened.
    FormatError
        If a file is not of this form.
    """
    return tuple(table for path in own_paths() for table in read_own(path).get(name, ()))


def own_paths() -> tuple[Path, ...]:
    """The user's files, sorted by name."""
    folder = own_folder()
    return tuple(sorted(folder.glob("*.toml"))) if folder.is_dir() else ()


def own_stamp() -> tuple[tuple[str, int, int], ...]:
    """What changes when the user's files change; a key for what was made of them."""
    return tuple((str(path), *_age(path)) for path in own_paths())


def read_own(path: Path) -> Mapping[str, tuple[OwnTable, ...]]:
    """One of the user's files, by kind of entry; errors as `own_tables`.

    Parameters
    ----------
    path : Path
        TOML file of the form ``roomfield-references/1``.
    """
    return _read(path, _age(path))


def _age(path: Path) -> tuple[int, int]:
    try:
        found = path.stat()
    except OSError:
        return 0, 0
    return found.st_mtime_ns, found.st_size


@lru_cache(maxsize=64)
def _read(path: Path, _age: tuple[int, int]) -> Mapping[str, tuple[OwnTable, ...]]:
    text = toml_text(path)
    document = toml_document(text, SCHEMA_NAME, str(path))
    unknown = sorted(set(document) - {"schema", *TABLES})
    if unknown:
        raise FormatError(
            f"{unknown[0]!r} is no table of this form.", where=str(path), mend=f"Use {', '.join(TABLES)}."
        )
    lines = _header_lines(text)
    return {name: _entries(document, name, lines, str(path)) for name in TABLES if name in document}


def _entries(
    document: Mapping[str, Any], name: str, lines: Mapping[str, list[int]], where: str
) -> tuple[OwnTable, ...]:
    rows = document[name]
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise FormatError(f"{name} is not a list of tables.", where=where, mend=f"Write [[{name}]].")
    numbers = [*lines.get(name, []), *[1] * len(rows)]
    return tuple(OwnTable(where, line, row) for line, row in zip(numbers, rows, strict=False))


def _header_lines(text: str) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        header = _HEADER.match(line)
        if header:
            found.setdefault(header[1], []).append(number)
    return found


def toml_text(path: str | Path) -> str:
    """Text of a user's file.

    Parameters
    ----------
    path : str or Path
        TOML file of at most a megabyte.

    Raises
    ------
    InputError
        If it cannot be opened or is no file.
    FormatError
        If it is too large or not UTF-8.
    """
    refuse_irregular(Path(path))
    try:
        content = Path(path).read_bytes()
        if len(content) > _LARGEST_BYTES:
            raise FormatError("the file is larger than 1 MB.", where=str(path), mend="Name a table, not data.")
        return content.decode("utf-8")
    except OSError as error:
        raise InputError(
            f"the file cannot be opened ({error.strerror}).", where=str(path), mend="Check the path."
        ) from None
    except UnicodeDecodeError:
        raise FormatError("the file is not UTF-8 text.", where=str(path), mend="Save it as UTF-8.") from None


def toml_document(text: str, schema: str, where: str) -> dict[str, Any]:
    """A user's file as plain tables.

    Parameters
    ----------
    text : str
        Content of the file.
    schema : str
        The form it must say it has.
    where : str
        Name of the file, for the message.

    Raises
    ------
    FormatError
        If it is not TOML or of another form.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FormatError(f"this is not TOML: {error}.", where=where, mend="Mend that line.") from None
    if document.get("schema") != schema:
        raise FormatError(
            f"schema is {document.get('schema')!r}.", where=where, mend=f'Begin the file with schema = "{schema}".'
        )
    return document


def refuse_taken(names: Iterable[tuple[str, OwnTable]], taken: Iterable[str], what: str) -> None:
    """Refuse a name of the user's that is already in use.

    Parameters
    ----------
    names : iterable of (str, OwnTable)
        Name of each entry of the user's.
    taken : iterable of str
        Names that come with the program.
    what : str
        Column that holds the name.

    Raises
    ------
    RejectedRows
        At the first such name.
    """
    used = set(taken)
    for name, table in names:
        if name in used:
            reason = f"{what} is already the name of another one"
            fault = RowFault(table.line, what, name, reason)
            raise RejectedRows([fault], where=table.where, mend=f"First: line {table.line}, {reason}; value {name!r}.")
        used.add(name)

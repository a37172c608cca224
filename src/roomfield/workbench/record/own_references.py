"""A user's own guidelines, materials, technologies and measures: taken into the folder that every call reads."""

from __future__ import annotations

import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from roomfield.errors import InputError, RoomfieldError
from roomfield.references.guidelines import guideline_sets
from roomfield.references.materials import materials
from roomfield.references.own_files import TABLES, own_folder, own_paths, read_own, toml_text
from roomfield.references.technologies import technologies
from roomfield.workbench.record.own_measures import own_measures

_NAMED_BY = {"guideline": "id", "material": "material", "technology": "name", "measure": "key"}


@dataclass(frozen=True)
class OwnEntry:
    """One entry of the user's own files.

    Parameters
    ----------
    kind : str
        "guideline", "material", "technology" or "measure".
    name : str
        The name to give to a command.
    file : str
        File that it stands in.
    """

    kind: str
    name: str
    file: str

    def to_dict(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)


def own_entries() -> tuple[OwnEntry, ...]:
    """Everything in the user's own files; errors as `add_references`."""
    return tuple(
        OwnEntry(kind, str(table.row.get(_NAMED_BY[kind], "")), path.name)
        for path in own_paths()
        for kind in TABLES
        for table in read_own(path).get(kind, ())
    )


def add_references(path: str | Path, *, replace: bool = False) -> tuple[OwnEntry, ...]:
    """Take a file into the user's folder, if every row of it is right.

    Parameters
    ----------
    path : str or Path
        TOML file of the form ``roomfield-references/1``.
    replace : bool
        True to put it in the place of a file of the same name.

    Returns
    -------
    tuple of OwnEntry
        What the file brought.

    Raises
    ------
    InputError
        If it cannot be opened, or a file of that name is there already.
    FormatError, RejectedRows
        If anything in it is refused; the folder is as it was then.
    """
    source = Path(path)
    text = toml_text(source)
    read_own(source)
    target = own_folder() / source.with_suffix(".toml").name
    before = target.read_bytes() if target.exists() else None
    if before is not None and not replace:
        raise InputError(
            "a file of that name is there already.", where=str(target), mend="Add --replace, or rename it."
        )
    target.parent.mkdir(parents=True, exist_ok=True)
    _put(target, text.encode("utf-8"))
    try:
        guideline_sets(), materials(), technologies(), own_measures()
    except RoomfieldError:
        _put(target, before) if before is not None else target.unlink()
        raise
    return tuple(entry for entry in own_entries() if entry.file == target.name)


def _put(target: Path, content: bytes) -> None:
    beside = target.with_suffix(".part")
    beside.write_bytes(content)
    os.replace(beside, target)

"""A new record: made under another name and given its own when it is whole, readable by its owner only."""

from __future__ import annotations

import errno
import os
import tempfile
from pathlib import Path

from roomfield.errors import StoreError
from roomfield.store.engine import address_of, connect, fold_in, writing
from roomfield.store.media import sync_folder
from roomfield.store.migrate import bring_up_to_date


def make_record(file: Path) -> None:
    """Make an empty record, unless somebody else makes one at the same moment.

    A killed process leaves no file of this name, so a file of this name without tables is never a new record.

    Raises
    ------
    StoreError
        If it cannot be made.
    """
    try:
        with tempfile.TemporaryDirectory(prefix=".roomfield-new-", dir=file.parent) as folder:
            made = Path(folder) / file.name
            os.close(os.open(made, os.O_CREAT | os.O_WRONLY, 0o600))
            address = address_of(made)
            engine = connect(address)
            with writing(engine, str(file)) as connection:
                bring_up_to_date(connection, str(file))
            fold_in(engine, all_of_it=True)
            engine.dispose()
            _give_name(made, file)
    except OSError as fault:
        raise StoreError(
            f"the record cannot be made ({fault.strerror}).", where=str(file), mend="Check the folder and the disk."
        ) from None


def _give_name(made: Path, file: Path) -> None:
    try:
        os.link(made, file)
    except FileExistsError:
        return
    except OSError:  # a file system without links, such as that of many memory sticks
        if not file.exists():
            made.rename(file)
    sync_folder(file.parent)


def refuse_if_locked(file: Path) -> None:
    """Refuse a record that lies under a passphrase; opening it would begin a fresh one beside it.

    Raises
    ------
    StoreError
        If it is locked.
    """
    if not is_there(file) and is_there(file.with_name(f"{file.name}.age")):
        raise StoreError("the record is locked.", where=str(file), mend="Open it with 'roomfield unlock'.")


def is_there(file: Path) -> bool:
    """Whether there is something of this name.

    Raises
    ------
    StoreError
        If the folder may not be looked into.
    """
    try:
        return file.exists()
    except OSError as fault:
        if fault.errno == errno.ENAMETOOLONG:
            return False
        raise StoreError(
            f"it cannot be looked at ({fault.strerror}).", where=str(file), mend="Check the rights of its folder."
        ) from None


def refuse_if_empty(file: Path) -> None:
    """Refuse a file that has a name but nothing in it; opening it would begin a fresh record over a lost one.

    Raises
    ------
    StoreError
        If the file is empty.
    """
    if is_there(file) and file.is_file() and file.stat().st_size == 0:
        raise StoreError(
            "the file is empty: it is no record.",
            where=str(file),
            mend="If it is a copy, copy again with 'roomfield backup'; else remove it first.",
        )

"""Files that are files, and no longer than is read at once: a pipe or a device would be read for ever."""

from __future__ import annotations

import stat
from pathlib import Path

from roomfield.errors import FormatError, InputError


def refuse_irregular(path: Path) -> None:
    """Refuse what is there but is no regular file; what is not there is left to whoever opens it.

    Parameters
    ----------
    path : Path
        To be read.

    Raises
    ------
    InputError
        If it is a folder, a pipe, a socket or a device.
    """
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        return
    if not stat.S_ISREG(mode):
        raise InputError("it is no file.", where=path.name, mend="Name a file; save what a pipe gives as one first.")


def whole_file(path: Path, most_bytes: int, mend: str) -> bytes:
    """Bytes of a file of bounded size.

    Parameters
    ----------
    path : Path
        To be read.
    most_bytes : int
        A longer one is refused.
    mend : str
        What to do with a longer one.

    Raises
    ------
    FormatError
        If it is longer.
    InputError
        If it cannot be read, or is no file.
    """
    try:
        refuse_irregular(path)
        if path.stat().st_size > most_bytes:
            raise FormatError(f"it is longer than {most_bytes >> 20} MiB.", where=path.name, mend=mend)
        return path.read_bytes()
    except OSError as fault:
        raise InputError(f"it cannot be read ({fault.strerror}).", where=path.name, mend="Check the path.") from None

"""Files that are files: a pipe or a device would be read for ever."""

from __future__ import annotations

import stat
from pathlib import Path

from roomfield.errors import InputError


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

"""Folders for work in between: for this account only, and taken away later if a killed process left one behind."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from roomfield.errors import InputError

_PREFIX = "roomfield-scratch-"
_IN_WORK_S = 12 * 3600.0


@contextmanager
def scratch_folder() -> Iterator[Path]:
    """A folder that goes when the work is done.

    Raises
    ------
    InputError
        If none can be made.
    """
    sweep()
    try:
        made = tempfile.TemporaryDirectory(prefix=_PREFIX)
    except OSError as fault:
        raise InputError(
            f"there is no folder for work in between ({fault.strerror}).",
            mend="Free some space there, or name another folder in TMPDIR.",
        ) from None
    with made as folder:
        yield Path(folder)


def sweep() -> None:
    """Take away what killed processes left of a client's files; what is younger than half a day may be in work."""
    for left in Path(tempfile.gettempdir()).glob(f"{_PREFIX}*"):
        try:
            if time.time() - left.stat().st_mtime > _IN_WORK_S:
                shutil.rmtree(left, ignore_errors=True)
        except OSError:
            continue  # another account's

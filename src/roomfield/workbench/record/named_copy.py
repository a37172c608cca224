"""A kept file under a name of its own: it is kept under its digest, and readers go by the ending."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePath

from roomfield.scratch import scratch_folder


@contextmanager
def named_copy(kept: Path, name: str, otherwise: str = "file") -> Iterator[Path]:
    """A copy of a file under a cleaned name, gone afterwards.

    A link would save the copying, but Windows makes one only for users with a right of its own.

    Parameters
    ----------
    kept : Path
        The file.
    name : str
        As the user named it; letters, digits, spaces, hyphens, points and underscores stay.
    otherwise : str
        The stem if nothing of the name stays.

    Yields
    ------
    Path
        The copy; its ending is that of ``name`` in small letters.
    """
    given = PurePath(name)
    stem = "".join(c for c in given.stem if c.isalnum() or c in "-_ .")[:60].strip(". ") or otherwise
    with scratch_folder() as folder:
        path = folder / f"{stem}{given.suffix.lower()}"
        shutil.copyfile(kept, path)
        yield path

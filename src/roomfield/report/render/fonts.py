"""Open fonts for the page: Source Sans and Source Serif from their packages, the rest from the typesetter."""

from __future__ import annotations

import shutil
import tempfile
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from roomfield.extras import library, missing

typst = library("typst", "pdf")

FACES: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "font_source_sans_pro",
        ("SourceSansPro-Regular", "SourceSansPro-It", "SourceSansPro-Semibold", "SourceSansPro-Bold"),
    ),
    (
        "font_source_serif_pro",
        ("SourceSerifPro-Regular", "SourceSerifPro-It", "SourceSerifPro-Light", "SourceSerifPro-Semibold"),
    ),
)
"""Package and faces (SIL Open Font License 1.1)."""


def face_files() -> list[Path]:
    """Paths of the font files that the page uses.

    Raises
    ------
    MissingExtraError
        If a font package is not installed.
    """
    files = []
    for package, names in FACES:
        spec = find_spec(package)
        if spec is None or not spec.submodule_search_locations:
            raise missing(package.replace("_", "-"), "pdf")
        folder = Path(next(iter(spec.submodule_search_locations))) / "files"
        files += [folder / f"{name}.otf" for name in names]
    return files


@lru_cache(maxsize=1)
def _folder() -> tempfile.TemporaryDirectory[str]:
    """A folder with exactly one file per face, so that the choice does not hang on directory order."""
    folder = tempfile.TemporaryDirectory(prefix="roomfield-fonts-")
    for file in face_files():
        shutil.copyfile(file, Path(folder.name) / file.name)
    return folder


@lru_cache(maxsize=1)
def font_book() -> Any:
    """The typesetter's font book: our faces and its own, never the system's."""
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[_folder().name])

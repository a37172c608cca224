"""The gallery as notebooks: every file of docs/gallery, its cells told apart by ``# %%``, as ``.ipynb``.

Run ``python tools/gallery.py FOLDER``; a notebook opens in anything that reads nbformat 4. The files themselves are plain
Python and run as they are; ``tests/test_gallery.py`` runs every cell.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any

GALLERY = Path(__file__).parents[1] / "docs" / "gallery"
_CELL = re.compile(r"^# %%( \[markdown\])?[ ]*$", re.MULTILINE)


def cells(text: str) -> list[tuple[str, str]]:
    """Kind (``markdown`` or ``code``) and text of each cell."""
    parts = _CELL.split(text)[1:]
    found = []
    for mark, body in zip(parts[::2], parts[1::2], strict=True):
        kept = body.strip("\n")
        if mark:
            kept = "\n".join(line.removeprefix("#").removeprefix(" ") for line in kept.splitlines())
        found.append(("markdown" if mark else "code", kept))
    return found


def notebook(text: str) -> dict[str, Any]:
    """A notebook, nbformat 4.5."""
    made = []
    for number, (kind, body) in enumerate(cells(text), 1):
        cell: dict[str, Any] = {"cell_type": kind, "id": f"cell-{number}", "metadata": {}}
        cell["source"] = body.splitlines(keepends=True)
        made.append(cell | ({"outputs": [], "execution_count": None} if kind == "code" else {}))
    language = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}
    return {"nbformat": 4, "nbformat_minor": 5, "metadata": language, "cells": made}


def main(arguments: list[str]) -> int:
    """Write every notebook into the folder that is named."""
    if len(arguments) != 1:
        print("name the folder to write into", file=sys.stderr)
        return 2
    folder = Path(arguments[0])
    folder.mkdir(parents=True, exist_ok=True)
    for path in sorted(GALLERY.glob("*.py")):
        plain = json.dumps(notebook(path.read_text("utf-8")), ensure_ascii=False, indent=1)
        (folder / f"{path.stem}.ipynb").write_text(plain + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

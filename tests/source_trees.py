"""The package as syntax trees, parsed once for all tests that read the source."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path


@cache
def source_trees(root: Path) -> dict[Path, ast.Module]:
    """The tree of every module below a folder; nobody changes them.

    Parameters
    ----------
    root : Path
        Folder of the package.
    """
    return {path: ast.parse(path.read_text("utf-8")) for path in sorted(root.rglob("*.py"))}

"""Checklists: what is seen to before a visit and on arrival (common practice, no source; own words)."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

STRETCHES = ("prepare", "arrive")
"""Before the job, ticked once; on arrival, ticked at each visit."""


@dataclass(frozen=True)
class ChecklistRow:
    """One row.

    Parameters
    ----------
    id : str
        Kept in the record when the row is ticked; never used for another meaning.
    stretch : str
        One of `STRETCHES`.
    words : str
        English sentence.
    """

    id: str
    stretch: str
    words: str


@cache
def checklist_rows() -> tuple[ChecklistRow, ...]:
    """All rows, in the order in which they are gone through."""
    text = files("roomfield.references").joinpath("data", "checklists.toml").read_text(encoding="utf-8")
    return tuple(ChecklistRow(**row) for row in tomllib.loads(text)["row"])

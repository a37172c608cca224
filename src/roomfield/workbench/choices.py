"""What can be chosen on a form: names from the reference tables, with words for people."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from roomfield.references.guidelines import guideline_sets
from roomfield.references.limits import jurisdictions, limit_sets
from roomfield.references.materials import materials

NOT_FOR_WALLS = frozenset({"vacuum", "very dry ground", "medium dry ground", "wet ground"})


@dataclass(frozen=True)
class Choice:
    """One line of a list to choose from.

    Parameters
    ----------
    key : str
        What the record keeps.
    name : str
        What the person reads.
    """

    key: str
    name: str


@cache
def legal_limits() -> tuple[Choice, ...]:
    """Sets of legal limits in force, by jurisdiction."""
    titles = {one.code: one.title for one in jurisdictions()}
    return tuple(
        Choice(one.set_id, f"{titles.get(one.jurisdiction, one.jurisdiction)}: {one.title}") for one in limit_sets()
    )


@cache
def guidelines() -> tuple[Choice, ...]:
    """Precautionary guidelines in their current edition."""
    return tuple(Choice(one.set_id, one.title) for one in guideline_sets())


@cache
def wall_materials() -> tuple[Choice, ...]:
    """Materials that walls, slabs and openings are made of."""
    names = sorted({one.name for one in materials()} - NOT_FOR_WALLS)
    return (*(Choice(name, name) for name in names), Choice("air", "air"))

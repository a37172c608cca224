"""What can be chosen on a form: names from the reference tables, with words for people."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from roomfield.references.films import loss_films
from roomfield.references.guidelines import guideline_sets
from roomfield.references.limits import jurisdictions, limit_sets
from roomfield.references.materials import materials
from roomfield.references.rules import decision_rules
from roomfield.references.technologies import technologies as known_technologies
from roomfield.workbench.record.own_measures import own_measures

NOT_FOR_WALLS = frozenset({"vacuum", "very dry ground", "medium dry ground", "wet ground"})


@dataclass(frozen=True)
class FormChoice:
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
def legal_limits() -> tuple[FormChoice, ...]:
    """Jurisdictions whose legal limits are in the tables."""
    return tuple(FormChoice(one.code, one.title) for one in jurisdictions())


def guidelines() -> tuple[FormChoice, ...]:
    """Precautionary guidelines in their current edition."""
    return tuple(FormChoice(one.set_id, one.title) for one in guideline_sets())


def wall_materials() -> tuple[FormChoice, ...]:
    """Materials that walls, slabs and openings are made of."""
    films = {one.name for one in loss_films()}
    names = sorted(({one.name for one in materials()} | films) - NOT_FOR_WALLS)
    return (*(FormChoice(name, name) for name in names), FormChoice("air", "air"))


def technologies() -> tuple[FormChoice, ...]:
    """Kinds of transmitter that an emitter on the plan can be, and that can be heard."""
    return tuple(FormChoice(one.name, one.title) for one in known_technologies())


def everything() -> dict[str, tuple[FormChoice, ...]]:
    """All names that a command takes from the reference tables, by what they name."""
    return {
        "jurisdiction": legal_limits(),
        "set of limits (as a jurisdiction)": tuple(
            FormChoice(s.set_id, f"{s.title} ({s.standing.value})") for s in limit_sets(superseded=True)
        ),
        "guideline": tuple(
            FormChoice(g.set_id, f"{g.title} ({g.standing.value})") for g in guideline_sets(superseded=True)
        ),
        "decision rule": tuple(FormChoice(r.rule_id, r.title) for r in decision_rules().values()),
        "technology": technologies(),
        "measure of your own": tuple(FormChoice(one.key, one.name("")) for one in own_measures()),
    }

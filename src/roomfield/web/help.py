"""What a figure is, what it is not, and where it comes from: one entry per term."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from roomfield.errors import UnknownNameError


@dataclass(frozen=True)
class Explanation:
    """One term.

    Parameters
    ----------
    key : str
        Name for templates.
    name : str
        Name for people.
    what, what_not, source : str
        What it is, what it is not, where it comes from.
    """

    key: str
    name: str
    what: str
    what_not: str
    source: str


@cache
def explanations() -> tuple[Explanation, ...]:
    """All terms, in the order of the job."""
    text = files("roomfield.web").joinpath("help.toml").read_text(encoding="utf-8")
    return tuple(Explanation(key, **entry) for key, entry in tomllib.loads(text).items())


def explain(key: str) -> Explanation:
    """One term.

    Raises
    ------
    UnknownNameError
        If it is not explained.
    """
    for one in explanations():
        if one.key == key:
            return one
    raise UnknownNameError("explained term", key, [one.key for one in explanations()])

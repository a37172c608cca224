"""The legal limits that a survey names."""

from __future__ import annotations

from roomfield.errors import UnknownNameError
from roomfield.references.limit_sets import LimitSet
from roomfield.references.limits import limit_set, select
from roomfield.references.user_limits import load_user_limits


def chosen_limits(jurisdiction: str, user_limits: str = "") -> LimitSet:
    """The set of legal limits that a survey names: by code, by name of the set, or from a user's file.

    Parameters
    ----------
    jurisdiction : str
        Code such as ``EU``, or name of a set such as ``icnirp-2020-public-whole-body``.
    user_limits : str
        Path of a TOML file; its first set is taken.
    """
    if user_limits:
        return load_user_limits(user_limits)[0]
    try:
        return limit_set(jurisdiction)
    except UnknownNameError:
        return select(jurisdiction)

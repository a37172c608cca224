"""The legal limits that a survey names, and limits of the user's own."""

from __future__ import annotations

from roomfield.errors import UnknownNameError
from roomfield.references.limit_sets import LimitSet
from roomfield.references.limits import limit_set, select
from roomfield.references.user_limits import load_user_limits


def chosen_limits(jurisdiction: str) -> LimitSet:
    """The set of legal limits that a survey names: by code or by name of the set.

    Parameters
    ----------
    jurisdiction : str
        Code such as ``EU``, or name of a set such as ``icnirp-2020-public-whole-body``.
    """
    try:
        return limit_set(jurisdiction)
    except UnknownNameError:
        return select(jurisdiction)


def limits_beside(user_limits: str) -> tuple[LimitSet, ...]:
    """Limits of the user's own, to be held beside the law; none without a file.

    Parameters
    ----------
    user_limits : str
        Path of a TOML file of the form ``roomfield-limits/1``; empty for none.
    """
    return load_user_limits(user_limits) if user_limits else ()

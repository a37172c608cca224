"""Answers about a log as a person types them, in the words that the readers go by."""

from __future__ import annotations

from zoneinfo import available_timezones

from roomfield.errors import InputError, UnknownNameError
from roomfield.logs.clock import zone_from_name

USUAL_ZONES = ("Europe/Berlin", "Europe/Vienna", "Europe/Zurich", "Europe/Paris", "Europe/London", "UTC", "+01:00")
"""Offered first on a form."""


def zone_as_meant(typed: str) -> str:
    """The time zone that was meant: a town alone stands for its zone.

    Parameters
    ----------
    typed : str
        An IANA name, its last part, ``UTC`` or an offset; empty stays empty.

    Raises
    ------
    InputError
        If there is no such zone, or several end alike.
    """
    wanted = typed.strip().replace(" ", "_")
    if not wanted:
        return ""
    ends = sorted(name for name in available_timezones() if name.lower().rsplit("/", 1)[-1] == wanted.lower())
    own = ends[0] if len(ends) == 1 else wanted
    try:
        zone_from_name(own)
    except (InputError, UnknownNameError):
        raise InputError(
            f"{typed!r} is no time zone.", where="zone", mend="For example Europe/Berlin, UTC or +01:00."
        ) from None
    return own

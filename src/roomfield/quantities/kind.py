"""Peak, max-hold and average as types: three questions, never compared silently."""

from __future__ import annotations

from enum import StrEnum

from roomfield.errors import KindMismatchError


class Kind(StrEnum):
    """What a level is a level of."""

    PEAK = "peak"
    """Highest instantaneous power density while everything transmits."""
    MAX_HOLD = "max_hold"
    """Highest of the meter's running averages found during a scan."""
    AVERAGE = "average"
    """Mean over the time stated with it."""


def require_kind(found: Kind, wanted: Kind, purpose: str) -> None:
    """Refuse a level of the wrong kind.

    Parameters
    ----------
    found, wanted : Kind
        What there is, and what the comparison needs.
    purpose : str
        What was about to be done, for the message.

    Raises
    ------
    KindMismatchError
        If they differ.
    """
    if found is not wanted:
        raise KindMismatchError(
            f"{purpose} needs a level of kind {wanted.value!r}, but this one is {found.value!r}.",
            mend="Take a reading of that kind, or convert with a stated model (duty cycle or crest factor).",
        )

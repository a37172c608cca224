"""Peak, highest held and average as types: three questions, never compared silently.

This module loads no NumPy, so that the record (`roomfield.survey`) speaks of the same kinds as the physics.
"""

from __future__ import annotations

from enum import StrEnum

from roomfield.errors import KindMismatchError

FORMER_WORDS = {"max_hold": "highest_held"}
"""Words of documents and stores written before the held maximum was taken for what meters show."""


class Kind(StrEnum):
    """What a level, or the meter's number, is (common practice, no source).

    Always average <= peak <= highest held. Precautionary guidelines take the highest held, or the peak if that is
    all there is; legal limits take averages over minutes.
    """

    PEAK = "peak"
    """Highest instantaneous power density while the meter was held still."""
    HIGHEST_HELD = "highest_held"
    """Highest instantaneous power density since the meter's reset, over a scan, a room or a night."""
    AVERAGE = "average"
    """Mean power density over the meter's window, or over the time stated with it."""

    @property
    def instantaneous(self) -> bool:
        """True for the highest instantaneous power, which no duty cycle weighs."""
        return self is not Kind.AVERAGE

    @classmethod
    def _missing_(cls, value: object) -> Kind | None:
        known = FORMER_WORDS.get(value) if isinstance(value, str) else None
        return cls(known) if known else None


RISING = (Kind.AVERAGE, Kind.PEAK, Kind.HIGHEST_HELD)
"""Kinds from the one that is never the higher to the one that is never the lower."""


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

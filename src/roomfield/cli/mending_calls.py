"""The call that mends a refusal: what a sentence asks for, as it is typed at the terminal."""

from __future__ import annotations

from collections.abc import Mapping

_PLACE = "roomfield place NAME --position 'ROOM: 1 west, 1 south'; rooms come with 'roomfield plan'"
_TAKE_IN = "roomfield take-in FILE --make-places --confirm"
_TRANSMITTER = "roomfield transmitter NAME --technology KEY --frequency MHz"

CALLS: Mapping[str, str] = {
    "Put them on the plan.": _PLACE,
    "Put the places on the plan.": _PLACE,
    "Put the places on the plan first.": _PLACE,
    "Put it on the plan first.": _PLACE,
    "Begin a visit first.": "roomfield visit",
    "Enter one.": "roomfield visit",
    "Name the storey that is wanted.": "roomfield plan FILE --storey NAME",
    "Enter the meter first.": "roomfield meter meter-1 --tolerance 6; then say the same again",
    "Correct the name, or enter the radio state first.": "roomfield state NAME --off TRANSMITTER",
    "Name at least one, known or suspected.": _TRANSMITTER,
    "Name one that the meter receives.": f"{_TRANSMITTER}; 'roomfield meter' shows the meter's band",
    "Enter or import readings for this visit first.": _TAKE_IN,
    "Enter or import readings first.": _TAKE_IN,
    "Repeat the readings of the first visit on the second one.": f"{_TAKE_IN} --visit VISIT",
    "Repeat the readings of the first visit at the same places.": f"{_TAKE_IN} --visit VISIT",
    "Try something on the plan and keep it.": "roomfield action NAME KIND",
    "Enter what each place is used for.": "roomfield change place NAME kind=bed night=8",
    "Enter the client's aim, or give a target.": "roomfield aim µW/m², or --target µW/m²",
    "Work out the plans again.": "roomfield actions",
    "Agree on another plan first.": "roomfield agree ID --target µW/m²",
    "Change a field first.": "roomfield change --help",
}
"""By the English sentence that says how to mend it."""


def call_for(mend: str) -> str:
    """The call that does what a sentence asks for; empty if none is known.

    Parameters
    ----------
    mend : str
        As `RoomfieldError.mend` has it, in English.
    """
    return CALLS.get(mend, "")

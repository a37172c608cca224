"""Whether a whole survey can be: its references, its values, its amendments. Asked at every door."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, get_type_hints

from roomfield.errors import FormatError, InputError, RoomfieldError
from roomfield.survey.amendment import Amendment
from roomfield.survey.json_codec import from_json
from roomfield.survey.survey_record import WITHDRAWN, Survey
from roomfield.survey.values import value_faults

_MEND = "Ask for the file again, or correct it where it was made."


def refuse_unsound(survey: Survey, where: str = "") -> None:
    """Refuse a survey that came as a whole and cannot be.

    Parameters
    ----------
    survey : Survey
        As it was read.
    where : str
        The file, for the message.

    Raises
    ------
    InputError
        With the first fault.
    """
    fault = next(soundness_faults(survey), None)
    if fault is not None:
        there = ": ".join(part for part in (where, fault.where) if part)
        raise InputError(fault.what, where=there, mend=_MEND)


def soundness_faults(survey: Survey) -> Iterator[RoomfieldError]:
    """Everything in a survey that cannot be, as observed and as amended."""
    references = survey.faults()
    yield from (InputError(f"{words}.") for words in references)
    yield from value_faults(survey)
    undecodable = list(amendment_faults(survey))
    yield from undecodable
    if references or undecodable or not survey.amendments:
        return
    amended = as_amended(survey)
    yield from (InputError(f"as amended, {words}.") for words in amended.faults())
    yield from amended_value_faults(survey, amended)


def amendment_faults(survey: Survey) -> Iterator[RoomfieldError]:
    """Amendments whose new value is not of the kind of the field that they correct."""
    observed: tuple[Any, ...] = (*survey.readings, *survey.bearings, *survey.recordings, *survey.logs)
    targets = {item.id: item for item in observed}
    for amendment in survey.amendments:
        target = targets.get(amendment.target_id)
        if target is not None:
            fault = _undecodable(amendment, type(target))
            if fault is not None:
                yield fault


def amended_value_faults(survey: Survey, amended: Survey) -> Iterator[RoomfieldError]:
    """Values that cannot be in those observations that were amended."""
    touched = {amendment.target_id for amendment in survey.amendments}
    observed: tuple[Any, ...] = (*amended.readings, *amended.bearings, *amended.recordings, *amended.logs)
    yield from value_faults(tuple(item for item in observed if item.id in touched), "as amended,")


def as_amended(survey: Survey) -> Survey:
    """The survey with its observations as amended."""
    return replace(
        survey,
        readings=survey.current_readings(),
        bearings=survey.current_bearings(),
        recordings=survey.current_recordings(),
        logs=survey.current_logs(),
        amendments=(),
    )


def _undecodable(amendment: Amendment, kind: type) -> RoomfieldError | None:
    hints = get_type_hints(kind)
    wanted: Any = bool if amendment.field == WITHDRAWN else hints.get(amendment.field)
    if wanted is None or (amendment.new == "null" and type(None) in getattr(wanted, "__args__", ())):
        return None
    try:
        from_json(amendment.new, wanted, where=f"amendment {amendment.id!r}")
    except FormatError as fault:
        return fault
    return None

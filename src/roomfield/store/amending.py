"""Checks on an amendment before it is written: what may be corrected, and to what."""

from __future__ import annotations

import json
from typing import Any, get_type_hints

from roomfield.errors import InputError, UnknownNameError
from roomfield.store.rows import Observation
from roomfield.survey.amendment import Amendment
from roomfield.survey.json_codec import from_json
from roomfield.survey.survey_record import WITHDRAWN, amend_all

_FIXED = frozenset({"id", "origin", "media_sha256", "series_sha256"})


def current_value(target: Observation, amendments: tuple[Amendment, ...], field: str) -> Any:
    """What a field of an observation says after the amendments made so far.

    Raises
    ------
    UnknownNameError
        If the observation has no such field, or it may not be amended.
    """
    if field == WITHDRAWN:
        marks = [json.loads(a.new) for a in amendments if a.field == WITHDRAWN]
        return bool(marks[-1]) if marks else False
    if field not in amendable(target):
        raise UnknownNameError(f"field of a {type(target).__name__.lower()} to amend", field, amendable(target))
    of_values = tuple(a for a in amendments if a.field != WITHDRAWN)
    amended: Any = amend_all((target,), of_values)[0]  # type: ignore[type-var]
    return getattr(amended, field)


def amendable(target: Observation) -> tuple[str, ...]:
    """Names of the fields of an observation that may be corrected."""
    names = [name for name in type(target).__dataclass_fields__ if name not in _FIXED]
    return (*names, WITHDRAWN)


def encoded(target: Observation, field: str, value: object) -> str:
    """A new value as JSON, once it has been found to fit the field.

    Raises
    ------
    FormatError
        If the value is not of the field's type.
    InputError
        If it cannot be written as JSON.
    """
    try:
        text = json.dumps(value, allow_nan=False, default=_plain)
    except (TypeError, ValueError):
        raise InputError(
            f"{value!r} cannot be written down.", where=field, mend="Give a number, a text or a point."
        ) from None
    kind: Any = bool if field == WITHDRAWN else get_type_hints(type(target))[field]
    if text != "null" or type(None) not in getattr(kind, "__args__", ()):
        from_json(text, kind, where=field)
    return text


def _plain(value: object) -> Any:
    fields = getattr(type(value), "__dataclass_fields__", None)
    if fields is None:
        raise TypeError(type(value).__name__)
    return {name: getattr(value, name) for name in fields}

"""Records as JSON and back: strict both ways, so that nothing is lost or bent on the way."""

from __future__ import annotations

from functools import cache
from typing import Any, TypeVar

from pydantic import ConfigDict, TypeAdapter, ValidationError
from pydantic_core import PydanticSerializationError

from roomfield.errors import FormatError, InputError

_STRICT = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, revalidate_instances="always")
_T = TypeVar("_T")


def checked(value: _T, kind: Any, *, where: str = "") -> _T:
    """The value again, once every field of it has been found to be of its declared type.

    Parameters
    ----------
    value : object
        A record, or a tuple of records.
    kind : type
        What it should be, for example ``Survey`` or ``tuple[Reading, ...]``.
    where : str
        Named in the error.

    Raises
    ------
    InputError
        If a field has the wrong type or a number is not finite.
    """
    try:
        result: _T = _adapter(kind).validate_python(value)
    except ValidationError as fault:
        raise InputError(_first_fault(fault), where=where, mend="Correct this field.") from None
    return result


def to_json(value: object, kind: Any, *, where: str = "") -> str:
    """A record as JSON text.

    Parameters
    ----------
    value : object
        A record, or a tuple of records.
    kind : type
        What it is, for example ``Dwelling`` or ``tuple[Place, ...]``.

    Raises
    ------
    InputError
        If a field has the wrong type, a number is not finite or a text is no Unicode (JSON cannot hold them).
    """
    try:
        return _adapter(kind).dump_json(checked(value, kind, where=where)).decode("utf-8")
    except PydanticSerializationError:
        raise InputError("a text in it holds half a character.", where=where, mend="Type the text again.") from None


def from_json(text: str | bytes, kind: Any, *, where: str = "") -> Any:
    """A record from JSON text.

    Raises
    ------
    FormatError
        If the text is no JSON, a field is unknown, missing or of the wrong type.
    """
    try:
        record = _adapter(kind).validate_json(text)
    except ValidationError as fault:
        raise FormatError(_first_fault(fault), where=where, mend="Correct this field.") from None
    if record is None:
        raise FormatError("there is null in place of a record.", where=where, mend="Give the record itself.")
    return record


def schema_of(kind: Any) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a record."""
    return _adapter(kind).json_schema()


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    # A union has no configuration of its own, so that the strict one reaches the dataclasses inside it.
    return TypeAdapter(kind | None, config=_STRICT)


def _first_fault(fault: ValidationError) -> str:
    """The first fault in words: which field, what it holds, what is wrong."""
    faults = [f for f in fault.errors(include_url=False) if f["type"] != "none_required"]
    first = faults[0] if faults else fault.errors(include_url=False)[0]
    path = _path(first["loc"])
    shown = repr(first.get("input"))
    held = f" (it holds {shown[:60]})" if first["type"] not in ("missing", "json_invalid") else ""
    more = f" and {len(faults) - 1} more faults" if len(faults) > 1 else ""
    message = first["msg"][:1].lower() + first["msg"][1:]
    return f"{path + ': ' if path else ''}{message}{held}{more}."


def _path(location: tuple[int | str, ...]) -> str:
    text = ""
    for step in location:
        text += f"[{step}]" if isinstance(step, int) else f".{step}"
    return text.lstrip(".")

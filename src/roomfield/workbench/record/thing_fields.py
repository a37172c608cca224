"""Fields of things in the record that a person may change by name, in the units of the trade."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import Any

from roomfield.errors import InputError, UnknownNameError
from roomfield.exchange.names import plain
from roomfield.references.technologies import technologies
from roomfield.survey import Control, PlaceKind, Standing, Survey, VisitPurpose
from roomfield.workbench.record.positions import position_in, room_named, usual_height_m

Reader = Callable[[Survey, Any, str], Any]
"""From the survey, the thing and the text to the new value."""


def field_value(survey: Survey, item: Any, fields: Mapping[str, tuple[str, Reader]], setting: str) -> dict[str, Any]:
    """What ``name=value`` sets, by the name of the record's own field.

    Raises
    ------
    UnknownNameError
        If a thing of this sort has no such field.
    InputError
        If the value cannot be read.
    """
    name, equals, text = setting.partition("=")
    key = name.strip().casefold()
    if not equals or key not in fields:
        raise UnknownNameError("field", name.strip(), fields)
    own, read = fields[key]
    value = read(survey, item, text.strip())
    return dict(value) if own == "" else {own: value}


def _text(survey: Survey, item: Any, text: str) -> str:
    return " ".join(text.split())


def _name(survey: Survey, item: Any, text: str) -> str:
    clean = " ".join(text.split())
    if not clean or len(clean) > 120 or not clean.isprintable():
        raise InputError("a name has 1 to 120 printable characters.", where="name", mend="Give it one.")
    return clean


def _number(unit: str, factor: float = 1.0) -> Reader:
    def read(survey: Survey, item: Any, text: str) -> float | None:
        if not text:
            return None
        try:
            return float(text.replace(",", ".")) * factor
        except ValueError:
            raise InputError(f"{text[:40]!r} is no number.", mend=f"Give it in {unit}.") from None

    return read


def _hours(survey: Survey, item: Any, text: str) -> float:
    return float(_number("hours")(survey, item, text) or 0.0)


def _choice(what: str, choices: type[StrEnum]) -> Reader:
    def read(survey: Survey, item: Any, text: str) -> Any:
        known = [one.value for one in choices]
        if text not in known:
            raise UnknownNameError(what, text, known)
        return choices(text)

    return read


def _technology(survey: Survey, item: Any, text: str) -> str:
    known = [one.name for one in technologies()]
    if text and text not in known:
        raise UnknownNameError("technology", text, known)
    return text


def _yes(survey: Survey, item: Any, text: str) -> bool:
    if text.casefold() not in ("yes", "no", "ja", "nein", "true", "false"):
        raise InputError(f"{text[:40]!r} is neither yes nor no.", mend="Write yes or no.")
    return text.casefold() in ("yes", "ja", "true")


def _place_position(survey: Survey, item: Any, text: str) -> dict[str, Any]:
    if not text:
        return {"position": None}
    point, storey, room = position_in(survey.dwelling, text, usual_height_m(item.kind))
    return {"position": point, "storey_id": storey, "room_id": room}


def _place_room(survey: Survey, item: Any, text: str) -> dict[str, Any]:
    room = room_named(survey.dwelling, text)
    return {"room_id": room.id, "storey_id": room.storey_id}


def _position(survey: Survey, item: Any, text: str) -> Any:
    return position_in(survey.dwelling, text)[0] if text else None


def _off(survey: Survey, item: Any, text: str) -> tuple[str, ...]:
    groups = {e.group: e.group for e in survey.emitters} | {plain(e.name): e.group for e in survey.emitters}
    wanted = [part.strip() for part in text.split(",") if part.strip()]
    for one in wanted:
        if one not in groups and plain(one) not in groups:
            raise UnknownNameError("transmitter or switch", one, [e.name for e in survey.emitters])
    return tuple(sorted({groups.get(one) or groups[plain(one)] for one in wanted}))


FIELDS: Mapping[str, Mapping[str, tuple[str, Reader]]] = {
    "place": {
        "name": ("name", _name),
        "kind": ("kind", _choice("kind of place", PlaceKind)),
        "position": ("", _place_position),
        "room": ("", _place_room),
        "night": ("night_hours", _hours),
        "day": ("day_hours", _hours),
        "note": ("note", _text),
    },
    "room": {"name": ("name", _name)},
    "transmitter": {
        "name": ("name", _name),
        "technology": ("technology", _technology),
        "frequency": ("frequency_hz", _number("MHz", 1e6)),
        "position": ("position", _position),
        "bearing": ("bearing_deg", _number("degrees from plan north")),
        "eirp": ("eirp_w", _number("mW", 1e-3)),
        "duty": ("duty", _number("per cent", 1e-2)),
        "switch": ("switch_group", _text),
        "control": ("control", _choice("control", Control)),
        "outdoor": ("outdoor", _yes),
        "standing": ("standing", _choice("standing", Standing)),
        "note": ("note", _text),
    },
    "state": {"name": ("name", _name), "off": ("off_groups", _off), "note": ("note", _text)},
    "visit": {
        "started": ("started_at", _text),
        "ended": ("ended_at", _text),
        "assessor": ("assessor", _text),
        "conditions": ("conditions", _text),
        "purpose": ("purpose", _choice("purpose", VisitPurpose)),
        "note": ("note", _text),
    },
}
"""What may be changed by sort: the word for it, the record's field (empty for several), and what reads the text."""

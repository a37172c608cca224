"""Things of the record in one line each, for lists in the terminal."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from roomfield.cli.terminal_numbers import microwatts, tell
from roomfield.show.page_drawings import bounding_box
from roomfield.show.trade_units import MEGAHERTZ, MILLIMETRE, MILLIWATT

if TYPE_CHECKING:
    from roomfield.survey import Survey
    from roomfield.workbench.record.things import Thing


def line_of(survey: Survey, thing: Thing) -> str:
    """What matters about a thing besides its name and id."""
    return _LINES[thing.sort](survey, thing)


def _room_name(survey: Survey, room_id: str) -> str:
    return next((r.name for r in survey.dwelling.rooms if r.id == room_id), "")


def _at(position: tuple[float, float, float] | None, otherwise: str = "no position") -> str:
    return otherwise if position is None else "x {:.2f}, y {:.2f}, z {:.2f} m".format(*position)


def _joined(*parts: str) -> str:
    return ", ".join(tell(part) for part in parts if part)


def _place(survey: Survey, thing: Thing) -> str:
    one = thing.item
    return _joined(str(one.kind.value), _room_name(survey, one.room_id), _at(one.position))


def _room(survey: Survey, thing: Thing) -> str:
    box = bounding_box(thing.item.outline)
    return tell(f"{box.width_m:.2f} x {box.depth_m:.2f} m, from x {box.west_m:.2f}, y {box.south_m:.2f}")


def _storey(survey: Survey, thing: Thing) -> str:
    return tell(f"floor {thing.item.floor_m:.2f} m, ceiling {thing.item.ceiling_m:.2f} m")


def _wall(survey: Survey, thing: Thing) -> str:
    one = thing.item
    layers = " + ".join(f"{MILLIMETRE.shown(layer.thickness_m):g} mm {layer.material}" for layer in one.layers)
    if not hasattr(one, "start"):
        return _joined(f"slab at {one.height_m:.2f} m", layers)
    ends = f"{one.start[0]:.2f}, {one.start[1]:.2f} to {one.end[0]:.2f}, {one.end[1]:.2f}"
    return _joined(ends, layers, f"{len(one.openings)} openings" if one.openings else "")


def _transmitter(survey: Survey, thing: Thing) -> str:
    one = thing.item
    frequency = f"{MEGAHERTZ.shown(one.frequency_hz):g} MHz" if one.frequency_hz else ""
    power = f"{MILLIWATT.shown(one.eirp_w):g} mW" if one.eirp_w else ""
    bearing = f"towards {one.bearing_deg:g}°" if one.bearing_deg is not None else "no position"
    return _joined(one.technology, frequency, power, "outside" if one.outdoor else "", _at(one.position, bearing))


def _state(survey: Survey, thing: Thing) -> str:
    names = {e.group: e.name for e in survey.emitters}
    off = [names.get(group, group) for group in thing.item.off_groups]
    doing = [f"{names.get(a.name, a.name)} {a.activity.value}" for a in thing.item.activities]
    return _joined(thing.visit_id, f"off: {', '.join(off)}" if off else "nothing off", *doing)


def _visit(survey: Survey, thing: Thing) -> str:
    one = thing.item
    count = len(survey.current_readings(one.id))
    return _joined(one.started_at, str(one.purpose.value).replace("_", "-"), f"{count} readings")


def _reading(survey: Survey, thing: Thing) -> str:
    one = thing.item
    place = next((p.name for p in survey.places if p.id == one.place_id), "") or _at(one.position, "")
    state = next((s.name for v in survey.visits for s in v.radio_states
                  if (v.id, s.id) == (one.visit_id, one.radio_state_id)), "")  # fmt: skip
    value = f"{one.kind.value.replace('_', ' ')} {microwatts(one.value_w_m2, one.censoring.value)} µW/m²"
    return _joined(place, value, state, one.taken_at)


def _meter(survey: Survey, thing: Thing) -> str:
    one = thing.item
    return _joined(f"serial {one.serial}" if one.serial else "", f"±{one.tolerance_db:g} dB")


def _person(survey: Survey, thing: Thing) -> str:
    places = {p.id: p.name for p in survey.places}
    stays = [f"{places.get(s.place_id, 'elsewhere')} {s.from_hour:g}-{s.to_hour:g}" for s in thing.item.stays]
    return _joined(*stays)


def _action(survey: Survey, thing: Thing) -> str:
    return tell(str(thing.item.kind.value).replace("_", " "))


_LINES: Mapping[str, Callable[[Survey, Thing], str]] = {
    "place": _place,
    "room": _room,
    "storey": _storey,
    "wall": _wall,
    "transmitter": _transmitter,
    "state": _state,
    "visit": _visit,
    "reading": _reading,
    "meter": _meter,
    "person": _person,
    "action": _action,
}


def plain_thing(thing: Thing) -> dict[str, Any]:
    """A thing as plain values; in SI units."""
    from dataclasses import asdict

    return {"id": thing.id, "name": thing.name, "visit": thing.visit_id} | asdict(thing.item)

"""What can be chosen on a form: names from the reference tables, with words for people."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from roomfield.references.guidelines import guideline_sets
from roomfield.references.limits import jurisdictions
from roomfield.references.materials import materials

NOT_FOR_WALLS = frozenset({"vacuum", "very dry ground", "medium dry ground", "wet ground"})

_TECHNOLOGIES = (
    ("wifi", "Wireless LAN (IEEE 802.11)"),
    ("dect", "Cordless telephone (DECT)"),
    ("bluetooth", "Bluetooth"),
    ("gsm", "Mobile base station, GSM"),
    ("umts", "Mobile base station, UMTS"),
    ("lte", "Mobile base station, LTE"),
    ("nr", "Mobile base station, 5G NR"),
    ("tetra", "Trunked radio (TETRA)"),
    ("dmr", "Digital mobile radio (DMR)"),
    ("broadcast", "Sound or television broadcast"),
    ("radar", "Radar"),
    ("zigbee", "Home automation (IEEE 802.15.4)"),
    ("meter", "Consumption meter with radio"),
    ("microwave_oven", "Microwave oven"),
    ("baby_monitor", "Baby monitor"),
)


@dataclass(frozen=True)
class Choice:
    """One line of a list to choose from.

    Parameters
    ----------
    key : str
        What the record keeps.
    name : str
        What the person reads.
    """

    key: str
    name: str


@cache
def legal_limits() -> tuple[Choice, ...]:
    """Jurisdictions whose legal limits are in the tables."""
    return tuple(Choice(one.code, one.title) for one in jurisdictions())


@cache
def guidelines() -> tuple[Choice, ...]:
    """Precautionary guidelines in their current edition."""
    return tuple(Choice(one.set_id, one.title) for one in guideline_sets())


@cache
def wall_materials() -> tuple[Choice, ...]:
    """Materials that walls, slabs and openings are made of."""
    names = sorted({one.name for one in materials()} - NOT_FOR_WALLS)
    return (*(Choice(name, name) for name in names), Choice("air", "air"))


@cache
def technologies() -> tuple[Choice, ...]:
    """Kinds of transmitter that an emitter on the plan can be."""
    return tuple(Choice(key, name) for key, name in _TECHNOLOGIES)

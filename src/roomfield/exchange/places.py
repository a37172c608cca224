"""Places in a table: found by name and room, or made with the use that their names tell."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from roomfield.exchange.names import none_of_this_name, plain
from roomfield.survey.dwelling import Point3
from roomfield.survey.place import Place, PlaceKind
from roomfield.survey.survey_record import Survey
from roomfield.table_files.cells import CellFault

_TOKEN = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}")
_USES: dict[PlaceKind, str] = {
    PlaceKind.COT: "cot|crib|cradle|gitterbett|kinderbett|babybett|wiege|berceau",
    PlaceKind.BED: "bed|beds|bedside|pillow|mattress|sleep|sleeping|bett|kissen|kopfkissen|kopfende|matratze|schlafen|"
    "schlafplatz|nachttisch|lit|lits|oreiller|matelas|chevet",
    PlaceKind.DESK: "desk|work|working|workplace|schreibtisch|arbeiten|arbeitsplatz|arbeitstisch|bureau",
    PlaceKind.SOFA: "sofa|couch|armchair|sessel|canapé|fauteuil",
    PlaceKind.TABLE: "table|dining|tisch|esstisch|essplatz",
    PlaceKind.PLAY: "play|playing|spielen|spielecke|spielplatz|spielmatte|jeu|jeux",
}
_ENDINGS = {"bett": PlaceKind.BED, "tisch": PlaceKind.TABLE}
"""German joins words: an ``Elternbett`` is a bed."""


def use_told_by(text: str) -> PlaceKind:
    """What people do at a place, from a word for its use or from its name; ``other`` if nothing tells.

    Parameters
    ----------
    text : str
        In English or German.

    >>> use_told_by("Bed, left pillow").value
    'bed'
    """
    words = re.findall(r"\w+", plain(text))
    for kind, known in _USES.items():
        if set(words) & set(known.split("|")):
            return kind
    ended = (kind for word in words for ending, kind in _ENDINGS.items() if word.endswith(ending))
    return next(ended, PlaceKind.OTHER)


@dataclass
class PlaceTable:
    """Places by name and room; makes those that are missing if that was asked for.

    Two beds in two rooms are two places, also if the table calls both of them ``Bed``: a name is never taken
    for one place in two rooms.
    """

    survey: Survey
    make: bool
    made: list[Place] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._rooms = {plain(room.name): room.id for room in self.survey.dwelling.rooms}
        self._storeys = {room.id: room.storey_id for room in self.survey.dwelling.rooms}
        self._by_name: dict[str, list[Place]] = {}
        self._by_id: dict[str, Place] = {}
        self._room_of: dict[str, str] = {}
        for place in self.survey.places:
            self._note(place)

    def find(self, name: str, room: str = "", use: str = "") -> str:
        """The id of the place meant.

        Parameters
        ----------
        name : str
            Name or id, as the table has it.
        room : str
            The room it is in, as the table says; empty if it does not.
        use : str
            What people do there; only looked at if the place is made.

        Raises
        ------
        CellFault
            If there is none and none is to be made, or several.
        """
        found = self._in_room(name, room) if room else ""
        if found:
            return found
        named = [self._by_id[name]] if name in self._by_id else self._named(name)
        if self.make and (room or not named):
            return self._make(name, room, use)
        if len(named) != 1:
            if named:
                raise CellFault(f"there are {len(named)} places of this name; write the id")
            raise none_of_this_name("place", [place.name for place in self._by_id.values()])
        self._refuse_two_rooms(named[0].id, room)
        return named[0].id

    def put(self, place_id: str, position: Point3) -> None:
        """Give a place that was made here the first position that the table reads for it.

        Parameters
        ----------
        place_id : str
            Of the place.
        position : (float, float, float)
            x, y, z on the plan [m].
        """
        place = self._by_id[place_id]
        if place.position is not None or place not in self.made:
            return
        self.made[self.made.index(place)] = self._by_id[place_id] = replace(place, position=position)

    def _note(self, place: Place) -> None:
        self._by_id[place.id] = place
        self._by_name.setdefault(plain(place.name), []).append(place)

    def _named(self, *names: str) -> list[Place]:
        return [place for name in names for place in self._by_name.get(plain(name), ())]

    def _in_room(self, name: str, room: str) -> str:
        room_id = self._rooms.get(plain(room))
        known = [self._by_id[name]] if name in self._by_id else self._named(name)
        same = [p for p in known if room_id and p.room_id == room_id]
        same += self._named(f"{name}, {room}", f"{room}, {name}", f"{room} {name}")
        return same[0].id if len(same) == 1 else ""

    def _make(self, name: str, room: str, use: str) -> str:
        room_id = self._rooms.get(plain(room), "")
        full = name if room_id or not room else f"{name}, {room}"
        place = Place(self._fresh_id(full), full, use_told_by(use or name), room_id, self._storeys.get(room_id, ""))
        self.made.append(place)
        self._note(place)
        return place.id

    def _refuse_two_rooms(self, place_id: str, room: str) -> None:
        before = self._room_of.setdefault(place_id, room)
        if plain(before) != plain(room):
            told = " and ".join(repr(r) if r else "no room" for r in (before, room))
            raise CellFault(f"the table names it in {told}, but the record knows one place of this name")

    def _fresh_id(self, text: str) -> str:
        slug = re.sub(r"[^a-z0-9]+", "-", plain(text)).strip("-")[:40]
        base = text if _TOKEN.fullmatch(text) else slug or "place"
        name, count = base, 1
        while name in self._by_id:
            count += 1
            name = f"{base}-{count}"
        return name


def perhaps_known(survey: Survey, made: Place) -> tuple[str, ...]:
    """Names of places in the record that a new one may be by another name, as ``Bett`` may be the ``Bed``: of the same
    use, in the same room where both have one.

    Parameters
    ----------
    survey : Survey
        The record before the table.
    made : Place
        A place that the table would add.
    """
    if made.kind is PlaceKind.OTHER:
        return ()
    same = (p for p in survey.places if p.kind is made.kind and (not made.room_id or p.room_id in ("", made.room_id)))
    return tuple(place.name for place in same)

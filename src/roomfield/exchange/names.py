"""Names in a table to ids in the record: radio states, meters, kinds, orientations."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

from roomfield.errors import UnknownNameError
from roomfield.quantities.kind import Kind
from roomfield.survey.observation import Orientation, Scan
from roomfield.survey.survey_record import Survey
from roomfield.table_files.cells import CellFault
from roomfield.table_files.kind_words import KIND_WORDS

_ORIENTATIONS = {
    Orientation.BEST_AXIS: "best axis|best|maximum|max|beste achse|beste",
    Orientation.X: "x|x axis|x achse",
    Orientation.Y: "y|y axis|y achse",
    Orientation.Z: "z|z axis|z achse",
    Orientation.THREE_AXIS_SUM: "three axis sum|sum|three axes|xyz|summe|drei achsen",
    Orientation.UNKNOWN: "unknown|unbekannt|?",
}
_SCANS = {
    Scan.HAND_SCAN: "hand scan|scan|hand|schwenken|cube|half metre cube|würfel|halbmeterwürfel",
    Scan.FIXED: "fixed|tripod|static|stativ|fest|spot|stelle|punkt",
    Scan.ROOM: "room|whole room|raum|ganzer raum|zimmer",
}
_AS_FOUND = (
    "as found",
    "everything on",
    "all on",
    "wie vorgefunden",
    "vorgefunden",
    "alles an",
    "tel que trouvé",
    "tout allumé",
)
"""What a table calls the state in which nothing was switched off, in the languages of the program."""
MOST_LISTED = 12
"""Names that a refusal lists."""


def plain(text: str) -> str:
    """A name without what does not matter when names are compared: case, hyphens, spaces."""
    return " ".join(re.sub(r"[_\-–/]", " ", text.casefold()).split())


def _by_word(table: Mapping[object, str]) -> dict[str, object]:
    return {plain(word): meant for meant, words in table.items() for word in words.split("|")}


KINDS: Mapping[str, Kind] = {plain(word): kind for kind, words in KIND_WORDS.items() for word in words}
ORIENTATIONS: Mapping[str, Orientation] = _by_word(_ORIENTATIONS)  # type: ignore[arg-type, assignment]
SCANS: Mapping[str, Scan] = _by_word(_SCANS)  # type: ignore[arg-type, assignment]


def none_of_this_name(kind: str, known: Sequence[str]) -> CellFault:
    """What is raised where a name is nobody's: it lists the names that there are.

    Parameters
    ----------
    kind : str
        What was looked for.
    known : sequence of str
        Names of all that there are.
    """
    listed = ", ".join(known[:MOST_LISTED]) + (", ..." if len(known) > MOST_LISTED else "")
    return CellFault(f"there is no {kind} of this name" + (f" (known: {listed})" if listed else ""))


class NameTable:
    """Finds an id by id or by name.

    Parameters
    ----------
    kind : str
        What the things are, for messages.
    things : iterable of (str, iterable of str)
        Id and names of each.
    """

    def __init__(self, kind: str, things: Iterable[tuple[str, Iterable[str]]]) -> None:
        self._kind = kind
        self._ids: dict[str, str] = {}
        self._shown: list[str] = []
        self._named: dict[str, set[str]] = {}
        for own_id, names in things:
            called = tuple(names)
            self._ids[own_id] = own_id
            self._shown.append(next(filter(None, called), own_id))
            for name in called:
                if plain(name):
                    self._named.setdefault(plain(name), set()).add(own_id)

    def find(self, text: str) -> str:
        """The id of the thing meant.

        Raises
        ------
        CellFault
            If there is none, or several.
        """
        if text in self._ids:
            return text
        found = self._named.get(plain(text), set())
        if len(found) == 1:
            return next(iter(found))
        if found:
            raise CellFault(f"there are {len(found)} {self._kind}s of this name; write the id")
        raise none_of_this_name(self._kind, self._shown)


def meters_of(survey: Survey) -> NameTable:
    """The survey's meters by id, name and serial number."""
    return NameTable("meter", ((m.id, (m.name, m.serial)) for m in survey.meters))


def accessories_of(survey: Survey) -> NameTable:
    """What may stand in front of the survey's meters by id and name."""
    return NameTable("accessory", ((a.id, (a.name,)) for m in survey.meters for a in m.accessories))


def states_of(survey: Survey, visit_id: str) -> NameTable:
    """The radio states of a visit by id and name.

    Raises
    ------
    UnknownNameError
        If there is no such visit.
    """
    visit = next((v for v in survey.visits if v.id == visit_id), None)
    if visit is None:
        raise UnknownNameError("visit", visit_id, [v.id for v in survey.visits])
    nothing_off = [s.id for s in visit.radio_states if not s.off_groups and not s.activities]
    usual = _AS_FOUND if len(nothing_off) == 1 else ()
    return NameTable(
        "radio state",
        ((s.id, {s.name: None, **dict.fromkeys(usual if s.id in nothing_off else ())}) for s in visit.radio_states),
    )

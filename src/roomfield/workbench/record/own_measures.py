"""A user's own measures: what is done, in the client's words, and at what price (`docs/remedy.md`)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from roomfield.errors import RejectedRows, RowFault, UnknownNameError
from roomfield.references.films import loss_films
from roomfield.references.materials import materials
from roomfield.references.own_files import OwnTable, own_stamp, own_tables, refuse_taken
from roomfield.references.table import column, rows_from_mappings
from roomfield.survey import ActionKind

LANGUAGES = ("en", "de", "fr")
ON_AREA = frozenset({ActionKind.SHIELD_SURFACE, ActionKind.CLOSE_OPENING})
"""Kinds of action that cover an area of the plan."""
WITH_SHEET = frozenset({ActionKind.SHIELD_SURFACE, ActionKind.CANOPY})
WITH_REDUCTION = frozenset({ActionKind.REDUCE_POWER, ActionKind.REPLACE_DEVICE})
_SPANS = ("fixed", "per_m2", "per_hour", "hours")
_MOST = 1e5
_MOST_HOURS = 1e3


def _span_end(name: str, most: float = _MOST) -> Any:
    return column(name, low=0.0, high=most, blank=True)


_KIND: Any = column()


@dataclass(frozen=True)
class Measure:
    """One measure of the user's own.

    Parameters
    ----------
    key : str
        Name to give to a command.
    kind : ActionKind
        What is done.
    name_en, name_de, name_fr : str
        What it is called in the work order; empty where no wording is given.
    words_en, words_de, words_fr : str
        What the client reads beside it.
    note_en, note_de, note_fr : str
        What to heed.
    fixed_low, fixed_high : float or None
        Price whatever the size; None if there is no such part.
    per_m2_low, per_m2_high : float or None
        Price of a square metre, overlaps counted [1/m²].
    per_hour_low, per_hour_high : float or None
        Price of an hour of work [1/h].
    hours_low, hours_high : float or None
        Hours of work [h].
    currency : str
        Of all prices; EUR if left out.
    material : str
        What the sheet is made of, a name of the table of materials.
    sheet_db : float or None
        Attenuation of the sheet, as its maker measured it [dB].
    reduction_db : float or None
        Reduction of radiated power [dB].
    """

    key: str = column()
    kind: ActionKind = _KIND
    name_en: str = column("name.en", blank=True)
    name_de: str = column("name.de", blank=True)
    name_fr: str = column("name.fr", blank=True)
    words_en: str = column("words.en", blank=True)
    words_de: str = column("words.de", blank=True)
    words_fr: str = column("words.fr", blank=True)
    note_en: str = column("note.en", blank=True)
    note_de: str = column("note.de", blank=True)
    note_fr: str = column("note.fr", blank=True)
    fixed_low: float | None = _span_end("fixed.low")
    fixed_high: float | None = _span_end("fixed.high")
    per_m2_low: float | None = _span_end("per_m2.low")
    per_m2_high: float | None = _span_end("per_m2.high")
    per_hour_low: float | None = _span_end("per_hour.low")
    per_hour_high: float | None = _span_end("per_hour.high")
    hours_low: float | None = _span_end("hours.low", _MOST_HOURS)
    hours_high: float | None = _span_end("hours.high", _MOST_HOURS)
    currency: str = column(blank=True)
    material: str = column(blank=True)
    sheet_db: float | None = column(low=0.1, high=120.0, blank=True)
    reduction_db: float | None = column(low=0.1, high=120.0, blank=True)

    def span(self, part: str) -> tuple[float, float] | None:
        """Low and high of ``fixed``, ``per_m2``, ``per_hour`` or ``hours``; None if the measure has no such part."""
        low, high = getattr(self, f"{part}_low"), getattr(self, f"{part}_high")
        return None if low is None or high is None else (low, high)

    def name(self, language: str) -> str:
        """What it is called in a language; where that is not given in English, else as the file says it first."""
        return self._told("name", language)

    def remark(self, language: str) -> str:
        """The client's wording and what to heed, in a language as `name`."""
        return " ".join(part for part in (self._told("words", language), self._told("note", language)) if part)

    def price(self, area_m2: float) -> tuple[float, float] | None:
        """Price from low to high: fixed part + price per m² · area + price per hour · hours.

        Parameters
        ----------
        area_m2 : float
            Area to be covered, overlaps counted [m²].

        Returns
        -------
        tuple of (float, float) or None
            None if no price is given, or one per m² for something that covers no area.
        """
        fixed, per_m2, per_hour = self.span("fixed"), self.span("per_m2"), self.span("per_hour")
        if (fixed or per_m2 or per_hour) is None or (per_m2 and area_m2 <= 0.0):
            return None
        parts = [
            (fixed, (1.0, 1.0)),
            (per_m2, (area_m2, area_m2)),
            (per_hour, self.span("hours") or (0.0, 0.0)),
        ]
        low = sum(price[0] * amount[0] for price, amount in parts if price)
        high = sum(price[1] * amount[1] for price, amount in parts if price)
        return round(low, 2), round(high, 2)

    def _told(self, what: str, language: str) -> str:
        given = {one: str(getattr(self, f"{what}_{one}")) for one in LANGUAGES}
        return given.get(language, "") or next((text for text in given.values() if text), "")


def own_measures() -> tuple[Measure, ...]:
    """Every measure of the user's own files, file by file.

    Raises
    ------
    InputError
        If a file cannot be opened.
    FormatError, RejectedRows
        If anything in it is refused.
    """
    return _measures(own_stamp())


def own_measure(key: str) -> Measure:
    """The measure with this key.

    Raises
    ------
    UnknownNameError
        If there is none; names those there are.
    """
    found = {one.key: one for one in own_measures()}
    if key not in found:
        raise UnknownNameError("measure of your own", key, found)
    return found[key]


@lru_cache(maxsize=1)
def _measures(_stamp: object) -> tuple[Measure, ...]:
    tables = own_tables("measure")
    found = tuple(_measure(table) for table in tables)
    refuse_taken(((one.key, table) for one, table in zip(found, tables, strict=True)), (), "key")
    return found


def _measure(table: OwnTable) -> Measure:
    row = dict(_flat(table.row))
    made = rows_from_mappings(Measure, [(table.line, {"currency": "EUR", **row})], where=table.where)[0]
    faults = [RowFault(table.line, name, str(row.get(name, "")), reason) for name, reason in _faults(made)]
    if faults:
        first = faults[0]
        told = f"First: line {first.line}, {first.reason}; value {first.value!r}."
        raise RejectedRows(faults, where=table.where, mend=told)
    return made


def _flat(row: Mapping[str, Any]) -> Iterator[tuple[str, object]]:
    """A row whose inner tables are columns: ``name = {de = ...}`` is ``name.de``."""
    for name, value in row.items():
        if isinstance(value, Mapping):
            yield from ((f"{name}.{inner}", one) for inner, one in value.items())
        else:
            yield name, value


def _faults(made: Measure) -> Iterator[tuple[str, str]]:
    """Column and reason of everything that does not go together."""
    if not made.name(""):
        yield "name", f"name is given in none of {', '.join(LANGUAGES)}"
    for part in _SPANS:
        low, high = getattr(made, f"{part}_low"), getattr(made, f"{part}_high")
        if (low is None) != (high is None):
            yield f"{part}.low", f"{part} needs both low and high"
        elif low is not None and low > high:
            yield f"{part}.low", f"{part}.low is above {part}.high"
    if made.span("per_hour") and not made.span("hours"):
        yield "hours.low", "a price per hour needs hours"
    only = (
        ("per_m2.low", made.per_m2_low is not None, ON_AREA),
        ("material", bool(made.material), WITH_SHEET),
        ("sheet_db", made.sheet_db is not None, WITH_SHEET),
        ("reduction_db", made.reduction_db is not None, WITH_REDUCTION),
    )
    for name, given, kinds in only:
        if given and made.kind not in kinds:
            fitting = ", ".join(sorted(kind.value for kind in kinds))
            yield name, f"{name.removesuffix('.low')} goes only with the kinds {fitting}"
    if made.material and made.material not in {one.name for one in materials()} | {film.name for film in loss_films()}:
        yield "material", "material is in no table of materials"

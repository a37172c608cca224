"""Rows of a table to drafts of readings: names resolved, cells read, numbers still in the column's unit."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from roomfield.errors import RowFault
from roomfield.exchange.names import KINDS, ORIENTATIONS, SCANS, accessories_of, meters_of, plain, states_of
from roomfield.exchange.places import PlaceTable
from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.survey.dwelling import Point3
from roomfield.survey.observation import Orientation, Scan
from roomfield.survey.reading_columns import ReadingColumn
from roomfield.survey.survey_record import Survey
from roomfield.table_files import cells
from roomfield.table_files.cells import Amount, CellFault
from roomfield.table_files.column_guess import shown
from roomfield.table_files.column_mapping import ColumnMapping, MappedColumn
from roomfield.table_files.headings import unit_or_nothing
from roomfield.table_files.reading_scheme import VALUE_COLUMNS
from roomfield.table_files.table_reader import Cell

_SIMPLE = re.compile(r"\d+(?:\.\d+)?").fullmatch
_KIND_OF: dict[StrEnum, Kind] = {
    ReadingColumn.PEAK: Kind.PEAK,
    ReadingColumn.HIGHEST_HELD: Kind.HIGHEST_HELD,
    ReadingColumn.AVERAGE: Kind.AVERAGE,
}


@dataclass(frozen=True)
class ReadingContext:
    """What the table does not say itself.

    Parameters
    ----------
    visit_id : str
        The visit in which everything in the table was read.
    meter_id, radio_state_id : str
        Used where the table has no such column or an empty cell.
    scan_edge_m : float
        Edge of the scanned cube [m].
    utc_offset : str
        Such as ``+01:00``, added to times that carry none.
    make_places : bool
        True to make a place for every name that is not known yet.
    """

    survey: Survey
    visit_id: str
    meter_id: str = ""
    radio_state_id: str = ""
    orientation: Orientation = Orientation.BEST_AXIS
    scan: Scan = Scan.HAND_SCAN
    scan_edge_m: float = 0.5
    utc_offset: str = ""
    make_places: bool = False


@dataclass(frozen=True, slots=True)
class DraftValue:
    """One value of a row, in its own unit."""

    kind: Kind
    amount: Amount
    unit: str
    header: str


@dataclass(frozen=True, slots=True)
class Draft:
    """One row, read."""

    line: int
    place_id: str
    position: Point3 | None
    meter_id: str
    radio_state_id: str
    orientation: Orientation
    scan: Scan
    taken_at: str
    replicate: int | None
    note: str
    flag: Censoring
    values: tuple[DraftValue, ...]
    held: HowHeld


@dataclass(frozen=True, slots=True)
class HowHeld:
    """How the meter was held for a row, as far as the table says: seconds, height [m], distance [m], accessory."""

    watched_s: float | None = None
    height_m: float | None = None
    body_distance_m: float | None = None
    accessory_id: str = ""


class DraftReader:
    """Reads row after row; what is the same in many rows is looked up once.

    Parameters
    ----------
    mapping : ColumnMapping
        Without open questions.
    context : ReadingContext
        What the table does not say.

    Raises
    ------
    UnknownNameError
        If the context names a visit, meter or radio state that does not exist.
    """

    def __init__(self, mapping: ColumnMapping, context: ReadingContext) -> None:
        self.places = PlaceTable(context.survey, context.make_places)
        self.faults: list[RowFault] = []
        self._mapping = mapping
        self._context = context
        if context.meter_id:
            context.survey.meter(context.meter_id)
        if context.radio_state_id:
            context.survey.radio_state(context.visit_id, context.radio_state_id)
        used = [m for m in mapping.columns if m.column is not ReadingColumn.UNUSED]
        self._columns: dict[ReadingColumn, MappedColumn] = {ReadingColumn(m.column): m for m in used}
        self._values = [m for m in mapping.columns if m.column in VALUE_COLUMNS]
        self._notes = [m for m in mapping.columns if m.column is ReadingColumn.NOTE]
        self._known: dict[tuple[ReadingColumn, Cell], tuple[Any, str]] = {}
        self._places: dict[tuple[str, ...], tuple[str, str]] = {}
        meters, states = meters_of(context.survey), states_of(context.survey, context.visit_id)
        self._lookups: dict[ReadingColumn, Callable[[str], Any]] = {
            ReadingColumn.METER: meters.find,
            ReadingColumn.STATE: states.find,
            ReadingColumn.KIND: _word(KINDS, "kind of value: peak, highest held or average"),
            ReadingColumn.ORIENTATION: _word(ORIENTATIONS, "orientation: best axis, x, y, z or sum"),
            ReadingColumn.SCAN: _word(SCANS, "way of scanning: hand scan or fixed"),
            ReadingColumn.UNIT: _unit,
            ReadingColumn.FLAG: _flag,
            ReadingColumn.REPLICATE: _count,
            ReadingColumn.SECONDS: _quantity(_SECONDS, "time such as 45, 45 s or 2 min"),
            ReadingColumn.HEIGHT: _quantity(_METRES, "length such as 1.2, 1.2 m or 120 cm"),
            ReadingColumn.DISTANCE: _quantity(_METRES, "length such as 0.4, 0.4 m or 40 cm"),
            ReadingColumn.ACCESSORY: accessories_of(context.survey).find,
        }
        self._visit_day = next(v.started_at for v in context.survey.visits if v.id == context.visit_id)[:10]

    def read(self, line: int, row: Sequence[Cell]) -> Draft | None:
        """The draft of a row; None if it holds no value or a fault, which is then listed."""
        before = len(self.faults)
        values = self._read_values(line, row)
        if not values and len(self.faults) == before:
            return None
        draft = Draft(
            line=line,
            place_id=self._place(line, row),
            position=self._position(line, row),
            meter_id=self._look_up(ReadingColumn.METER, line, row, self._context.meter_id),
            radio_state_id=self._look_up(ReadingColumn.STATE, line, row, self._context.radio_state_id),
            orientation=self._look_up(ReadingColumn.ORIENTATION, line, row, self._context.orientation),
            scan=self._look_up(ReadingColumn.SCAN, line, row, self._context.scan),
            taken_at=self._moment(line, row),
            replicate=self._look_up(ReadingColumn.REPLICATE, line, row, None),
            note="; ".join(text for m in self._notes if (text := shown(_cell(row, m)))),
            flag=self._look_up(ReadingColumn.FLAG, line, row, Censoring.NONE),
            values=values,
            held=HowHeld(
                self._look_up(ReadingColumn.SECONDS, line, row, None),
                self._look_up(ReadingColumn.HEIGHT, line, row, None),
                self._look_up(ReadingColumn.DISTANCE, line, row, None),
                self._look_up(ReadingColumn.ACCESSORY, line, row, ""),
            ),
        )
        if draft.place_id and draft.position:
            self.places.put(draft.place_id, draft.position)
        self._refuse_incomplete(draft, before)
        return draft if len(self.faults) == before else None

    def _refuse_incomplete(self, draft: Draft, before: int) -> None:
        if len(self.faults) > before:
            return
        missing = [
            (ReadingColumn.PLACE, draft.place_id or draft.position, "neither place nor position"),
            (ReadingColumn.METER, draft.meter_id, "no meter"),
            (ReadingColumn.STATE, draft.radio_state_id, "no radio state"),
        ]
        for column, present, what in missing:
            if not present:
                self._reject(draft.line, column, "", f"there is {what} for this value")

    def _reject(self, line: int, column: ReadingColumn, cell: Cell, reason: str) -> None:
        mapped = self._columns.get(column)
        self.faults.append(RowFault(line, mapped.header if mapped else str(column), shown(cell), reason))

    def _look_up(self, column: ReadingColumn, line: int, row: Sequence[Cell], otherwise: Any) -> Any:
        mapped = self._columns.get(column)
        if mapped is None:
            return otherwise
        cell = _cell(row, mapped)
        known = self._known.get((column, cell))
        if known is None:
            known = self._known[(column, cell)] = self._found(column, shown(cell))
        value, reason = known
        if reason:
            self._reject(line, column, cell, reason)
        return otherwise if value is None else value

    def _found(self, column: ReadingColumn, text: str) -> tuple[Any, str]:
        if not text:
            return None, ""
        try:
            return self._lookups[column](text), ""
        except CellFault as fault:
            return None, str(fault)

    def _place(self, line: int, row: Sequence[Cell]) -> str:
        written = tuple(
            shown(_cell(row, mapped)) if (mapped := self._columns.get(column)) else ""
            for column in (ReadingColumn.PLACE, ReadingColumn.ROOM, ReadingColumn.USE)
        )
        known = self._places.get(written)
        if known is None:
            known = self._places[written] = self._found_place(*written)
        place_id, reason = known
        if reason:
            self._reject(line, ReadingColumn.PLACE, written[0], reason)
        return place_id

    def _found_place(self, name: str, room: str, use: str) -> tuple[str, str]:
        try:
            return (self.places.find(name, room, use) if name else ""), ""
        except CellFault as fault:
            return "", str(fault)

    def _read_values(self, line: int, row: Sequence[Cell]) -> tuple[DraftValue, ...]:
        found = []
        for mapped in self._values:
            cell = _cell(row, mapped)
            if cell == "":
                continue
            try:
                amount = self._amount(cell)
                if amount is None:
                    continue
                unit = self._unit_of(mapped, line, row)
                if amount.number is not None and amount.number < 0 and not unit.startswith("dB"):
                    raise CellFault("a level cannot be negative")
                kind = _KIND_OF.get(mapped.column) or self._kind(line, row)
                if kind is not None and unit:
                    found.append(DraftValue(kind, amount, unit, mapped.header))
            except CellFault as fault:
                self.faults.append(RowFault(line, mapped.header, shown(cell), str(fault)))
        return tuple(found)

    def _amount(self, cell: Cell) -> Amount | None:
        if self._mapping.decimal == "." and isinstance(cell, str) and _SIMPLE(cell):
            return Amount(float(cell))
        return cells.amount(cell, self._mapping.decimal, self._mapping.grouped)

    def _unit_of(self, mapped: MappedColumn, line: int, row: Sequence[Cell]) -> str:
        own = str(self._look_up(ReadingColumn.UNIT, line, row, ""))
        if own and mapped.unit and own != mapped.unit:
            raise CellFault(f"the row says {own} and the header {mapped.unit}")
        if not own and not mapped.unit:
            raise CellFault("there is no unit for this value")
        return own or mapped.unit

    def _kind(self, line: int, row: Sequence[Cell]) -> Kind | None:
        kind: Kind | None = self._look_up(ReadingColumn.KIND, line, row, None)
        mapped = self._columns[ReadingColumn.KIND]
        if kind is None and not shown(_cell(row, mapped)):
            raise CellFault("it is not said whether this is peak, highest held or average")
        return kind

    def _position(self, line: int, row: Sequence[Cell]) -> Point3 | None:
        present = [
            (axis, m) for axis in (ReadingColumn.X, ReadingColumn.Y, ReadingColumn.Z) if (m := self._columns.get(axis))
        ]
        given = [(axis, _cell(row, m)) for axis, m in present if shown(_cell(row, m))]
        if not given:
            return None
        if len(given) < 3:
            self._reject(line, given[0][0], given[0][1], "a position needs x, y and z")
            return None
        point: list[float] = []
        for axis, cell in given:
            try:
                typed = isinstance(cell, (int, float)) and not isinstance(cell, bool)
                sign, grouped = self._mapping.decimal, self._mapping.grouped
                point.append(float(cell) if typed else cells.number(str(cell), sign, grouped))
            except CellFault as fault:
                self._reject(line, axis, cell, str(fault))
        return (point[0], point[1], point[2]) if len(point) == 3 else None

    def _moment(self, line: int, row: Sequence[Cell]) -> str:
        for column, read in ((ReadingColumn.MOMENT, self._read_moment), (ReadingColumn.TIME, self._read_time)):
            mapped = self._columns.get(column)
            if mapped is not None and shown(_cell(row, mapped)):
                return self._try(column, line, row, read)
        return self._try(ReadingColumn.DATE, line, row, self._read_day)

    def _try(self, column: ReadingColumn, line: int, row: Sequence[Cell], read: Callable[[Cell, str], str]) -> str:
        mapped = self._columns.get(column)
        if mapped is None or not shown(_cell(row, mapped)):
            return ""
        cell = _cell(row, mapped)
        try:
            text = read(cell, self._day_text(line, row) if column is ReadingColumn.TIME else "")
        except CellFault as fault:
            self._reject(line, column, cell, str(fault))
            return ""
        has_clock = "T" in text
        has_offset = has_clock and (text.endswith("Z") or "+" in text or "-" in text.partition("T")[2])
        return text + self._context.utc_offset if has_clock and not has_offset else text

    def _day_text(self, line: int, row: Sequence[Cell]) -> str:
        return self._try(ReadingColumn.DATE, line, row, self._read_day) or self._visit_day

    def _read_moment(self, cell: Cell, _day: str) -> str:
        return cells.moment(cell, self._mapping.date_order)

    def _read_day(self, cell: Cell, _day: str) -> str:
        return cells.day(cell, self._mapping.date_order)

    def _read_time(self, cell: Cell, day: str) -> str:
        return f"{day}T{cells.clock(cell)}"


def _cell(row: Sequence[Cell], mapped: MappedColumn) -> Cell:
    return row[mapped.index] if mapped.index < len(row) else ""


def _word(table: Any, what: str) -> Callable[[str], Any]:
    def find(text: str) -> Any:
        if plain(text) not in table:
            raise CellFault(f"not a {what}")
        return table[plain(text)]

    return find


def _unit(text: str) -> str:
    unit = unit_or_nothing(text)
    if not unit:
        raise CellFault("not a unit of power density or field strength")
    return unit


def _flag(text: str) -> Censoring:
    found = Censoring.NONE
    for part in re.split(r"[\s;,/|]+", text.casefold()):
        if part in cells.FLOOR_WORDS or part == "<":
            found = Censoring.BELOW if found is Censoring.NONE else found
        elif part in cells.OVERLOAD_WORDS or part == ">":
            found = Censoring.ABOVE
        elif part not in cells.NO_WORDS:
            raise CellFault("not a flag: FLOOR for below the floor, OL for overload")
    return found


_SECONDS = {"": 1.0, "s": 1.0, "sec": 1.0, "sek": 1.0, "min": 60.0, "h": 3600.0}
_METRES = {"": 1.0, "m": 1.0, "cm": 0.01}


def _quantity(factors: Mapping[str, float], what: str) -> Callable[[str], float]:
    def read(text: str) -> float:
        parts = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*([a-z]*)\.?", text.strip().casefold())
        if parts is None or parts[2] not in factors:
            raise CellFault(f"not a {what}")
        return float(parts[1].replace(",", ".")) * factors[parts[2]]

    return read


def _count(text: str) -> int:
    if not re.fullmatch(r"\d{1,6}", text):
        raise CellFault("not a count")
    return int(text)

"""Bearings from CSV and XLSX: columns guessed and confirmed, bearings and every rejected row out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from roomfield.errors import RejectedRows, RowFault
from roomfield.exchange.drafts import ReadingContext
from roomfield.exchange.names import NameTable, meters_of, plain, states_of
from roomfield.exchange.places import PlaceTable
from roomfield.quantities.convert import density_from_unit
from roomfield.survey.dwelling import Point3
from roomfield.survey.observation import Bearing, Origin
from roomfield.table_files.cells import CellFault, number
from roomfield.table_files.column_guess import is_empty, shown
from roomfield.table_files.column_mapping import ColumnMapping, ColumnScheme, confirmed_table
from roomfield.table_files.headings import plain_heading
from roomfield.table_files.table_reader import Cell

T = TypeVar("T")
USUAL_STD_DEG = 12.0
"""Standard uncertainty of an axis where the table names none [deg]; as in the record."""
USUAL_UNIT = "uW/m2"
HIGHEST_W_M2 = 1e6


class BearingColumn(StrEnum):
    """What a column of a table of bearings holds."""

    PLACE = "place"
    X = "x"
    Y = "y"
    Z = "z"
    BEARING = "bearing"
    KIND = "kind"
    STRONGEST = "strongest"
    NULL = "null"
    STD = "std"
    LEVEL = "level"
    SOURCE = "source"
    FREQUENCY = "frequency"
    STATE = "state"
    METER = "meter"
    NOTE = "note"
    UNUSED = "unused"


_WORDS = {
    BearingColumn.PLACE: "place|location|spot|point|measuring point|platz|ort|messpunkt|messort",
    BearingColumn.X: "x|x m",
    BearingColumn.Y: "y|y m",
    BearingColumn.Z: "z|z m|height|höhe",
    BearingColumn.BEARING: "bearing|direction|azimuth|axis|angle|peilung|richtung|azimut|achse|winkel",
    BearingColumn.KIND: "kind|type|peak or null|peak null|strongest or null|art|spitze oder null|spitze null",
    BearingColumn.STRONGEST: "strongest|peak|maximum|max|peak bearing|bearing of peak|stärkste|spitze",
    BearingColumn.NULL: "null|minimum|min|weakest|null bearing|bearing of null|nullstelle|schwächste",
    BearingColumn.STD: "std|uncertainty|plus minus|unsicherheit|streuung",
    BearingColumn.LEVEL: "level|power density|shown|density|pegel|leistungsflussdichte|anzeige",
    BearingColumn.SOURCE: "source|transmitter|emitter|quelle|sender",
    BearingColumn.FREQUENCY: "frequency|f|frequenz",
    BearingColumn.STATE: "state|radio state|zustand|funkzustand",
    BearingColumn.METER: "meter|instrument|messgerät|gerät",
    BearingColumn.NOTE: "note|notes|remark|comment|bemerkung|notiz",
}
_PEAK_WORDS = frozenset(["peak", "strongest", "maximum", "max", "spitze", "stärkste", "hauptachse"])
_NULL_WORDS = frozenset(["null", "minimum", "min", "weakest", "nullstelle", "schwächste"])
_AXES = (BearingColumn.BEARING, BearingColumn.STRONGEST, BearingColumn.NULL)


def _questions(mapping: ColumnMapping) -> Iterator[str]:
    if all(mapping.first(axis) is None for axis in _AXES):
        yield "no column was recognised that holds bearings in degrees: which one is it?"
    if mapping.first(BearingColumn.BEARING) is not None and mapping.first(BearingColumn.KIND) is None:
        yield "no column says whether a bearing is of the peak or of the null: which one is it?"
    if mapping.first(BearingColumn.PLACE) is None and mapping.first(BearingColumn.X) is None:
        yield "no column names the place: which one is it?"
    for mapped in mapping.columns:
        if mapped.unknown_unit and mapped.column is BearingColumn.LEVEL:
            yield f"column {mapped.header!r} has the unknown unit {mapped.unknown_unit!r}: which one is it?"


BEARINGS = ColumnScheme(
    meanings=BearingColumn,
    words={plain_heading(word): column for column, words in _WORDS.items() for word in words.split("|")},
    values=frozenset({BearingColumn.LEVEL}),
    any_value=BearingColumn.LEVEL,
    sure_of_headings=frozenset(),
    numbers=frozenset(
        {*_AXES, BearingColumn.X, BearingColumn.Y, BearingColumn.Z, BearingColumn.STD, BearingColumn.LEVEL,
         BearingColumn.FREQUENCY}
    ),
    dated=frozenset(),
    many=frozenset({BearingColumn.NOTE}),
    open_questions=_questions,
    remarks=("degrees: clockwise from plan north; an axis, so 10 and 190 are one",),
)  # fmt: skip


@dataclass(frozen=True)
class BearingPlan:
    """What an import would add; nothing has been stored yet.

    Parameters
    ----------
    faults : tuple of RowFault
        Rejected rows; empty unless the rest was accepted in spite of them.
    """

    mapping: ColumnMapping
    bearings: tuple[Bearing, ...]
    faults: tuple[RowFault, ...] = ()


def import_bearings(
    path: Path,
    mapping: ColumnMapping,
    context: ReadingContext,
    *,
    confirmed: bool,
    accept_rest: bool = False,
) -> BearingPlan:
    """Read a table of bearings: all of it, or nothing.

    Parameters
    ----------
    mapping : ColumnMapping
        From `guess_columns` of the same file with `BEARINGS`.
    context : ReadingContext
        What the table does not say; no place is made.
    confirmed : bool
        True once the user has seen the mapping and agreed.
    accept_rest : bool
        True to take the good rows although others are rejected.

    Raises
    ------
    TooEarlyError
        If the mapping was not confirmed.
    InputError
        If a question is open, or the file is another one.
    RejectedRows
        With every faulty row.
    """
    table = confirmed_table(path, mapping, confirmed=confirmed)
    reader = _Reader(mapping, context)
    found = []
    for line, row in zip(table.lines, table.rows, strict=True):
        if line > mapping.header_line and not is_empty(row):
            made = reader.read(line, row)
            if made is not None:
                found.append(made)
    if reader.faults and not accept_rest:
        raise RejectedRows(reader.faults, where=path.name, mend="Correct these rows, or take only the rest.")
    return BearingPlan(mapping, tuple(found), tuple(reader.faults))


class _Reader:
    """Rows to bearings; what cannot be read becomes a fault."""

    def __init__(self, mapping: ColumnMapping, context: ReadingContext) -> None:
        self.faults: list[RowFault] = []
        self._mapping, self._context = mapping, context
        survey = context.survey
        self._places = PlaceTable(survey, make=False)
        self._sources = NameTable("transmitter", ((e.id, (e.name,)) for e in survey.emitters))
        self._states, self._meters = states_of(survey, context.visit_id), meters_of(survey)

    def read(self, line: int, row: Sequence[Cell]) -> Bearing | None:
        """The bearing of a row; None with a fault listed."""
        before = len(self.faults)
        strongest, null = self._axes(line, row)
        kind_is_null = strongest is None
        level = self._number(line, row, BearingColumn.LEVEL, self._density)
        bearing = Bearing(
            f"bearing-{self._mapping.sha256[:12]}-{line}",
            self._context.visit_id,
            self._try(line, row, BearingColumn.METER, self._meters.find) or self._context.meter_id,
            self._try(line, row, BearingColumn.STATE, self._states.find) or self._context.radio_state_id,
            self._position(line, row),
            strongest,
            null,
            self._number(line, row, BearingColumn.STD, _uncertainty) or USUAL_STD_DEG,
            None if kind_is_null else level,
            level if kind_is_null else None,
            "",
            self._note(line, row),
            Origin(self._mapping.file_name, self._mapping.sha256, line),
        )
        for column, given in ((BearingColumn.METER, bearing.meter_id), (BearingColumn.STATE, bearing.radio_state_id)):
            if not given and len(self.faults) == before:
                self._fault(line, column, "", f"there is no {column} for this bearing")
        return bearing if len(self.faults) == before else None

    def _axes(self, line: int, row: Sequence[Cell]) -> tuple[float | None, float | None]:
        before = len(self.faults)
        strongest = self._number(line, row, BearingColumn.STRONGEST, _degrees)
        null = self._number(line, row, BearingColumn.NULL, _degrees)
        one = self._number(line, row, BearingColumn.BEARING, _degrees)
        if one is not None:
            kind = self._try(line, row, BearingColumn.KIND, _is_null)
            if kind is None and len(self.faults) == before:
                self._fault(line, BearingColumn.KIND, "", "it is not said whether this is the peak or the null")
            strongest, null = (strongest, one) if kind else (one, null)
        if strongest is None and null is None and len(self.faults) == before:
            self._fault(line, BearingColumn.BEARING, "", "there is no bearing in this row")
        return strongest, null

    def _position(self, line: int, row: Sequence[Cell]) -> Point3:
        point = [self._number(line, row, axis, _metres) for axis in (BearingColumn.X, BearingColumn.Y, BearingColumn.Z)]
        x, y, z = point
        if x is not None and y is not None and z is not None:
            return x, y, z
        if any(value is not None for value in point):
            self._fault(line, BearingColumn.X, "", "a position needs x, y and z")
            return 0.0, 0.0, 0.0
        before = len(self.faults)
        place_id = self._try(line, row, BearingColumn.PLACE, self._places.find)
        position = self._context.survey.place(place_id).position if place_id else None
        if position is None and len(self.faults) == before:
            written = shown(self._cell(row, BearingColumn.PLACE))
            reason = "the place has no position on the plan yet" if place_id else "neither place nor position"
            self._fault(line, BearingColumn.PLACE, written, reason)
        return position or (0.0, 0.0, 0.0)

    def _note(self, line: int, row: Sequence[Cell]) -> str:
        """Remarks, with the source or frequency that the bearing was taken of."""
        source = self._try(line, row, BearingColumn.SOURCE, self._sources.find)
        frequency = self._number(line, row, BearingColumn.FREQUENCY, _megahertz)
        parts = [self._context.survey.emitter(source).name] if source else []
        parts += [f"{frequency:g} MHz"] if frequency else []
        remarks = (shown(row[c.index]) for c in self._mapping.columns
                   if c.column is BearingColumn.NOTE and c.index < len(row))  # fmt: skip
        return "; ".join([*parts, *(text for text in remarks if text)])

    def _cell(self, row: Sequence[Cell], column: BearingColumn) -> Cell:
        mapped = self._mapping.first(column)
        return row[mapped.index] if mapped is not None and mapped.index < len(row) else ""

    def _try(self, line: int, row: Sequence[Cell], column: BearingColumn, read: Callable[[str], T]) -> T | None:
        text = shown(self._cell(row, column))
        if not text or text in ("-", "–"):
            return None
        try:
            return read(text)
        except CellFault as fault:
            self._fault(line, column, text, str(fault))
            return None

    def _number(
        self, line: int, row: Sequence[Cell], column: BearingColumn, checked: Callable[[float], float]
    ) -> float | None:
        """A number with its sign for plus-minus or its unit left off; None if the cell is empty or was refused."""
        cell = self._cell(row, column)
        typed = isinstance(cell, (int, float)) and not isinstance(cell, bool)

        def read(text: str) -> float:
            bare = text.lstrip("±").casefold().removesuffix("mhz").removesuffix("°").strip()
            sign, grouped = (".", False) if typed else (self._mapping.decimal, self._mapping.grouped)
            return checked(number(bare, sign, grouped))

        return self._try(line, row, column, read)

    def _density(self, value: float) -> float:
        """Power density [W/m²] of a level in the unit of its column; µW/m² where the heading names none."""
        mapped = self._mapping.first(BearingColumn.LEVEL)
        density = float(density_from_unit(value, (mapped.unit if mapped else "") or USUAL_UNIT))
        if not 0.0 < density < HIGHEST_W_M2:
            raise CellFault("not a level above 0 and below 1 MW/m²")
        return density

    def _fault(self, line: int, column: BearingColumn, text: str, reason: str) -> None:
        mapped = self._mapping.first(column)
        header = mapped.header if mapped is not None else str(column)
        self.faults.append(RowFault(line, header, text, reason))


def _degrees(value: float) -> float:
    if not -180.0 <= value <= 360.0:
        raise CellFault("not a bearing from -180 to 360 degrees")
    return value % 180.0


def _uncertainty(value: float) -> float:
    if not 0.0 < value <= 60.0:
        raise CellFault("not an uncertainty over 0 and up to 60 degrees")
    return value


def _megahertz(value: float) -> float:
    if not 0.0 < value < 3e5:
        raise CellFault("not a frequency in MHz")
    return value


def _metres(value: float) -> float:
    return value


def _is_null(text: str) -> bool:
    word = plain(text)
    if word in _PEAK_WORDS:
        return False
    if word in _NULL_WORDS:
        return True
    raise CellFault("neither peak nor null")

"""Bearings from CSV and XLSX: columns guessed and confirmed, bearings and every rejected row out."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from roomfield.errors import FormatError, InputError, RejectedRows, RowFault, TooEarlyError, UnknownNameError
from roomfield.exchange import cells
from roomfield.exchange.cells import CellFault
from roomfield.exchange.column_guess import is_empty, shown
from roomfield.exchange.drafts import ReadingContext
from roomfield.exchange.names import NameTable, meters_of, plain, states_of
from roomfield.exchange.places import PlaceTable
from roomfield.exchange.table_reader import Cell, RawTable, read_table
from roomfield.survey.dwelling import Point3
from roomfield.survey.observation import Bearing, Origin

T = TypeVar("T")
USUAL_STD_DEG = 12.0
"""Standard uncertainty of an axis where the table names none [deg]; as in the record."""
_MICRO = 1e-6
_FIRST_LINES = 40
_BRACKETED = re.compile(r"[\[(].*?[\])]")


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
_KNOWN = {word: column for column, words in _WORDS.items() for word in words.split("|")}
_PEAK_WORDS = frozenset(["peak", "strongest", "maximum", "max", "spitze", "stärkste", "hauptachse"])
_NULL_WORDS = frozenset(["null", "minimum", "min", "weakest", "nullstelle", "schwächste"])
_AXES = (BearingColumn.BEARING, BearingColumn.STRONGEST, BearingColumn.NULL)


@dataclass(frozen=True)
class BearingMapping:
    """How a table of bearings is to be read.

    Parameters
    ----------
    columns : tuple of (str, BearingColumn)
        Header and meaning of each column, in the order of the file.
    header_line, rows : int
        Line of the headers, and rows below it.
    """

    file_name: str
    sha256: str
    columns: tuple[tuple[str, BearingColumn], ...]
    header_line: int
    rows: int

    def index(self, column: BearingColumn) -> int | None:
        """Position of a column; None if there is none."""
        return next((n for n, (_, meant) in enumerate(self.columns) if meant is column), None)

    def with_column(self, header: str, column: str) -> BearingMapping:
        """The mapping with one column taken as something else.

        Raises
        ------
        UnknownNameError
            If there is no such header or meaning.
        """
        headers = [name for name, _ in self.columns]
        if header not in headers:
            raise UnknownNameError("column", header, headers, where=self.file_name)
        if column not in set(BearingColumn):
            raise UnknownNameError("meaning of a column", column, [str(c) for c in BearingColumn])
        wanted = BearingColumn(column)
        return replace(self, columns=tuple((n, wanted if n == header else c) for n, c in self.columns))

    def questions(self) -> tuple[str, ...]:
        """What is open and must be settled before anything can be imported."""
        return tuple(self._questions())

    def _questions(self) -> Iterator[str]:
        if all(self.index(axis) is None for axis in _AXES):
            yield "no column was recognised that holds bearings in degrees: which one is it?"
        if self.index(BearingColumn.BEARING) is not None and self.index(BearingColumn.KIND) is None:
            yield "no column says whether a bearing is of the peak or of the null: which one is it?"
        if self.index(BearingColumn.PLACE) is None and self.index(BearingColumn.X) is None:
            yield "no column names the place: which one is it?"
        for column in BearingColumn:
            headers = [name for name, meant in self.columns if meant is column]
            if len(headers) > 1 and column not in (BearingColumn.UNUSED, BearingColumn.NOTE):
                yield f"{len(headers)} columns are taken as {column} ({', '.join(headers)}): which one is it?"

    def describe(self) -> str:
        """The mapping in words, one line for each thing."""
        rows = "1 row" if self.rows == 1 else f"{self.rows} rows"
        lines = [f"{self.file_name}: {rows} below the headers in line {self.header_line}"]
        lines += [f"  column {n + 1} {name!r}: {meant}" for n, (name, meant) in enumerate(self.columns)]
        lines.append("  degrees: clockwise from plan north; an axis, so 10 and 190 are one")
        return "\n".join([*lines, *(f"  open: {question}" for question in self.questions())])


@dataclass(frozen=True)
class BearingPlan:
    """What an import would add; nothing has been stored yet.

    Parameters
    ----------
    faults : tuple of RowFault
        Rejected rows; empty unless the rest was accepted in spite of them.
    """

    mapping: BearingMapping
    bearings: tuple[Bearing, ...]
    faults: tuple[RowFault, ...] = ()


def guess_bearings(path: Path) -> BearingMapping:
    """How a table of bearings is most likely to be read, to be shown and confirmed.

    Parameters
    ----------
    path : Path
        CSV or XLSX.

    Raises
    ------
    InputError, FormatError
        If the file cannot be read, or holds no table.
    """
    return _mapping(read_table(path))


def _mapping(table: RawTable) -> BearingMapping:
    filled = [n for n, row in enumerate(table.rows[:_FIRST_LINES]) if not is_empty(row)]
    if not filled:
        raise FormatError("it holds no table.", where=table.file_name, mend="Give a file with a line of headers.")
    named = (n for n in filled if len({_meaning(shown(c)) for c in table.rows[n]} - {BearingColumn.UNUSED}) > 1)
    at = next(named, filled[0])
    texts = [shown(cell) for cell in table.rows[at]]
    headers = [text if text and texts.count(text) == 1 else f"{text} (column {n + 1})".strip()
               for n, text in enumerate(texts)]  # fmt: skip
    columns = [_meaning(text) for text in texts]
    rows = sum(1 for row in table.rows[at + 1 :] if not is_empty(row))
    pairs = tuple(zip(headers, columns, strict=True))
    return BearingMapping(table.file_name, table.sha256, pairs, table.lines[at], rows)


def _meaning(header: str) -> BearingColumn:
    name = plain(_BRACKETED.sub("", header))
    for unit in (" deg", " °", "°", " mhz", " µw/m²", " grad"):
        name = name.removesuffix(unit)
    return _KNOWN.get(name.strip(), BearingColumn.UNUSED)


def import_bearings(
    path: Path,
    mapping: BearingMapping,
    context: ReadingContext,
    *,
    confirmed: bool,
    accept_rest: bool = False,
) -> BearingPlan:
    """Read a table of bearings: all of it, or nothing.

    Parameters
    ----------
    mapping : BearingMapping
        From `guess_bearings` of the same file.
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
    for question in mapping.questions():
        raise InputError(question, where=mapping.file_name, mend="Settle it in the column mapping.")
    if not confirmed:
        raise TooEarlyError("the columns have not been confirmed.", where=path.name, mend="Look at the mapping first.")
    table = read_table(path)
    if table.sha256 != mapping.sha256:
        raise InputError("the file is not the one that the mapping was made from.", where=path.name, mend="Look again.")
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

    def __init__(self, mapping: BearingMapping, context: ReadingContext) -> None:
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
        level = self._try(line, row, BearingColumn.LEVEL, _density)
        bearing = Bearing(
            f"bearing-{self._mapping.sha256[:12]}-{line}",
            self._context.visit_id,
            self._try(line, row, BearingColumn.METER, self._meters.find) or self._context.meter_id,
            self._try(line, row, BearingColumn.STATE, self._states.find) or self._context.radio_state_id,
            self._position(line, row),
            strongest,
            null,
            self._try(line, row, BearingColumn.STD, _uncertainty) or USUAL_STD_DEG,
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
        strongest = self._try(line, row, BearingColumn.STRONGEST, _degrees)
        null = self._try(line, row, BearingColumn.NULL, _degrees)
        one = self._try(line, row, BearingColumn.BEARING, _degrees)
        if one is not None:
            kind = self._try(line, row, BearingColumn.KIND, _is_null)
            if kind is None and len(self.faults) == before:
                self._fault(line, BearingColumn.KIND, "", "it is not said whether this is the peak or the null")
            strongest, null = (strongest, one) if kind else (one, null)
        if strongest is None and null is None and len(self.faults) == before:
            self._fault(line, BearingColumn.BEARING, "", "there is no bearing in this row")
        return strongest, null

    def _position(self, line: int, row: Sequence[Cell]) -> Point3:
        point = [self._try(line, row, axis, _metres) for axis in (BearingColumn.X, BearingColumn.Y, BearingColumn.Z)]
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
        frequency = self._try(line, row, BearingColumn.FREQUENCY, _megahertz)
        parts = [self._context.survey.emitter(source).name] if source else []
        parts += [f"{frequency:g} MHz"] if frequency else []
        remarks = (shown(row[n]) for n, (_, c) in enumerate(self._mapping.columns)
                   if c is BearingColumn.NOTE and n < len(row))  # fmt: skip
        return "; ".join([*parts, *(text for text in remarks if text)])

    def _cell(self, row: Sequence[Cell], column: BearingColumn) -> Cell:
        index = self._mapping.index(column)
        return row[index] if index is not None and index < len(row) else ""

    def _try(self, line: int, row: Sequence[Cell], column: BearingColumn, read: Callable[[str], T]) -> T | None:
        text = shown(self._cell(row, column))
        if not text or text in ("-", "–"):
            return None
        try:
            return read(text)
        except CellFault as fault:
            self._fault(line, column, text, str(fault))
            return None

    def _fault(self, line: int, column: BearingColumn, text: str, reason: str) -> None:
        index = self._mapping.index(column)
        header = self._mapping.columns[index][0] if index is not None else str(column)
        self.faults.append(RowFault(line, header, text, reason))


def _number(text: str) -> float:
    """A number; a comma is its decimal sign unless a point stands there too."""
    bare = text.removesuffix("°").strip()
    return cells.number(bare, "," if "," in bare and "." not in bare else ".", grouped=False)


def _degrees(text: str) -> float:
    value = _number(text)
    if not -180.0 <= value <= 360.0:
        raise CellFault("not a bearing from -180 to 360 degrees")
    return value % 180.0


def _uncertainty(text: str) -> float:
    value = _number(text.lstrip("±").strip())
    if not 0.0 < value <= 60.0:
        raise CellFault("not an uncertainty over 0 and up to 60 degrees")
    return value


def _density(text: str) -> float:
    value = _number(text)
    if not 0.0 < value < 1e12:
        raise CellFault("not a level above 0 µW/m²")
    return value * _MICRO


def _megahertz(text: str) -> float:
    value = _number(text.lower().removesuffix("mhz"))
    if not 0.0 < value < 3e5:
        raise CellFault("not a frequency in MHz")
    return value


def _metres(text: str) -> float:
    return _number(text)


def _is_null(text: str) -> bool:
    word = plain(text)
    if word in _PEAK_WORDS:
        return False
    if word in _NULL_WORDS:
        return True
    raise CellFault("neither peak nor null")

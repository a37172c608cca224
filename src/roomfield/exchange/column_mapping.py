"""How a table of readings is to be read: guessed from the file, shown to the user, and confirmed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from roomfield.errors import InputError, UnknownNameError
from roomfield.exchange.cells import DATE_ORDERS, order_in_words
from roomfield.exchange.headers import VALUE_COLUMNS, unit_or_nothing
from roomfield.quantities.convert import DENSITY_UNITS
from roomfield.survey.reading_columns import ReadingColumn

_ONCE = frozenset(ReadingColumn) - VALUE_COLUMNS - {ReadingColumn.UNUSED, ReadingColumn.NOTE}
_DATED = frozenset({ReadingColumn.DATE, ReadingColumn.MOMENT})


@dataclass(frozen=True)
class MappedColumn:
    """One column of the file and what it is taken to be.

    Parameters
    ----------
    index : int
        Position in the file, 0 for the first.
    unit : str
        Unit of its numbers; empty if it has none or it is not known.
    because : str
        From what this was concluded.
    example : str
        Its first cells that are not empty.
    """

    index: int
    header: str
    column: ReadingColumn
    unit: str = ""
    because: str = ""
    example: str = ""
    unknown_unit: str = ""


@dataclass(frozen=True)
class ColumnMapping:
    """Everything that must be known to read a table of readings.

    Parameters
    ----------
    header_line : int
        Line of the file that holds the headers.
    rows : int
        Rows below it.
    decimal : str
        Decimal sign of numbers in text cells; empty if that is open.
    grouped : bool
        True if the other sign groups thousands.
    decimal_because : str
        From what the decimal sign was concluded.
    date_order : str
        ``ymd``, ``dmy`` or ``mdy``; empty if there is no date or the order is open.
    date_because : str
        From what the order was concluded.
    """

    file_name: str
    sha256: str
    header_line: int
    rows: int
    columns: tuple[MappedColumn, ...]
    encoding: str = ""
    separator: str = ""
    sheet: str = ""
    other_sheets: tuple[str, ...] = ()
    decimal: str = "."
    grouped: bool = False
    decimal_because: str = ""
    date_order: str = ""
    date_because: str = ""

    def first(self, column: ReadingColumn) -> MappedColumn | None:
        """The column of the file that holds this; None if there is none."""
        return next((mapped for mapped in self.columns if mapped.column is column), None)

    def with_column(self, header: str, column: ReadingColumn | str, unit: str | None = None) -> ColumnMapping:
        """The mapping with one column taken as something else.

        Parameters
        ----------
        header : str
            As it stands in the file.
        column : Column or str
            What it is; ``unused`` to leave it out.
        unit : str, optional
            Unit of its numbers; kept if left out.

        Raises
        ------
        UnknownNameError
            If there is no such header, column or unit.
        """
        if header not in {mapped.header for mapped in self.columns}:
            raise UnknownNameError("column", header, [m.header for m in self.columns], where=self.file_name)
        if column not in set(ReadingColumn):
            raise UnknownNameError("meaning of a column", str(column), [str(c) for c in ReadingColumn])
        if unit and not unit_or_nothing(unit):
            raise UnknownNameError("unit", unit, DENSITY_UNITS)
        wanted = ReadingColumn(column)
        changed = tuple(
            replace(
                mapped,
                column=wanted,
                unit=mapped.unit if unit is None else unit_or_nothing(unit),
                unknown_unit=mapped.unknown_unit if unit is None else "",
                because="chosen by you",
            )
            if mapped.header == header
            else mapped
            for mapped in self.columns
        )
        return replace(self, columns=changed)

    def with_dates(self, order: str) -> ColumnMapping:
        """The mapping with the order of day, month and year settled: ``ymd``, ``dmy`` or ``mdy``."""
        if order not in DATE_ORDERS:
            raise UnknownNameError("order of a date", order, DATE_ORDERS)
        return replace(self, date_order=order, date_because="chosen by you")

    def with_decimal(self, sign: str, *, grouped: bool = False) -> ColumnMapping:
        """The mapping with the decimal sign settled, and whether the other sign groups thousands."""
        if sign not in (".", ","):
            raise UnknownNameError("decimal sign", sign, (".", ","))
        return replace(self, decimal=sign, grouped=grouped, decimal_because="chosen by you")

    def questions(self) -> tuple[str, ...]:
        """What is open and must be settled before anything can be imported; empty if nothing is."""
        return tuple(_questions(self))

    def refuse_if_open(self) -> None:
        """Refuse a mapping with open questions.

        Raises
        ------
        InputError
            With the first question.
        """
        for question in self.questions():
            raise InputError(question, where=self.file_name, mend="Settle it in the column mapping.")

    def describe(self) -> str:
        """The whole mapping in words, one line for each thing."""
        return "\n".join(_describe(self))


def _questions(mapping: ColumnMapping) -> Iterator[str]:
    values = [mapped for mapped in mapping.columns if mapped.column in VALUE_COLUMNS]
    if not values:
        yield "no column was recognised that holds values: which is peak, highest held or average, in which unit?"
    has_unit_column = mapping.first(ReadingColumn.UNIT) is not None
    for mapped in mapping.columns:
        if mapped.unknown_unit and mapped.column in VALUE_COLUMNS | {ReadingColumn.UNUSED}:
            yield f"column {mapped.header!r} has the unknown unit {mapped.unknown_unit!r}: which one is it?"
        elif mapped.column in VALUE_COLUMNS and not mapped.unit and not has_unit_column:
            yield f"column {mapped.header!r} holds values but names no unit: which one is it?"
        elif mapped.column is ReadingColumn.UNUSED and mapped.unit:
            yield f"column {mapped.header!r} has a unit: is it peak, highest held or average, or not to be used?"
    yield from _questions_about_form(mapping, values)
    if not mapping.decimal:
        yield f"{mapping.decimal_because}: is that sign a decimal sign, or does it group thousands?"
    if not mapping.date_order and any(mapped.column in _DATED for mapped in mapping.columns):
        seen = mapping.date_because or "nothing tells in which way the dates are written"
        yield f"{seen}: which order have day, month and year?"


def _questions_about_form(mapping: ColumnMapping, values: list[MappedColumn]) -> Iterator[str]:
    long_form = any(mapped.column is ReadingColumn.VALUE for mapped in values)
    wide_form = any(mapped.column is not ReadingColumn.VALUE for mapped in values)
    if long_form and wide_form:
        yield "there are columns for peak, highest held or average and one for any value: which are to be used?"
    if long_form and mapping.first(ReadingColumn.KIND) is None:
        yield "no column says whether a value is peak, highest held or average: which is it?"
    if mapping.first(ReadingColumn.PLACE) is None and mapping.first(ReadingColumn.X) is None:
        yield "no column names the place: which one is it?"
    for column in sorted(_ONCE | VALUE_COLUMNS):
        headers = [mapped.header for mapped in mapping.columns if mapped.column is column]
        if len(headers) > 1:
            yield f"{len(headers)} columns are taken as {column} ({', '.join(headers)}): which one is it?"


def _describe(mapping: ColumnMapping) -> Iterator[str]:
    how = f"sheet {mapping.sheet!r}" if mapping.sheet else f"{mapping.encoding}, cells parted by {mapping.separator!r}"
    rows = "1 row" if mapping.rows == 1 else f"{mapping.rows} rows"
    yield f"{mapping.file_name}: {rows} below the headers in line {mapping.header_line} ({how})"
    if mapping.other_sheets:
        yield f"  other sheets are not read: {', '.join(mapping.other_sheets)}"
    for mapped in mapping.columns:
        unit = f" in {mapped.unit}" if mapped.unit and mapped.column in VALUE_COLUMNS else ""
        shown = f"; for example {mapped.example}" if mapped.example else ""
        meant = f"{mapped.column}{unit} ({mapped.because})"
        yield f"  column {mapped.index + 1} {mapped.header!r}: {meant}{shown}"
    if mapping.decimal_because:
        thousands = ", the other sign groups thousands" if mapping.grouped else ""
        yield f"  decimal sign: {mapping.decimal or 'open'}{thousands} ({mapping.decimal_because})"
    if mapping.date_because:
        order = order_in_words(mapping.date_order) if mapping.date_order else "open"
        yield f"  dates: {order} ({mapping.date_because})"
    for question in mapping.questions():
        yield f"  open: {question}"

"""How a table is to be read, readings or bearings: guessed from the file, shown to the user, and confirmed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.quantities.convert import DENSITY_UNITS
from roomfield.table_files.cells import DATE_ORDERS, order_in_words
from roomfield.table_files.headings import unit_or_nothing
from roomfield.table_files.table_reader import RawTable, read_table


@dataclass(frozen=True)
class ColumnScheme:
    """What the columns of one sort of table may mean, and what must be settled before its rows are read.

    Parameters
    ----------
    meanings : type of StrEnum
        The meanings there are; one of them is ``unused``.
    words : mapping of str to StrEnum
        Headings that are known, as `roomfield.table_files.headings.plain_heading` writes them.
    values : frozenset
        Columns of levels: they have a unit.
    any_value : StrEnum
        What a heading means that is nothing but a unit of a level.
    sure_of_headings : frozenset
        A line of headings names at least one of these; empty if any two meanings make one.
    numbers : frozenset
        Columns whose cells tell the decimal sign.
    dated : frozenset
        Columns whose cells begin with a date.
    many : frozenset
        Meanings that several columns may have.
    open_questions : callable
        From a mapping, what only this sort of table asks.
    remarks : tuple of str
        What is said at the end of a description, for the user to know before confirming.
    more_units : tuple of str
        Units that its columns have beside those of a level, in our spelling.
    """

    meanings: type[StrEnum]
    words: Mapping[str, StrEnum]
    values: frozenset[StrEnum]
    any_value: StrEnum
    sure_of_headings: frozenset[StrEnum]
    numbers: frozenset[StrEnum]
    dated: frozenset[StrEnum]
    many: frozenset[StrEnum]
    open_questions: Callable[[ColumnMapping], Iterator[str]]
    remarks: tuple[str, ...] = ()
    more_units: tuple[str, ...] = ()

    @property
    def unused(self) -> StrEnum:
        """The meaning of a column that is left out."""
        return self.meanings("unused")


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
    column: StrEnum
    unit: str = ""
    because: str = ""
    example: str = ""
    unknown_unit: str = ""


@dataclass(frozen=True)
class ColumnMapping:
    """Everything that must be known to read a table.

    Parameters
    ----------
    scheme : ColumnScheme
        What its columns may mean.
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

    scheme: ColumnScheme
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

    def first(self, column: StrEnum) -> MappedColumn | None:
        """The column of the file that holds this; None if there is none."""
        return next((mapped for mapped in self.columns if mapped.column is column), None)

    def with_column(self, header: str, column: str, unit: str | None = None) -> ColumnMapping:
        """The mapping with one column taken as something else.

        Parameters
        ----------
        header : str
            As it stands in the file.
        column : str
            A meaning of the scheme; ``unused`` to leave it out.
        unit : str, optional
            Unit of its numbers; kept if left out.

        Raises
        ------
        UnknownNameError
            If there is no such header, column or unit.
        """
        if header not in {mapped.header for mapped in self.columns}:
            raise UnknownNameError("column", header, [m.header for m in self.columns], where=self.file_name)
        if column not in set(self.scheme.meanings):
            raise UnknownNameError("meaning of a column", str(column), [str(c) for c in self.scheme.meanings])
        more = self.scheme.more_units
        if unit and not unit_or_nothing(unit, more):
            raise UnknownNameError("unit", unit, (*DENSITY_UNITS, *more))
        wanted = self.scheme.meanings(column)
        changed = tuple(
            replace(
                mapped,
                column=wanted,
                unit=mapped.unit if unit is None else unit_or_nothing(unit, more),
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
    scheme = mapping.scheme
    yield from scheme.open_questions(mapping)
    for column in sorted(set(scheme.meanings) - scheme.many - {scheme.unused}):
        headers = [mapped.header for mapped in mapping.columns if mapped.column == column]
        if len(headers) > 1:
            yield f"{len(headers)} columns are taken as {column} ({', '.join(headers)}): which one is it?"
    if not mapping.decimal:
        yield f"{mapping.decimal_because}: is that sign a decimal sign, or does it group thousands?"
    if not mapping.date_order and any(mapped.column in scheme.dated for mapped in mapping.columns):
        seen = mapping.date_because or "nothing tells in which way the dates are written"
        yield f"{seen}: which order have day, month and year?"


def _describe(mapping: ColumnMapping) -> Iterator[str]:
    how = f"sheet {mapping.sheet!r}" if mapping.sheet else f"{mapping.encoding}, cells parted by {mapping.separator!r}"
    rows = "1 row" if mapping.rows == 1 else f"{mapping.rows} rows"
    yield f"{mapping.file_name}: {rows} below the headers in line {mapping.header_line} ({how})"
    if mapping.other_sheets:
        yield f"  other sheets are not read: {', '.join(mapping.other_sheets)}"
    for mapped in mapping.columns:
        unit = f" in {mapped.unit}" if mapped.unit and mapped.column in mapping.scheme.values else ""
        shown = f"; for example {mapped.example}" if mapped.example else ""
        meant = f"{mapped.column}{unit} ({mapped.because})"
        yield f"  column {mapped.index + 1} {mapped.header!r}: {meant}{shown}"
    if mapping.decimal_because:
        thousands = ", the other sign groups thousands" if mapping.grouped else ""
        yield f"  decimal sign: {mapping.decimal or 'open'}{thousands} ({mapping.decimal_because})"
    if mapping.date_because:
        order = order_in_words(mapping.date_order) if mapping.date_order else "open"
        yield f"  dates: {order} ({mapping.date_because})"
    yield from (f"  {remark}" for remark in mapping.scheme.remarks)
    for question in mapping.questions():
        yield f"  open: {question}"


def confirmed_table(path: Path, mapping: ColumnMapping, *, confirmed: bool) -> RawTable:
    """The table behind a mapping that was looked at and has no open question.

    Parameters
    ----------
    path : Path
        The file that the mapping was made from.
    confirmed : bool
        True once the user has seen the mapping and agreed.

    Raises
    ------
    TooEarlyError
        If the mapping has not been confirmed.
    InputError
        If a question is open, or the file is not the one that the mapping was made from.
    """
    mapping.refuse_if_open()
    if not confirmed:
        raise TooEarlyError(
            "the column mapping has not been confirmed.",
            where=mapping.file_name,
            mend="Look at its description, correct it where needed, and confirm it.",
        )
    table = read_table(path, separator=mapping.separator, sheet=mapping.sheet, encoding=mapping.encoding)
    if table.sha256 != mapping.sha256:
        raise InputError(
            "the file is not the one that the columns were guessed from.",
            where=path.name,
            mend="Guess them again.",
        )
    return table

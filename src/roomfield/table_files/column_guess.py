"""Guessing how a table is to be read, with the reason for each guess."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from pathlib import Path

from roomfield.errors import FormatError
from roomfield.survey.reading_columns import ReadingColumn
from roomfield.table_files.cells import order_in_words, orders_that_fit
from roomfield.table_files.column_mapping import ColumnMapping, ColumnScheme, MappedColumn
from roomfield.table_files.decimal_sign import guess_decimal, looks_like_number
from roomfield.table_files.headings import plain_heading, split_unit, unit_or_nothing, without_other_unit
from roomfield.table_files.reading_scheme import READINGS
from roomfield.table_files.table_reader import Cell, RawTable, read_table

_log = logging.getLogger("roomfield.table_files")

_FIRST_LINES = 40
_DATE_TEXT = re.compile(r"\d{1,4}([./-])\d{1,2}\1\d{1,4}")


@dataclass(frozen=True)
class HeaderMeaning:
    """What a header was taken to mean.

    Parameters
    ----------
    unit : str
        As ``roomfield.quantities.convert`` spells it; empty if none was found.
    unknown_unit : str
        A unit that stands there but is not known.
    because : str
        From what, in words.
    """

    column: StrEnum
    unit: str = ""
    unknown_unit: str = ""
    because: str = ""


def meaning_of(header: str, scheme: ColumnScheme = READINGS) -> HeaderMeaning:
    """What a heading most likely means; ``unused`` if nothing was recognised.

    Parameters
    ----------
    header : str
        As it stands in the file.
    scheme : ColumnScheme
        What the columns of such a table may mean.
    """
    name, unit, unknown = split_unit(header, scheme.more_units)
    column = scheme.words.get(plain_heading(name)) or scheme.words.get(
        plain_heading(without_other_unit(name)), scheme.unused
    )
    if column is scheme.unused and unit:
        column = scheme.any_value if not plain_heading(name) else _value_named_in(name, scheme)
    if column is scheme.unused:
        return HeaderMeaning(column, unit, unknown, "the header is not known")
    if column not in scheme.values:
        return HeaderMeaning(column, because=f"header {header.strip()!r}")
    said = f", unit {unit}" if unit else ""
    return HeaderMeaning(column, unit, unknown, f"header {header.strip()!r}{said}")


def _value_named_in(name: str, scheme: ColumnScheme) -> StrEnum:
    """The value column named by a word of a longer header that carries a unit, such as ``bedroom peak``."""
    words = set(plain_heading(name).split())
    named = {column for word, column in scheme.words.items() if word in words and column in scheme.values}
    kinds = named - {scheme.any_value}
    if len(kinds) == 1:
        return kinds.pop()
    return scheme.any_value if named == {scheme.any_value} else scheme.unused


def guess_columns(
    path: Path, scheme: ColumnScheme = READINGS, *, separator: str = "", sheet: str = "", encoding: str = ""
) -> ColumnMapping:
    """How a table is most likely to be read, to be shown and confirmed.

    Parameters
    ----------
    path : Path
        CSV or XLSX.
    scheme : ColumnScheme
        What the columns of such a table may mean; those of readings if left out.
    separator, sheet, encoding : str
        To say what would otherwise be guessed.

    Raises
    ------
    FormatError
        If the file holds no table.
    """
    table = read_table(path, separator=separator, sheet=sheet, encoding=encoding)
    at = _header_row(table, scheme)
    below = table.rows[at + 1] if at + 1 < len(table.rows) else []
    units = _units_below(table.rows[at], below, scheme)
    headings = [] if units else _over_two_lines(table.rows[at], below, scheme)
    last = at + 1 if units or headings else at
    body = table.rows[last + 1 :]
    columns = tuple(_columns(headings or table.rows[at], units, body, scheme))
    mapping = ColumnMapping(
        scheme=scheme, file_name=table.file_name, sha256=table.sha256, header_line=table.lines[last],
        rows=sum(1 for row in body if not is_empty(row)), columns=columns, encoding=table.encoding,
        separator=table.separator, sheet=table.sheet, other_sheets=table.other_sheets,
    )  # fmt: skip
    guessed = _with_dates_guessed(_with_decimal_guessed(mapping, body), body)
    _log.debug("guessed: %s", guessed.describe())
    return guessed


def is_empty(row: Sequence[Cell]) -> bool:
    """Whether nothing stands in a row."""
    return all(cell == "" or (isinstance(cell, str) and not cell.strip()) for cell in row)


def shown(cell: Cell) -> str:
    """A cell as it is shown to the user."""
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return str(cell).strip()


def _header_row(table: RawTable, scheme: ColumnScheme) -> int:
    """The first row that names a value column and something else; else the first that is not empty."""
    filled = [i for i, row in enumerate(table.rows[:_FIRST_LINES]) if not is_empty(row)]
    if not filled:
        raise FormatError("it holds no table.", where=table.file_name, mend="Give a file with a line of headers.")
    for i in filled:
        found = {meaning_of(shown(cell), scheme).column for cell in table.rows[i]} - {scheme.unused}
        if len(found) > 1 and (found & scheme.sure_of_headings or not scheme.sure_of_headings):
            return i
    return filled[0]


def _over_two_lines(first: Sequence[Cell], second: Sequence[Cell], scheme: ColumnScheme) -> list[Cell]:
    """Headings that stand in two lines, joined; empty if the first line alone says as much.

    A cell of the first line reaches over the empty ones to its right, as where several columns share a heading.
    """
    above, below = ([shown(cell) for cell in row] for row in (first, second))
    if not any(below) or any(text.lstrip("<>=≤≥ ")[:1].isdigit() for text in below):
        return []
    width = max(len(above), len(below))
    above, below = (texts + [""] * (width - len(texts)) for texts in (above, below))
    joined: list[Cell] = []
    reaching = ""
    for upper, lower in zip(above, below, strict=True):
        reaching = upper or (reaching if lower else "")
        parts = (reaching, lower) if split_unit(lower, scheme.more_units)[1] else (lower, reaching)
        joined.append(" ".join(part for part in parts if part))
    return joined if _values_named(joined, scheme) > _values_named(above, scheme) else []


def _values_named(headings: Sequence[Cell], scheme: ColumnScheme) -> int:
    """How many columns of values have a heading that says which, with its unit."""
    found = [meaning_of(shown(cell), scheme) for cell in headings]
    return sum(one.column in scheme.values and one.column is not scheme.any_value and bool(one.unit) for one in found)


def _units_below(headers: Sequence[Cell], row: Sequence[Cell], scheme: ColumnScheme) -> dict[int, str]:
    """Units by column, if the line below the headers holds units and no number."""
    texts = [shown(cell).strip("[]() ") for cell in row]
    if any(text[:1].isdigit() for text in texts):
        return {}
    wanted = {index for index, cell in enumerate(headers) if meaning_of(shown(cell), scheme).column in scheme.values}
    found = {index: unit_or_nothing(text, scheme.more_units) for index, text in enumerate(texts) if index in wanted}
    return {index: unit for index, unit in found.items() if unit}


def _columns(
    headers: Sequence[Cell], units: Mapping[int, str], body: Sequence[Sequence[Cell]], scheme: ColumnScheme
) -> Iterator[MappedColumn]:
    texts = [shown(cell) for cell in headers]
    for index, text in enumerate(texts):
        header = text if text and texts.count(text) == 1 else f"{text} (column {index + 1})".strip()
        meaning = meaning_of(text, scheme)
        unit, because = meaning.unit, meaning.because
        if not unit and index in units:
            unit, because = units[index], f"{because}, unit {units[index]} in the line below"
        column = meaning.column
        if column is ReadingColumn.TIME and _carries_dates(body, index):
            column, because = ReadingColumn.MOMENT, f"{because}; its cells carry a date"
        yield MappedColumn(index, header, column, unit, because, _example(body, index), meaning.unknown_unit)


def _carries_dates(body: Sequence[Sequence[Cell]], index: int) -> bool:
    """Whether most cells of a column begin with a date."""
    cells = [row[index] for row in body[:2000] if index < len(row) and shown(row[index])]
    dated = sum(isinstance(cell, date) or bool(_DATE_TEXT.match(shown(cell))) for cell in cells)
    return 2 * dated > len(cells)


def _example(body: Sequence[Sequence[Cell]], index: int) -> str:
    texts: list[str] = []
    for row in body[:2000]:
        text = shown(row[index])[:24] if index < len(row) else ""
        if text and text not in texts:
            texts.append(text)
        if len(texts) == 3:
            break
    return ", ".join(texts)


def _texts(mapping: ColumnMapping, body: Sequence[Sequence[Cell]], wanted: frozenset[StrEnum]) -> set[str]:
    indices = [mapped.index for mapped in mapping.columns if mapped.column in wanted]
    return {row[index].strip() for row in body for index in indices if index < len(row) and isinstance(row[index], str)}


def _with_decimal_guessed(mapping: ColumnMapping, body: Sequence[Sequence[Cell]]) -> ColumnMapping:
    scheme = mapping.scheme
    texts = _texts(mapping, body, scheme.numbers)
    if not any(mapped.column in scheme.numbers for mapped in mapping.columns):
        # The user will say later which of these columns holds the values.
        texts = {text for text in _texts(mapping, body, frozenset({scheme.unused})) if looks_like_number(text)}
    found = guess_decimal(texts)
    if not found.sign and mapping.separator == "," and "," not in found.unclear:
        return replace(mapping, decimal_because="commas part the cells")
    return replace(mapping, decimal=found.sign, grouped=found.grouped, decimal_because=found.because)


def _with_dates_guessed(mapping: ColumnMapping, body: Sequence[Sequence[Cell]]) -> ColumnMapping:
    wanted = mapping.scheme.dated
    if not any(mapped.column in wanted for mapped in mapping.columns):
        return mapping
    matches = [_DATE_TEXT.match(text) for text in _texts(mapping, body, wanted)]
    dates = {match.group() for match in matches if match}
    if not dates:
        typed = any(isinstance(cell, date) for row in body[:2000] for cell in row)
        because = "dates typed by the workbook" if typed else "no date stands there"
        return replace(mapping, date_order="ymd", date_because=because)
    fitting = orders_that_fit(dates)
    example = sorted(dates)[0]
    if len(fitting) == 1:
        return replace(
            mapping,
            date_order=fitting[0],
            date_because=f"the only order in which all exist, such as {example}",
        )
    if not fitting:
        return replace(mapping, date_because=f"in no order do all of them exist, such as {example}")
    words = " or ".join(order_in_words(order) for order in fitting)
    return replace(mapping, date_because=f"{example} may be {words}")

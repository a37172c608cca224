"""Guessing how a table of readings is to be read, with the reason for each guess."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from roomfield.errors import FormatError
from roomfield.exchange.cells import order_in_words, orders_that_fit
from roomfield.exchange.column_mapping import ColumnMapping, MappedColumn
from roomfield.exchange.headers import VALUE_COLUMNS, meaning_of, unit_or_nothing
from roomfield.exchange.table_reader import Cell, RawTable, read_table
from roomfield.survey.reading_columns import ReadingColumn

_FIRST_LINES = 40
_DATE_TEXT = re.compile(r"\d{1,4}([./-])\d{1,2}\1\d{1,4}")
_POINT = re.compile(r"\d*\.(?:\d{1,2}|\d{4,})(?!\d)|(?<!\d)0\.\d+|\d,\d{3}\.\d|\.\d+[eE]")
_COMMA = re.compile(r"\d*,(?:\d{1,2}|\d{4,})(?!\d)|(?<!\d)0,\d+|\d\.\d{3},\d|,\d+[eE]")
_NUMBER_LIKE = re.compile(r"[<>≤≥=]*\s*[+-]?[\d.,'’ \u00a0\u202f]*\d(?:[eE][+-]?\d+)?")
_UNCLEAR = re.compile(r"\d[.,]\d")
_GROUPED_POINT = re.compile(r"\d,\d{3}\.\d|\d,\d{3},\d{3}")
_GROUPED_COMMA = re.compile(r"\d\.\d{3},\d|\d\.\d{3}\.\d{3}")


def guess_columns(path: Path, *, separator: str = "", sheet: str = "", encoding: str = "") -> ColumnMapping:
    """How a table of readings is most likely to be read, to be shown and confirmed.

    Parameters
    ----------
    path : Path
        CSV or XLSX.
    separator, sheet, encoding : str
        To say what would otherwise be guessed.

    Raises
    ------
    FormatError
        If the file holds no table.
    """
    table = read_table(path, separator=separator, sheet=sheet, encoding=encoding)
    at = _header_row(table)
    units = _units_below(table.rows[at], table.rows[at + 1] if at + 1 < len(table.rows) else [])
    last = at + 1 if units else at
    body = table.rows[last + 1 :]
    columns = tuple(_columns(table.rows[at], units, body))
    mapping = ColumnMapping(
        file_name=table.file_name, sha256=table.sha256, header_line=table.lines[last],
        rows=sum(1 for row in body if not is_empty(row)), columns=columns, encoding=table.encoding,
        separator=table.separator, sheet=table.sheet, other_sheets=table.other_sheets,
    )  # fmt: skip
    return _with_dates_guessed(_with_decimal_guessed(mapping, body), body)


def is_empty(row: Sequence[Cell]) -> bool:
    """Whether nothing stands in a row."""
    return all(cell == "" or (isinstance(cell, str) and not cell.strip()) for cell in row)


def shown(cell: Cell) -> str:
    """A cell as it is shown to the user."""
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return str(cell).strip()


def _header_row(table: RawTable) -> int:
    """The first row that names a value column and something else; else the first that is not empty."""
    filled = [i for i, row in enumerate(table.rows[:_FIRST_LINES]) if not is_empty(row)]
    if not filled:
        raise FormatError("it holds no table.", where=table.file_name, mend="Give a file with a line of headers.")
    for i in filled:
        found = {meaning_of(shown(cell)).column for cell in table.rows[i]} - {ReadingColumn.UNUSED}
        if len(found) > 1 and found & VALUE_COLUMNS:
            return i
    return filled[0]


def _units_below(headers: Sequence[Cell], row: Sequence[Cell]) -> dict[int, str]:
    """Units by column, if the line below the headers holds units and no number."""
    texts = [shown(cell).strip("[]() ") for cell in row]
    if any(text[:1].isdigit() for text in texts):
        return {}
    wanted = {index for index, cell in enumerate(headers) if meaning_of(shown(cell)).column in VALUE_COLUMNS}
    found = {index: unit_or_nothing(text) for index, text in enumerate(texts) if index in wanted}
    return {index: unit for index, unit in found.items() if unit}


def _columns(
    headers: Sequence[Cell], units: Mapping[int, str], body: Sequence[Sequence[Cell]]
) -> Iterator[MappedColumn]:
    texts = [shown(cell) for cell in headers]
    for index, text in enumerate(texts):
        header = text if text and texts.count(text) == 1 else f"{text} (column {index + 1})".strip()
        meaning = meaning_of(text)
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


def _texts(mapping: ColumnMapping, body: Sequence[Sequence[Cell]], wanted: frozenset[ReadingColumn]) -> set[str]:
    indices = [mapped.index for mapped in mapping.columns if mapped.column in wanted]
    return {row[index].strip() for row in body for index in indices if index < len(row) and isinstance(row[index], str)}


def _with_decimal_guessed(mapping: ColumnMapping, body: Sequence[Sequence[Cell]]) -> ColumnMapping:
    texts = _texts(mapping, body, VALUE_COLUMNS)
    if not any(mapped.column in VALUE_COLUMNS for mapped in mapping.columns):
        # The user will say later which of these columns holds the values.
        texts = {
            text for text in _texts(mapping, body, frozenset({ReadingColumn.UNUSED})) if _NUMBER_LIKE.fullmatch(text)
        }
    points = sorted(text for text in texts if _POINT.search(text))
    commas = sorted(text for text in texts if _COMMA.search(text) and text not in points)
    unclear = sorted(text for text in texts if _UNCLEAR.search(text) and text not in points and text not in commas)
    if points and commas:
        usual, rest = (points, commas) if len(points) >= len(commas) else (commas, points)
        sign = "." if usual is points else ","
        because = f"{len(usual)} values such as {usual[0]}; but {len(rest)} such as {rest[0]} speak against it"
        return replace(mapping, decimal=sign, decimal_because=because)
    if commas:
        grouped = any(_GROUPED_COMMA.search(text) for text in texts)
        return replace(mapping, decimal=",", grouped=grouped, decimal_because=f"values such as {commas[0]}")
    if points:
        grouped = any(_GROUPED_POINT.search(text) for text in texts)
        return replace(mapping, decimal=".", grouped=grouped, decimal_because=f"values such as {points[0]}")
    if unclear and mapping.separator == "," and not any("," in text for text in unclear):
        return replace(mapping, decimal_because="commas part the cells")
    if unclear:
        return replace(mapping, decimal="", decimal_because=f"values such as {unclear[0]} do not tell")
    return mapping


def _with_dates_guessed(mapping: ColumnMapping, body: Sequence[Sequence[Cell]]) -> ColumnMapping:
    wanted = frozenset({ReadingColumn.DATE, ReadingColumn.MOMENT})
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

"""One cell as written, in DuckDB's SQL: a number, a mark for below floor or overload, or nothing."""

from __future__ import annotations

import re

from roomfield.logs.bounds import LARGEST_NUMBER
from roomfield.logs.clock import ELAPSED_FORMS, EPOCH_FORMS, MICRO, pattern_variants
from roomfield.quantities.censoring import Censoring
from roomfield.table_files.cells import FLOOR_WORDS, NOTHING_WORDS, OVERLOAD_WORDS

CODES = {Censoring.NONE: 0, Censoring.BELOW: 1, Censoring.ABOVE: 2}
"""A reading's censoring as the files of a series hold it."""
FINE, BELOW, ABOVE = CODES.values()
MISSING, UNREADABLE = 3, 4
"""What a staged row may be besides; neither is ever stored."""

MISSING_WORDS = NOTHING_WORDS | {"nan", "null", "--", "---", "----", "missing", "#n/a"}
"""A gap as recorders write it."""
BEYOND_WORDS = OVERLOAD_WORDS | {"inf", "+inf"}
"""Overload as recorders write it."""

_NUMBER = r"[-+]?[0-9][0-9., ']*(?:[eE][-+]?[0-9]+)?|[-+]?[.,][0-9]+"
CELL = re.compile(rf"^\s*([<>≤≥]?)\s*({_NUMBER})\s*(\D.*)?$")
"""A cell: mark, number, unit."""


def quoted(text: str) -> str:
    """A string literal."""
    return "'" + text.replace("'", "''") + "'"


def name(column: str) -> str:
    """A quoted column name."""
    return '"' + column.replace('"', '""') + '"'


def _listed(words: frozenset[str]) -> str:
    return "(" + ", ".join(quoted(word) for word in sorted(words)) + ")"


def time_sql(columns: tuple[str, ...], form: str, start_us: int = 0) -> str:
    """Expression giving microseconds since 1970, of UTC or of the wall clock, or NULL.

    Parameters
    ----------
    columns : tuple of str
        One column, or date and time of day.
    form : str
        Name of a `roomfield.logs.clock.TimeForm`, or ``typed`` for a column of time stamps.
    start_us : int
        Start of the log [µs], for forms that count from it.
    """
    if form == "typed":
        return f"epoch_us({name(columns[0])})"
    trimmed = (f"trim({name(column)})" for column in columns)
    text = name(columns[0]) if len(columns) == 1 else " || ' ' || ".join(trimmed)
    if form in EPOCH_FORMS:
        return _count_sql(text, MICRO / EPOCH_FORMS[form][0], 0)
    if form in ELAPSED_FORMS:
        return _count_sql(text, MICRO / ELAPSED_FORMS[form], start_us)
    if form == "iso":
        plain = f"replace({text}, ',', '.')"
        return f"epoch_us(coalesce(TRY_CAST({text} AS TIMESTAMP), TRY_CAST({plain} AS TIMESTAMP)))"
    if form == "iso_zoned":
        zoned = f"epoch_us(TRY_CAST(replace({text}, ',', '.') AS TIMESTAMPTZ))"
        return f"CASE WHEN ends_with({text}, 'Z') THEN {time_sql(columns, 'iso')} ELSE {zoned} END"
    text = f"trim({text})" if len(columns) == 1 else text
    patterns = "[" + ", ".join(quoted(variant) for variant in pattern_variants(form)) + "]"
    return f"epoch_us(try_strptime({text}, {patterns}))"


def _count_sql(text: str, micros: float, start_us: int) -> str:
    count = f"TRY_CAST(replace({text}, ',', '.') AS DOUBLE) * {micros!r}"
    return f"TRY_CAST(CASE WHEN abs({count}) < 1e17 THEN round({count}) END AS BIGINT) + {start_us}"


def number_sql(text: str, decimal: str) -> str:
    """Expression reading a number with the given decimal mark, or NULL."""
    if decimal == ".":
        return f"TRY_CAST({text} AS DOUBLE)"
    if decimal == ",":
        grouped, plain = r"[-+]?\d{1,3}(\.\d{3})+(,\d*)?", f"replace(replace({text}, '.', ''), ',', '.')"
    else:
        grouped, plain = r"[-+]?\d{1,3}(,\d{3})+(\.\d*)?", f"replace({text}, ',', '')"
    mark = "." if decimal == "," else ","
    return (
        f"CASE WHEN contains({text}, {quoted(mark)}) AND NOT regexp_full_match({text}, {quoted(grouped)}) "
        f"THEN NULL ELSE TRY_CAST({plain} AS DOUBLE) END"
    )


def plain_sql(column: str, decimal: str) -> tuple[str, str]:
    """Expressions for a cell that is a bare number, and for the text of one that is not.

    Telling what such text means is left to `judged_sql` on the staged rows: DuckDB evaluates what two expressions
    share for every row, however seldom it is needed.

    Parameters
    ----------
    column : str
        Column of values, as text.
    decimal : str
        ``.``, ``,`` or ``., grouped`` (commas between thousands).
    """
    number = number_sql(name(column), decimal)
    return number, f"CASE WHEN {number} IS NULL THEN coalesce(trim({name(column)}), '') END"


def judged_sql(table: str, decimal: str, units_in_values: bool) -> str:
    """Staged rows as ``t_us``, ``number``, ``code`` and ``unit``.

    Parameters
    ----------
    table : str
        Table expression with ``t_us``, ``number``, ``rest``, ``word`` and ``unit``.
    decimal : str
        As in `plain_sql`.
    units_in_values : bool
        Whether cells may end in a unit.
    """
    pattern = quoted(CELL.pattern)
    cell = f"regexp_extract(rest, {pattern}, ['mark', 'digits', 'tail'])"
    inner = number_sql("trim(cell.digits)", decimal)
    beside = "cell.tail" if units_in_values else "''"
    tail_ok = "TRUE" if units_in_values else "cell.tail = ''"
    code = (
        f"CASE WHEN lower(word) IN {_listed(BEYOND_WORDS)} THEN {ABOVE} "
        f"WHEN lower(word) IN {_listed(FLOOR_WORDS)} THEN {BELOW} "
        f"WHEN isnan(number) THEN {MISSING} WHEN isinf(number) THEN {ABOVE} "
        f"WHEN abs(coalesce(number, inner_number)) > {LARGEST_NUMBER!r} THEN {UNREADABLE} "
        f"WHEN rest IS NULL THEN if(number IS NULL, {MISSING}, {FINE}) "
        f"WHEN lower(rest) IN {_listed(MISSING_WORDS)} THEN {MISSING} "
        f"WHEN lower(rest) IN {_listed(BEYOND_WORDS)} THEN {ABOVE} "
        f"WHEN lower(rest) IN {_listed(FLOOR_WORDS)} THEN {BELOW} "
        f"WHEN inner_number IS NULL OR NOT {tail_ok} THEN {UNREADABLE} "
        f"WHEN cell.mark IN ('<', '≤') THEN {BELOW} WHEN cell.mark IN ('>', '≥') THEN {ABOVE} "
        f"ELSE {FINE} END"
    )
    return (
        f"(SELECT * EXCLUDE (cell, inner_number, number, unit), CAST({code} AS TINYINT) AS code, "
        f"coalesce(number, inner_number) AS number, coalesce(unit, trim({beside}), '') AS unit "
        f"FROM (SELECT *, {inner} AS inner_number FROM (SELECT *, {cell} AS cell FROM {table})))"
    )

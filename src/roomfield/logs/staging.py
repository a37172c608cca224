"""First step in: the rows of a file as numbers, in the order of the file, in a scratch Parquet file."""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from roomfield.errors import FormatError, RejectedRows, RowFault
from roomfield.extras import library
from roomfield.logs import duckdb_engine, reading
from roomfield.logs.bounds import FIRST_US, FIRST_YEAR, LARGEST_NUMBER, LAST_US, LAST_YEAR
from roomfield.logs.clock import micros_of, parse_moment
from roomfield.logs.layout import cell_text, log_sheet
from roomfield.logs.mapping import Mapping

duckdb = library("duckdb", "logs")
pa = library("pyarrow", "logs")

_SHOWN = 20
_REJECTS_COUNTED = 100_000


@dataclass(frozen=True)
class Staged:
    """The staged rows.

    Parameters
    ----------
    path : Path
        Parquet: t_us (of UTC or of the wall clock, or NULL), number, rest, word, unit; read it by `rows_of`.
    where : str
        Name of the file, for messages.
    rows : int
        Rows of the file.
    unreadable : int
        Rows that are left out because they cannot be read.
    first_us, last_us : int
        Least and greatest stamp.
    clean : bool
        Whether every row is a time and a bare number.
    """

    path: Path
    where: str
    rows: int
    unreadable: int
    first_us: int
    last_us: int
    clean: bool


def stage(source: Path, mapping: Mapping, scratch: Path, database: Any) -> Staged:
    """Read a file into a scratch Parquet file.

    Parameters
    ----------
    source : Path
        The log as received.
    mapping : Mapping
        Which column is what.
    scratch : Path
        Folder to write to.
    database : DuckDB connection
        Of this ingest.

    Raises
    ------
    RejectedRows
        If rows cannot be read and the mapping does not say to leave them out.
    FormatError
        If the file cannot be read at all, or no row can.
    """
    target = scratch / "staged.parquet"
    with duckdb_engine.session(database) as session:
        session.execute(
            f"CREATE OR REPLACE TEMP MACRO inside_years(t) AS CASE WHEN t BETWEEN {FIRST_US} AND {LAST_US} THEN t END"
        )
        table = _table(session, source, mapping, scratch)
        query = _query(table, mapping, _typed_columns(session, table, mapping))
        try:
            options = "(FORMAT parquet, COMPRESSION lz4_raw, PARQUET_VERSION v2)"
            session.execute(f"COPY ({query}) TO {reading.quoted(str(target))} {options}")
        except duckdb.Error as fault:
            raise FormatError(
                f"the table cannot be read ({str(fault).splitlines()[0][:160]}).",
                where=source.name,
                mend="Check that it is complete and that the mapping names its columns.",
            ) from fault
        clean = _is_clean(session, target)
        faults, unreadable = _faults(session, target, mapping, clean)
        summary = f"SELECT count(*), min(t_us), max(t_us) FROM {duckdb_engine.parquet(target)} WHERE t_us IS NOT NULL"
        usable, first, last = session.execute(summary).fetchall()[0]
        rows = session.execute(f"SELECT count(*) FROM {duckdb_engine.parquet(target)}").fetchall()[0][0]
    if unreadable and not mapping.skip_unreadable:
        more = f" The first {len(faults)} of {unreadable} are listed." if unreadable > len(faults) else ""
        mend = f"Mend the rows, correct the mapping, or confirm it with skip_unreadable=True to leave them out.{more}"
        raise RejectedRows(faults, where=source.name, mend=mend)
    if usable and not FIRST_US <= int(first) <= int(last) <= LAST_US:
        # DuckDB believes what a Parquet file says of its own least and greatest stamp, and skips looking.
        raise FormatError(
            "its stamps are not those that the file itself says it holds.", where=source.name, mend="Copy it again."
        )
    if not usable:
        raise FormatError("no row has a readable time.", where=source.name, mend="Correct the mapping's time_form.")
    return Staged(target, source.name, int(rows), unreadable, int(first), int(last), clean)


def _table(database: Any, source: Path, mapping: Mapping, scratch: Path) -> str:
    """Table expression whose columns are named as the mapping names them."""
    layout = mapping.layout
    if layout.form == "parquet":
        return duckdb_engine.parquet(source)
    if layout.form == "workbook":
        return _workbook(database, source, mapping)
    names = _distinct(layout.columns)
    columns = ", ".join(f"{reading.quoted(column)}: 'VARCHAR'" for column in names)
    path = source if layout.encoding == "utf-8" else _as_utf8(source, layout.encoding, scratch)
    return (
        f"read_csv({reading.quoted(str(path))}, header = false, auto_detect = false, skip = {layout.first_row}, "
        f"delim = {reading.quoted(layout.delimiter)}, quote = '\"', escape = '\"', columns = {{{columns}}}, "
        f"store_rejects = true, rejects_limit = {_REJECTS_COUNTED})"
    )


def _distinct(columns: tuple[str, ...]) -> list[str]:
    """Column names made distinct; of equal ones the first keeps its name."""
    seen: list[str] = []
    for column in columns:
        name, k = column, 2
        while name.casefold() in {s.casefold() for s in seen}:
            name, k = f"{column} ({k})", k + 1
        seen.append(name)
    return seen


def _as_utf8(source: Path, encoding: str, scratch: Path) -> Path:
    target = scratch / "utf8.txt"
    try:
        with (
            codecs.open(str(source), encoding=encoding) as old,
            target.open("w", encoding="utf-8", newline="") as new,
        ):
            while block := old.read(1 << 20):
                new.write(block)
    except UnicodeError as fault:
        raise FormatError("its text is damaged.", where=source.name, mend="Export it again as UTF-8.") from fault
    return target


def _workbook(database: Any, source: Path, mapping: Mapping) -> str:
    layout = mapping.layout
    rows = log_sheet(source, layout.sheet).rows
    names = _distinct(layout.columns)
    body = [row for row in rows[layout.first_row :] if any(cell_text(value) for value in row)]
    columns = [[cell_text(row[i]) if i < len(row) else "" for row in body] for i in range(len(names))]
    database.register("sheet_rows", pa.table([pa.array(c, pa.string()) for c in columns], names=names))
    return "sheet_rows"


def _typed_columns(database: Any, table: str, mapping: Mapping) -> dict[str, str]:
    """DuckDB's type of every column, for sources that have types."""
    if mapping.layout.form != "parquet":
        return {}
    return {row[0]: row[1] for row in database.execute(f"DESCRIBE SELECT * FROM {table}").fetchall()}


def _query(table: str, mapping: Mapping, types: dict[str, str]) -> str:
    start = micros_of(parse_moment(mapping.start)) if mapping.start else 0
    stamps = types.get(mapping.time_columns[0], "")
    form = "typed" if stamps.startswith("TIMESTAMP") else mapping.time_form
    source = table
    if types:
        needed = {*mapping.time_columns, mapping.value_column, mapping.unit_column, mapping.status_column} - {""}
        kept = [
            f"{reading.name(c)}" if _is_native(types[c]) else f"CAST({reading.name(c)} AS VARCHAR) AS {reading.name(c)}"
            for c in sorted(needed)
        ]
        if not stamps.startswith("TIMESTAMP"):
            stamp = {reading.name(c) for c in mapping.time_columns}
            kept = [f"CAST({c} AS VARCHAR) AS {c}" if c in stamp else c for c in kept]
        elif stamps.endswith("_NS") and "TZ" in stamps:
            stamp_name = reading.name(mapping.time_columns[0])
            kept = [f"CAST({c} AS TIMESTAMPTZ) AS {c}" if c == stamp_name else c for c in kept]
        source = f"(SELECT {', '.join(kept)} FROM {table})"
    time = f"inside_years({reading.time_sql(mapping.time_columns, form, start)})"
    if _is_native(types.get(mapping.value_column, "VARCHAR")):
        number, rest = f"CAST({reading.name(mapping.value_column)} AS DOUBLE)", "CAST(NULL AS VARCHAR)"
    else:
        number, rest = reading.plain_sql(mapping.value_column, mapping.decimal)
    word, unit = (
        f"trim({reading.name(column)})" if column else "CAST(NULL AS VARCHAR)"
        for column in (mapping.status_column, mapping.unit_column)
    )
    return f"SELECT {time} AS t_us, {number} AS number, {rest} AS rest, {word} AS word, {unit} AS unit FROM {source}"


def _is_native(type_name: str) -> bool:
    return type_name.startswith(("TIMESTAMP", "DECIMAL")) or type_name in (
        "DOUBLE", "FLOAT", "TINYINT", "SMALLINT", "INTEGER", "BIGINT", "UTINYINT", "USMALLINT", "UINTEGER", "UBIGINT",
    )  # fmt: skip


def rows_of(staged: Path, mapping: Mapping, clean: bool) -> str:
    """Table expression over staged rows: file_row_number, t_us, number, code, unit.

    Parameters
    ----------
    staged : Path
        The scratch file.
    mapping : Mapping
        The confirmed mapping.
    clean : bool
        Whether every cell is a bare number, so that nothing needs to be judged.
    """
    table = duckdb_engine.parquet(staged, row_numbers=True)
    if clean:
        return f"(SELECT *, CAST({reading.FINE} AS TINYINT) AS code FROM {table})"
    return reading.judged_sql(table, mapping.decimal, mapping.units_in_values)


def _is_clean(database: Any, staged: Path) -> bool:
    odd = "t_us IS NULL OR number IS NULL OR rest IS NOT NULL OR word IS NOT NULL OR NOT isfinite(number)"
    odd += f" OR abs(number) > {LARGEST_NUMBER!r}"
    return not database.execute(f"SELECT count(*) FROM {duckdb_engine.parquet(staged)} WHERE {odd}").fetchall()[0][0]


def _faults(database: Any, staged: Path, mapping: Mapping, clean: bool) -> tuple[list[RowFault], int]:
    """The first faulty rows, and how many there are."""
    bad = f"t_us IS NULL OR code = {reading.UNREADABLE}"
    table = rows_of(staged, mapping, clean)
    count = database.execute(f"SELECT count(*) FROM {table} WHERE {bad}").fetchall()[0][0]
    query = f"SELECT file_row_number, t_us IS NULL, rest FROM {table} WHERE {bad} ORDER BY 1 LIMIT {_SHOWN}"
    offset = mapping.layout.first_row + 1
    faults = [
        RowFault(
            int(row) + offset,
            " + ".join(mapping.time_columns) if no_time else mapping.value_column,
            "" if no_time else str(text)[:60],
            f"not a time of the form {mapping.time_form} between {FIRST_YEAR} and {LAST_YEAR}"
            if no_time
            else "not a number that a meter shows, or a known mark",
        )
        for row, no_time, text in database.execute(query).fetchall()
    ]
    if mapping.layout.form == "text":
        split = "SELECT line, csv_line, error_message FROM reject_errors ORDER BY line"
        rejects = database.execute(split).fetchall()
        count += len({row[0] for row in rejects})
        faults += [
            RowFault(int(line), "", str(text)[:60], str(message).splitlines()[0][:80])
            for line, text, message in rejects[: max(0, _SHOWN - len(faults))]
        ]
    return faults, int(count)

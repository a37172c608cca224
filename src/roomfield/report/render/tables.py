"""The findings as tables for a spreadsheet or a program: XLSX, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
import math
from base64 import b64encode
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from pathlib import Path
from typing import Any, TypeAlias

from roomfield.errors import FormatError, UnknownNameError
from roomfield.extras import library
from roomfield.report.document import ReportContent
from roomfield.report.render.html import printable
from roomfield.report.render.pdf import write_whole
from roomfield.show.csv_metadata import column_of, metadata_bytes, metadata_path
from roomfield.show.phrase import Phrase, Told
from roomfield.show.words import Words, load_words

openpyxl = library("openpyxl", "workbooks")
openpyxl_utils = library("openpyxl.utils", "workbooks")
styles = library("openpyxl.styles", "workbooks")

CellValue: TypeAlias = "str | int | float | bool | None"

FORMAT_VERSION = 1
"""Version of the JSON and of the table columns."""
_RISKY = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class DataTable:
    """A table with machine-readable headers; units are in the headers."""

    name: str
    headers: tuple[str, ...]
    rows: tuple[tuple[CellValue, ...], ...]


def _micro(value_w_m2: float | None) -> float | None:
    """Power density [W/m²] in µW/m², to nine digits so that no binary noise shows; None if not finite."""
    if value_w_m2 is None or not math.isfinite(value_w_m2):
        return None
    return float(f"{value_w_m2 * 1e6:.9g}")


def level_table(content: ReportContent) -> DataTable:
    """Every level of every place, kind and radio state."""
    headers = (
        "place",
        "room",
        "storey",
        "sleeping",
        "radio_state",
        "kind",
        "shown_uW_m2",
        "shown_censoring",
        "median_uW_m2",
        "low_uW_m2",
        "high_uW_m2",
        "censoring",
        "coverage",
        "scans",
        "note",
    )
    rows = []
    for place in content.places:
        for lv in place.levels:
            shown = (_micro(lv.shown.value_w_m2), lv.shown.censoring.value) if lv.shown else (None, None)
            rows.append(
                (
                    place.name,
                    place.room,
                    place.storey,
                    place.sleeping,
                    content.state_name(lv.state_id),
                    lv.kind.value,
                    *shown,
                    _micro(lv.level.median_w_m2),
                    _micro(lv.level.low_w_m2),
                    _micro(lv.level.high_w_m2),
                    lv.level.censoring.value,
                    content.rules.coverage,
                    lv.replicates,
                    lv.note,
                )
            )
    return DataTable("levels", headers, tuple(rows))


def verdict_table(content: ReportContent, words: Words) -> DataTable:
    """Every comparison with a reference."""
    headers = (
        "place",
        "radio_state",
        "kind",
        "reference",
        "standing",
        "bound_uW_m2",
        "outcome",
        "probability_below_low",
        "probability_below_high",
        "acceptance_uW_m2",
        "category",
        "upper_bound_only",
        "conversion",
    )
    rows = []
    for v in content.verdicts:
        entry = content.reference(v.reference_id)
        rows.append(
            (
                content.place_name(v.place_id),
                content.state_name(v.state_id),
                v.kind.value,
                words.text(entry.label) if entry else v.reference_id,
                entry.standing.value if entry else None,
                _micro(v.bound_w_m2),
                v.outcome.value,
                v.probability_below.low,
                v.probability_below.high,
                _micro(v.acceptance_w_m2),
                v.category.name if v.category else words.text(v.target),
                v.upper_bound_only,
                words.text(v.conversion),
            )
        )
    return DataTable("comparisons", headers, tuple(rows))


def contribution_table(content: ReportContent, words: Words) -> DataTable:
    """What each source contributes at each place."""
    headers = (
        "place",
        "source",
        "kind",
        "median_uW_m2",
        "low_uW_m2",
        "high_uW_m2",
        "share",
        "share_low",
        "share_high",
        "state_with",
        "state_without",
        "basis",
    )
    rows = tuple(
        (
            content.place_name(c.place_id),
            c.source,
            c.kind.value,
            _micro(c.median_w_m2),
            _micro(c.low_w_m2),
            _micro(c.high_w_m2),
            c.share,
            c.share_low,
            c.share_high,
            content.state_name(c.state_with),
            content.state_name(c.state_without),
            words.text(c.basis),
        )
        for c in content.contributions
    )
    return DataTable("contributions", headers, rows)


def step_table(content: ReportContent, words: Words) -> DataTable:
    """What to do next, in order."""
    rows = tuple(
        (n, s.group.value, words.text(s.title), words.text(s.reason), words.text(s.expected))
        for n, s in enumerate(content.steps, start=1)
    )
    return DataTable("steps", ("order", "group", "step", "reason", "expected"), rows)


def reference_table(content: ReportContent, words: Words) -> DataTable:
    """Every reference with its standing and how it is known."""
    headers = (
        "label",
        "document",
        "edition",
        "clause",
        "standing",
        "kind",
        "averaging_s",
        "value_uW_m2",
        "how_known",
        "used",
    )
    rows = tuple(
        (
            words.text(e.label),
            e.document,
            e.edition,
            e.clause,
            e.standing.value,
            e.kind.value,
            e.averaging_s,
            _micro(e.value_w_m2),
            words.text(e.how_known),
            e.used,
        )
        for e in content.references
    )
    return DataTable("references", headers, rows)


def reading_table(content: ReportContent) -> DataTable:
    """Every reading as observed."""
    headers = (
        "reading",
        "visit",
        "place",
        "radio_state",
        "kind",
        "shown_uW_m2",
        "censoring",
        "orientation",
        "scan",
        "taken_at",
        "replicate",
        "note",
        "origin",
        "amended",
        "withdrawn",
    )
    rows = tuple(
        (
            r.id,
            r.visit,
            r.place,
            r.state,
            r.kind.value,
            _micro(r.shown.value_w_m2),
            r.shown.censoring.value,
            r.orientation,
            r.scan,
            r.taken_at,
            r.replicate,
            r.note,
            r.origin,
            r.amended,
            r.withdrawn,
        )
        for r in content.readings
    )
    return DataTable("readings", headers, rows)


def data_tables(content: ReportContent, words: Words) -> tuple[DataTable, ...]:
    """All tables of a report.

    Parameters
    ----------
    content : ReportContent
        What was found.
    words : Words
        Language of phrases; headers are the same in every language.
    """
    return (
        level_table(content),
        verdict_table(content, words),
        contribution_table(content, words),
        step_table(content, words),
        reference_table(content, words),
        reading_table(content),
    )


def write_tables(content: ReportContent, path: str | Path, *, language: str = "en", table: str = "levels") -> Path:
    """The findings as a table file; the ending of the name says in which form.

    Beside a CSV file lies its description as CSV on the Web, ``NAME.csv-metadata.json``.

    Parameters
    ----------
    content : ReportContent
        What was found.
    path : str or Path
        Ends in ``.xlsx`` (all tables), ``.json`` (all content) or ``.csv`` (one table).
    language : str
        Language of phrases; headers are the same in every language.
    table : str
        For CSV: ``levels``, ``comparisons``, ``contributions``, ``steps``, ``references`` or ``readings``.

    Raises
    ------
    FormatError
        If the ending is none of these.
    UnknownNameError
        If there is no such table or language.
    StoreError
        If the file cannot be written.
    """
    target, words = Path(path), load_words(language)
    makers: dict[str, Callable[[], bytes]] = {
        ".xlsx": lambda: xlsx_bytes(content, words),
        ".csv": lambda: csv_text(content, words, table).encode("utf-8"),
        ".json": lambda: json_text(content, words).encode("utf-8"),
    }
    maker = makers.get(target.suffix.lower())
    if maker is None:
        raise FormatError(
            f"tables cannot be written as {target.suffix or 'a file without an ending'}.",
            where=target.name,
            mend="Choose a name that ends in .xlsx, .csv or .json.",
        )
    write_whole(target, maker())
    if target.suffix.lower() == ".csv":
        columns = [column_of(heading) for heading in _headings(content, words, table)]
        write_whole(metadata_path(target), metadata_bytes(target, f"{content.title}: {table}", columns))
    return target


def _headings(content: ReportContent, words: Words, table: str) -> tuple[str, ...]:
    """Headings of one table as it is written."""
    (chosen,) = (one for one in data_tables(content, words) if one.name == table)
    return (*chosen.headers, *(("invented",) if content.invented else ()))


def csv_text(content: ReportContent, words: Words, table: str = "levels") -> str:
    """One table as CSV (RFC 4180); text that a spreadsheet would run as a formula starts with an apostrophe.

    Parameters
    ----------
    content : ReportContent
        What was found.
    words : Words
        Language of phrases.
    table : str
        Name of the table.
    """
    tables = {t.name: t for t in data_tables(content, words)}
    if table not in tables:
        raise UnknownNameError("table", table, tables)
    chosen, out = tables[table], io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_headings(content, words, table))
    for row in chosen.rows:
        writer.writerow((*(_csv_cell(v) for v in row), *(["true"] if content.invented else [])))
    return out.getvalue()


def _csv_cell(value: CellValue) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = printable(value)
        return f"'{text}" if text.startswith(_RISKY) else text
    return repr(value) if isinstance(value, float) else str(value)


def xlsx_bytes(content: ReportContent, words: Words) -> bytes:
    """All tables as one workbook, every text as text.

    Parameters
    ----------
    content : ReportContent
        What was found.
    words : Words
        Language of phrases.
    """
    book = openpyxl.Workbook()
    book.remove(book.active)
    _about_sheet(book.create_sheet("about"), content, words)
    for table in data_tables(content, words):
        _fill_sheet(book.create_sheet(table.name), table, content, words)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _about_sheet(sheet: Any, content: ReportContent, words: Words) -> None:
    lines = [
        (words.say("document.kind"), content.title),
        (words.say("sheet.survey"), content.survey_id),
        (words.say("annex.package_hash"), content.custody.package_sha256 or words.say("annex.no_package")),
        (words.say("annex.software"), content.custody.software),
        (words.say("document.issued", date=""), content.issued_at),
    ]
    if content.invented:
        lines.insert(0, (words.say("document.invented_banner"), ""))
    for n, line in enumerate(lines, start=1):
        _put_row(sheet, n, line)
    sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width = 42, 70


def _fill_sheet(sheet: Any, table: DataTable, content: ReportContent, words: Words) -> None:
    _put_row(sheet, 1, table.headers)
    for n, cell in enumerate(sheet[1], start=1):
        cell.font, cell.border = styles.Font(bold=True), styles.Border(bottom=styles.Side(style="thin"))
        longest = max([len(table.headers[n - 1])] + [len(str(r[n - 1])) for r in table.rows[:200]])
        sheet.column_dimensions[openpyxl_utils.get_column_letter(n)].width = min(48, longest + 2)
    for n, row in enumerate(table.rows, start=2):
        _put_row(sheet, n, row)
    sheet.freeze_panes = "A2"
    sheet.auto_filter.ref = sheet.dimensions
    sheet.print_title_rows, sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "1:1", "landscape", 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddFooter.right.text = "&P / &N"
    if content.invented:
        sheet.oddHeader.center.text = words.say("document.invented_banner")


def _put_row(sheet: Any, number: int, values: Iterable[CellValue]) -> None:
    for column, value in enumerate(values, start=1):
        cell = sheet.cell(number, column)
        if isinstance(value, str):
            cell.value = printable(value)
            cell.data_type = "s"
        else:
            cell.value = value


def json_text(content: ReportContent, words: Words) -> str:
    """The whole content as JSON: values in SI units as in :class:`ReportContent`, and the tables.

    Pictures are base64 (RFC 4648).

    Parameters
    ----------
    content : ReportContent
        What was found.
    words : Words
        Language of phrases.
    """
    tables = {t.name: [dict(zip(t.headers, row, strict=True)) for row in t.rows] for t in data_tables(content, words)}
    made = {
        "format": "roomfield-report",
        "version": FORMAT_VERSION,
        "invented": content.invented,
        "language": words.language,
        "tables": tables,
        "content": _json_value(content, words),
    }
    return json.dumps(made, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _json_value(value: Any, words: Words) -> Any:
    if isinstance(value, (Phrase, Told)):
        return words.text(value)
    if isinstance(value, Enum):
        return value.value
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _json_value(getattr(value, f.name), words) for f in fields(value)}
    if isinstance(value, (tuple, list)):
        return [_json_value(v, words) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return b64encode(value).decode("ascii") if isinstance(value, bytes) else value

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest
from openpyxl import load_workbook
from python_calamine import CalamineWorkbook

from roomfield.errors import FormatError, StoreError, UnknownNameError
from roomfield.report import write_tables
from roomfield.report.render.tables import csv_text, data_tables, json_text
from roomfield.show.findings import Level
from roomfield.show.words import Words


def test_workbook_read_by_another_reader_holds_the_same_numbers(sample: ModuleType, tmp_path: Path) -> None:
    content = sample.full()
    path = write_tables(content, tmp_path / "r.xlsx")
    book = CalamineWorkbook.from_path(str(path))
    assert book.sheet_names == ["about", "levels", "comparisons", "contributions", "steps", "references", "readings"]
    rows = book.get_sheet_by_name("levels").to_python()
    head = [str(h) for h in rows[0]]
    first = dict(zip(head, rows[1], strict=True))
    level = content.places[0].levels[0].level
    assert first["place"] == "Cot"
    assert first["median_uW_m2"] == pytest.approx(level.median_w_m2 * 1e6, rel=1e-12)
    assert first["low_uW_m2"] == pytest.approx(85.0)
    assert first["kind"] == "peak"
    assert len(rows) - 1 == sum(len(p.levels) for p in content.places)
    assert len(book.get_sheet_by_name("readings").to_python()) - 1 == len(content.readings)


@pytest.mark.parametrize("text", ["=1+1", '=HYPERLINK("http://x")', "+1", "-1", "@SUM(A1)", '#import "x"'])
def test_user_text_is_never_a_formula(sample: ModuleType, tmp_path: Path, english: Words, text: str) -> None:
    content = sample.content()
    content = replace(content, places=(replace(content.places[0], name=text),))
    cell = load_workbook(write_tables(content, tmp_path / "r.xlsx"))["levels"]["A2"]
    assert cell.value == text
    assert cell.data_type == "s"
    written = next(iter(csv.DictReader(io.StringIO(csv_text(content, english)))))["place"]
    assert written == (f"'{text}" if text[0] in "=+-@" else text)


def test_numbers_stay_numbers_even_if_negative(sample: ModuleType, english: Words) -> None:
    table = pd.read_csv(io.StringIO(csv_text(sample.content(), english, "contributions")))
    assert table["low_uW_m2"].tolist() == pytest.approx([70.0, -2.0, 2.0])


@pytest.mark.published("RFC 4180, 2: CRLF line breaks, quotes doubled, fields with commas, breaks and quotes quoted")
def test_csv_round_trip(sample: ModuleType, english: Words) -> None:
    content = sample.content()
    name = 'Bed, "left"\nsecond line; µ 漢'
    content = replace(content, places=(replace(content.places[0], name=name),))
    text = csv_text(content, english)
    assert text.endswith("\r\n")
    assert '""left""' in text
    assert next(iter(csv.DictReader(io.StringIO(text, newline=""))))["place"] == name


@pytest.mark.parametrize("name", ["levels", "comparisons", "contributions", "steps", "references", "readings"])
def test_every_table_reads_as_csv(sample: ModuleType, words: Words, name: str) -> None:
    content = sample.content()
    table = next(t for t in data_tables(content, words) if t.name == name)
    frame = pd.read_csv(io.StringIO(csv_text(content, words, name)))
    assert list(frame.columns) == [*table.headers, "invented"]
    assert len(frame) == len(table.rows) > 0
    assert frame["invented"].all()
    assert "invented" not in csv_text(replace(content, invented=False), words, name).splitlines()[0]


def test_json_holds_tables_and_content(sample: ModuleType, words: Words, tmp_path: Path) -> None:
    content = sample.full()
    made = json.loads(write_tables(content, tmp_path / "r.json", language=words.language).read_text("utf-8"))
    assert made["format"] == "roomfield-report"
    assert made["invented"] is True
    assert made["content"]["places"][0]["levels"][0]["level"]["median_w_m2"] == pytest.approx(340e-6)
    assert made["content"]["steps"][0]["title"] == words.say("step.night_schedule.title", source="the router")
    assert [r["place"] for r in made["tables"]["levels"]][:3] == ["Cot"] * 3
    assert made["content"]["custody"]["package_sha256"] == "ab12cd34" * 8


@pytest.mark.published("RFC 8259, 6: numbers that are not finite are not permitted")
def test_json_has_no_not_finite_numbers(sample: ModuleType, english: Words) -> None:
    level = replace(sample.PLACES[0].levels[0], level=Level(math.nan, 0.0, math.inf))
    content = sample.content(places=(replace(sample.PLACES[0], levels=(level,)),))
    made = json.loads(json_text(content, english), parse_constant=lambda name: pytest.fail(name))
    assert made["content"]["places"][0]["levels"][0]["level"]["high_w_m2"] is None
    assert made["tables"]["levels"][0]["high_uW_m2"] is None


def test_not_finite_numbers_are_empty_cells(sample: ModuleType, tmp_path: Path, english: Words) -> None:
    level = replace(sample.PLACES[0].levels[0], level=Level(math.nan, 0.0, math.inf))
    content = sample.content(places=(replace(sample.PLACES[0], levels=(level,)),))
    frame = pd.read_csv(io.StringIO(csv_text(content, english)))
    assert frame["high_uW_m2"].isna().all()
    sheet = load_workbook(write_tables(content, tmp_path / "r.xlsx"))["levels"]
    assert sheet["K2"].value is None


def test_control_characters_are_named(sample: ModuleType, tmp_path: Path) -> None:
    content = replace(sample.content(), places=(replace(sample.PLACES[0], name="a\x07b\x00"),))
    sheet = load_workbook(write_tables(content, tmp_path / "r.xlsx"))["levels"]
    assert sheet["A2"].value == "a[U+0007]b[U+0000]"


def test_invented_workbook_says_so_on_every_sheet(sample: ModuleType, tmp_path: Path, english: Words) -> None:
    book = load_workbook(write_tables(sample.content(), tmp_path / "r.xlsx"))
    banner = english.say("document.invented_banner")
    assert book["about"]["A1"].value == banner
    assert all(sheet.oddHeader.center.text == banner for sheet in book.worksheets[1:])
    clean = load_workbook(write_tables(sample.content(invented=False), tmp_path / "c.xlsx"))
    assert all(sheet.oddHeader.center.text is None for sheet in clean.worksheets)


def test_wrong_endings_and_names(sample: ModuleType, tmp_path: Path) -> None:
    with pytest.raises(FormatError, match="cannot be written as"):
        write_tables(sample.content(), tmp_path / "r.ods")
    with pytest.raises(UnknownNameError, match="table named 'nonsense'"):
        write_tables(sample.content(), tmp_path / "r.csv", table="nonsense")
    with pytest.raises(StoreError):
        write_tables(sample.content(), tmp_path / "no" / "r.csv")
    assert list(tmp_path.iterdir()) == []

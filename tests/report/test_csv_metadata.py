"""Beside every CSV file that goes out lies what its columns hold, as readers of CSV on the Web take it."""

from __future__ import annotations

import json

import pytest
from csvw import CSVW, Table
from hypothesis import given
from hypothesis import strategies as st

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.report.render.tables import data_tables, write_tables
from roomfield.show.csv_metadata import CsvColumn, column_of, described_csv, metadata_bytes, metadata_path
from roomfield.show.words import load_words
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.publish.files import report_content

SPECIFICATION = "W3C, Metadata Vocabulary for Tabular Data, 17 December 2015 (read by the csvw library)"


@pytest.fixture(scope="module")
def content():
    return report_content(assess(demo_survey(), FIRST.id))


@pytest.mark.published(SPECIFICATION)
@pytest.mark.parametrize("table", ["levels", "comparisons", "contributions", "steps", "references", "readings"])
def test_tables_of_the_report_are_read_with_their_types(content, table, tmp_path):
    path = write_tables(content, tmp_path / f"{table}.csv", table=table)
    assert CSVW(str(path)).is_valid
    rows = list(Table.from_file(metadata_path(path)).iterdicts(strict=True))
    (written,) = (one for one in data_tables(content, load_words("en")) if one.name == table)
    assert len(rows) == len(written.rows)
    for row, expected in zip(rows, written.rows, strict=True):
        for heading, value in zip(written.headers, expected, strict=True):
            if isinstance(value, (bool, int, float)):
                assert row[heading] == pytest.approx(value), heading
            else:
                assert (row[heading] or "").lstrip("'") == (value or "").lstrip("'").replace("\r", ""), heading
        assert row["invented"] is True


def test_units_and_meanings_stand_in_it(content, tmp_path):
    path = write_tables(content, tmp_path / "levels.csv")
    columns = json.loads(metadata_path(path).read_text("utf-8"))["tableSchema"]["columns"]
    median = next(one for one in columns if one["name"] == "median_uW_m2")
    assert (median["datatype"], median["schema:unitText"]) == ("double", "µW/m²")


@pytest.mark.published(SPECIFICATION)
@given(
    st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\x00\r\n"), min_size=1), min_size=1, unique=True)
)
def test_any_headings_make_a_valid_description(headings):
    plain = described_csv("t.csv", "t", [CsvColumn(one) for one in headings])
    names = [one["name"] for one in plain["tableSchema"]["columns"]]
    assert len(set(names)) == len(names)
    read = Table.fromvalue(plain)
    assert [column.titles.getfirst() for column in read.tableSchema.columns] == headings


def test_what_a_heading_means():
    assert column_of("scans").datatype == "integer" and column_of("sleeping").datatype == "boolean"
    assert column_of("mean_db_w_m2").unit == "dB re 1 W/m²" and column_of("std_db").unit == "dB"
    assert column_of("note") == CsvColumn("note")
    assert json.loads(metadata_bytes("a/b.csv", "x", [CsvColumn("note")]))["url"] == "b.csv"

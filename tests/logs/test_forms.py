"""XLSX, TSV and Parquet as other programs write them: the readings are those that pandas and Arrow put in."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from roomfield.errors import FormatError, InputError, RejectedRows
from roomfield.logs import LogSeries, guess_mapping, ingest

UTC_US = pd.date_range("2026-03-28 22:00", periods=200, freq="1min", tz="UTC")
LEVELS = np.round(np.random.default_rng(7).lognormal(2, 1, 200), 2)


def _take(path: Path, **answers: object) -> LogSeries:
    return ingest(path, guess_mapping(path).confirm(**answers), path.parent / "store")


def _is_right(series: LogSeries, stamps: pd.DatetimeIndex = UTC_US, levels: np.ndarray = LEVELS) -> None:
    t, value, _ = series.readings()
    assert np.array_equal(t, stamps.as_unit("us").asi8)
    assert value == pytest.approx(np.asarray(levels, dtype=float) * 1e-6, rel=1e-12)


# --- XLSX ----------------------------------------------------------------------------------------------------


@pytest.mark.published("Office Open XML workbook written by openpyxl through pandas.DataFrame.to_excel")
def test_a_workbook_with_lines_above_the_heading_and_a_wall_clock(tmp_path):
    path = tmp_path / "log.xlsx"
    wall = UTC_US.tz_convert("Europe/Zurich").tz_localize(None)
    with pd.ExcelWriter(path) as book:
        frame = pd.DataFrame({"Zeit": wall, "Mittelwert [µW/m²]": LEVELS, "Bemerkung": ""})
        frame.to_excel(book, sheet_name="Messung", startrow=3, index=False)
        book.sheets["Messung"]["A1"] = "Messgerät 4711"
    series = _take(path, zone="Europe/Zurich", kind="average")
    _is_right(series)
    assert series.report.hour_that_never_was == 0


def test_a_workbook_with_date_and_time_of_day_apart_and_words_for_overload(tmp_path):
    path = tmp_path / "log.xlsx"
    cells: list[object] = [float(v) for v in LEVELS]
    cells[5], cells[9] = "OL", None
    pd.DataFrame(
        {
            "date": [f"{t:%Y-%m-%d}" for t in UTC_US],
            "time (UTC)": [f"{t:%H:%M:%S}" for t in UTC_US],
            "average uW/m2": cells,
        }
    ).to_excel(path, index=False)
    series = _take(path, overload=2000.0)
    t, value, flag = series.readings()
    keep = np.arange(200) != 9
    assert np.array_equal(t, UTC_US[keep].as_unit("us").asi8)
    assert flag.nonzero()[0].tolist() == [5]
    assert value[5] == pytest.approx(2e-3)
    assert series.report.missing == 1


def test_the_sheet_is_the_one_that_holds_something_unless_named(tmp_path):
    path = tmp_path / "log.xlsx"
    with pd.ExcelWriter(path) as book:
        pd.DataFrame().to_excel(book, sheet_name="empty", index=False)
        pd.DataFrame({"time UTC": UTC_US.tz_localize(None), "average uW/m2": LEVELS}).to_excel(
            book, sheet_name="values", index=False
        )
    series = _take(path)
    assert series.mapping["layout"]["sheet"] == "values"
    _is_right(series)


def test_twenty_readings_a_second_survive_a_workbook(tmp_path):
    path = tmp_path / "log.xlsx"
    stamps = pd.date_range("2026-03-01", periods=100, freq="50ms", tz="UTC")
    pd.DataFrame({"time UTC": stamps.tz_localize(None), "average uW/m2": LEVELS[:100]}).to_excel(path, index=False)
    _is_right(_take(path), stamps, LEVELS[:100])


def test_a_faulty_cell_of_a_workbook_is_named_by_its_row(tmp_path):
    path = tmp_path / "log.xlsx"
    cells: list[object] = [float(v) for v in LEVELS]
    cells[7] = "12x4"
    pd.DataFrame({"time UTC": UTC_US.tz_localize(None), "average uW/m2": cells}).to_excel(path, index=False)
    with pytest.raises(RejectedRows) as caught:
        _take(path)
    assert [(f.line, f.column) for f in caught.value.faults] == [(9, "average uW/m2")]


# --- TSV -----------------------------------------------------------------------------------------------------


@pytest.mark.published("RFC 4180 quoting with the tabulator as delimiter, written by pandas.DataFrame.to_csv")
def test_a_tsv_with_quoted_cells_and_a_column_of_notes(tmp_path):
    path = tmp_path / "log.tsv"
    frame = pd.DataFrame(
        {
            "note": ['said "on",\tthen off' if i % 3 else "" for i in range(200)],
            "timestamp": UTC_US.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "average µW/m²": LEVELS,
        }
    )
    frame.to_csv(path, sep="\t", index=False, quoting=1)
    _is_right(_take(path))


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("plain", [True, False])
def test_a_tsv_with_decimal_commas(ending, plain, tmp_path):
    path = tmp_path / "log.tsv"
    rows = [f"{t:%d.%m.%Y %H:%M:%S}\t{v:.2f}" for t, v in zip(UTC_US, LEVELS, strict=True)]
    rows = [row.rpartition("\t")[0] + "\t" + row.rpartition("\t")[2].replace(".", ",") for row in rows]
    rows = rows if plain else [*rows[:-1], rows[-1].replace("\t", "\t ") + " "]
    path.write_bytes((ending.join(["Zeit (UTC)\tMittelwert µW/m²", *rows]) + ending).encode())
    _is_right(_take(path, kind="average"))


# --- Parquet -------------------------------------------------------------------------------------------------

ARROW = UTC_US.as_unit("us").asi8
NAIVE = pa.array(UTC_US.tz_convert("Europe/Zurich").tz_localize(None).as_unit("us").asi8, pa.timestamp("us"))
TYPES = {
    "utc": pa.array(ARROW, pa.timestamp("us", "UTC")),
    "another zone": pa.array(ARROW, pa.timestamp("us", "America/New_York")),
    "nanoseconds": pa.array(ARROW * 1000, pa.timestamp("ns", "UTC")),
    "milliseconds": pa.array(ARROW // 1000, pa.timestamp("ms", "UTC")),
    "text": pa.array(UTC_US.strftime("%Y-%m-%dT%H:%M:%SZ")),
    "dictionary": pa.array(UTC_US.strftime("%Y-%m-%dT%H:%M:%SZ")).dictionary_encode(),
    "count": pa.array(ARROW // 1000, pa.int64()),
}


@pytest.mark.published("Apache Parquet logical types TIMESTAMP, STRING, INT and DECIMAL, written by Arrow")
@pytest.mark.parametrize("stamp", list(TYPES))
@pytest.mark.parametrize("number", ["double", "decimal", "text"])
def test_parquet_of_any_type(stamp, number, tmp_path):
    path = tmp_path / "log.parquet"
    values = {
        "double": pa.array(LEVELS),
        "decimal": pa.array([Decimal(f"{v:.2f}") for v in LEVELS], pa.decimal128(12, 2)),
        "text": pa.array([f"{v:.2f}" for v in LEVELS]),
    }[number]
    pq.write_table(pa.table({"time": TYPES[stamp], "average uW/m2": values}), path)
    _is_right(_take(path))


def test_parquet_without_a_zone_is_asked_for_one(tmp_path):
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table({"time": NAIVE, "average uW/m2": pa.array(LEVELS, pa.float64())}), path)
    assert [q.what for q in guess_mapping(path).questions] == ["zone"]
    _is_right(_take(path, zone="Europe/Zurich"))


@pytest.mark.parametrize("kind", [pa.float32(), pa.int32(), pa.uint16()])
def test_parquet_numbers_of_other_widths(kind, tmp_path):
    path = tmp_path / "log.parquet"
    whole = np.round(LEVELS) + 1
    pq.write_table(pa.table({"time": TYPES["utc"], "average uW/m2": pa.array(whole).cast(kind)}), path)
    _is_right(_take(path), levels=whole)


def test_parquet_with_nothing_in_places_and_shuffled_rows(tmp_path):
    path = tmp_path / "log.parquet"
    order = np.random.default_rng(1).permutation(200)
    values = [None if i == 17 else float(LEVELS[i]) for i in order]
    pq.write_table(pa.table({"time": pa.array(ARROW[order], pa.timestamp("us", "UTC")), "average uW/m2": values}), path)
    series = _take(path)
    keep = np.arange(200) != 17
    _is_right(series, UTC_US[keep], LEVELS[keep])
    assert series.report.missing == 1
    assert series.report.out_of_order == int(np.count_nonzero(np.diff(order) < 0))


def test_stamps_that_carry_their_offset_are_not_shifted_by_a_zone(tmp_path):
    path = tmp_path / "log.csv"
    rows = [f"{t.isoformat()},{v}" for t, v in zip(UTC_US.tz_convert("Asia/Kolkata"), LEVELS, strict=True)]
    path.write_text("time,average uW/m2\n" + "\n".join(rows) + "\n")
    series = _take(path, zone="Europe/Zurich")
    assert series.zone == "Europe/Zurich"
    _is_right(series)


def test_levels_below_zero_refuse_the_file_whole(tmp_path):
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table({"time": TYPES["utc"], "average uW/m2": pa.array(-LEVELS)}), path)
    with pytest.raises(InputError, match="200 levels are below zero"):
        _take(path)
    assert not any((tmp_path / "store").iterdir())


def test_a_workbook_that_would_lose_cells_is_refused_as_any_other_table(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["time", "peak [uW/m2]"])
    for minute in range(10):
        book.active.append([f"2026-03-01 20:{minute:02d}:00", "=1+1"])
    path = tmp_path / "log.xlsx"
    book.save(path)
    with pytest.raises(FormatError, match="the formula in cell B2 has not been calculated"):
        guess_mapping(path)


@pytest.mark.parametrize("heading", ["max_hold [uW/m2]", "Höchstwert [µW/m²]", "PeakHold uW/m2", "Max [uW/m2]"])
def test_a_log_s_heading_names_its_kind_in_the_words_of_every_table(tmp_path, heading):
    path = tmp_path / "log.csv"
    rows = "".join(f"2026-03-01T20:{n:02d}:00Z;{n}.5\n" for n in range(10))
    path.write_text(f"time;{heading}\n{rows}", encoding="utf-8")
    assert guess_mapping(path).kind == "highest_held"

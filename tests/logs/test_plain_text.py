"""Plain text by compiled loops: against Python's own reading of numbers and dates, and against the reader by cell."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roomfield.errors import InputError, RejectedRows
from roomfield.logs import duckdb_engine, guess_mapping, ingest, plain_text, text_kernels
from roomfield.logs.layout import Layout
from roomfield.logs.mapping import Mapping
from roomfield.logs.plain_text import NotPlainError, PlainText
from roomfield.logs.staging import stage

FORMS = {
    "iso": "%Y-%m-%dT%H:%M:%S.%f",
    "%Y/%m/%d %H:%M:%S.%f": "%Y/%m/%d %H:%M:%S.%f",
    "%d.%m.%Y %H:%M:%S.%f": "%d.%m.%Y %H:%M:%S.%f",
    "%d.%m.%Y %H:%M:%S,%f": "%d.%m.%Y %H:%M:%S,%f",
    "%m/%d/%Y %H:%M:%S": "%m/%d/%Y %H:%M:%S",
    "%d-%m-%Y %H:%M": "%d-%m-%Y %H:%M",
}


def _mapping(columns: tuple[str, ...], form: str, delimiter: str = ";", decimal: str = ".") -> Mapping:
    layout = Layout("text", columns, 1, delimiter=delimiter)
    return Mapping(layout, ("time",), form, "value", zone="UTC", unit="W/m2", decimal=decimal, confirmed=True)


def _read(path: Path, mapping: Mapping) -> tuple[np.ndarray, np.ndarray]:
    text = PlainText.of(path, mapping)
    assert text is not None
    t, value = (np.concatenate(part) for part in zip(*text.blocks(), strict=True))
    return t, value


def _numbers(text: str, tmp_path: Path, decimal: str = ".") -> np.ndarray:
    path = tmp_path / "log.csv"
    path.write_text("time;value\n" + "".join(f"2026-03-01 00:00;{cell}\n" for cell in text.split("|")))
    return _read(path, _mapping(("time", "value"), "iso", decimal=decimal))[1]


@pytest.mark.published("Python float(), correctly rounded: IEEE 754-2019, 5.12")
@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(-(2**53), 2**53), st.integers(0, 22)), min_size=1, max_size=30))
def test_numbers_are_read_to_the_last_bit(tmp_path_factory, cases):
    cells = [f"{whole}e-{scale}" if scale % 2 else _pointed(whole, scale) for whole, scale in cases]
    found = _numbers("|".join(cells), tmp_path_factory.mktemp("numbers"))
    assert found.tolist() == [float(cell) for cell in cells]


def _pointed(whole: int, scale: int) -> str:
    digits = str(abs(whole)).rjust(scale + 1, "0")
    digits = digits[:-scale] + "." + digits[-scale:] if scale else digits
    sign = "-" if whole < 0 else ""
    return sign + digits if len(digits) <= 18 else sign + str(abs(whole))


def test_numbers_as_loggers_write_them(tmp_path):
    cells = "12.5|0.001|+3|.5|7.|1e3|2.5E-07|  4.25 |1E+2|-0.0|000123.4500"
    assert _numbers(cells, tmp_path).tolist() == [float(c) for c in cells.split("|")]
    assert _numbers("12,5|0,001|3", tmp_path, ",").tolist() == [12.5, 0.001, 3.0]


@pytest.mark.parametrize(
    "cell",
    ["OL", "", "<0.01", "1.2.3", "1,5", "nan", "inf", "1e", "1e999", '"1.5"', "1.5 uW", "--1",
     "0.1234567890123456789", "9007199254740993"],
)  # fmt: skip
def test_what_is_not_a_plain_number_is_left_to_the_other_reader(cell, tmp_path):
    with pytest.raises(NotPlainError):
        _numbers(cell, tmp_path)


@pytest.mark.published(
    "datetime.strptime of the Python standard library; proleptic Gregorian calendar, ISO 8601-1:2019"
)
@pytest.mark.parametrize("form", list(FORMS))
@settings(max_examples=25, deadline=None)
@given(st.lists(st.datetimes(datetime(1970, 1, 1), datetime(2099, 12, 31)), min_size=1, max_size=20))
def test_stamps_are_those_of_the_standard_library(tmp_path_factory, form, moments):
    cells = [moment.strftime(FORMS[form]) for moment in moments]
    path = tmp_path_factory.mktemp("stamps") / "log.csv"
    path.write_text("a;time;b;value\n" + "".join(f"x y;{cell};;1\n" for cell in cells))
    found, _ = _read(path, _mapping(("a", "time", "b", "value"), form))
    expected = [datetime.strptime(cell, FORMS[form]).replace(tzinfo=UTC) for cell in cells]
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    assert found.tolist() == [(moment - epoch) // timedelta(microseconds=1) for moment in expected]


@pytest.mark.published("numpy.datetime64, proleptic Gregorian calendar")
def test_every_day_of_two_centuries(tmp_path):
    days = np.arange(np.datetime64("1970-01-01"), np.datetime64("2170-01-01"))
    path = tmp_path / "log.csv"
    path.write_text("time;value\n" + "".join(f"{day} 00:00:00;1\n" for day in days))
    found, _ = _read(path, _mapping(("time", "value"), "iso"))
    assert np.array_equal(found, days.astype("datetime64[us]").astype(np.int64))


@pytest.mark.published("datetime.fromisoformat of the Python standard library")
@pytest.mark.parametrize("offset", ["Z", "+01:00", "-0330", "+05", "+14:00"])
def test_offsets_beside_the_stamp(offset, tmp_path):
    cell = f"2026-03-29T01:59:59.25{offset}"
    path = tmp_path / "log.csv"
    path.write_text(f"time;value\n{cell};1\r\n{cell};2\r\n")
    found, value = _read(path, _mapping(("time", "value"), "iso_zoned"))
    assert found.tolist() == [round(datetime.fromisoformat(cell).timestamp() * 1e6)] * 2
    assert value.tolist() == [1.0, 2.0]


@pytest.mark.parametrize(
    ("form", "cell"),
    [
        ("iso", "2026-02-29 00:00:00"),
        ("iso", "2026-13-01 00:00:00"),
        ("iso", "2026-03-01 24:00:00"),
        ("iso", "2026-03-01 00:00:60"),
        ("iso", "2026-03-01 00:00:00.1234567"),
        ("iso", "2026-03-01 00:00:00Z"),
        ("iso", "2026/03/01 00:00:00"),
        ("iso", "2026-03-01"),
        ("iso_zoned", "2026-03-01T00:00:00"),
        ("iso_zoned", "2026-03-01T00:00:00+25:00"),
        ("%d.%m.%Y %H:%M:%S", "1.3.2026 00:00:00"),
        ("%d.%m.%Y %H:%M:%S", "01.03.2026T00:00:00"),
        ("%d.%m.%Y %H:%M:%S", "01.03.2026 00:00:00.5"),
        ("%d.%m.%Y %H:%M:%S", "01.03.2026 00:00"),
    ],
)
def test_what_is_not_such_a_stamp_is_left_to_the_other_reader(form, cell, tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(f"time;value\n{cell};1\n")
    with pytest.raises(NotPlainError):
        _read(path, _mapping(("time", "value"), form))


@pytest.mark.parametrize("row", ["2026-03-01 00:00;1;2", "2026-03-01 00:00", "", '2026-03-01 00:00;1;"a;b"'])
def test_a_row_of_another_shape_is_left_to_the_other_reader(row, tmp_path):
    path = tmp_path / "log.csv"
    columns = ("time", "value", "note") if '"' in row else ("time", "value")
    path.write_text(f"{';'.join(columns)}\n{row}\n")
    with pytest.raises(NotPlainError):
        _read(path, _mapping(columns, "iso"))


@pytest.mark.parametrize("size", [17, 40, 41, 1000])
def test_where_blocks_are_cut_changes_nothing(size, tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    rows = [f"2026-03-01 00:{i // 60:02d}:{i % 60:02d};{i * 1.25}" for i in range(300)]
    path.write_text("time;value\n" + "\n".join(rows))
    monkeypatch.setattr(plain_text, "_BLOCK_BYTES", size)
    t, value = _read(path, _mapping(("time", "value"), "iso"))
    assert value.tolist() == [i * 1.25 for i in range(300)]
    assert np.array_equal(np.diff(t), np.full(299, 1_000_000))


@pytest.mark.parametrize("form", ["%d %b %Y %H:%M:%S", "epoch_s", "elapsed_s", "%Y%m%d %H%M%S", "%I:%M %p"])
def test_forms_that_are_not_read_here(form):
    assert text_kernels.form_of(form) is None


def _logs(zone: str, form: str, fixed: bool) -> str:
    """Three days with gaps and repeats, across the end of daylight saving."""
    rng = np.random.default_rng(3)
    utc = pd.Timestamp("2025-10-24 22:00", tz="UTC") + pd.to_timedelta(
        np.cumsum(rng.choice([5, 5, 5, 10, 4000], 4000, p=[0.4, 0.3, 0.18, 0.1, 0.02])), unit="s"
    )
    utc = utc[utc < pd.Timestamp("2025-10-27", tz="UTC")]
    wall = utc if fixed else utc.tz_convert(zone)
    levels = np.round(rng.lognormal(2, 1, utc.size), 3)
    rows = [f"{stamp},{level}" for stamp, level in zip(wall.strftime(form), levels, strict=True)]
    return "time,average uW/m2\n" + "\n".join([*rows[:900], rows[899], *rows[900:]]) + "\n"


@pytest.mark.parametrize(
    ("form", "fixed", "answers"),
    [
        ("%Y-%m-%dT%H:%M:%SZ", True, {}),
        ("%Y-%m-%d %H:%M:%S", False, {"zone": "Europe/Zurich", "floor": 3.0, "overload": 60.0}),
        ("%d.%m.%Y %H:%M:%S", False, {"zone": "Europe/Zurich", "kind": "peak"}),
    ],
)
def test_both_readers_store_the_same_file(form, fixed, answers, tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    path.write_text(_logs("Europe/Zurich", form, fixed))
    mapping = guess_mapping(path).confirm(**answers)
    assert PlainText.of(path, mapping) is not None
    quick = ingest(path, mapping, tmp_path / "quick")
    assert quick.report.rows_read - quick.report.rows_stored == quick.report.identical_repeats == 1
    monkeypatch.setattr(PlainText, "of", staticmethod(lambda *_: None))
    by_cell = ingest(path, mapping, tmp_path / "by_cell")
    assert by_cell == type(quick)(**{**vars(quick), "directory": by_cell.directory})
    for name in ("series.parquet", "pyramid.parquet", "digest.npz"):
        assert (quick.directory / name).read_bytes() == (by_cell.directory / name).read_bytes(), name


def test_a_file_that_turns_odd_halfway_is_read_by_cell(tmp_path, monkeypatch):
    monkeypatch.setattr(plain_text, "_BLOCK_BYTES", 4000)
    rows = [f"2026-03-01 00:{i // 60:02d}:{i % 60:02d},{i}" for i in range(1, 1000)]
    rows[700] = rows[700].rsplit(",", 1)[0] + ",OL"
    path = tmp_path / "log.csv"
    path.write_text("time,average uW/m2\n" + "\n".join(rows) + "\n")
    mapping = guess_mapping(path).confirm(zone="UTC", overload=2000.0)
    series = ingest(path, mapping, tmp_path / "store")
    assert (series.rows, series.report.overload) == (999, 1)
    path.write_text("time,average uW/m2\n" + "\n".join([*rows, "2026-03-01 01:00:00,odd"]) + "\n")
    with pytest.raises(RejectedRows, match="1 row"):
        ingest(path, mapping, tmp_path / "store")
    path.write_text("time,average uW/m2\n" + "\n".join([*rows[:700], "2026-03-01 01:00:00,-5"]) + "\n")
    with pytest.raises(InputError, match="below zero"):
        ingest(path, mapping, tmp_path / "store")
    assert len(list((tmp_path / "store").iterdir())) == 1


def test_rows_out_of_order_are_sorted_by_the_other_reader(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time,average uW/m2\n2026-03-01T00:00:02Z,3\n2026-03-01T00:00:01Z,2\n2026-03-01T00:00:03Z,4\n")
    series = ingest(path, guess_mapping(path).confirm(), tmp_path / "store")
    assert series.report.out_of_order == 1
    assert (series.readings()[1] * 1e6).round().tolist() == [2, 3, 4]


STAMPS = ["2026-03-01T00:00:{s:02d}Z", "2026-03-01T00:00:{s:02d}.5Z", "2026-03-01 00:00:{s:02d}Z", "2026-03-01T01:00:{s:02d}+01:00",
          "2026-03-01T00:00:{s:02d}.123456Z", "2026-03-01T05:30:{s:02d}+0530", "2026-03-01T00:00Z", "2026-03-01T23:00:{s:02d}-01"]  # fmt: skip
VALUES = [
    "1",
    "+2.5",
    "3.",
    ".25",
    "1e2",
    "1E-3",
    " 4",
    "5 ",
    "007",
    "0",
    "0.0",
    "1e11",
    "123456789012345678",
    "4.9e-22",
    "1e-30",
]


@pytest.mark.published("DuckDB: CAST to TIMESTAMP WITH TIME ZONE and to DOUBLE")
@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(STAMPS), st.sampled_from(VALUES), st.booleans()), min_size=3, max_size=12))
def test_whatever_is_read_quickly_is_read_alike_by_cell(tmp_path_factory, rows):
    """Odd but lawful cells in any mixture: where the quick reader takes them, both store the same."""
    folder = tmp_path_factory.mktemp("odd")
    path = folder / "log.csv"
    lines = [f"{stamp.format(s=2 * i)},{value},{'x' if note else ''}" for i, (stamp, value, note) in enumerate(rows)]
    path.write_text("time,average uW/m2,note\n" + "\n".join(lines) + "\n")
    mapping = Mapping(
        Layout("text", ("time", "average uW/m2", "note"), 1),
        ("time",), "iso_zoned", "average uW/m2", unit="uW/m2", kind="average", confirmed=True,
    )  # fmt: skip
    text = PlainText.of(path, mapping)
    try:
        quick = list(text.blocks())
    except NotPlainError:
        return
    t, value = (np.concatenate(part) for part in zip(*quick, strict=True))
    with duckdb_engine.connection(folder) as database:
        staged = stage(path, mapping, folder, database)
        table = database.execute(f"SELECT t_us, number FROM read_parquet('{staged.path}')").fetchall()
    assert staged.clean
    assert [row[0] for row in table] == t.tolist()
    assert [row[1] for row in table] == value.tolist()

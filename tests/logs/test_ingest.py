"""Taking in a log: every form gives the same readings, nothing is dropped silently, nothing stays half-written."""

from __future__ import annotations

import gzip
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from roomfield.errors import FormatError, InputError, IntegrityError, RejectedRows, UnknownNameError
from roomfield.logs import guess_mapping, ingest, open_series

ROWS = [(f"2026-03-01 00:00:{s:02d}", 10.5 + s) for s in range(40)]


def _take(path: Path, **answers):
    return ingest(path, guess_mapping(path).confirm(**answers), path.parent / "store")


def _text(delimiter: str = ",", decimal: str = ".") -> str:
    lines = [
        f"{t}{delimiter}{v:.2f}".replace(".", decimal) if decimal == "," else f"{t}{delimiter}{v:.2f}" for t, v in ROWS
    ]
    return f"time UTC{delimiter}average µW/m²\n" + "\n".join(lines) + "\n"


@pytest.mark.parametrize("form", ["csv", "semicolon", "tsv", "latin-1", "utf-16", "bom", "gz", "parquet", "xlsx"])
def test_every_form_gives_the_same_readings(form, tmp_path):
    path = tmp_path / {"parquet": "log.parquet", "xlsx": "log.xlsx", "gz": "log.csv.gz"}.get(form, "log.csv")
    frame = pd.DataFrame(ROWS, columns=["time UTC", "average µW/m²"])
    if form == "parquet":
        frame.assign(**{"time UTC": pd.to_datetime(frame["time UTC"])}).to_parquet(path)
    elif form == "xlsx":
        frame.assign(**{"time UTC": pd.to_datetime(frame["time UTC"])}).to_excel(path, index=False)
    elif form == "gz":
        path.write_bytes(gzip.compress(_text().encode()))
    else:
        text = {"semicolon": _text(";", ","), "tsv": _text("\t")}.get(form, _text())
        path.write_bytes(text.encode({"latin-1": "latin-1", "utf-16": "utf-16", "bom": "utf-8-sig"}.get(form, "utf-8")))
    series = _take(path)
    t, value, flag = series.readings()
    start = int(datetime(2026, 3, 1, tzinfo=UTC).timestamp())
    assert np.array_equal(t, (start + np.arange(40)) * 1_000_000)
    assert value == pytest.approx((10.5 + np.arange(40)) * 1e-6, rel=1e-12)
    assert not flag.any()
    assert (series.nominal_interval_s, series.unit.name, series.kind) == (1.0, "W/m2", "average")


def test_the_stored_file_is_plain_parquet(written):
    series = _take(written(_text()))
    table = pq.read_table(series.path)
    assert table.schema.names == ["t_us", "value", "flag", "dt_us"]
    assert set(table.column("dt_us").to_pylist()) == {1_000_000}


def test_a_second_import_of_the_same_content_is_recognised(written, tmp_path):
    first = _take(written(_text()))
    again = _take(written(_text(), name="copy of the log.csv"))
    assert not first.already_known
    assert again.already_known
    assert again.directory == first.directory
    other = _take(written(_text()), keep_unit=True)
    assert not other.already_known
    assert sorted(p.name for p in (tmp_path / "store").iterdir()) == sorted({first.id, other.id})
    assert open_series(first.directory) == first


def test_repeats_order_and_missing_values_are_counted(written):
    text = (
        "time UTC,average uW/m2\n2026-03-01 00:00:00,1\n2026-03-01 00:00:02,3\n2026-03-01 00:00:01,2\n"
        "2026-03-01 00:00:02,3\n2026-03-01 00:00:03,4\n2026-03-01 00:00:03,8\n2026-03-01 00:00:04,\n2026-03-01 00:00:05,n/a\n"
    )
    series = _take(written(text))
    _, value, _ = series.readings()
    assert value * 1e6 == pytest.approx([1, 2, 3, 6])
    report = series.report
    assert (report.rows_read, report.rows_stored, report.missing) == (8, 4, 2)
    assert (report.identical_repeats, report.merged_repeats, report.out_of_order) == (1, 1, 1)
    assert len(report.remarks) == 4


def test_of_peaks_that_share_a_time_the_highest_is_kept(written):
    text = "time UTC,peak uW/m2\n2026-03-01 00:00:00,1\n2026-03-01 00:00:00,8\n2026-03-01 00:00:01,2\n"
    assert _take(written(text)).readings()[1] * 1e6 == pytest.approx([8, 2])


def test_decibels_that_share_a_time_are_averaged_as_power(written):
    text = "time UTC,average dBm\n2026-03-01 00:00:00,-60\n2026-03-01 00:00:00,-50\n2026-03-01 00:00:01,-55\n"
    assert _take(written(text)).readings()[1][0] == pytest.approx(10 * np.log10((1e-6 + 1e-5) / 2))


def test_units_beside_the_values_are_converted_row_by_row(written):
    text = (
        "time UTC,mean level\n2026-03-01 00:00:00,900 µW/m²\n2026-03-01 00:00:01,1.2 mW/m²\n2026-03-01 00:00:02,1 V/m\n"
    )
    series = _take(written(text))
    assert series.readings()[1] == pytest.approx([9e-4, 1.2e-3, 1 / 376.730313], rel=1e-6)
    mixed = text.replace("1 V/m", "-60 dBm")
    with pytest.raises(InputError, match="cannot stand in one series"):
        _take(written(mixed))


def test_field_strength_becomes_power_density_unless_kept(written):
    text = "time UTC,average V/m\n2026-03-01 00:00:00,1\n2026-03-01 00:00:01,2\n"
    assert _take(written(text)).readings()[1] == pytest.approx(np.array([1, 4]) / 376.730313, rel=1e-6)
    kept = _take(written(text), keep_unit=True)
    assert kept.unit.name == "V/m"
    assert kept.readings()[1].tolist() == [1, 2]


def test_the_ends_of_the_range_are_marked_and_kept(written):
    text = (
        "time UTC,average uW/m2\n2026-03-01 00:00:00,<0.01\n2026-03-01 00:00:01,0.5\n2026-03-01 00:00:02,>2000\n"
        "2026-03-01 00:00:03,OL\n2026-03-01 00:00:04,0.0\n2026-03-01 00:00:05,2000\n"
    )
    with pytest.raises(InputError, match=r"1 readings are marked as overload.*overload="):
        _take(written(text))
    series = _take(written(text), overload=2000.0, floor=0.01)
    _, value, flag = series.readings()
    assert flag.tolist() == [1, 0, 2, 2, 1, 2]
    assert value * 1e6 == pytest.approx([0.01, 0.5, 2000, 2000, 0, 2000])
    assert (series.report.below_floor, series.report.overload) == (2, 3)


def test_a_column_of_words_marks_overload(written):
    text = "time UTC,average uW/m2,status\n2026-03-01 00:00:00,5,ok\n2026-03-01 00:00:01,20,OVL\n2026-03-01 00:00:02,5,ok\n"
    assert _take(written(text)).readings()[2].tolist() == [0, 2, 0]


def test_faulty_rows_refuse_the_file_and_are_listed(written, tmp_path):
    rows = [f"2026-03-01 00:00:{s:02d},1.5" for s in range(50)]
    rows[9], rows[20], rows[49] = "2026-03-01 25:00:00,1.5", "2026-03-01 00:00:20,1.5x7", "2026-03-01 00:0"
    path = written("time UTC,average uW/m2\n" + "\n".join(rows) + "\n")
    with pytest.raises(RejectedRows, match=r"3 rows.*skip_unreadable") as caught:
        _take(path)
    assert [(fault.line, fault.column) for fault in caught.value.faults[:2]] == [
        (11, "time UTC"),
        (22, "average uW/m2"),
    ]
    assert caught.value.faults[2].line == 51
    assert not any((tmp_path / "store").iterdir())
    series = _take(path, skip_unreadable=True)
    assert (series.report.unreadable, series.rows) == (3, 47)


def test_levels_below_zero_are_refused(written, tmp_path):
    with pytest.raises(InputError, match="below zero"):
        _take(written("time UTC,average uW/m2\n2026-03-01 00:00:00,1\n2026-03-01 00:00:01,-60\n"))
    assert not any((tmp_path / "store").iterdir())


def test_a_file_that_stops_halfway_through_leaves_nothing(tmp_path, monkeypatch):
    from roomfield.logs import pyramid

    def full_disk(*_):
        raise OSError("no space left")

    monkeypatch.setattr(pyramid, "build", full_disk)
    path = tmp_path / "log.csv"
    path.write_text(_text())
    with pytest.raises(OSError, match="no space"):
        _take(path)
    assert not any((tmp_path / "store").iterdir())


def test_readings_that_share_a_printed_second_are_spread(written):
    lines = [f"2026-03-01 00:00:{s:02d},{s * 20 + k}" for s in range(6) for k in range(20)]
    path = written("time UTC,average uW/m2\n" + "\n".join(lines) + "\n")
    mapping = guess_mapping(path)
    assert [q.what for q in mapping.questions] == ["spread_repeats"]
    series = ingest(path, mapping.confirm(), path.parent / "store")
    t, value, _ = series.readings()
    assert np.array_equal(np.diff(t), np.full(119, 50_000))
    assert np.array_equal(np.round(value * 1e6), np.arange(120))
    assert series.nominal_interval_s == 0.05


def test_stamps_that_count_from_the_start_need_the_start(written):
    text = "elapsed s,average uW/m2\n0,1\n0.5,2\n1.0,3\n"
    mapping = guess_mapping(written(text))
    assert [q.what for q in mapping.questions] == ["start"]
    series = ingest(written(text), mapping.confirm(start="2026-03-01T10:00:00+01:00"), written(text).parent / "store")
    assert (series.start, series.end) == (
        datetime(2026, 3, 1, 9, tzinfo=UTC),
        datetime(2026, 3, 1, 9, 0, 1, tzinfo=UTC),
    )


@pytest.mark.published("pandas.DatetimeIndex.tz_convert with the tz database, pandas 3")
@pytest.mark.parametrize("step", ["15min", "1h", "2h"])
@pytest.mark.parametrize("day", ["2025-10-25", "2025-03-29"])
def test_a_night_of_changing_clocks_is_laid_out_in_utc(day, step, written):
    utc = pd.date_range(f"{day} 18:00", periods=64, freq=step, tz="UTC")
    wall = utc.tz_convert("Europe/Zurich").strftime("%d.%m.%Y %H:%M:%S")
    lines = [f"{t};{i}" for i, t in enumerate(wall)]
    series = _take(written("Zeit;average uW/m2\n" + "\n".join(lines) + "\n"), zone="Europe/Zurich")
    t, value, _ = series.readings()
    assert np.array_equal(t, utc.as_unit("us").asi8)
    assert np.array_equal(np.round(value * 1e6), np.arange(64))
    assert series.report.out_of_order == 0


@pytest.mark.published("pandas.DatetimeIndex.tz_convert with the tz database, pandas 3")
def test_a_log_sorted_by_the_wall_clock_has_each_stamp_of_the_doubled_hour_twice(written):
    utc = pd.date_range("2025-10-25 18:00", periods=96, freq="10min", tz="UTC")
    wall = utc.tz_convert("Europe/Zurich").tz_localize(None)
    order = np.argsort(wall.to_numpy(), kind="stable")
    lines = [f"{wall[i]:%Y-%m-%d %H:%M:%S},{i}" for i in order]
    series = _take(written("time,average uW/m2\n" + "\n".join(lines) + "\n"), zone="Europe/Zurich")
    t, value, _ = series.readings()
    assert np.array_equal(t, utc.as_unit("us").asi8)
    assert np.array_equal(np.round(value * 1e6), np.arange(96))
    assert (series.report.doubled_hour_paired, series.report.doubled_hour_undecided) == (6, 0)
    assert series.report.merged_repeats == 0
    assert any("6 stamps of the hour that daylight saving doubles stand twice" in r for r in series.report.remarks)


def test_a_clock_that_does_not_follow_daylight_saving_is_noticed(written):
    wall = pd.date_range("2025-03-30 01:00", periods=12, freq="15min").strftime("%Y-%m-%d %H:%M:%S")
    lines = [f"{t},{i}" for i, t in enumerate(wall)]
    series = _take(written("time,average uW/m2\n" + "\n".join(lines) + "\n"), zone="Europe/Zurich")
    assert series.report.hour_that_never_was == 4
    assert any("fixed offset" in remark for remark in series.report.remarks)


def test_a_damaged_store_is_noticed(written, tmp_path):
    series = _take(written(_text()))
    (series.directory / "pyramid.parquet").unlink()
    with pytest.raises(IntegrityError, match=r"pyramid\.parquet is missing"):
        open_series(series.directory)
    (series.directory / "series.json").write_text("{}")
    with pytest.raises(IntegrityError, match="cannot be read"):
        open_series(series.directory)
    with pytest.raises(FormatError, match="no stored log"):
        open_series(tmp_path)


def test_progress_is_told_in_rising_steps(written):
    told = []
    path = written(_text())
    ingest(path, guess_mapping(path), path.parent / "store", progress=lambda share, words: told.append((share, words)))
    assert [share for share, _ in told] == sorted(share for share, _ in told)
    assert told[-1][0] == 1.0
    assert all(words for _, words in told)


def test_a_span_of_a_series_is_a_series(stored):
    series = stored(np.arange(100), np.arange(100) + 1.0)
    span = series.between("1970-01-01T00:00:10Z", "1970-01-01T00:00:20Z")
    assert np.array_equal(span.readings()[1], np.arange(11, 21))
    with pytest.raises(InputError, match="no reading lies between"):
        series.between("1980-01-01")


def _minutes(first: str, count: int, odd: dict[int, str] | None = None) -> str:
    start = datetime.fromisoformat(first)
    stamps = [(odd or {}).get(i, f"{start + timedelta(minutes=i):%Y-%m-%d %H:%M:%S}") for i in range(count)]
    return "time UTC,average µW/m²\n" + "".join(f"{stamp},{10 + i % 7}\n" for i, stamp in enumerate(stamps))


@pytest.mark.parametrize(
    "odd", ["1969-12-30 00:00:00", "1800-01-01 00:00:00", "9999-12-31 23:59:59", "2101-01-01 00:00:00"]
)
@pytest.mark.parametrize("place", [0, 150, 299])
def test_a_stamp_of_no_year_that_a_log_can_be_of_is_a_faulty_row(written, odd, place):
    path = written(_minutes("2026-03-01 00:00", 300, {place: odd}))
    with pytest.raises(RejectedRows) as refused:
        _take(path, time_form="%Y-%m-%d %H:%M:%S")
    assert [fault.line for fault in refused.value.faults] == [place + 2]
    series = _take(path, skip_unreadable=True, time_form="%Y-%m-%d %H:%M:%S")
    assert (series.rows, series.report.unreadable) == (299, 1)


def test_parquet_of_the_year_9999_ends(tmp_path):
    stamps = [datetime(2026, 3, 1, 0, i) for i in range(50)] + [datetime(9999, 1, 1)]
    path = tmp_path / "log.parquet"
    pq.write_table(
        pa.table({"time UTC": pa.array(stamps, pa.timestamp("us", "UTC")), "average W/m2": [1e-6] * 51}), path
    )
    with pytest.raises(RejectedRows):
        _take(path)
    assert _take(path, skip_unreadable=True).rows == 50


@pytest.mark.parametrize("odd", ["1970-01-01 00:00:00", "2001-01-01 00:00:00", "2038-01-19 03:14:07"])
def test_a_few_stamps_far_away_are_shown_and_asked_about(written, odd):
    path = written(_minutes("2026-03-01 00:00", 300, {10: odd, 11: odd.replace(":0", ":2")}))
    with pytest.raises(RejectedRows, match=r"leave out") as refused:
        _take(path)
    assert refused.value.faults[0].value == odd[:16]
    assert "2026-03-01" in refused.value.faults[0].reason
    series = _take(path, outlying="leave out")
    assert (series.rows, series.nominal_interval_s) == (298, 60.0)
    assert series.end.year == series.start.year == 2026
    assert any("half a year" in remark for remark in series.report.remarks)
    if odd > "2030":
        assert _take(path, outlying="keep").rows == 300


def test_readings_too_few_for_the_years_they_span_are_refused(written):
    text = _minutes("2000-03-01 00:00", 60) + _minutes("2090-03-01 00:00", 60).split("\n", 1)[1]
    with pytest.raises(InputError, match="spread from 2000-03-01 to 2090-03-01"):
        _take(written(text), outlying="keep")


def test_two_campaigns_a_year_apart_are_one_log(written):
    text = _minutes("2025-03-01 00:00", 200) + _minutes("2026-03-01 00:00", 300).split("\n", 1)[1]
    assert _take(written(text)).rows == 500


@pytest.mark.parametrize("number", ["1e300", "-1e300", "9e15", "1e999"])
def test_a_number_that_no_meter_shows_is_a_faulty_row_or_an_overload(written, number):
    path = written(_text().replace("12.50", number))
    if number == "1e999":
        assert _take(path, overload=1e6).report.overload == 1
        return
    with pytest.raises(RejectedRows) as refused:
        _take(path)
    assert [fault.line for fault in refused.value.faults] == [4]


@pytest.mark.parametrize("cut", [3, 12, 40, -9, -1])
def test_a_damaged_gzip_is_one_sentence(tmp_path, cut):
    path = tmp_path / "log.csv.gz"
    whole = gzip.compress((_text() * 40).encode())
    for content in (whole[:cut], whole[: len(whole) // 2] + b"\xff" * 20 + whole[len(whole) // 2 + 20 :]):
        path.write_bytes(content)
        with pytest.raises((FormatError, InputError)):
            _take(path)


def test_what_becomes_of_outlying_stamps_is_part_of_what_is_stored(written):
    mapping = guess_mapping(written(_text())).confirm()
    assert mapping.fingerprint() != replace(mapping, outlying="keep").fingerprint()
    with pytest.raises(UnknownNameError, match="leave out"):
        mapping.confirm(outlying="perhaps")

"""Wall-clock time to UTC, checked against pandas and the tz database."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roomfield.errors import InputError
from roomfield.logs.clock import WallClock, fitting_forms, local_from_utc, parse_moment, zone_from_name, zone_named_in

ZONES = ["Europe/Zurich", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "America/Sao_Paulo"]


def _us(index: pd.DatetimeIndex) -> np.ndarray:
    return index.as_unit("us").asi8


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("step", ["15min", "10min", "7s"])
def test_a_year_of_wall_clock_comes_back_as_it_went(zone, step):
    start = "2025-03-25" if step == "7s" else "2025-01-01"
    utc = pd.date_range(start, periods=90_000 if step == "7s" else 40_000, freq=step, tz="UTC")
    wall = _us(utc.tz_convert(zone).tz_localize(None))
    assert np.array_equal(local_from_utc(_us(utc), ZoneInfo(zone)), wall)
    clock = WallClock(ZoneInfo(zone), int(wall.min()), int(wall.max()))
    pieces = [clock.convert(part) for part in np.array_split(wall, 37)]
    assert np.array_equal(np.concatenate(pieces), _us(utc))
    assert clock.unreal == 0


@pytest.mark.published("pandas.DatetimeIndex.tz_localize(ambiguous='infer'), pandas 3")
def test_the_doubled_hour_is_told_apart_as_pandas_does():
    wall = pd.DatetimeIndex(
        [
            "2025-10-26 01:50",
            "2025-10-26 02:10",
            "2025-10-26 02:40",
            "2025-10-26 02:05",
            "2025-10-26 02:55",
            "2025-10-26 03:05",
        ]
    )
    clock = WallClock(ZoneInfo("Europe/Zurich"), int(_us(wall).min()), int(_us(wall).max()))
    expected = wall.tz_localize("Europe/Zurich", ambiguous="infer").tz_convert("UTC")
    assert np.array_equal(clock.convert(_us(wall)), _us(expected))


@pytest.mark.published("pandas.DatetimeIndex.tz_convert with the tz database, pandas 3")
@pytest.mark.parametrize("zone", ["Europe/Zurich", "America/New_York", "Australia/Lord_Howe"])
@pytest.mark.parametrize("step", ["20min", "30min", "45min", "50min", "1h", "90min", "2h", "3h", "6h"])
@pytest.mark.parametrize("shift", ["0min", "17min", "59min"])
def test_slow_logs_keep_their_distance_through_the_doubled_hour(zone, step, shift):
    utc = pd.date_range("2025-01-01", "2025-12-31", freq=step, tz="UTC") + pd.Timedelta(shift)
    wall = _us(utc.tz_convert(zone).tz_localize(None))
    clock = WallClock(ZoneInfo(zone), int(wall.min()), int(wall.max()))
    assert np.array_equal(clock.convert(wall), _us(utc))


@pytest.mark.published("pandas.DatetimeIndex.tz_localize(ambiguous='infer'), pandas 3")
def test_of_an_hourly_stamp_that_stands_twice_the_second_is_the_second_pass():
    wall = pd.DatetimeIndex([f"2025-10-26 {h:02d}:00" for h in (0, 1, 2, 2, 3, 4)])
    clock = WallClock(ZoneInfo("Europe/Zurich"), int(_us(wall).min()), int(_us(wall).max()))
    expected = wall.tz_localize("Europe/Zurich", ambiguous="infer").tz_convert("UTC")
    assert np.array_equal(clock.convert(_us(wall)), _us(expected))
    assert clock.undecided == 0


def test_readings_that_repeat_in_the_doubled_hour_of_a_fast_log_are_no_second_pass():
    seconds = np.repeat(np.arange(0, 1200), 3)
    wall = _us(pd.DatetimeIndex(["2025-10-26 02:10:00"]))[0] + seconds * 1_000_000
    clock = WallClock(ZoneInfo("Europe/Zurich"), int(wall[0]), int(wall[-1]))
    assert np.array_equal(clock.convert(wall), wall - 7_200_000_000)
    assert clock.undecided == wall.size


def test_stamps_that_cannot_be_told_apart_or_never_were_are_counted():
    doubled = _us(pd.DatetimeIndex(["2025-10-26 02:10", "2025-10-26 02:20"]))
    clock = WallClock(ZoneInfo("Europe/Zurich"), int(doubled[0]), int(doubled[-1]))
    first_pass = pd.DatetimeIndex(["2025-10-26 00:10", "2025-10-26 00:20"], tz="UTC")
    assert np.array_equal(clock.convert(doubled), _us(first_pass))
    assert clock.undecided == 2
    skipped = _us(pd.DatetimeIndex(["2025-03-30 02:30"]))
    clock = WallClock(ZoneInfo("Europe/Zurich"), int(skipped[0]), int(skipped[0]))
    assert np.array_equal(clock.convert(skipped), _us(pd.DatetimeIndex(["2025-03-30 01:30"], tz="UTC")))
    assert clock.unreal == 1


@settings(max_examples=40, deadline=None)
@given(st.datetimes(min_value=pd.Timestamp("1971-01-01").to_pydatetime(), max_value=pd.Timestamp("2037-01-01").to_pydatetime()),
       st.sampled_from(ZONES))  # fmt: skip
def test_any_moment_has_the_offset_of_the_tz_database(moment, zone):
    utc = pd.DatetimeIndex([moment], tz="UTC")
    assert np.array_equal(local_from_utc(_us(utc), ZoneInfo(zone)), _us(utc.tz_convert(zone).tz_localize(None)))


@pytest.mark.parametrize(
    ("cell", "form"),
    [
        ("2026-03-14T00:00:00.050Z", "iso_zoned"),
        ("2026-03-14 00:00:00+01:00", "iso_zoned"),
        ("2026-03-14 00:00", "iso"),
        ("14.03.2026 00:00:00", "%d.%m.%Y %H:%M:%S.%f"),
        ("03/14/2026 01:02:03 PM", "%m/%d/%Y %I:%M:%S %p"),
        ("20260314 010203", "%Y%m%d %H%M%S"),
        ("1767225600", "epoch_s"),
        ("1767225600123", "epoch_ms"),
    ],
)
def test_forms_of_time_stamps(cell, form):
    assert fitting_forms([cell])[0].name == form


def test_zones_by_name():
    assert zone_named_in("time (UTC+2)") == "+2"
    assert zone_named_in("clock in Europe/Zurich") == "Europe/Zurich"
    assert zone_named_in("time") == ""
    assert zone_from_name("-03:30").utcoffset(None).total_seconds() == -12600
    with pytest.raises(InputError, match="not a date"):
        parse_moment("yesterday")

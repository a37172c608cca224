"""Day and week, change points, periods, duration, bursts, held maxima and the timeline."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.proportion import proportion_confint

from roomfield.errors import InputError, KindMismatchError
from roomfield.logs import (
    bursts,
    change_points,
    compare,
    day_profile,
    held_stretches,
    required_duration,
    timeline,
    week_profile,
)
from roomfield.logs.changes import long_run_variance, segment
from roomfield.logs.duration import _remarks, _share_interval, _trial, minute_rolling
from roomfield.logs.profile import day_parts
from roomfield.logs.scan import scan
from roomfield.logs.sufficient_statistics import CELL_US, Cells, PassRequest

MONDAY = datetime(2026, 3, 2, tzinfo=UTC).timestamp()


def _course(hours: np.ndarray) -> np.ndarray:
    """A mast's day: twice as high in the evening as at night."""
    return 1.0 + 0.5 * np.sin(2 * np.pi * (hours - 14) / 24)


def _days(days: int, step_s: float, rng: np.random.Generator, spread: float = 0.2) -> tuple[np.ndarray, np.ndarray]:
    t = MONDAY + np.arange(0, days * 86400, step_s)
    day = ((t - MONDAY) // 86400).astype(int)
    return t, 1e-4 * _course((t - MONDAY) / 3600 % 24) * np.exp(spread * rng.normal(size=days))[day]


@pytest.mark.published("pandas groupby on local time, pandas 3")
def test_the_day_profile_is_that_of_pandas_in_local_time(stored):
    t, values = _days(40, 600, np.random.default_rng(1))
    series = stored(t, values)
    found = day_profile(series, zone="Europe/Zurich")
    frame = pd.Series(values, index=pd.to_datetime(t, unit="s", utc=True).tz_convert("Europe/Zurich"))
    hourly = frame.groupby([frame.index.date, frame.index.hour]).mean()
    expected = hourly.groupby(level=1).mean()
    middle = hourly.groupby(level=1).median()
    assert len(found.bins) == 24
    for part in found.bins:
        hour = part.start_minute // 60
        assert part.mean.value == pytest.approx(expected[hour], rel=1e-9)
        assert part.median.value == pytest.approx(middle[hour], rel=1e-9)
        assert part.mean.low < part.mean.value < part.mean.high
        assert part.highest == pytest.approx(frame[frame.index.hour == hour].max())
    assert found.days == 41


@pytest.mark.published("pandas groupby on local time shifted so that a night is one part, pandas 3")
def test_night_day_and_evening_are_those_of_pandas_and_a_night_is_one_part(stored):
    t, values = _days(40, 600, np.random.default_rng(2))
    found = {part.name: part for part in day_parts(stored(t, values), zone="Europe/Zurich")}
    local = pd.to_datetime(t, unit="s", utc=True).tz_convert("Europe/Zurich")
    frame = pd.DataFrame({"value": values, "at": local, "hour": local.hour})
    assert list(found) == ["night", "day", "evening"]
    for name, begin, end in (("night", 22, 6), ("day", 6, 18), ("evening", 18, 22)):
        inside = (
            frame[(frame.hour >= begin) | (frame.hour < end)]
            if begin > end
            else frame[frame.hour.between(begin, end - 1)]
        )
        whole = (inside["at"].dt.tz_localize(None) - pd.Timedelta(hours=begin)).dt.date
        groups = inside.groupby(whole)["value"]
        least = 0.25 * ((end - begin) % 24) * 6  # readings every ten minutes
        means = groups.mean()[groups.count() >= least]
        assert found[name].mean.value == pytest.approx(means.mean(), rel=1e-9), name
        assert found[name].days == len(means), name
        assert found[name].highest == pytest.approx(inside["value"].max()), name
        assert abs(found[name].highest_at - inside["at"][inside["value"].idxmax()]) < pd.Timedelta(minutes=1), name


def test_the_intervals_of_the_day_hold_the_truth(stored):
    inside, whole = 0, 0
    truth = 1e-4 * np.exp(0.2**2 / 2)
    for seed in range(12):
        t, values = _days(30, 1800, np.random.default_rng(seed))
        for part in day_profile(stored(t, values)).bins[::6]:
            level = truth * _course(part.start_minute / 60 + np.array([0.0, 0.5])).mean()
            inside += part.mean.low <= level <= part.mean.high
            whole += 1
    assert inside / whole >= 0.85


def test_the_week_tells_weekend_from_working_day(stored):
    t = MONDAY + np.arange(0, 28 * 86400, 1800.0)
    weekday = ((t - MONDAY) // 86400 % 7).astype(int)
    noise = np.exp(0.05 * np.random.default_rng(0).normal(size=t.size))
    found = week_profile(stored(t, np.where(weekday < 5, 2e-4, 1e-4) * noise), bin_minutes=360)
    assert len(found.bins) == 28
    working = [b.mean.value for b in found.bins if b.weekday < 5]
    weekend = [b.mean.value for b in found.bins if b.weekday >= 5]
    assert min(working) > 1.8 * max(weekend)
    assert {b.days for b in found.bins} == {4}


def test_two_days_have_a_profile_but_no_interval(stored):
    t, values = _days(2, 600, np.random.default_rng(1))
    found = day_profile(stored(t, values))
    assert all(b.mean.low is None for b in found.bins)
    assert any("log longer" in remark for remark in found.remarks)
    with pytest.raises(InputError, match="does not divide"):
        day_profile(stored(t, values), bin_minutes=7)


@pytest.mark.published(
    "Cobb, Biometrika 65 (1978) 243-251: annual flow of the Nile 1871-1970 dropped after 1898; "
    "data as carried by statsmodels.datasets.nile"
)
def test_the_nile_changed_once_after_1898():
    from statsmodels.datasets import nile

    frame = nile.load_pandas().data
    flow = frame["volume"].to_numpy(dtype=float)
    cuts = segment(flow, long_run_variance(flow), least=5)
    assert [int(frame["year"].iloc[cut]) for cut in cuts] == [1899]


def test_steps_are_found_and_the_daily_course_is_not_one(stored):
    rng = np.random.default_rng(4)
    t, values = _days(30, 600, rng, spread=0.03)
    values = values * np.exp(0.05 * rng.normal(size=t.size))
    assert change_points(stored(t, values)) == ()
    stepped = np.where(t >= MONDAY + 12.5 * 86400, values * 10**0.6, values)
    (found,) = change_points(stored(t, stepped))
    assert abs(found.at - datetime.fromtimestamp(MONDAY + 12.5 * 86400, UTC)) <= timedelta(hours=2)
    assert found.step_db == pytest.approx(6.0, abs=0.5)


def test_slow_wandering_is_no_change():
    rng = np.random.default_rng(9)
    alarms = 0
    for _ in range(40):
        noise = rng.normal(size=800)
        for i in range(1, 800):
            noise[i] += 0.7 * noise[i - 1]
        alarms += bool(segment(noise, long_run_variance(noise), least=7))
    assert alarms <= 6


def test_a_change_between_periods_has_an_interval_that_holds_it(stored):
    truth, hits, sure = -6.0, 0, 0
    for seed in range(25):
        rng = np.random.default_rng(seed)
        t, values = _days(28, 3600, rng)
        values = np.where(t >= MONDAY + 14 * 86400, values * 10 ** (truth / 10), values)
        series = stored(t, values)
        cut = datetime.fromtimestamp(MONDAY + 14 * 86400, UTC)
        found = compare(series.between(None, cut), series.between(cut, None))
        hits += found.change_db.low <= truth <= found.change_db.high
        sure += found.excludes_no_change
        assert (found.first_days, found.second_days, found.hours_compared) == (14, 14, 24)
    assert hits >= 21
    assert sure >= 21


def test_hours_seen_in_one_period_only_do_not_pass_for_a_change(stored):
    t, values = _days(20, 1800, np.random.default_rng(0), spread=0.01)
    hour = (t - MONDAY) / 3600 % 24
    first, second = t < MONDAY + 10 * 86400, (t >= MONDAY + 10 * 86400) & (hour >= 18)
    found = compare(stored(t[first], values[first]), stored(t[second], values[second]))
    assert found.hours_compared == 6
    assert found.change_db.value == pytest.approx(0.0, abs=0.1)
    plain = 10 * np.log10(values[second].mean() / values[first].mean())
    assert abs(plain) > 0.4


def test_periods_of_different_kind_or_unit_are_not_compared(stored):
    t = MONDAY + np.arange(0, 86400, 600.0)
    average, peak = stored(t, t * 0 + 1.0), stored(t, t * 0 + 1.0, heading="peak W/m2")
    with pytest.raises(KindMismatchError, match="average"):
        compare(average, peak)
    with pytest.raises(InputError, match="one log is in"):
        compare(average, stored(t, t * 0 + 1.0, heading="average V/m", keep_unit=True))
    short = compare(average, stored(t + 86400, t * 0 + 2.0))
    assert short.change_db.value == pytest.approx(3.0103, abs=1e-3)
    assert short.change_db.low is None
    assert short.excludes_no_change is None


def test_rolling_means_by_the_minute_are_plain_sums(stored):
    rng = np.random.default_rng(3)
    t = MONDAY + np.arange(0, 6 * 3600, 10.0)
    values = rng.lognormal(0, 1, t.size)
    keep = (t < MONDAY + 7200) | (t > MONDAY + 9000)
    cells = scan(stored(t[keep], values[keep]), PassRequest(stored(t, values).gap_rule)).cells
    found = minute_rolling(cells, 30)
    minute = ((t[keep] - MONDAY) // 60).astype(int)
    for end in (29, 100, 119, 130, 200, 359):
        rows = (minute > end - 30) & (minute <= end)
        if rows.sum() < 0.8 * 180:
            assert np.isnan(found[end])
        else:
            assert found[end] == pytest.approx(values[keep][rows].mean(), rel=0.02)
    assert cells.seen_us.sum() <= t.size * 10_000_000
    assert CELL_US == 60_000_000


def test_how_long_to_log_for_a_daily_and_for_a_weekly_event(stored):
    t = MONDAY + np.arange(0, 28 * 86400, 300.0)
    hour = (t - MONDAY) / 3600 % 24
    daily = required_duration(stored(t, np.where((hour >= 20) & (hour < 21), 1.0, 0.01)))
    assert daily.hours == 24
    assert daily.one_day_enough == pytest.approx(1.0)
    assert daily.days_near_maximum == 28
    weekly = (t - MONDAY) // 86400 % 7 == 5
    found = required_duration(stored(t, np.where(weekly & (hour >= 20) & (hour < 21), 1.0, 0.01)))
    assert found.hours == 168
    assert found.one_day_enough == pytest.approx(24.5 / 168, abs=0.03)
    once = np.where((t >= MONDAY + 9 * 86400) & (t < MONDAY + 9 * 86400 + 3600), 1.0, 0.01)
    rare = required_duration(stored(t, once))
    assert rare.hours is None
    too_short = [trial.hours for trial in rare.trials if trial.high < rare.confidence]
    assert rare.at_least_hours == max(too_short) >= 72
    assert rare.window_s == 1800.0  # averaging time of whole-body limits, ICNIRP 2020, table 5
    assert any("one day only" in remark for remark in rare.remarks)
    shares = [trial.share_within for trial in rare.trials]
    assert shares == sorted(shares)


def test_a_record_that_cannot_say_how_long_to_log_says_why(stored):
    t = MONDAY + np.arange(0, 86400, 300.0)
    short = required_duration(stored(t[:12], t[:12] * 0 + 1.0))
    assert (short.hours, short.trials) == (None, ())
    assert short.record_hours == pytest.approx(1.0, abs=0.1)
    assert "too short" in short.remarks[0]
    assert "held maxima" in required_duration(stored(t, t * 0 + 1.0, heading="max hold W/m2")).remarks[0]
    assert "too sparse" in required_duration(stored(MONDAY + (t - MONDAY) * 12, t * 0 + 1.0)).remarks[0]


def test_a_meter_that_speaks_for_60_ms_is_counted(stored):
    rng = np.random.default_rng(1)
    t = np.arange(0, 1800, 0.02)
    starts = 7.0 + np.arange(0, 1780, 30.0)
    on = np.zeros(t.size, dtype=bool)
    for start in starts:
        on |= (t >= start - 1e-9) & (t < start + 0.06 - 1e-9)
    values = np.where(on, 5e-3, 1e-6 * np.exp(0.1 * rng.normal(size=t.size)))
    found = bursts(stored(t, values))
    assert found.count == starts.size
    assert found.width_s.median == pytest.approx(0.06, abs=0.001)
    assert found.period_s == pytest.approx(30.0, abs=0.03)
    assert found.duty_cycle == pytest.approx(0.06 / 30, rel=0.01)
    assert found.per_day == pytest.approx(2880, rel=0.01)
    parts = found.peak_and_mean
    mean = values.mean()
    assert parts.total_db == pytest.approx(10 * np.log10(5e-3 / mean), abs=0.01)
    assert parts.total_db == pytest.approx(
        parts.from_duty_db + parts.from_uneven_bursts_db - parts.filled_by_background_db, abs=1e-9
    )
    assert parts.from_duty_db == pytest.approx(10 * np.log10(500), abs=0.05)
    assert not found.width_is_upper_bound


def test_bursts_are_not_spaced_across_gaps_and_single_readings_are_bounds(stored):
    t = np.concatenate([np.arange(0, 100, 0.1), np.arange(5000, 5100, 0.1)])
    values = np.where(np.round(t * 10).astype(int) % 100 == 50, 1.0, 0.001)
    found = bursts(stored(t, values))
    assert found.count == 20
    assert found.spacing_s.greatest == pytest.approx(10.0, abs=0.01)
    assert found.width_is_upper_bound
    quiet = bursts(stored(t, values * 0 + 1.0))
    assert (quiet.count, quiet.width_s, quiet.peak_and_mean) == (0, None, None)
    with pytest.raises(InputError, match="no background"):
        bursts(stored(t, np.where(values < 1, 0.0, 1.0)))
    assert bursts(stored(t, np.where(values < 1, 0.0, 1.0)), threshold=0.5).count == 20


def test_resets_of_the_hold(stored):
    values = [1, 1, 3, 3, 7, 7, 2, 2, 5, 9, 1]
    series = stored(np.arange(11.0), values, heading="max hold W/m2")
    found = held_stretches(series)
    assert [s.maximum for s in found] == [7, 9, 1]
    assert [s.start.second for s in found] == [0, 6, 10]
    assert [r.second for r in found[0].rises] == [2, 4]
    assert found[1].reached_at.second == 9
    with pytest.raises(KindMismatchError, match="not held maxima"):
        held_stretches(stored(np.arange(3.0), [1, 2, 3]))


@pytest.mark.parametrize("step", [0.05, 1.0, 900.0])
def test_the_timeline_is_exact_at_every_zoom(step, stored):
    rng = np.random.default_rng(6)
    n = 30_000 if step < 900 else 3_000
    t = np.cumsum(np.where(rng.random(n) < 0.001, 300 * step, step)) + 1.7e9
    t = np.round(t, 6)
    values = rng.lognormal(0, 1, n)
    series = stored(t, values)
    span = t[-1] - t[0]
    for zoom in (1, 3, 17, 150, 2000):
        start, end = t[0] + 0.31 * span, t[0] + 0.31 * span + span / zoom * 0.6
        ends = [pd.Timestamp(round(x * 1e6), unit="us", tz="UTC").to_pydatetime() for x in (start, end)]
        found = timeline(series, *ends, bins=700)
        assert found.low.size <= 702
        width, first = round(found.bin_s * 1e6), round(found.start.timestamp() * 1e6)
        stamps = np.round(t * 1e6).astype(np.int64)
        place = (stamps - first) // width
        for k in rng.integers(1, max(2, found.low.size - 1), 12):
            rows = values[place == k]
            assert found.count[k] == rows.size
            if rows.size:
                assert (found.low[k], found.high[k]) == (rows.min(), rows.max())
                assert found.mean[k] == pytest.approx(rows.mean(), rel=1e-9)
            else:
                assert np.isnan(found.low[k])


def test_a_coarser_timeline_loses_no_extreme(stored):
    rng = np.random.default_rng(2)
    t = np.cumsum(np.where(rng.random(20_000) < 0.001, 900.0, 1.0))
    fine = timeline(stored(t, rng.lognormal(0, 1, t.size)), bins=997)
    for most in (1, 7, 400, 996, 997, 5000):
        coarse = fine.coarser(most)
        assert coarse.low.size <= max(most, 1) or coarse is fine
        assert (np.nanmin(coarse.low), np.nanmax(coarse.high)) == (np.nanmin(fine.low), np.nanmax(fine.high))
        assert coarse.count.sum() == fine.count.sum()
        total = np.nansum(coarse.mean * coarse.count)
        assert total == pytest.approx(np.nansum(fine.mean * fine.count), rel=1e-12)


def test_the_timeline_never_loses_the_highest_reading(stored):
    t = np.arange(0, 20_000.0)
    values = np.ones(t.size)
    values[13_579] = 50.0
    series = stored(t, values)
    for bins in (1, 7, 100, 2000, 8192):
        assert np.nanmax(timeline(series, bins=bins).high) == 50.0
    with pytest.raises(InputError, match="bins"):
        timeline(series, bins=0)
    with pytest.raises(InputError, match="ends before"):
        timeline(series, "1970-01-01T01:00:00Z", "1970-01-01T00:00:00Z")
    assert timeline(series, bins=50).to_dict()["unit"] == "W/m2"


@pytest.mark.published("statsmodels proportion_confint, method wilson (Wilson, JASA 22 (1927) 209-212)")
@pytest.mark.parametrize(("met", "trials"), [(0, 4), (1, 4), (3, 7), (20, 25), (30, 30)])
def test_the_share_of_logs_that_succeed_has_wilsons_interval(met, trials):
    expected = proportion_confint(met, trials, alpha=0.1, method="wilson")
    assert _share_interval(met / trials, trials) == pytest.approx(expected, abs=1e-12)


@pytest.mark.published("pandas.Series.rolling with min_periods, pandas 3")
@pytest.mark.parametrize("window", [5, 30])
def test_rolling_means_are_those_of_pandas_and_need_four_fifths_of_the_window(window):
    values = np.random.default_rng(4).lognormal(size=400)
    values[40:46], values[90:97], values[150:260] = np.nan, np.nan, np.nan  # 24, 23 and none of 30 minutes are left
    at = np.flatnonzero(np.isfinite(values))
    whole = np.full(at.size, CELL_US)
    found = minute_rolling(Cells(at + 29_000_000, whole, values[at] * CELL_US, values[at]), window)
    expected = pd.Series(values).rolling(window, min_periods=round(0.8 * window)).mean()
    assert found == pytest.approx(expected.to_numpy(), nan_ok=True)


@pytest.mark.published("statsmodels proportion_confint, method wilson (Wilson, JASA 22 (1927) 209-212)")
@pytest.mark.parametrize("seen_share", [0.25, 1.0])
@pytest.mark.parametrize("hours", [1, 2, 4])
def test_a_length_is_tried_at_every_start_that_is_observed_for_half_of_it(hours, seen_share):
    """Counted start by start; separate trials are as many as the observed time holds, and one at least."""
    rng = np.random.default_rng(hours)
    length = 60 * hours
    seen = np.repeat(rng.random(20) < seen_share, 30)
    near = seen & np.repeat(rng.random(120) < 0.06, 5)
    looks = [slice(start, start + length) for start in range(seen.size - length + 1)]
    met = [near[look].any() for look in looks if seen[look].sum() >= length / 2]
    share = np.mean(met) if met else 0.0
    found = _trial(near, seen, hours)
    assert (found.hours, found.share_within) == (hours, pytest.approx(share))
    separate = max(1.0, seen.sum() / length)
    expected = proportion_confint(share * separate, separate, alpha=0.1, method="wilson")
    assert (found.low, found.high) == pytest.approx(expected)


def test_how_near_is_near_and_over_how_long(stored):
    """Three evenings of one hour: 2.9 dB under the highest is near it, 3.1 dB is not."""
    t = MONDAY + np.arange(0, 8 * 86400, 300.0)
    day, hour = (t - MONDAY) // 86400, (t - MONDAY) / 3600 % 24
    evening = (hour >= 20) & (hour < 21)
    values = np.full(t.size, 1e-3)
    for n, below_db in ((1, 0.0), (3, 2.9), (5, 3.1)):
        values[evening & (day == n)] = 10.0 ** (-below_db / 10.0)
    found = required_duration(stored(t, values))
    assert found.days_near_maximum == 2
    assert (found.tolerance_db, found.confidence) == (3.0, 0.9)
    assert found.record_hours == pytest.approx(192.0, abs=0.1)
    assert found.remarks[0].startswith("Judged from a record of 192 h:")
    # Half an hour of 1 against an hour of 0.6: 2.2 dB apart over half an hour, 0.8 dB over an hour.
    values = np.full(t.size, 1e-3)
    values[evening & (hour < 20.5) & (day == 1)] = 1.0
    values[evening & (day == 3)] = 0.6
    log = stored(t, values)
    assert required_duration(log, tolerance_db=2.0).days_near_maximum == 1
    assert required_duration(log, tolerance_db=2.0, window_s=2400.0).days_near_maximum == 2


def test_a_length_is_certainly_too_short_only_if_its_whole_interval_is_under_the_share_asked_for(stored):
    """Highest on the first and the fourth day: 24 h fail by half, 48 h by a quarter, which two trials do not show."""
    t = MONDAY + np.arange(0, 101 * 3600, 300.0)
    hours = (t - MONDAY) / 3600
    found = required_duration(
        stored(t, np.where(((hours >= 10) & (hours < 11)) | (hours >= 72) & (hours < 73), 1.0, 0.01))
    )
    by_hours = {trial.hours: trial for trial in found.trials}
    assert found.hours is None and by_hours[48].low < 0.9 <= by_hours[48].high
    assert by_hours[24].high < 0.9 and found.at_least_hours == 24


@pytest.mark.parametrize(
    ("hours", "record_hours", "days_near", "longer", "one_day"),
    [
        (None, 100.0, 3, True, False),
        (24, 100.0, 3, False, False),
        (24, 100.0, 2, False, False),
        (24, 100.0, 1, False, True),
        (24, 48.0, 1, False, True),
        (24, 47.0, 1, False, False),
        (None, 100.0, 1, True, True),
    ],
)
def test_what_a_reader_of_a_duration_must_know(hours, record_hours, days_near, longer, one_day):
    said = " ".join(_remarks(hours, record_hours, days_near))
    assert ("log longer" in said) is longer
    assert ("on one day only" in said) is one_day

"""Long logs from the command line: how columns are read, what a log says, and many stations."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

MONDAY = pd.Timestamp("2026-03-02", tz="UTC")


@pytest.fixture(scope="module")
def month() -> pd.Series:
    """Thirty days at ten minutes: a daily course, days that differ, 4 dB less from the sixteenth day on."""
    rng = np.random.default_rng(5)
    index = pd.date_range(MONDAY, periods=30 * 144, freq="10min")
    day = np.arange(index.size) // 144
    course = 1 + 0.6 * np.sin(2 * np.pi * (index.hour + index.minute / 60 - 14) / 24)
    level = 50 * course * np.exp(0.15 * rng.normal(size=30))[day] * np.exp(0.1 * rng.normal(size=index.size))
    return pd.Series(np.round(level * np.where(day < 15, 1.0, 10**-0.4), 3), index=index)


@pytest.fixture
def log(month, tmp_path) -> Path:
    path = tmp_path / "month.csv"
    rows = [f"{t:%Y-%m-%d %H:%M},{v}" for t, v in month.items()]
    path.write_text("time,average uW/m2\n" + "\n".join(rows) + "\n")
    return path


def test_first_it_shows_how_the_columns_are_read(say, log):
    said = say("log", log)
    assert said.code == 0
    assert "Open: " in said.out and "--set zone=..." in said.out
    assert not (log.parent / ".roomfield-series").exists()
    refused = say("log", log, "--confirm")
    assert refused.code == 6
    assert refused.err.count("\n") == 1


@pytest.mark.published("pandas resample and groupby, pandas 3")
def test_what_a_log_says_is_what_pandas_says(say, log, month):
    words = ("log", log, "--set", "zone=UTC", "--confirm", "--bound", 60, "--split", "2026-03-17T00:00:00Z")
    plain = json.loads(say(*words, "--json").out)
    found = plain["statistics"]
    assert found["mean"] == pytest.approx(month.mean() * 1e-6, rel=1e-9)
    assert found["above"]["readings_above"] == int((month > 60).sum())
    assert found["above"]["time_above_s"] == int((month > 60).sum()) * 600
    hourly = month.resample("1h").mean()
    by_hour = hourly.groupby(hourly.index.hour).mean()
    assert [b["mean"]["value"] * 1e6 for b in plain["day_profile"]["bins"]] == pytest.approx(by_hour.tolist(), rel=1e-9)
    by_week = hourly.groupby([hourly.index.day_of_week, hourly.index.hour]).mean()
    assert len(plain["week_profile"]["bins"]) == 168
    assert [b["mean"]["value"] * 1e6 for b in plain["week_profile"]["bins"]] == pytest.approx(
        by_week.tolist(), rel=1e-9
    )
    change = plain["comparison"]["change_db"]
    assert change["low"] < -4.0 < change["high"] < 0
    assert abs(plain["changes"][0]["step_db"] + 4.0) < 0.5
    shown = say(*words).out.replace("\u2212", "-").replace("\xa0", " ")
    assert f"highest hour of the day {by_hour.idxmax():02d}:00 (UTC)" in shown
    assert "highest hour of the week" in shown
    assert "after the split against before: -4." in shown or "after the split against before: -3." in shown
    assert "15 days before, 15 after" in shown
    assert "Logs of 24 h that would have come within 3 dB of it: " in shown


def test_a_split_beyond_the_log_is_refused_in_one_line(say, log):
    said = say("log", log, "--set", "zone=UTC", "--confirm", "--split", "2027-01-01T00:00:00Z")
    assert said.code == 3
    assert "no reading lies between" in said.err
    assert "Traceback" not in said.err


def test_bursts_of_a_fast_log_are_told(say, tmp_path):
    path = tmp_path / "fast.csv"
    stamps = pd.date_range(MONDAY, periods=20 * 600, freq="50ms")
    values = np.where(np.arange(stamps.size) % 400 < 2, 800.0, 1.0)
    rows = [f"{t.isoformat()},{v}" for t, v in zip(stamps, values, strict=True)]
    path.write_text("time,peak uW/m2\n" + "\n".join(rows) + "\n")
    shown = say("log", path, "--confirm").out.replace("\u2212", "-").replace("\xa0", " ")
    assert "bursts: 30 (4320 a day), 100 ms wide, 20 s from start to start, 0.50% of the time" in shown
    assert "highest over mean 22 dB: 23 dB as bursts fill only part of the time, 0.0 dB" in shown
    assert "note: Each value is the peak of its interval" in shown
    mostly_nothing = np.where(np.arange(stamps.size) % 400 < 2, 800.0, 0.0)
    rows = [f"{t.isoformat()},{v}" for t, v in zip(stamps, mostly_nothing, strict=True)]
    path.write_text("time,peak uW/m2\n" + "\n".join(rows) + "\n")
    quiet = say("log", path, "--confirm")
    assert quiet.code == 0
    assert "bursts" not in quiet.out


@pytest.fixture
def folder(tmp_path) -> Path:
    source = tmp_path / "stations"
    source.mkdir()
    for k in range(3):
        rows = [f"2026-03-0{1 + i // 144}T{i % 144 // 6:02d}:{i % 6}0:00Z,{k + i % 7}.5" for i in range(288)]
        (source / f"station{k}.csv").write_text("time,average uW/m2\n" + "\n".join(rows) + "\n")
    (source / "torn.csv").write_text("time,average uW/m2\n2026-03-01T00:00:00Z,1\n2026-03-01T00:")
    return source


def test_stations_a_failing_file_is_named_and_stops_nothing(say, folder, tmp_path):
    said = say("stations", folder, tmp_path / "out", "--bound", 3)
    assert said.code == 0
    assert said.out.startswith("3 logs analysed (0 were there already)")
    assert "torn.csv" in said.out
    again = json.loads(say("stations", folder, tmp_path / "out", "--bound", 3, "--json").out)
    assert (again["results"], again["resumed"], len(again["faults"])) == (3, 3, 1)


@pytest.mark.published("dask.distributed, LocalCluster and its address")
def test_stations_on_a_scheduler_by_address(say, folder, tmp_path):
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, protocol="tcp", dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        said = say("stations", folder, tmp_path / "far", "--scheduler", cluster.scheduler_address)
    assert said.code == 0
    say("stations", folder, tmp_path / "here")
    far, here = ({p.name: p.read_text() for p in (tmp_path / d / "results").iterdir()} for d in ("far", "here"))
    assert far == here
    assert len(here) == 3


def test_a_scheduler_that_does_not_answer_is_one_line(say, folder, tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    from roomfield.logs import stations

    monkeypatch.setattr(stations, "SCHEDULER_PATIENCE_S", 1)
    said = say("stations", folder, tmp_path / "out", "--scheduler", "tcp://127.0.0.1:9")
    assert said.code == 3
    assert "no scheduler answers there" in said.err
    assert "Traceback" not in said.err

"""What is kept beside a series: the same to the last bit as a pass over its readings, and never trusted blindly."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from roomfield.logs import GapRule, above, day_profile, digest, events, open_series, row_groups, statistics, writing
from roomfield.logs.log_series import DIGEST_FILE, LogSeries
from roomfield.logs.pyramid import widths_us


@pytest.fixture
def gappy(stored, monkeypatch) -> LogSeries:
    """Two days with gaps, ties and steps of the level, in many row groups."""
    monkeypatch.setattr(writing, "ROWS_PER_GROUP", 997)
    monkeypatch.setattr(row_groups, "GROUPS_WORTH_A_PART", 3)
    rng = np.random.default_rng(12)
    t = 1.7e9 + np.cumsum(rng.choice([5.0, 5.0, 5.0, 10.0, 900.0], 20_000, p=[0.4, 0.3, 0.2, 0.099, 0.001]))
    return stored(t, np.round(rng.lognormal(0, 1, t.size), 2) + 0.01, overload=20.0, floor=0.1)


def _forget(series: LogSeries, folder: Path) -> LogSeries:
    """A copy of a series without its digest."""
    shutil.copytree(series.directory, folder)
    (folder / DIGEST_FILE).unlink()
    return open_series(folder)


def test_what_is_kept_is_what_a_pass_finds(gappy, tmp_path, monkeypatch):
    bare = _forget(gappy, tmp_path / "bare")
    passes: list[str] = []
    scan = digest.scan
    monkeypatch.setattr(digest, "scan", lambda *a: passes.append("pass") or scan(*a))
    kept = (statistics(gappy, bound_w_m2=3.0).to_dict(), day_profile(gappy).to_dict())
    assert passes == []
    anew = (statistics(bare, bound_w_m2=3.0).to_dict(), day_profile(bare).to_dict())
    assert len(passes) == 2
    assert kept == anew


def test_other_questions_are_answered_by_a_pass(gappy, tmp_path):
    bare = _forget(gappy, tmp_path / "bare")
    rule = GapRule(5.0, 7.0, 60.0)
    for asked in (
        {"gap_rule": rule},
        {"windows_s": (60.0, 360.0)},
        {"least_share": 0.5},
        {"percents": (0.0, 12.5, 37.5, 62.5, 100.0)},
    ):
        assert statistics(gappy, **asked).to_dict() == statistics(bare, **asked).to_dict()
    assert statistics(gappy, gap_rule=rule).observed_s < statistics(gappy).observed_s
    span = gappy.between(gappy.start + (gappy.end - gappy.start) / 3)
    assert statistics(span).readings < gappy.rows


def test_a_digest_that_is_not_the_one_noted_is_passed_over(gappy):
    right = statistics(gappy).to_dict()
    assert digest.kept_digest(gappy) is not None
    path = gappy.directory / DIGEST_FILE
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    assert digest.kept_digest(gappy) is None
    assert statistics(gappy).to_dict() == right


def test_the_notes_name_the_digest(gappy):
    notes = json.loads((gappy.directory / "series.json").read_text())
    import hashlib

    assert notes["digest_sha256"] == hashlib.sha256((gappy.directory / DIGEST_FILE).read_bytes()).hexdigest()


@pytest.mark.published("pandas boolean selection and groupby, pandas 3")
@pytest.mark.parametrize("bound", [0.0, 0.5, 3.0, 19.0, 1e9])
def test_what_lies_above_a_bound_is_what_pandas_selects(gappy, bound):
    t, value, _ = gappy.readings()
    hold = np.minimum(np.append(np.diff(t), 5_000_000), 10_000_000)
    over = value > bound
    for series in (gappy, replace(gappy, start_us=int(t[300]), end_us=int(t[9000]), whole=False)):
        inside = over & (t >= series.start_us) & (t <= series.end_us)
        found = above.above(series, series.gap_rule, bound, 60.0)
        assert (found.seen_us, found.count) == (hold[inside].sum(), inside.sum())
        assert found.energy == pytest.approx((hold * value)[inside].sum(), rel=1e-12)
        frame = pd.DataFrame({"t": t[inside], "value": value[inside]})
        runs = frame.groupby((frame.t.diff() > 60_000_000).cumsum())
        assert found.runs.begin_us.tolist() == runs.t.first().tolist()
        assert found.runs.last_us.tolist() == runs.t.last().tolist()
        assert found.runs.peak.tolist() == runs.value.max().tolist()
        assert found.runs.count.tolist() == runs.size().tolist()
        assert len(events(series, bound)) == found.runs.count.size


def test_row_groups_without_anything_above_are_not_read(gappy, monkeypatch):
    top = float(gappy.readings()[1].max())
    asked: list[int] = []
    read = row_groups.read
    monkeypatch.setattr(
        row_groups, "read", lambda file, wanted, names: asked.extend(wanted) or read(file, wanted, names)
    )
    assert above.above(gappy, gappy.gap_rule, top, 60.0).count == 0
    assert asked == []
    assert above.above(gappy, gappy.gap_rule, np.nextafter(top, 0), 60.0).count >= 1
    assert 1 <= len(asked) < 21


def test_a_timeline_reads_one_tier_of_the_pyramid(stored):
    from roomfield.logs import pyramid, timeline

    t = 1.7e9 + np.arange(400_000) * 1.0
    series = stored(t, np.random.default_rng(0).lognormal(0, 1, t.size))
    widths = widths_us(series.directory / "pyramid.parquet")
    assert widths == [64_000_000, 256_000_000]
    tier = pyramid.read_tier(series.directory / "pyramid.parquet", widths[0], series.start_us, series.start_us + 10**9)
    assert 16 <= tier.index.size <= 17
    assert timeline(series, bins=300).count.sum() == t.size

"""A night that goes on: the log on disk is never more than a minute behind, and says what the recording would say."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from csvw import Table

from roomfield.errors import FormatError, InputError, RangeError
from roomfield.show.csv_metadata import metadata_path
from roomfield.signals.night.display import DisplayReading
from roomfield.signals.night.level_by_second import night_series
from roomfield.signals.night.live_night import LiveNight
from roomfield.signals.night.second_gatherer import NightAudio
from roomfield.signals.night.voltage import Law
from roomfield.workbench.record.live_night_log import begin_live, follow, note_shown, notes_beside

RATE = 8000.0
BEGAN = datetime(2026, 11, 28, 22, 0, tzinfo=UTC)


def night_sound(seconds: int) -> np.ndarray:
    """Bursts of 2 ms every 100 ms whose height wanders, through a square law, with a little noise."""
    moment = np.arange(int(seconds * RATE)) / RATE
    height = 0.3 * 10 ** (0.3 * np.sin(2 * np.pi * moment / 47))
    rng = np.random.default_rng(4)
    return (np.mod(moment, 0.1) < 2e-3) * height + 1e-3 * rng.standard_normal(len(moment))


def rows_of(path):
    with path.open(encoding="utf-8") as file:
        return list(csv.reader(file))


def shown_text(sound: np.ndarray, at_s: int, scale: float = 1e-3) -> str:
    part = sound[int((at_s - 2) * RATE) : int(at_s * RATE)]
    top = sound[: int(at_s * RATE)].max()
    return f"average={part.mean() * scale * 1e6:.6g} held={top * scale * 1e6:.6g} average-from={at_s - 2}"


def test_a_computer_that_dies_loses_less_than_a_minute(tmp_path):
    sound, target = night_sound(200), tmp_path / "night.csv"
    log = begin_live(target, BEGAN, 0.0, "square", RATE)
    note_shown(target, shown_text(sound, 30), BEGAN + timedelta(seconds=30))
    for first in range(0, len(sound), 3333):
        log.push(sound[first : first + 3333])
    # nothing is closed or saved here: the process is gone
    rows = rows_of(target)
    assert rows[0][:3] == ["time", "average [µW/m²]", "peak [µW/m²]"]
    assert len(rows) - 1 >= 200 - 60
    assert rows[1][0] == BEGAN.isoformat()
    truth = sound[: int(180 * RATE)].reshape(180, -1).mean(axis=1) * 1e3
    error = 10 * np.log10([float(row[1]) for row in rows[1:181]] / truth)
    assert np.sqrt(np.mean(error**2)) < 0.5


def test_live_says_what_the_recording_says():
    sound = night_sound(90)
    live = LiveNight(RATE, NightAudio(0.0, Law.SQUARE))
    reading = DisplayReading(40.0, average_w_m2=5e-6, held_w_m2=5e-4, average_from_s=38.0)
    for first in range(0, len(sound), 5000):
        live.push(sound[first : first + 5000])
    live.note(reading)
    whole = night_series(sound, [reading], (), NightAudio(0.0, Law.SQUARE), sample_rate_hz=RATE)
    np.testing.assert_allclose(live.series().average.level_w_m2, whole.average.level_w_m2, rtol=1e-3)


@pytest.mark.published("idle cordless base: one burst of 368 to 416 us every 10 ms (ETSI EN 300 175-2)")
def test_a_technology_may_be_all_that_was_heard_before_it_was_listened_for():
    rate = 24_000.0
    moment = np.arange(int(60 * rate)) / rate
    sound = 0.3 * (np.mod(moment, 0.010) < 4e-4) + 1e-3 * np.random.default_rng(5).standard_normal(len(moment))
    live = LiveNight(rate, NightAudio(0.0, Law.SQUARE))
    live.push(sound)
    live.note(DisplayReading(58.0, average_w_m2=5e-6, average_from_s=56.0))
    series = live.series()
    base = series.technologies["dect"]
    np.testing.assert_array_equal(base.low_w_m2[:40], 0.0)
    np.testing.assert_array_equal(base.high_w_m2[:40], series.average.high_w_m2[:40])
    assert (base.low_w_m2[41:] > 0.0).all()


def test_without_a_reading_the_sound_is_kept_all_the_same_and_gets_its_scale_later(tmp_path):
    sound, target = night_sound(130), tmp_path / "night.csv"
    log = begin_live(target, BEGAN, 0.0, "square", RATE)
    log.push(sound[: int(70 * RATE)])
    assert "[sound]" in rows_of(target)[0][1]
    note_shown(target, shown_text(sound, 100), BEGAN + timedelta(seconds=100))
    follow(log, [sound[int(70 * RATE) :]], lambda _: None)
    rows = rows_of(target)
    assert rows[0][1] == "average [µW/m²]"
    assert len(rows) == 131


@pytest.mark.published("W3C, Metadata Vocabulary for Tabular Data, 17 December 2015 (read by the csvw library)")
@pytest.mark.parametrize("scaled", [True, False])
def test_beside_a_night_lies_what_its_columns_hold(tmp_path, scaled):
    sound, target = night_sound(70), tmp_path / "night.csv"
    log = begin_live(target, BEGAN, 0.0, "square", RATE)
    if scaled:
        note_shown(target, shown_text(sound, 30), BEGAN + timedelta(seconds=30))
    log.push(sound)
    log.save()
    read = list(Table.from_file(metadata_path(target)).iterdicts(strict=True))
    assert read[0]["time"] == BEGAN
    headings, *rows = rows_of(target)
    columns = Table.from_file(metadata_path(target)).tableSchema.columns
    assert [one.titles.getfirst() for one in columns] == headings
    for row, written in zip(read, rows, strict=True):
        for column, cell in zip(columns[1:], written[1:], strict=True):
            assert row[column.name] == (float(cell) if cell else None)
    units = {one.common_props.get("schema:unitText") for one in columns[1:]}
    assert units == {"µW/m²" if scaled else "sound"}


def test_what_cannot_be_is_refused_and_nothing_is_written_over(tmp_path):
    target = tmp_path / "night.csv"
    target.write_text("mine")
    with pytest.raises(InputError, match="there is a log"):
        begin_live(target, BEGAN, 0.0, "", RATE)
    assert target.read_text() == "mine"
    with pytest.raises(FormatError, match="logarithmic"):
        LiveNight(RATE, NightAudio(0.0, Law.LOG))
    with pytest.raises(RangeError, match="sample rate"):
        LiveNight(100.0)
    with pytest.raises(FormatError, match="not understood"):
        note_shown(tmp_path / "b.csv", "peak=high", BEGAN)
    assert not notes_beside(tmp_path / "b.csv").exists()


def test_a_reading_whose_sound_is_gone_is_told(tmp_path):
    sound, target = np.tile(night_sound(60), 6), tmp_path / "night.csv"
    log = begin_live(target, BEGAN, 0.0, "square", RATE)
    log.push(sound)
    note_shown(target, shown_text(sound, 30), BEGAN + timedelta(seconds=30))
    log.save()
    assert len(log.refused) == 1 and "moment of the reading" in log.refused[0]

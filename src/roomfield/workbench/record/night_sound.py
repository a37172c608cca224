"""A night of sound: from a recording and what the display showed to a log like any other."""

from __future__ import annotations

import csv
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from roomfield.errors import FormatError, UnknownNameError
from roomfield.report.render.pdf import write_whole
from roomfield.show.csv_metadata import MOMENT, NUMBER, CsvColumn, metadata_bytes, metadata_path
from roomfield.show.shown_night import ShownHold, ShownLevel, ShownNight
from roomfield.signals.night.display import DisplayReading, display_reading
from roomfield.signals.night.display_calibration import CREST_OWN_STD_DB
from roomfield.signals.night.level_by_second import LevelBySecond, NightSeries, night_series
from roomfield.signals.night.second_gatherer import NightAudio
from roomfield.signals.night.sparse_hearing import heard_in_night
from roomfield.signals.night.voltage import Law

_MICRO = 1e6
HEARD_SHARE = 0.3
"""Part of the work that hearing the pieces takes, as it was on a night of forty minutes; for the progress only."""
RIVAL_DB = 1.645 * 2**0.5 * CREST_OWN_STD_DB
"""Two seconds whose highest differ by less cannot be told apart: the 95th percentile of what two crests' own errors
differ by [dB]."""
NIGHT_COLUMNS = {"average": "average [µW/m²]", "peak": "peak [µW/m²]"}
"""Columns of the whole in the table of a night, by kind."""
_WORDS = {"peak": "peak_w_m2", "held": "held_w_m2", "average": "average_w_m2"}
_FROM = {"peak": "peak_from_s", "held": "held_from_s", "average": "average_from_s"}


@dataclass(frozen=True)
class NightRecording:
    """A recording with what was read off the display meanwhile.

    Parameters
    ----------
    path : Path
        WAV, FLAC, OGG or MP3.
    shown : tuple of str
        Readings such as ``at=0:30 peak=2400 held=3010 average=109``: moment from the start of the recording (seconds
        or h:mm:ss) and numbers in µW/m²; ``held-from=0:00`` says when the hold was reset (the start, if left out).
    coupling_hz : float
        Corner of the capacitor between meter and recorder; 0 if there is none [Hz].
    law : str
        ``square``, ``linear`` or ``log`` if known; empty to find it.
    channel : int
        Which channel, from 0.
    """

    path: Path
    shown: tuple[str, ...]
    coupling_hz: float = 20.0
    law: str = ""
    channel: int = 0


def night_of(recording: NightRecording, on_progress: Callable[[float], None] | None = None) -> NightSeries:
    """Level by second for the whole and for each technology heard.

    Parameters
    ----------
    recording : NightRecording
    on_progress : callable, optional
        Called with the share done, 0 to 1; what it raises stops the work.

    Raises
    ------
    InputError
        If the recording or a reading of the display cannot be used.
    TooEarlyError
        If no reading of the display covers the recording.
    """
    step = on_progress or (lambda _share: None)
    readings = [shown_reading(text) for text in recording.shown]
    step(0.0)
    heard = heard_in_night(recording.path, recording.channel)
    step(HEARD_SHARE)
    law = Law(recording.law) if recording.law else None
    audio = NightAudio(recording.coupling_hz, law, recording.channel)
    rest = 1.0 - HEARD_SHARE
    return night_series(recording.path, readings, heard, audio, progress=lambda share: step(HEARD_SHARE + rest * share))


def shown_reading(text: str) -> DisplayReading:
    """A reading of the display from words, numbers in µW/m².

    Raises
    ------
    FormatError
        If a word or number is not understood.
    """
    try:
        pairs = dict(part.split("=", 1) for part in text.split())
        return _reading(_seconds(pairs.pop("at")), pairs)
    except (ValueError, KeyError) as fault:
        raise _not_understood(text) from fault


def reading_at(at_s: float, text: str) -> DisplayReading:
    """A reading of the display at a known moment, from words without one, numbers in µW/m².

    Raises
    ------
    FormatError
        If a word or number is not understood.
    """
    try:
        return _reading(at_s, dict(part.split("=", 1) for part in text.split()))
    except (ValueError, KeyError) as fault:
        raise _not_understood(text) from fault


def _not_understood(text: str) -> FormatError:
    return FormatError(
        f"a reading of the display is not understood: {text!r}.",
        where="display",
        mend="Write it like: at=0:30 peak=2400 held=3010 average=109 (µW/m²).",
    )


def _reading(at_s: float, pairs: dict[str, str]) -> DisplayReading:
    row: dict[str, Any] = {"at_s": at_s, "held_from_s": 0.0}
    for name, value in pairs.items():
        if name in _WORDS:
            row[_WORDS[name]] = float(value.replace(",", "")) / _MICRO
        else:
            row[_FROM[name.removesuffix("-from")]] = _seconds(value)
    return display_reading(row)


def checked_law(name: str) -> str:
    """The name of a detector law, or empty.

    Raises
    ------
    UnknownNameError
        If there is no such law.
    """
    if name and name not in set(Law):
        raise UnknownNameError("detector law", name, set(Law), where="--law")
    return name


def seconds_in(text: str) -> float:
    """A moment from the start of the recording, as seconds or h:mm:ss [s].

    Raises
    ------
    FormatError
        If it cannot be read.
    """
    try:
        return _seconds(text)
    except ValueError as fault:
        raise FormatError(
            f"{text!r} is no moment of a recording.", where="counter", mend="Write it like 0:30 or 8:00:00."
        ) from fault


def _seconds(text: str) -> float:
    total = 0.0
    for part in text.split(":"):
        total = total * 60 + float(part)
    return total


def shown_night(series: NightSeries, readings: Sequence[DisplayReading] = (), began_at: str = "") -> ShownNight:
    """The night as every door shows it.

    Parameters
    ----------
    series : NightSeries
    readings : sequence of DisplayReading
        What was read off the display; the last highest held is joined to its second.
    began_at : str
        Start of the recording, ISO 8601 with offset; empty if it is not known.
    """
    top = int(np.argmax(series.peak.level_w_m2))
    return ShownNight(
        series.seconds,
        _mean(series.average),
        _at(series.peak, top),
        float(top),
        _loudest(series, top),
        {name: _mean(level) for name, level in series.technologies.items()},
        series.calibration.law.value,
        series.calibration.law_probability,
        float(np.abs(series.calibration.residual_db).max()),
        int(series.clipped.sum()),
        series.coupled,
        began_at,
        _hold(series, readings),
    )


def _hold(series: NightSeries, readings: Sequence[DisplayReading]) -> ShownHold | None:
    """The last highest held that was read, with the second that was highest while it was held."""
    held = max((one for one in readings if one.held_w_m2 is not None), key=lambda one: one.at_s, default=None)
    first, last = (0, 0) if held is None else (int(held.held_from_s), min(int(np.ceil(held.at_s)), series.seconds))
    if held is None or held.held_w_m2 is None or last <= first:
        return None
    tops = series.peak.level_w_m2[first:last]
    second = first + int(np.argmax(tops))
    rivals = int((tops >= tops.max() * 10 ** (-RIVAL_DB / 10)).sum()) - 1
    return ShownHold(held.held_w_m2, held.at_s, float(second), _loudest(series, second), rivals)


def _mean(level: LevelBySecond) -> ShownLevel:
    """Mean over time; the error of the scale is shared by all seconds, so the ends are averaged as they are."""
    return ShownLevel(float(level.level_w_m2.mean()), float(level.low_w_m2.mean()), float(level.high_w_m2.mean()))


def _at(level: LevelBySecond, second: int) -> ShownLevel:
    return ShownLevel(float(level.level_w_m2[second]), float(level.low_w_m2[second]), float(level.high_w_m2[second]))


def _loudest(series: NightSeries, second: int) -> str:
    bursts = {name: np.nan_to_num(values[second]) for name, values in series.bursts_w_m2.items()}
    return max(bursts, key=lambda name: bursts[name], default="")


def write_night_log(series: NightSeries, began_at: str, target: str | Path) -> Path:
    """The series as a table that `roomfield log` reads: time, average, peak, and each technology [µW/m²].

    The ends of the 90 % intervals stand behind them under the names that `ends_of` gives; an upper end without bound is
    left out.

    Parameters
    ----------
    began_at : str
        Start of the recording, ISO 8601 with offset.

    Raises
    ------
    FormatError
        If the moment cannot be read or has no offset.
    """
    begin, path = moment_with_offset(began_at), Path(target)
    levels = {NIGHT_COLUMNS["average"]: series.average, NIGHT_COLUMNS["peak"]: series.peak}
    levels |= {column_of(name): level for name, level in series.technologies.items()}
    ends = [end for name in levels for end in ends_of(name)]
    columns = [level.level_w_m2 for level in levels.values()]
    columns += [end for level in levels.values() for end in (level.low_w_m2, level.high_w_m2)]
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(["time", *levels, *ends])
        for second, row in enumerate(zip(*columns, strict=True)):
            moment = (begin + timedelta(seconds=second)).isoformat()
            table.writerow([moment, *(f"{value * _MICRO:.6g}" if np.isfinite(value) else "" for value in row)])
    return path


def describe_night_log(target: str | Path) -> Path:
    """Write what the columns of a night's table hold beside it, as CSV on the Web; gives where it lies.

    Parameters
    ----------
    target : str or Path
        From `write_night_log`, or the table of a night without a scale.
    """
    path = Path(target)
    with path.open(encoding="utf-8", newline="") as file:
        headings = next(csv.reader(file))
    beside = metadata_path(path)
    write_whole(beside, metadata_bytes(path, f"{path.stem}: level by second", [_described(one) for one in headings]))
    return beside


def _described(heading: str) -> CsvColumn:
    if heading == "time":
        return CsvColumn(heading, MOMENT, "", "begin of the second, with its offset from UTC")
    name, _, unit = heading.removesuffix("]").partition(" [")
    for ending, which in ((" low", "lower"), (" high", "upper")):
        if name.endswith(ending):
            return CsvColumn(heading, NUMBER, unit, f"{which} end of the 90 % interval of {name.removesuffix(ending)}")
    usual = {"average": "mean over the second", "peak": "highest within the second"}
    return CsvColumn(heading, NUMBER, unit, usual.get(name, f"part of the average that {name} makes"))


def column_of(name: str) -> str:
    """Column of a technology in the table of a night."""
    return f"{name} [µW/m²]"


def ends_of(column: str) -> tuple[str, str]:
    """Columns of the lower and the upper end of the 90 % interval of a column."""
    name, unit = column.split(" [", 1)
    return f"{name} low [{unit}", f"{name} high [{unit}"


def moment_with_offset(text: str) -> datetime:
    """A moment with its offset from UTC.

    Raises
    ------
    FormatError
        If the moment cannot be read or has no offset.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise FormatError(
            f"the start of the recording is not a moment with its offset: {text!r}.",
            where="--began",
            mend="Write it like 2026-11-28T22:00:00+01:00.",
        )
    return moment


def plain_night(shown: ShownNight, sentences: Sequence[str]) -> dict[str, Any]:
    """Summary as plain values; densities in W/m²."""
    plain = shown.to_plain()
    renamed = {name: f"{name}_w_m2" for name in ("average", "highest", "technologies")}
    return {"sentences": list(sentences)} | {renamed.get(name, name): value for name, value in plain.items()}

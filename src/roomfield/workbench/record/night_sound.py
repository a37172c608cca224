"""A night of sound: from a recording and what the display showed to a log like any other."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from roomfield.errors import FormatError, UnknownNameError
from roomfield.show.shown_night import ShownLevel, ShownNight
from roomfield.signals.night.display import DisplayReading, display_reading
from roomfield.signals.night.level_by_second import LevelBySecond, NightSeries, night_series
from roomfield.signals.night.second_gatherer import NightAudio
from roomfield.signals.night.sparse_hearing import heard_in_night
from roomfield.signals.night.voltage import Law

_MICRO = 1e6
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


def night_of(recording: NightRecording) -> NightSeries:
    """Level by second for the whole and for each technology heard.

    Raises
    ------
    InputError
        If the recording or a reading of the display cannot be used.
    TooEarlyError
        If no reading of the display covers the recording.
    """
    readings = [shown_reading(text) for text in recording.shown]
    heard = heard_in_night(recording.path, recording.channel)
    law = Law(recording.law) if recording.law else None
    audio = NightAudio(recording.coupling_hz, law, recording.channel)
    return night_series(recording.path, readings, heard, audio)


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


def _seconds(text: str) -> float:
    total = 0.0
    for part in text.split(":"):
        total = total * 60 + float(part)
    return total


def shown_night(series: NightSeries) -> ShownNight:
    """The night as every door shows it."""
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
    )


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

    Parameters
    ----------
    began_at : str
        Start of the recording, ISO 8601 with offset.

    Raises
    ------
    FormatError
        If the moment cannot be read or has no offset.
    """
    try:
        begin = datetime.fromisoformat(began_at)
    except ValueError:
        begin = None
    if begin is None or begin.tzinfo is None:
        raise FormatError(
            f"the start of the recording is not a moment with its offset: {began_at!r}.",
            where="--began",
            mend="Write it like 2026-11-28T22:00:00+01:00.",
        )
    path = Path(target)
    columns = [series.average.level_w_m2, series.peak.level_w_m2, *(t.level_w_m2 for t in series.technologies.values())]
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(
            ["time", "average [µW/m²]", "peak [µW/m²]", *(f"{name} [µW/m²]" for name in series.technologies)]
        )
        for second, row in enumerate(zip(*columns, strict=True)):
            moment = (begin + timedelta(seconds=second)).isoformat()
            table.writerow([moment, *(f"{value * _MICRO:.6g}" for value in row)])
    return path


def plain_night(series: NightSeries, sentences: Sequence[str]) -> dict[str, Any]:
    """Summary and series as plain values; densities in W/m²."""
    shown = shown_night(series)
    return {
        "seconds": series.seconds,
        "sentences": list(sentences),
        "average_w_m2": vars(shown.average),
        "highest_w_m2": vars(shown.highest),
        "highest_at_s": shown.highest_at_s,
        "highest_of": shown.highest_of,
        "technologies_w_m2": {name: vars(level) for name, level in shown.technologies.items()},
        "law": shown.law,
        "law_probability": shown.law_probability,
    }

"""A night kept while it goes on: the log is written anew every minute, so that a computer that dies loses no more."""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError, InputError, RangeError, TooEarlyError
from roomfield.extras import library
from roomfield.signals.night.level_by_second import NightSeries
from roomfield.signals.night.live_night import LiveNight
from roomfield.signals.night.second_gatherer import NightAudio
from roomfield.signals.night.voltage import Law
from roomfield.signals.recording import BLOCK_S, open_source
from roomfield.workbench.record.night_sound import describe_night_log, reading_at, shown_reading, write_night_log

_card = library("sounddevice", "soundcard")

SAVE_EVERY_S = 60
CARD_RATE_HZ = 48_000.0


@dataclass
class LiveNightLog:
    """Sound goes in, a log comes out; what the display showed comes from a file beside the log.

    Parameters
    ----------
    night : LiveNight
    began : datetime
        With its offset from UTC.
    target : Path
        The log (CSV).
    on_saved : callable
        Told after the log was written, with the series that stands in it; None while it has no scale.
    refused : list of str
        Why numbers that were noted could not be used.
    """

    night: LiveNight
    began: datetime
    target: Path
    on_saved: Callable[[NightSeries | None], None] = lambda _series: None
    refused: list[str] = field(default_factory=list)
    _noted: int = 0
    _saved: int = 0

    def push(self, samples: NDArray[np.floating]) -> bool:
        """Take in the next samples; whether the log was written."""
        self.night.push(samples)
        self._note_new()
        if self.night.seconds - self._saved < SAVE_EVERY_S:
            return False
        self.save()
        return True

    def save(self) -> NightSeries | None:
        """Write the log so far, in one step; without a scale and None as long as nothing was read off the display."""
        self._note_new()
        whole = self.target.with_name(self.target.name + ".part")
        series = None
        try:
            series = self.night.series()
            write_night_log(series, self.began.isoformat(), whole)
        except TooEarlyError:
            write_without_scale(self.night, self.began, whole)
        with whole.open("rb") as file:
            os.fsync(file.fileno())
        os.replace(whole, self.target)
        describe_night_log(self.target)
        self._saved = self.night.seconds
        self.on_saved(series)
        return series

    @property
    def saved_s(self) -> int:
        """Seconds that are safe on the disk [s]."""
        return self._saved

    def _note_new(self) -> None:
        notes = notes_beside(self.target)
        lines = notes.read_text(encoding="utf-8").splitlines() if notes.exists() else []
        for line in lines[self._noted :]:
            moment, _, text = line.partition(" ")
            at_s = (datetime.fromisoformat(moment) - self.began).total_seconds()
            if at_s > self.night.seconds:
                return
            self._noted += 1
            try:
                self.night.note(reading_at(at_s, text))
            except (FormatError, InputError, RangeError) as fault:
                self.refused.append(str(fault))


def write_without_scale(night: LiveNight, began: datetime, target: Path) -> None:
    """The seconds of a night that nobody has read the display for: mean power and highest voltage of the sound."""
    with target.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(["time", "average [sound]", "highest voltage [sound]"])
        for second, (mean, top) in enumerate(night.without_scale()):
            table.writerow([(began + timedelta(seconds=second)).isoformat(), f"{mean:.6g}", f"{top:.6g}"])


def notes_beside(target: str | Path) -> Path:
    """The file of what the display showed, beside a log."""
    return Path(str(target) + ".shown.txt")


def note_shown(target: str | Path, text: str, moment: datetime) -> Path:
    """Note what the display shows now, for a night that goes on.

    Parameters
    ----------
    text : str
        Such as ``peak=2400 held=3010 average=109`` (µW/m²).

    Raises
    ------
    FormatError, InputError
        If it is not understood; nothing is noted then.
    """
    reading_at(3600.0, text)
    notes = notes_beside(target)
    with notes.open("a", encoding="utf-8") as file:
        file.write(f"{moment.isoformat()} {text}\n")
        file.flush()
        os.fsync(file.fileno())
    return notes


def now_here() -> datetime:
    """The moment, with its offset from UTC."""
    return datetime.now().astimezone()


def begin_live(
    target: str | Path, began: datetime, coupling_hz: float, law: str, rate_hz: float, shown: Sequence[str] = ()
) -> LiveNightLog:
    """A log of a night that begins now; ``shown`` are readings whose moment is known, as `shown_reading` takes them.

    Raises
    ------
    InputError
        If there is such a file: nothing is written over.
    FormatError, RangeError
        If the law cannot be followed live, or the rate is out of range.
    """
    path = Path(target)
    if path.exists() or notes_beside(path).exists():
        raise InputError("there is a log of this name.", where=str(path), mend="Name another file.")
    night = LiveNight(rate_hz, NightAudio(coupling_hz, Law(law) if law else None))
    for text in sorted(shown, key=lambda one: shown_reading(one).at_s):
        words = " ".join(word for word in text.split() if not word.startswith("at="))
        note_shown(path, words, began + timedelta(seconds=shown_reading(text).at_s))
    return LiveNightLog(night, began, path)


def follow(log: LiveNightLog, blocks: Iterable[NDArray[np.floating]], told: Callable[[LiveNightLog], None]) -> None:
    """Follow sound until it ends, and write what is left then."""
    for block in blocks:
        if log.push(block):
            told(log)
    log.save()


def played_blocks(path: str | Path, channel: int = 0) -> tuple[float, Iterable[NDArray[np.floating]]]:
    """Rate [Hz] and blocks of a recording, as if it came from the sound card: a rehearsal."""
    source = open_source(path, None)
    step = int(BLOCK_S * source.sample_rate_hz)
    cuts = range(0, source.frames, step)
    data = (source.read(a, min(a + step, source.frames)) for a in cuts)
    return source.sample_rate_hz, (d if d.ndim == 1 else d[:, min(channel, d.shape[1] - 1)] for d in data)


def card_blocks(device: str = "") -> tuple[float, Iterable[NDArray[np.floating]]]:
    """Rate [Hz] and blocks of a second from the sound card.

    Raises
    ------
    MissingExtraError
        If the library for sound cards is not installed.
    """
    chosen = int(device) if device.isdigit() else device or None
    stream = _card.InputStream(samplerate=CARD_RATE_HZ, channels=1, dtype="float32", device=chosen, latency="high")

    def blocks() -> Iterable[NDArray[np.floating]]:
        with stream:
            while True:
                data, _ = stream.read(int(CARD_RATE_HZ))
                yield data[:, 0]

    return CARD_RATE_HZ, blocks()

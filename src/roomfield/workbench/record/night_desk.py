"""Nights under way: recordings that are being brought piece by piece, and nights that are followed as they go on.

Each lies in a folder of its own beside the record, so that a computer that dies loses a minute and an upload goes on
where it broke off. What is kept or thrown away is gone from here.
"""

from __future__ import annotations

import json
import math
import re
import secrets
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from threading import Lock
from typing import Any

import numpy as np

from roomfield.errors import FormatError, InputError, RoomfieldError, UnknownNameError
from roomfield.show.shown_night import ShownNight
from roomfield.signals.night.level_by_second import NightSeries
from roomfield.survey import Survey
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.kept_night import KeptNight, ProgressCall, keep_night, keep_table
from roomfield.workbench.record.live_night_log import LiveNightLog, begin_live, note_shown, now_here
from roomfield.workbench.record.long_series import LogPlace
from roomfield.workbench.record.night_sound import NightRecording, shown_night
from roomfield.workbench.record.recordings import ENDINGS, samples_of_chunk
from roomfield.workbench.record.survey_list import Records, nights_of, opened

_ID = re.compile(r"[A-Za-z0-9_-]{16}")
_ABOUT, _TABLE, _SAID = "about.json", "night.csv", "night.json"
ROOM_TO_SPARE = 256 << 20
"""So much of the disk is left free [byte]."""


@dataclass(frozen=True)
class WaitingNight:
    """A night that is not kept with the survey yet.

    Parameters
    ----------
    id : str
    live : bool
        Whether it was followed as it went on; else a recording that was brought.
    name : str
        What the user calls the recording; empty for a night that was followed.
    size : int
        Bytes there of a recording.
    whole : bool
        Whether all of the recording is there; true for a night that was followed.
    began_at : str
        Moment at which a followed night began.
    seconds : int
        Length of a followed night that is safe on the disk [s].
    has_scale : bool
        Whether the display was read, so that levels are known.
    going_on : bool
        Whether it is followed at this moment.
    """

    id: str
    live: bool
    name: str = ""
    size: int = 0
    whole: bool = True
    began_at: str = ""
    seconds: int = 0
    has_scale: bool = False
    going_on: bool = False


@dataclass(frozen=True)
class NightNumbers:
    """What is said of a recording that was brought.

    Parameters
    ----------
    began_at : str
        Its start, ISO 8601 with offset.
    shown : tuple of str
        Readings of the display, as `roomfield.workbench.record.night_sound.shown_reading` takes them.
    coupling_hz : float
        Corner of the capacitor in the cable; 0 for none [Hz].
    law : str
        Detector law; empty to find it.
    channel : int
        From 0.
    """

    began_at: str
    shown: tuple[str, ...]
    coupling_hz: float = 20.0
    law: str = ""
    channel: int = 0


@dataclass
class _Followed:
    """A night that goes on, in memory; a second page may look on, one at a time brings sound."""

    log: LiveNightLog
    lock: Lock = field(default_factory=Lock)
    samples: int = 0


class NightDesk:
    """The nights under way of one record.

    Parameters
    ----------
    records : Records
        The open record.
    """

    def __init__(self, records: Records) -> None:
        self._records = records
        self._followed: dict[str, _Followed] = {}

    def waiting(self, survey_id: str) -> tuple[WaitingNight, ...]:
        """Nights of a survey that are not kept yet, the newest first."""
        folder = self._folder(survey_id)
        found = sorted(folder.glob(f"*/{_ABOUT}"), key=lambda path: path.stat().st_mtime, reverse=True)
        return tuple(self._waiting(path.parent) for path in found)

    def begin_recording(self, survey_id: str, file_name: str, size: int) -> str:
        """Make room for a recording that comes piece by piece; answers its id.

        Parameters
        ----------
        size : int
            Of the whole recording [byte].

        Raises
        ------
        FormatError
            If it is no sound file that is read.
        InputError
            If it is empty, or the disk has no room for it.
        """
        ending = PurePath(file_name).suffix.lower()
        if ending not in ENDINGS:
            raise FormatError(
                f"files ending in {ending or 'nothing'!r} are not read as sound.",
                where=PurePath(file_name).name,
                mend="Bring WAV, FLAC, OGG or MP3.",
            )
        if size <= 0:
            raise InputError("the file is empty.", where=PurePath(file_name).name, mend="Choose another file.")
        made = self._make(survey_id, {"name": PurePath(file_name).name[:200], "size": size, "sound": f"sound{ending}"})
        free = shutil.disk_usage(made).free - ROOM_TO_SPARE
        if size > free:
            shutil.rmtree(made, ignore_errors=True)
            raise InputError(
                f"the disk has no room for it: {size >> 20} MB are needed, {max(free, 0) >> 20} MB are free.",
                where=PurePath(file_name).name,
                mend="Free some space, or bring FLAC in place of WAV.",
            )
        return made.name

    def add_piece(self, survey_id: str, night_id: str, at: int, piece: bytes) -> int:
        """Write the next piece; answers how much is there, from where a broken upload goes on.

        Parameters
        ----------
        at : int
            Where the piece belongs [byte]; what lies elsewhere is passed over.
        """
        folder, about = self._open(survey_id, night_id)
        path = folder / about["sound"]
        there = path.stat().st_size if path.exists() else 0
        if at != there:
            return there
        if there + len(piece) > about["size"]:
            raise InputError("more came than the recording is long.", where=about["name"], mend="Bring it again.")
        with path.open("ab") as file:
            file.write(piece)
        return there + len(piece)

    def keep_recording(
        self,
        survey_id: str,
        night_id: str,
        numbers: NightNumbers,
        where: LogPlace,
        on_progress: ProgressCall | None = None,
    ) -> KeptNight:
        """Work out a recording that was brought and keep what it says; the sound itself is not kept.

        Raises
        ------
        InputError, FormatError, RangeError
            If it is not whole, or cannot be used; it stays here then.
        TooEarlyError
            If no reading of the display covers it.
        """
        folder, about = self._open(survey_id, night_id)
        path = folder / about["sound"]
        if not path.exists() or path.stat().st_size != about["size"]:
            raise InputError("the recording is not here as a whole yet.", where=about["name"], mend="Bring it again.")
        named = NightRecording(path, numbers.shown, numbers.coupling_hz, numbers.law, numbers.channel)
        kept = keep_night(self._job(survey_id), named, numbers.began_at, where, on_progress, name=about["name"])
        shutil.rmtree(folder, ignore_errors=True)
        return kept

    def begin_live(self, survey_id: str, rate_hz: float, coupling_hz: float = 20.0, law: str = "") -> str:
        """Begin to follow a night; answers its id.

        Raises
        ------
        FormatError, RangeError
            If the law cannot be followed, or the rate is out of range.
        """
        began = now_here().replace(microsecond=0)
        made = self._make(survey_id, {"began_at": began.isoformat(), "coupling_hz": coupling_hz})
        try:
            log = begin_live(made / _TABLE, began, coupling_hz, law, rate_hz)
        except RoomfieldError:
            shutil.rmtree(made, ignore_errors=True)
            raise
        log.on_saved = lambda series: _write_said(made, log, series)
        self._followed[made.name] = _Followed(log)
        return made.name

    def samples_of(self, night_id: str) -> int:
        """How many samples of a night that goes on are here; a page that was cut off sends what came after.

        Raises
        ------
        UnknownNameError
            If no such night goes on.
        """
        return self._going_on(night_id).samples

    def hear(self, night_id: str, chunk: bytes) -> dict[str, Any]:
        """Take in the next sound of a night that goes on; how far it is, as plain values.

        Parameters
        ----------
        chunk : bytes
            Little-endian 32-bit floats, one channel.

        Raises
        ------
        FormatError
            If it is no whole number of samples, or too long.
        """
        samples = samples_of_chunk(chunk)
        night = self._going_on(night_id)
        with night.lock:
            night.log.push(samples)
            night.samples += len(samples)
            return {
                "have": night.samples,
                "seconds": night.log.night.seconds,
                "saved_s": night.log.saved_s,
                "peak": float(np.abs(samples).max(initial=0.0)),
                "readings": len(night.log.night.readings),
                "heard": list(night.log.night.heard),
                "refused": list(night.log.refused),
            }

    def note(self, survey_id: str, night_id: str, text: str) -> None:
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
        self._going_on(night_id)
        folder, _ = self._open(survey_id, night_id)
        note_shown(folder / _TABLE, text, now_here())

    def end_live(self, survey_id: str, night_id: str) -> WaitingNight:
        """End a night that goes on: what came since the last minute is written as well."""
        folder, _ = self._open(survey_id, night_id)
        night = self._followed.pop(night_id, None)
        if night is not None:
            with night.lock:
                night.log.save()
        return self._waiting(folder)

    def keep_live(
        self, survey_id: str, night_id: str, where: LogPlace, on_progress: ProgressCall | None = None
    ) -> KeptNight:
        """Keep a night that was followed.

        Raises
        ------
        TooEarlyError
            If nothing was read off the display, so that its levels have no scale.
        """
        self.end_live(survey_id, night_id)
        folder, about = self._open(survey_id, night_id)
        said = folder / _SAID
        plain = json.loads(said.read_bytes()) if said.exists() else None
        noted = folder / f"{_TABLE}.shown.txt"
        display = noted.read_text(encoding="utf-8").splitlines() if noted.exists() else []
        shown = None if plain is None else ShownNight.from_plain(plain)
        kept = keep_table(
            self._job(survey_id),
            folder / _TABLE,
            shown,
            {"recording": "", "display": display, "coupling_hz": about["coupling_hz"]},
            where,
            on_progress,
        )
        shutil.rmtree(folder, ignore_errors=True)
        return kept

    def throw_away(self, survey_id: str, night_id: str) -> None:
        """Throw a night away that was not kept."""
        folder, _ = self._open(survey_id, night_id)
        self._followed.pop(night_id, None)
        shutil.rmtree(folder, ignore_errors=True)

    def survey(self, survey_id: str) -> Survey:
        """The survey as it is now."""
        return opened(self._records, survey_id).survey

    def _job(self, survey_id: str) -> Job:
        return Job(self.survey(survey_id), self._records)

    def _folder(self, survey_id: str) -> Path:
        return nights_of(self._records, survey_id)

    def _make(self, survey_id: str, about: dict[str, Any]) -> Path:
        made = self._folder(self.survey(survey_id).id) / secrets.token_urlsafe(12)
        made.mkdir(parents=True, mode=0o700)
        (made / _ABOUT).write_text(json.dumps(about, ensure_ascii=False), encoding="utf-8")
        return made

    def _open(self, survey_id: str, night_id: str) -> tuple[Path, dict[str, Any]]:
        folder = self._folder(survey_id) / night_id
        if not _ID.fullmatch(night_id) or not (folder / _ABOUT).is_file():
            raise UnknownNameError("night", night_id, [one.id for one in self.waiting(survey_id)])
        about: dict[str, Any] = json.loads((folder / _ABOUT).read_text(encoding="utf-8"))
        return folder, about

    def _going_on(self, night_id: str) -> _Followed:
        if night_id not in self._followed:
            raise UnknownNameError("night that goes on", night_id, self._followed)
        return self._followed[night_id]

    def _waiting(self, folder: Path) -> WaitingNight:
        about = json.loads((folder / _ABOUT).read_text(encoding="utf-8"))
        if "sound" in about:
            path = folder / about["sound"]
            size = path.stat().st_size if path.exists() else 0
            return WaitingNight(folder.name, False, about["name"], size, size == about["size"])
        table = folder / _TABLE
        rows = len(table.read_text(encoding="utf-8").splitlines()) - 1 if table.exists() else 0
        return WaitingNight(
            folder.name,
            True,
            began_at=about["began_at"],
            seconds=max(rows, 0),
            has_scale=(folder / _SAID).exists(),
            going_on=folder.name in self._followed,
        )


def reading_words(numbers: Sequence[tuple[str, float | None]], at_s: float | None = None, reset_s: float = 0.0) -> str:
    """A reading of the display in the words that are kept; empty if no number was typed.

    Parameters
    ----------
    numbers : sequence of (str, float or None)
        peak, held and average with what was typed [µW/m²].
    at_s : float, optional
        Moment from the start of the recording [s]; left out for a night that goes on.
    reset_s : float
        When the hold was reset last [s].
    """
    given = [(name, value) for name, value in numbers if value is not None and math.isfinite(value)]
    if not given:
        return ""
    words = [] if at_s is None else [f"at={at_s:g}"]
    words += [f"{name}={value:g}" for name, value in given]
    return " ".join([*words, *([f"held-from={reset_s:g}"] if at_s is not None and reset_s < at_s else [])])


def _write_said(folder: Path, log: LiveNightLog, series: NightSeries | None) -> None:
    """What the night says so far, written beside its table in one step."""
    if series is None:
        return
    shown = shown_night(series, log.night.readings, log.began.isoformat())
    part = folder / f"{_SAID}.part"
    part.write_text(json.dumps(shown.to_plain(), ensure_ascii=False), encoding="utf-8")
    part.replace(folder / _SAID)

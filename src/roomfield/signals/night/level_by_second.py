"""A night's sound as levels by second: for the whole, its peaks, and each technology heard."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import TooEarlyError
from roomfield.signals.night.display import DisplayReading
from roomfield.signals.night.display_calibration import CREST_OWN_STD_DB, Calibration, calibrate
from roomfield.signals.night.second_gatherer import NightAudio, SecondGatherer
from roomfield.signals.night.voltage import VoltageCourse
from roomfield.signals.recording import AudioSource, open_source

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

COVERAGE = 0.90
_Z = 1.6449
BLOCK_S = 30
SETTLE_S = 1.0
LONG_S = 120.0
"""Longer parts of a recording are not read again for one highest held [s]."""
REST_SHARE = 0.1
"""How far the rest between transmissions may be off behind a capacitor, in units of the noise; our judgement [1]."""
WHOLE_STD_DB, COUPLED_STD_DB = 0.05, 0.1
SHARE_STD_DB = {"pulsed": 0.2, "beacons": 0.4, "telegrams": 0.6, "packets": 0.8, "stream": 0.3}
"""Own error of a portion by manner; our judgement, held against simulated nights [dB]."""
CONFUSED_SHARE = 0.02
"""Part of all other portions that may have been given to the wrong one; our judgement [1]."""
FARTHEST_LAW_DB = 6.0
"""No other law that the readings leave possible is let stray farther in one second: near silence all are noise [dB]."""
LEAST_SECONDS = 3
"""What the ear did not name is told if it is there in so many seconds."""


@dataclass(frozen=True)
class LevelBySecond:
    """A level against time with its interval.

    Attributes
    ----------
    level_w_m2, low_w_m2, high_w_m2 : ndarray, shape (seconds,)
        Power density and the ends of its 90 % interval [W/m2]; a low end of 0: an upper bound only.
    """

    level_w_m2: F64
    low_w_m2: F64
    high_w_m2: F64


@dataclass(frozen=True)
class NightSeries:
    """What the sound of a night says.

    Attributes
    ----------
    average : LevelBySecond
        Mean of each second, everything that sounds together.
    peak : LevelBySecond
        Highest instantaneous power density of each second.
    technologies : dict of LevelBySecond
        Mean of each second by technology; technologies that cannot be told apart share an entry, joined by "+". In seconds
        before it was listened for (live) it is anything from nothing to all that was heard.
    bursts_w_m2 : dict of ndarray
        Mean while it transmits; not a number in a second without a transmission [W/m2].
    calibration : Calibration
    clipped : ndarray of bool, shape (seconds,)
        Seconds in which the recorder was overdriven: levels are lower bounds there.
    coupled : bool
        Whether a capacitor stood between meter and recorder, so that what never pauses made no sound.
    """

    average: LevelBySecond
    peak: LevelBySecond
    technologies: dict[str, LevelBySecond]
    bursts_w_m2: dict[str, F64]
    calibration: Calibration
    clipped: NDArray[np.bool_]
    coupled: bool

    @property
    def seconds(self) -> int:
        """Length of the series [s]."""
        return len(self.average.level_w_m2)


def night_series(
    recording: str | Path | NDArray[np.floating],
    readings: Sequence[DisplayReading],
    heard: tuple[str, ...] = (),
    audio: NightAudio | None = None,
    *,
    sample_rate_hz: float | None = None,
    progress: Callable[[float], None] | None = None,
) -> NightSeries:
    """Level by second from a recording and what the display showed meanwhile.

    Parameters
    ----------
    recording : path or ndarray, shape (n,) or (n, channels)
    readings : sequence of DisplayReading
        At least one with a number.
    heard : tuple of str
        Technologies that were heard in it (`roomfield.signals.analyse`); empty: only the whole is given.
    audio : NightAudio, optional
        No capacitor, first channel, law to be found if left out.
    sample_rate_hz : float, optional
        Rate of samples given as an array [Hz].
    progress : callable, optional
        Called with the share of the pass that is done, 0 to 1; what it raises stops the work.

    Raises
    ------
    InputError, FormatError, RangeError
        If the recording cannot be used.
    TooEarlyError
        If no display reading covers it.

    Notes
    -----
    Memory is bounded by blocks of 30 s and a few numbers for each second. A highest held since long before is taken
    from the tops of the seconds, which are there after one pass; only if it changes the law the pass is made again.
    """
    source, audio = open_source(recording, sample_rate_hz), audio or NightAudio()
    step = progress or (lambda _share: None)
    rate = source.sample_rate_hz
    try:
        calibration = calibrate(readings, _FileSound(source, audio), audio.law)
    except TooEarlyError:
        tops = gathered(source, audio, SecondGatherer(rate, (), audio), step).tops
        calibration = calibrate(readings, _FileSound(source, audio, tops), audio.law)
    while True:
        rivals = tuple((rival.law, rival.decades) for rival in calibration.rivals)
        gatherer = SecondGatherer(rate, heard, audio, calibration.law, calibration.decades, rivals)
        rows = gathered(source, audio, gatherer, step)
        again = calibrate(readings, _FileSound(source, audio, rows.tops), audio.law)
        same = again.law is calibration.law and again.decades == calibration.decades
        if same or calibration.law_probability == 0.0:
            return series_of(rows, again if same else calibration)
        calibration = replace(again, law_probability=0.0) if again.law is not calibration.law else again


@dataclass(frozen=True)
class _FileSound:
    """Parts of a recording that display readings cover; ``tops`` by second, once they are known."""

    source: AudioSource
    audio: NightAudio
    tops: list[float] = field(default_factory=list)

    def voltage(self, begin_s: float, end_s: float) -> F32:
        """Voltage over rest in that part, with a second before for the filter to settle."""
        rate = self.source.sample_rate_hz
        before = max(0.0, begin_s - SETTLE_S)
        first, last = int(before * rate), min(int(end_s * rate), self.source.frames)
        if last - first < rate * 0.1:
            return np.zeros(0, np.float32)
        course = VoltageCourse(rate, self.audio.coupling_hz)
        samples = channel_of(self.source.read(first, last), self.audio.channel)
        return course(samples)[0][int((begin_s - before) * rate) :]

    def top(self, begin_s: float, end_s: float) -> float:
        """Highest voltage of that part; 0 if it is long and the tops are not known yet."""
        if end_s - begin_s <= LONG_S:
            return float(self.voltage(begin_s, end_s).max(initial=0.0))
        first, last = int(np.ceil(begin_s)), int(end_s)
        return max(self.tops[first:last], default=0.0)


def channel_of(data: NDArray[np.floating], channel: int) -> F32:
    """One channel as single precision, shape (n,); the last one if there are fewer."""
    return np.asarray(data if data.ndim == 1 else data[:, min(channel, data.shape[1] - 1)], np.float32)


def gathered(
    source: AudioSource, audio: NightAudio, gatherer: SecondGatherer, progress: Callable[[float], None] | None = None
) -> SecondGatherer:
    """The gatherer after every whole second of a recording."""
    rate = round(source.sample_rate_hz)
    for first in range(0, source.frames - rate + 1, rate * BLOCK_S):
        if progress is not None:
            progress(first / source.frames)
        block = channel_of(source.read(first, min(first + rate * BLOCK_S, source.frames)), audio.channel)
        for at in range(0, len(block) - rate + 1, rate):
            gatherer.take(block[at : at + rate])
    return gatherer


def series_of(rows: SecondGatherer, calibration: Calibration) -> NightSeries:
    """Levels with intervals from what was gathered, by the scale of a calibration."""
    coupled = rows.audio.coupling_hz > 0
    moments = np.arange(len(rows.means), dtype=np.float64) + 0.5
    scale_db, std_db = calibration.drift.scale_db(moments)
    unit = 10 ** (scale_db / 10)
    clipped = np.array(rows.clipped, np.bool_)
    shift_db, law_std_db = _by_rivals(rows, calibration, scale_db)
    std_db, unit = np.hypot(std_db, law_std_db), unit * 10 ** (shift_db / 10)
    slack = unit * rows.power_of(rows.noises) * (REST_SHARE if coupled else 0.02)
    average = _interval(
        np.array(rows.means) * unit, np.hypot(std_db, COUPLED_STD_DB if coupled else WHOLE_STD_DB), slack
    )
    top_std = np.hypot(std_db, np.hypot(calibration.crest_std_db, CREST_OWN_STD_DB))
    peak = _interval(rows.power_of(rows.tops) * unit * 10 ** (calibration.crest_db / 10), top_std, slack)
    technologies, bursts = {}, {}
    for manner, names in rows.splitter.manners.items():
        level = unit * np.array([row[manner].level if manner in row else 0.0 for row in rows.portions])
        if not set(names) & set(rows.splitter.heard) and (level > 0.0).sum() < LEAST_SECONDS:
            continue
        others = np.maximum(average.level_w_m2 - level, 0.0)
        room = slack + CONFUSED_SHARE * others
        key = "+".join(names)
        found = _interval(level, np.hypot(std_db, SHARE_STD_DB[manner]), room)
        unheard = np.array([manner not in row for row in rows.portions])
        technologies[key] = replace(found, high_w_m2=np.where(unheard, average.high_w_m2, found.high_w_m2))
        bursts[key] = unit * np.array([row[manner].burst if manner in row else np.nan for row in rows.portions])
    return NightSeries(
        _opened(average, clipped), _opened(peak, clipped), technologies, bursts, calibration, clipped, coupled
    )


def _by_rivals(rows: SecondGatherer, calibration: Calibration, scale_db: F64) -> tuple[F64, F64]:
    """What averaging over the laws that the readings leave possible adds to each second's level, and their spread [dB]."""
    nothing = np.zeros(len(rows.means))
    weights = {(rival.law, rival.decades): rival for rival in calibration.rivals}
    known = [(k + 1, weights[way]) for k, way in enumerate(rows.rivals) if way in weights]
    if not known:
        return nothing, nothing
    means = np.maximum(np.array(rows.rival_means), 1e-30)
    moments = np.arange(len(means), dtype=np.float64) + 0.5
    own_db = 10.0 * np.log10(means[:, 0]) + scale_db
    apart = np.array([10.0 * np.log10(means[:, k]) + rival.drift.scale_db(moments)[0] - own_db for k, rival in known])
    apart = np.clip(apart, -FARTHEST_LAW_DB, FARTHEST_LAW_DB)
    weight = np.array([rival.weight for _, rival in known])[:, None]
    shift = (weight * apart).sum(axis=0)
    return shift, np.sqrt((weight * apart**2).sum(axis=0) - shift**2)


def _interval(level: F64, std_db: F64, slack: F64) -> LevelBySecond:
    """Interval with an error in dB and one in power; a level within its slack is an upper bound."""
    factor = 10 ** (_Z * std_db / 10)
    level = np.maximum(level, 0.0)
    low = np.maximum(level / factor - _Z * slack, 0.0)
    return LevelBySecond(level, low, level * factor + _Z * slack)


def _opened(found: LevelBySecond, clipped: NDArray[np.bool_]) -> LevelBySecond:
    """Upper ends without bound where the recorder was overdriven."""
    return LevelBySecond(found.level_w_m2, found.low_w_m2, np.where(clipped, np.inf, found.high_w_m2))

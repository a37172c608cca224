"""A night's sound as levels by second: for the whole, its peaks, and each technology heard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.night.display import DisplayReading
from roomfield.signals.night.display_calibration import Calibration, calibrate
from roomfield.signals.night.shares import Portion, ShareSplitter
from roomfield.signals.night.voltage import Law, VoltageCourse, power_of
from roomfield.signals.recording import AudioSource, open_source

F64 = NDArray[np.float64]

COVERAGE = 0.90
_Z = 1.6449
BLOCK_S = 30
SETTLE_S = 1.0
REST_SHARE = 0.3
"""How far the rest between transmissions may be off behind a capacitor, in units of the noise; our judgement [1]."""
WHOLE_STD_DB, COUPLED_STD_DB = 0.05, 0.3
SHARE_STD_DB = {"pulsed": 0.2, "beacons": 0.4, "telegrams": 0.6, "packets": 0.8, "stream": 0.3}
"""Own error of a portion by manner; our judgement, held against simulated nights [dB]."""
CONFUSED_SHARE = 0.02
"""Part of all other portions that may have been given to the wrong one; our judgement [1]."""
FULL_SCALE = 0.985
FAINTEST_SHARE = 1e-3


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
        Mean of each second by technology; technologies that cannot be told apart share an entry, joined by "+".
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


@dataclass(frozen=True)
class NightAudio:
    """How the sound was made.

    Attributes
    ----------
    coupling_hz : float
        Corner of the high-pass between meter and recorder; 0 if there is none [Hz].
    law : Law or None
        If the detector's law is known.
    channel : int
        Which channel, from 0.
    """

    coupling_hz: float = 0.0
    law: Law | None = None
    channel: int = 0


@dataclass
class _Rows:
    """What is gathered second by second, in the law's own unit."""

    mean: list[float] = field(default_factory=list)
    top: list[float] = field(default_factory=list)
    noise: list[float] = field(default_factory=list)
    clipped: list[bool] = field(default_factory=list)
    portions: list[dict[str, Portion]] = field(default_factory=list)


def night_series(
    recording: str | Path | NDArray[np.floating],
    readings: Sequence[DisplayReading],
    heard: tuple[str, ...] = (),
    audio: NightAudio = NightAudio(),
    *,
    sample_rate_hz: float | None = None,
) -> NightSeries:
    """Level by second from a recording and what the display showed meanwhile.

    Parameters
    ----------
    recording : path or ndarray, shape (n,) or (n, channels)
    readings : sequence of DisplayReading
        At least one with a number.
    heard : tuple of str
        Technologies that were heard in it (`roomfield.signals.analyse`); empty: only the whole is given.
    audio : NightAudio
    sample_rate_hz : float, optional
        Rate of samples given as an array [Hz].

    Raises
    ------
    InputError, FormatError, RangeError
        If the recording cannot be used.
    TooEarlyError
        If no display reading covers it.

    Notes
    -----
    Memory is bounded by blocks of 30 s and a few numbers for each second.
    """
    source = open_source(recording, sample_rate_hz)
    calibration = calibrate(readings, lambda a, b: _between(source, audio, a, b), audio.law)
    splitter = ShareSplitter(source.sample_rate_hz, heard)
    rows = _gather(source, audio, calibration, splitter)
    return _scaled(rows, calibration, splitter, audio.coupling_hz > 0)


def _channel(data: NDArray[np.floating], channel: int) -> F64:
    return np.asarray(data if data.ndim == 1 else data[:, min(channel, data.shape[1] - 1)], np.float64)


def _between(source: AudioSource, audio: NightAudio, begin_s: float, end_s: float) -> F64:
    """Voltage over rest from ``begin_s`` to ``end_s``, with a second before for the filter to settle."""
    rate = source.sample_rate_hz
    before = max(0.0, begin_s - SETTLE_S)
    first, last = int(before * rate), min(int(end_s * rate), source.frames)
    if last - first < rate * 0.1:
        return np.zeros(0)
    course = VoltageCourse(rate, audio.coupling_hz)
    voltage, _ = course(_channel(source.read(first, last), audio.channel))
    return np.asarray(voltage[int((begin_s - before) * rate) :])


def _seconds(source: AudioSource, channel: int) -> Iterator[F64]:
    rate = round(source.sample_rate_hz)
    for first in range(0, source.frames - rate + 1, rate * BLOCK_S):
        block = _channel(source.read(first, min(first + rate * BLOCK_S, source.frames)), channel)
        yield from (block[a : a + rate] for a in range(0, len(block) - rate + 1, rate))


def _gather(source: AudioSource, audio: NightAudio, calibration: Calibration, splitter: ShareSplitter) -> _Rows:
    course, rows = VoltageCourse(source.sample_rate_hz, audio.coupling_hz), _Rows()
    for samples in _seconds(source, audio.channel):
        voltage, noise = course(samples)
        power = power_of(voltage, calibration.law, calibration.decades)
        rows.mean.append(float(power.mean()))
        rows.top.append(float(power.max()))
        rows.noise.append(float(power_of(np.array([noise]), calibration.law, calibration.decades)[0]))
        rows.clipped.append(bool(np.abs(samples).max() > FULL_SCALE))
        rows.portions.append(splitter.split(power) if splitter.heard else {})
    return rows


def _scaled(rows: _Rows, calibration: Calibration, splitter: ShareSplitter, coupled: bool) -> NightSeries:
    moments = np.arange(len(rows.mean), dtype=np.float64) + 0.5
    scale_db, std_db = calibration.drift.scale_db(moments)
    unit = 10 ** (scale_db / 10)
    clipped = np.array(rows.clipped, np.bool_)
    slack = unit * np.array(rows.noise) * (REST_SHARE if coupled else 0.02)
    average = _interval(
        np.array(rows.mean) * unit, np.hypot(std_db, COUPLED_STD_DB if coupled else WHOLE_STD_DB), slack
    )
    top_std = np.hypot(std_db, np.hypot(calibration.crest_std_db, COUPLED_STD_DB))
    peak = _interval(np.array(rows.top) * unit * 10 ** (calibration.crest_db / 10), top_std, slack)
    technologies, bursts = {}, {}
    for manner, names in splitter.manners.items():
        level = unit * np.array([row[manner].level for row in rows.portions])
        others = np.maximum(average.level_w_m2 - level, 0.0)
        room = slack + CONFUSED_SHARE * others
        key = "+".join(names)
        technologies[key] = _interval(level, np.hypot(std_db, SHARE_STD_DB[manner]), room)
        bursts[key] = unit * np.array([row[manner].burst for row in rows.portions])
    return NightSeries(
        _opened(average, clipped), _opened(peak, clipped), technologies, bursts, calibration, clipped, coupled
    )


def _interval(level: F64, std_db: F64, slack: F64) -> LevelBySecond:
    """Interval with an error in dB and one in power; a level within its slack is an upper bound."""
    factor = 10 ** (_Z * std_db / 10)
    level = np.maximum(level, 0.0)
    low = np.maximum(level / factor - _Z * slack, 0.0)
    return LevelBySecond(level, low, level * factor + _Z * slack)


def _opened(found: LevelBySecond, clipped: NDArray[np.bool_]) -> LevelBySecond:
    """Upper ends without bound where the recorder was overdriven."""
    return LevelBySecond(found.level_w_m2, found.low_w_m2, np.where(clipped, np.inf, found.high_w_m2))

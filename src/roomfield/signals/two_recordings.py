"""Two recordings held against each other: is this the same base as last time, and is more sent than then.

A sender's rate is its crystal's, read against the recorder's. What the recorder's own clock does between two recordings is
told by bases of mobile networks heard in both, which keep 0.1 ppm; without them it is an assumption that is stated and that
widens the interval. What is then left of the difference is weighed: a crystal that is the same, against another one drawn
from what the standard allows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm, t

from roomfield.references.technologies import technology
from roomfield.signals.folding import circular_edges
from roomfield.signals.hearing import Heard, Hearing, Periodicity
from roomfield.signals.recorder_clock import ALLOWED_PPM

FINE_PPM = 0.3
WITHIN = 0.95
# How far a crystal moves between two visits of like temperature, and how far two recorders' crystals lie apart [ppm]:
# common practice, no source.
SAME_CRYSTAL_PPM = 1.5
SAME_RECORDER_PPM = 2.0
TWO_RECORDERS_PPM = 25.0
NOTHING_TOLD = 3.0  # odds below which a difference speaks for neither
WINDOW_S = 1.0
LEAST_WINDOWS = 4
FRAME = "frame"
WIFI = ("wifi_beacon", "wifi_data")
FRAMES_IN_PROFILE = 2
EDGE_S = 60e-6
HALF_HEIGHT = 0.35
COUNTED = ("wifi_data", "bluetooth_classic", "bluetooth_le_adv", "zigbee")


@dataclass(frozen=True)
class RecorderShift:
    """By how much the second recording's clock reads higher than the first's [ppm], standard deviation, who told it."""

    ppm: float
    std_ppm: float
    told_by: tuple[str, ...] = ()


@dataclass(frozen=True)
class ClockMatch:
    """One sender of the second recording and the sender of the first whose clock is nearest.

    Attributes
    ----------
    name : str
        Technology.
    first_hz, second_hz : float
        Rates as read [Hz].
    difference_ppm, std_ppm : float
        Of the senders' clocks, the recorder's taken off, and its standard deviation if it is one sender [ppm].
    odds : float
        How many times more probable the difference is if it is one sender than if it is another of the kind.
    """

    name: str
    first_hz: float
    second_hz: float
    difference_ppm: float
    std_ppm: float
    odds: float

    @property
    def interval_ppm(self) -> tuple[float, float]:
        """95 % interval of the difference [ppm]."""
        reach = float(norm.ppf(0.5 + WITHIN / 2)) * self.std_ppm
        return self.difference_ppm - reach, self.difference_ppm + reach

    @property
    def verdict(self) -> str:
        """``same``, ``other`` or ``open``."""
        if self.odds > NOTHING_TOLD:
            return "same"
        return "other" if self.odds < 1 / NOTHING_TOLD else "open"


@dataclass(frozen=True)
class ActivityChange:
    """How much more is sent in the second recording.

    Attributes
    ----------
    name : str
        Technology.
    measure : str
        ``bursts`` (a second) or ``slots`` (bursts in each frame).
    first, second : float
        Of each recording.
    low, high : float
        95 % interval of second over first; equal to the ratio where a count is exact.
    """

    name: str
    measure: str
    first: float
    second: float
    low: float
    high: float

    @property
    def verdict(self) -> str:
        """``risen``, ``fallen`` or ``open``."""
        return "risen" if self.low > 1 else "fallen" if self.high < 1 else "open"


@dataclass(frozen=True)
class RecordingComparison:
    """What two recordings say together.

    Attributes
    ----------
    recorder : RecorderShift
    clocks : tuple of ClockMatch
    activity : tuple of ActivityChange
    gone, new : tuple of str
        Technologies heard in the first only, and in the second only.
    both : tuple of str
        Technologies heard in both.
    """

    recorder: RecorderShift
    clocks: tuple[ClockMatch, ...]
    activity: tuple[ActivityChange, ...]
    gone: tuple[str, ...]
    new: tuple[str, ...]
    both: tuple[str, ...]


def compare(first: Hearing, second: Hearing, *, one_recorder: bool = True) -> RecordingComparison:
    """Hold two recordings against each other.

    Parameters
    ----------
    first, second : Hearing
    one_recorder : bool
        Whether both were made with the same recorder.
    """
    before, after = ({h.name: h for h in one.claimed} for one in (first, second))
    _as_one_network(before, after)
    both = tuple(name for name in before if name in after)
    recorder = recorder_shift([(before[n], after[n]) for n in both], one_recorder)
    clocks = tuple(m for n in both for m in _matches(before[n], after[n], recorder))
    changes = (_activity(n, first, second) for n in both)
    return RecordingComparison(
        recorder,
        clocks,
        tuple(change for change in changes if change is not None),
        tuple(name for name in before if name not in after),
        tuple(name for name in after if name not in before),
        both,
    )


def _as_one_network(before: dict[str, Heard], after: dict[str, Heard]) -> None:
    """A network that only sends beacons in one recording and traffic in the other is in both: beacons go on under traffic."""
    for quiet, busy in ((before, after), (after, before)):
        if WIFI[0] in quiet and WIFI[1] not in quiet and WIFI[1] in busy:
            busy.setdefault(WIFI[0], busy[WIFI[1]])


def _alike(first: Heard, second: Heard) -> list[tuple[Periodicity, Periodicity]]:
    """Rates of both that are of one nominal rate."""
    return [(a, b) for a in first.rates for b in second.rates if abs(b.frequency_hz / a.frequency_hz - 1) < 5e-4]


def _off_ppm(first: Periodicity, second: Periodicity) -> tuple[float, float]:
    off = (second.frequency_hz / first.frequency_hz - 1) * 1e6
    before, after = (one.frequency_std_hz / one.frequency_hz * 1e6 for one in (first, second))
    return off, float(np.hypot(before, after))


def recorder_shift(pairs: list[tuple[Heard, Heard]], one_recorder: bool) -> RecorderShift:
    """How the recorder's clock stands in the second recording against the first.

    Parameters
    ----------
    pairs : list of (Heard, Heard)
        The same technology in both.
    one_recorder : bool
        Whether both were made with the same recorder: what is assumed where no base of a known clock was heard twice.
    """
    told, offs, weights = [], [], []
    for before, after in pairs:
        alike = _alike(before, after)
        if ALLOWED_PPM.get(before.name, 99.0) <= FINE_PPM and alike:
            off, std = _off_ppm(*alike[0])
            told.append(before.name)
            offs.append(off)
            weights.append(1 / (std**2 + 2 * (0.5 * ALLOWED_PPM[before.name]) ** 2))
    assumed = SAME_RECORDER_PPM if one_recorder else TWO_RECORDERS_PPM
    if not told:
        return RecorderShift(0.0, assumed)
    mean = float(np.average(offs, weights=weights))
    apart = float(np.sqrt(np.average((np.array(offs) - mean) ** 2, weights=weights))) if len(offs) > 1 else 0.0
    return RecorderShift(mean, max(float(np.sum(weights)) ** -0.5, apart), tuple(told))


def _matches(first: Heard, second: Heard, recorder: RecorderShift) -> list[ClockMatch]:
    """Each sender of the second recording with the nearest of the first; none for kinds that share one clock."""
    name = first.name
    allowed = ALLOWED_PPM.get(name, 0.0)
    if allowed <= FINE_PPM:
        return []
    found: dict[float, ClockMatch] = {}
    for before, after in _alike(first, second):
        off, std = _off_ppm(before, after)
        difference = off - recorder.ppm
        one = float(np.sqrt(std**2 + recorder.std_ppm**2 + SAME_CRYSTAL_PPM**2))
        other = float(np.hypot(one, 0.5 * allowed * np.sqrt(2)))
        odds = float(norm.pdf(difference, 0, one) / norm.pdf(difference, 0, other))
        match = ClockMatch(name, before.frequency_hz, after.frequency_hz, difference, one, odds)
        kept = found.get(after.frequency_hz)
        if kept is None or abs(difference) < abs(kept.difference_ppm):
            found[after.frequency_hz] = match
    return list(found.values())


def _activity(name: str, first: Hearing, second: Hearing) -> ActivityChange | None:
    if name == "dect":
        counts = [_slots(one) for one in (first, second)]
        if not all(counts):
            return None
        ratio = counts[1] / counts[0]
        return ActivityChange(name, "slots", float(counts[0]), float(counts[1]), ratio, ratio)
    if name not in COUNTED:
        return None
    rows = [_bursts_by_second(name, one) for one in (first, second)]
    if min(row.size for row in rows) < LEAST_WINDOWS or min(row.mean() for row in rows) == 0:
        return None
    means = [float(row.mean()) for row in rows]
    parts = [max(float(row.var(ddof=1)), float(row.mean())) / row.size / row.mean() ** 2 for row in rows]
    freedom = sum(parts) ** 2 / sum(p**2 / (row.size - 1) for p, row in zip(parts, rows, strict=True))  # Welch's
    reach = float(t.ppf(0.5 + WITHIN / 2, freedom) * np.sqrt(sum(parts)))
    ratio = means[1] / means[0]
    return ActivityChange(
        name, "bursts", means[0], means[1], ratio * float(np.exp(-reach)), ratio * float(np.exp(reach))
    )


def _slots(hearing: Hearing) -> int:
    """Bursts in each 10 ms of the folded course."""
    course = next((p for p in hearing.profiles if p.name == FRAME), None)
    if course is None:
        return 0
    levels = course.levels.reshape(FRAMES_IN_PROFILE, -1).mean(0)
    reach = max(2, round(EDGE_S / (course.period_s / course.levels.size)))
    edges = circular_edges(levels, reach)
    high = edges > HALF_HEIGHT * edges.max()
    top = high & (edges >= np.roll(edges, 1)) & (edges > np.roll(edges, -1))
    return int(np.count_nonzero(top))


def _bursts_by_second(name: str, hearing: Hearing) -> np.ndarray:
    """Bursts of the table's widths in each whole second for which the list of bursts is complete."""
    bursts = hearing.bursts
    inside = np.zeros(bursts.starts_s.size, bool)
    for width in technology(name).widths:
        inside |= (bursts.widths_s >= 0.8 * width.low_s - 3e-5) & (bursts.widths_s <= 1.2 * width.high_s + 3e-5)
    whole = min(hearing.duration_s, hearing.span_s)
    if bursts.count > bursts.starts_s.size:
        whole = float(bursts.starts_s[-1])
    edges = np.arange(0, int(whole / WINDOW_S) + 1) * WINDOW_S
    return np.histogram(bursts.starts_s[inside], edges)[0].astype(float)

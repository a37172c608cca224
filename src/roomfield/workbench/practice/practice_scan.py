"""Scans in an invented home: where the pointer moves, what the meter shows and sounds like, and the score."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock

import numpy as np

from roomfield.demo.practice_home import RATE_HZ, PracticeHome, practice_home
from roomfield.demo.practice_home import PracticeScore as PracticeScore
from roomfield.errors import InputError
from roomfield.show.shown_scan import ShownScan
from roomfield.signals.coach.scan_advice import LONGEST_S, ScanCoach
from roomfield.signals.coach.search import ScanPart
from roomfield.workbench.record.editing import new_id
from roomfield.workbench.record.scan_coach import shown_scan

AVERAGE_S, PEAK_S = 1.0, 1.0
LOUDNESS_DB = 60.0
MOST_SCANS, MOST_AT_ONCE = 200, 500
_MICRO = 1e6


@dataclass(frozen=True)
class PracticeStart:
    """A scan that is asked for.

    Parameters
    ----------
    seed : int
    place : str
    off : tuple of str
        Transmitters switched off.
    """

    seed: int
    place: str
    off: tuple[str, ...] = ()


@dataclass(frozen=True)
class PracticeMoves:
    """Where the antenna was.

    Parameters
    ----------
    rows : tuple of six floats
        One row for each 20 ms: position from the middle of the cube [m], and direction of the antenna.
    begins : ScanPart or None
        What the person set about with the first of these rows: ``spot`` or ``again``; None: goes on as before.
    """

    rows: tuple[tuple[float, float, float, float, float, float], ...]
    begins: ScanPart | None = None


@dataclass(frozen=True)
class PracticeShown:
    """What the meter shows and sounds like.

    Parameters
    ----------
    peak, held, average : float
        Of the last second, since the begin, and mean of the last second [µW/m²].
    loudness : tuple of float
        One for each 20 ms that was sent: 0 (silent) to 1.
    scan : ShownScan
        What the coach says.
    """

    peak: float
    held: float
    average: float
    loudness: tuple[float, ...]
    scan: ShownScan


@dataclass
class PracticeScan:
    """One scan that goes on."""

    home: PracticeHome
    place: str
    off: tuple[str, ...]

    def __post_init__(self) -> None:
        self.home.largest_w_m2(self.place, self.off)
        self._coach, self._power = ScanCoach(), np.zeros(0)

    def move(self, moves: PracticeMoves) -> PracticeShown:
        """Take in the next moves.

        Raises
        ------
        InputError
            If there are none or too many, or a direction has no length.
        RangeError
            If the scan is too long.
        """
        if not 0 < len(moves.rows) <= MOST_AT_ONCE:
            raise InputError(f"{len(moves.rows)} moves at once.", where="scan", mend=f"Send 1 to {MOST_AT_ONCE}.")
        rows, first = np.array(moves.rows, np.float64), len(self._power)
        new = self.home.power_w_m2(self.place, rows[:, :3], rows[:, 3:], first, self.off)
        said = self._coach.push(new, axis=rows[:, 3:], begins=moves.begins)
        self._power = np.concatenate([self._power, new])
        last = self._power[-int(AVERAGE_S * RATE_HZ) :]
        largest = self.home.largest_w_m2(self.place, self.off)
        loudness = np.clip(1.0 + 10.0 * np.log10(new / largest) / LOUDNESS_DB, 0.0, 1.0)
        return PracticeShown(
            float(self._power[-int(PEAK_S * RATE_HZ) :].max()) * _MICRO,
            float(self._power.max()) * _MICRO,
            float(last.mean()) * _MICRO,
            tuple(float(v) for v in loudness),
            shown_scan(said),
        )

    def score(self) -> PracticeScore:
        """How far the highest value found lies under the largest there is.

        Raises
        ------
        InputError
            If nothing was scanned.
        """
        if not len(self._power):
            raise InputError("nothing was scanned yet.", where="practice", mend="Move the meter first.")
        return self.home.score_scan(self.place, float(self._power.max()), self.off)


class PracticeScans:
    """The scans that go on, the oldest forgotten when there are many."""

    def __init__(self) -> None:
        self._scans: OrderedDict[str, PracticeScan] = OrderedDict()
        self._lock = Lock()

    def begin(self, start: PracticeStart) -> str:
        """Begin a scan; its id.

        Raises
        ------
        RangeError, UnknownNameError
            If there is no such home, place or transmitter.
        """
        scan, scan_id = PracticeScan(practice_home(start.seed), start.place, start.off), new_id("scan")
        with self._lock:
            self._scans[scan_id] = scan
            while len(self._scans) > MOST_SCANS:
                self._scans.popitem(last=False)
        return scan_id

    def scan(self, scan_id: str) -> PracticeScan:
        """A scan that goes on.

        Raises
        ------
        InputError
            If it is over or never began.
        """
        with self._lock:
            if scan_id not in self._scans:
                raise InputError("this scan is over or never began.", where="practice", mend="Begin a new one.")
            return self._scans[scan_id]


@dataclass(frozen=True)
class PracticeSheet:
    """What somebody who practises may know of a home: names, not levels."""

    seed: int
    places: tuple[str, ...]
    own: tuple[str, ...]
    foreign: tuple[str, ...]
    longest_s: float = LONGEST_S


def practice_sheet(seed: int) -> PracticeSheet:
    """The home of a seed without its truth.

    Raises
    ------
    RangeError
        If the seed is out of range.
    """
    home = practice_home(seed)
    own = tuple(source.name for source in home.sources if source.own)
    return PracticeSheet(seed, home.places, own, tuple(s.name for s in home.sources if not s.own))


def order_score(seed: int, place: str, order: tuple[str, ...]) -> PracticeScore:
    """How good an order of switching off is. Errors as `PracticeHome.score_order`."""
    return practice_home(seed).score_order(place, order)


def plan_score(seed: int, chosen: tuple[str, ...]) -> PracticeScore:
    """How good a choice of transmitters to do without is. Errors as `PracticeHome.score_plan`."""
    return practice_home(seed).score_plan(chosen)

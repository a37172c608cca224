"""The coach: from the level of a running scan to what is still missing and what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError, RangeError, TooEarlyError
from roomfield.signals.coach.course import NAMES, RATE_HZ, SHORTEST_S, course_numbers
from roomfield.signals.coach.forest import ScanShortfall, shortfall_forest
from roomfield.signals.coach.search import ScanMark, ScanPart, search_numbers
from roomfield.signals.coach.turning import TurningHeard

F64 = NDArray[np.float64]

ENOUGH_CHANCE = 0.95
"""A scan is enough once at most `ENOUGH_GAP_DB` are missing with this probability [1]."""
CLOSE_CHANCE = 0.7
"""From this probability on that at most `ENOUGH_GAP_DB` are missing it says so with the odds [1]; our judgement."""
ANSWERS_PER_S = 10.0
FAST_M_S = 0.35
LIKELY = 0.6
SWEEP_S = 15.0
"""Before this long there is more to gain from new places than from going back [s]; common practice, no source."""
FRESH_S = 4.0
"""The highest value is fresh this long: the hand is at it or near [s]."""
VISIT_S = 12.0
"""So long a loud spot is searched before the next is worth more [s]; as the hands did that the coach learnt from."""
AGAIN_S = 30.0
"""So long a second sweep takes: three layers of four lines at a hand's breadth or three a second [s]."""
LONGEST_S = 600.0


class ScanAdvice(StrEnum):
    """What helps most next."""

    LISTEN = "listen"
    """Too little heard for an answer."""
    SLOWER = "slower"
    TURN = "turn"
    """Turn the antenna through all directions while going on."""
    SWEEP = "sweep"
    """Go on to places not yet visited."""
    STAY = "stay"
    """A new highest value: stay about here, hold still and turn."""
    BACK = "back"
    """Go back to the loudest spots, search about them and turn there."""
    AGAIN = "again"
    """Sweep all of the volume once more with the antenna as it stood at the highest value."""
    CLOSE = "close"
    """Probably little is missing; the odds are told, and who scans decides."""
    ENOUGH = "enough"


@dataclass(frozen=True)
class CoachAnswer:
    """What the coach says at one moment.

    Attributes
    ----------
    seconds : float
        Length of the scan so far [s].
    highest : float
        Highest value so far, in the unit that was given.
    shortfall_db, low_db, high_db : float
        How far it lies under the largest there is: median and the ends of the 90 % interval [dB].
    enough_chance : float
        Probability that at most `ENOUGH_GAP_DB` is missing [1].
    advice : ScanAdvice
    """

    seconds: float
    highest: float
    shortfall_db: float
    low_db: float
    high_db: float
    enough_chance: float
    advice: ScanAdvice

    @property
    def enough(self) -> bool:
        """Whether the scan may end."""
        return self.advice is ScanAdvice.ENOUGH


@dataclass(frozen=True)
class ScanRecord:
    """What a scan that was listened to is worth.

    Attributes
    ----------
    seconds : float
        Length [s].
    spots : int
        Independent places passed, from the rate of fading.
    orientation_share : float or None
        Part of all directions of the antenna that were met; None if nobody said and nothing measured it [1].
    low_db, shortfall_db, high_db : float
        How far the highest lies under the largest there is: ends of the 90 % interval and median [dB].
    """

    seconds: float
    spots: int
    orientation_share: float | None
    low_db: float
    shortfall_db: float
    high_db: float


class ScanCoach:
    """Listens to a scan and answers ten times a second.

    The scan begins with the first value; `LONGEST_S` of it are kept. Sound alone hardly tells whether the antenna is
    turned; three things can say so: a word about the whole scan, marks while turning, or a motion sensor. Nor does it
    tell whether the hand went back to the loudest spots or swept on: a mark at each of them says so.

    The way that the coach asks for: sweep; the loudest spot, searched and turned at; all of the volume once more with the
    antenna as it stood there (a field has one leaning for the most part, so that this shows where else it is strong); then
    the loudest spots of all, one after the other.

    Parameters
    ----------
    turns : bool or None
        What the person says of the whole scan: whether the antenna is turned through all directions.
    marked : bool
        Whether the person marks what is begun after the first sweep.

    Examples
    --------
    >>> coach = ScanCoach()
    >>> coach.push([1e-5] * 50).advice
    <ScanAdvice.LISTEN: 'listen'>
    """

    def __init__(self, turns: bool | None = None, *, marked: bool = False) -> None:
        self._turning = TurningHeard(turns)
        self._marks: list[ScanMark] | None = [] if marked else None
        self._power = np.empty(int(LONGEST_S * RATE_HZ))
        self._count = 0
        self._answered = 0
        self._answer = CoachAnswer(0.0, 0.0, float("nan"), float("nan"), float("nan"), 0.0, ScanAdvice.LISTEN)

    @property
    def turns(self) -> bool | None:
        """Whether the antenna is turned, as far as it was said or measured."""
        return self._turning.turns

    def record(self) -> ScanRecord:
        """What goes with the reading of this scan.

        Raises
        ------
        TooEarlyError
            If too little was heard.
        """
        said = self._answer
        if not np.isfinite(said.shortfall_db):
            raise TooEarlyError("the scan is too short to say what it misses.", mend="Scan for some seconds more.")
        spots = 1 + int(course_numbers(self._power[: self._count])[NAMES.index("crossings")]) // 2
        share = self._turning.orientation_share
        return ScanRecord(said.seconds, spots, share, said.low_db, said.shortfall_db, said.high_db)

    def push(
        self,
        power: NDArray[np.floating] | list[float],
        *,
        turning: bool | None = None,
        axis: NDArray[np.floating] | None = None,
        begins: ScanPart | None = None,
    ) -> CoachAnswer:
        """Take in the next values and return the newest answer.

        Parameters
        ----------
        power : array_like, shape (n,)
            Highest instantaneous power density of each 20 ms, in any one unit.
        turning : bool, optional
            Whether the person marks these values as taken while turning the antenna.
        axis : ndarray, shape (n, 3), optional
            Direction of the antenna in the room for each value, unit vectors (a phone's motion sensor).
        begins : ScanPart, optional
            What the person sets about with these values: a loud spot, or the second sweep.

        Raises
        ------
        FormatError
            If a value is not a number or negative.
        RangeError
            If the scan is longer than `LONGEST_S`.
        """
        values = np.asarray(power, dtype=np.float64).ravel()
        if not (np.isfinite(values).all() and (values >= 0.0).all()):
            raise FormatError(
                "a level of the scan is negative or not a number.",
                where="scan",
                mend="Give power densities of 0 or more.",
            )
        if self._count + len(values) > len(self._power):
            seconds = (self._count + len(values)) / RATE_HZ
            raise RangeError("length of the scan", seconds, (0.0, LONGEST_S), "s", mend="Begin a new scan.")
        if begins is not None:
            self._marks = [*(self._marks or []), (self._count, begins)]
        self._power[self._count : self._count + len(values)] = values
        self._count += len(values)
        self._turning.take(len(values), turning, axis)
        if self._count >= self._answered + RATE_HZ / ANSWERS_PER_S:
            self._answered = self._count
            self._answer = answer(self._power[: self._count], self.turns, self._marks)
        return self._answer


def answer(power: F64, turns: bool | None = None, marks: Sequence[ScanMark] | None = None) -> CoachAnswer:
    """What the coach says of a scan so far.

    Parameters
    ----------
    power : ndarray, shape (n,)
        Highest instantaneous power density of each 20 ms, in any one unit, not negative.
    turns : bool or None
        Whether the person says that the antenna is being turned.
    marks : sequence of ScanMark or None
        What the person set about after the first sweep, and when; None if nobody marks it.
    """
    seconds, highest = len(power) / RATE_HZ, float(power.max(initial=0.0))
    if seconds < SHORTEST_S or highest <= 0.0:
        return CoachAnswer(seconds, highest, float("nan"), float("nan"), float("nan"), 0.0, ScanAdvice.LISTEN)
    numbers = course_numbers(power)
    if marks is not None:
        numbers = np.concatenate([numbers, search_numbers(power, marks)])
    found = shortfall_forest(marked=marks is not None).shortfall(numbers, turns)
    low, high = found.interval_db
    middle = max(low, found.quantile_db(0.5))
    return CoachAnswer(seconds, highest, middle, low, high, found.enough_chance, _advice(found, power, marks))


def _advice(found: ScanShortfall, power: F64, marks: Sequence[ScanMark] | None) -> ScanAdvice:
    if found.enough_chance >= ENOUGH_CHANCE:
        return ScanAdvice.ENOUGH
    if found.enough_chance >= CLOSE_CHANCE and found.turned >= LIKELY:
        return ScanAdvice.CLOSE
    if found.speed_m_s > FAST_M_S and not marks:
        return ScanAdvice.SLOWER
    if found.turned < LIKELY:
        return ScanAdvice.TURN
    fresh = len(power) - 1 - int(power.argmax()) < FRESH_S * RATE_HZ
    if marks:
        return _next_part(marks, len(power), fresh=fresh)
    if fresh and len(power) > SWEEP_S * RATE_HZ:
        return ScanAdvice.STAY
    swept = len(power) >= SWEEP_S * RATE_HZ and (marks is not None or found.whole >= LIKELY)
    return ScanAdvice.BACK if swept else ScanAdvice.SWEEP


def _next_part(marks: Sequence[ScanMark], count: int, *, fresh: bool) -> ScanAdvice:
    """After the first sweep: the loudest spot, all of the volume again, then one loud spot after the other."""
    at, part = marks[-1]
    here_s = (count - at) / RATE_HZ
    if part is ScanPart.AGAIN:
        return ScanAdvice.AGAIN if here_s < AGAIN_S else ScanAdvice.BACK
    if fresh or here_s < VISIT_S:
        return ScanAdvice.STAY
    return ScanAdvice.BACK if any(each is ScanPart.AGAIN for _, each in marks) else ScanAdvice.AGAIN

"""The coach for a hand scan, from its sound."""

from __future__ import annotations

from pathlib import Path

from roomfield.show.shown_scan import ShownScan
from roomfield.signals.coach.course import RATE_HZ
from roomfield.signals.coach.scan_advice import CoachAnswer, ScanCoach
from roomfield.signals.coach.sound import levels_of
from roomfield.signals.night.voltage import Law

STEP_S = 5.0


def coached(
    path: str | Path, turns: bool | None = None, law: str = "square", coupling_hz: float = 0.0
) -> tuple[ShownScan, ...]:
    """What the coach would have said during a recorded scan, every five seconds and at its end.

    Parameters
    ----------
    path : str or Path
        Recording of the meter's sound during one scan.
    turns : bool or None
        Whether the antenna was turned through all directions; None: not said.
    law : str
        ``square``, ``linear`` or ``log``.
    coupling_hz : float
        Corner of the capacitor between meter and recorder; 0 for none [Hz].

    Raises
    ------
    InputError, FormatError, RangeError
        If the recording cannot be used as a scan.
    """
    levels, coach, step = levels_of(path, Law(law), coupling_hz), ScanCoach(turns), int(STEP_S * RATE_HZ)
    return tuple(shown_scan(coach.push(levels[a : a + step])) for a in range(0, len(levels), step))


def shown_scan(said: CoachAnswer) -> ShownScan:
    """An answer of the coach as every door shows it."""
    return ShownScan(said.seconds, said.shortfall_db, said.low_db, said.high_db, said.enough_chance, said.advice.value)

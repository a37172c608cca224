"""Several scans of one thing: what they share stays, what each has of its own is averaged, and never more than that.

Averages are averaged in power. Of peaks and held maxima the highest counts, for that is what is asked of them; scans
that scatter no more than the meter repeats are one level, read several times.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from roomfield.quantities import Censoring, ErrorContribution, ErrorShape, UncertainLevel

Array = NDArray[np.float64]
PER_READING = ("repeatability", "display", "floor_noise")
"""Errors that each scan has anew. Every other one belongs to meter, place, axis or habit: repeating the scan does not
make it smaller (JCGM 100, F.1.1.2: only what varies between the observations is averaged)."""


def repeated(levels: Sequence[UncertainLevel]) -> UncertainLevel:
    """One level from those of repeated scans, of one kind.

    Parameters
    ----------
    levels : sequence of UncertainLevel
        At least one.

    Notes
    -----
    A number beside readings under the floor wins over them, which errs upwards; beside readings in overload it makes
    a lower bound with them. Bounds alone give the widest claim that all of them support.
    """
    known = [level for level in levels if level.censoring is Censoring.NONE]
    over = [level for level in levels if level.censoring is Censoring.ABOVE]
    if over and known:
        # Each bound in overload is at least its number, so numbers and bounds together make a lower bound.
        return replace(_together([*known, *over]), censoring=Censoring.ABOVE)
    if not known:
        return max(over or levels, key=lambda level: level.level_db)
    return _together(known)


def _together(levels: Sequence[UncertainLevel]) -> UncertainLevel:
    if len(levels) == 1:
        return levels[0]
    values = np.array([level.level_db for level in levels])
    own = _own(levels)
    kept = tuple(c for c in _common(levels) if c.name not in PER_READING)
    repeat_db = next((c.std_db for c in own if c.name == "repeatability"), 0.0)
    level_db, std_db = (_highest if levels[0].kind.instantaneous else _power_mean)(values, repeat_db)
    smaller = tuple(replace(c, std_db=c.std_db / len(levels) ** 0.5, shared_key="") for c in own
                    if c.name != "repeatability")  # fmt: skip
    scans = ErrorContribution("repeatability", std_db, ErrorShape.NORMAL)
    return UncertainLevel(levels[0].kind, level_db, (*kept, *smaller, scans))


def _common(levels: Sequence[UncertainLevel]) -> tuple[ErrorContribution, ...]:
    """Errors of meter, place, axis and habit: of each the largest, once."""
    largest: dict[tuple[str, str], ErrorContribution] = {}
    for contribution in (c for level in levels for c in level.contributions):
        key = (contribution.name, contribution.shared_key)
        before = largest.get(key)
        if before is None or contribution.std_db > before.std_db:
            largest[key] = contribution
    return tuple(largest.values())


def _own(levels: Sequence[UncertainLevel]) -> tuple[ErrorContribution, ...]:
    """Errors that each scan has anew, of each name the largest."""
    found: dict[str, ErrorContribution] = {}
    for contribution in (c for level in levels for c in level.contributions if c.name in PER_READING):
        before = found.get(contribution.name)
        if before is None or contribution.std_db > before.std_db:
            found[contribution.name] = contribution
    return tuple(found.values())


def _power_mean(values_db: Array, repeat_db: float) -> tuple[float, float]:
    """Mean in power [dB], and its standard uncertainty [dB]: s / sqrt(n) of the powers (JCGM 100, 4.2.3).

    Where scans scatter less than the meter is known to repeat, that is taken, over sqrt(n).
    """
    power = 10.0 ** (values_db / 10.0)
    mean, count = float(power.mean()), len(power)
    relative = float(power.std(ddof=1)) / mean / count**0.5
    std_db = max(10.0 * float(np.log10(1.0 + relative)), repeat_db / count**0.5)
    return 10.0 * float(np.log10(mean)), std_db


def _highest(values_db: Array, repeat_db: float) -> tuple[float, float]:
    """The highest level that occurred among the scans [dB], and its standard uncertainty [dB].

    Each scan's own level is drawn towards their mean by as much of the scatter as the meter's repeatability explains
    (the James-Stein estimator of normal means), so that the highest of several equal scans is not too high.
    """
    count, mean, variance = len(values_db), float(values_db.mean()), float(values_db.var(ddof=1))
    real = max(variance - repeat_db**2, 0.0)
    kept = real / (real + repeat_db**2) if real > 0.0 else 0.0
    highest = mean + kept * float(values_db.max() - mean)
    # Between the error of a mean (nothing real in the scatter) and that of one scan (all of it real).
    std_db = repeat_db * float(np.sqrt(kept + (1.0 - kept) / count))
    return highest, std_db

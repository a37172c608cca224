"""Several scans of one thing: what they share stays, what each has of its own is averaged, and never more than that.

Averages are averaged in power. Of peaks and held maxima the highest counts, for that is what is asked of them; scans
that scatter no more than the meter repeats are one level, read several times. Scans before and after a moment tell the
level at that moment, whatever drifted evenly between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from roomfield.quantities import Censoring, ErrorContribution, ErrorShape, UncertainLevel

Array = NDArray[np.float64]
PER_READING = ("repeatability", "display", "floor_noise")
"""Errors that each scan has anew. Every other one belongs to meter, place, axis or habit: repeating the scan does not
make it smaller (JCGM 100, F.1.1.2: only what varies between the observations is averaged)."""

DRIFTED_STD = NormalDist().inv_cdf(0.995)
"""Beyond so many standard deviations two readings are told to have drifted apart: one false alarm in a hundred."""


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


def between(before: UncertainLevel, after: UncertainLevel, passed: float) -> UncertainLevel:
    """The level at a moment between two readings of one thing, so that an even drift of its power cancels.

    Parameters
    ----------
    before, after : UncertainLevel
        Of one kind by one meter, neither of them a bound.
    passed : float
        Part of the time between them that had passed, 0 to 1.

    Notes
    -----
    Powers of different sources add, so it is the power that is interpolated. What each reading has of its own enters
    with its part of that power (JCGM 100, 5.1.2): halfway between equal levels with half its variance. By how much they
    differ beyond that is drift. If all of it came at one moment, each as likely as any other, the error of the straight
    line has a variance of ``passed (1 - passed)`` times its square; so it has after a random walk of that size.
    """
    power = np.array([(1.0 - passed) * before.median_w_m2, passed * after.median_w_m2])
    part = power / power.sum()
    own = [{c.name: c for c in level.contributions if c.name in PER_READING} for level in (before, after)]
    scatter = [
        replace((own[0] | own[1])[name], std_db=_size(own, name, part), shared_key="")
        for name in dict.fromkeys((*own[0], *own[1]))
    ]
    kept = tuple(c for c in _common((before, after)) if c.name not in PER_READING)
    apart_db, expected_db = _apart(before, after)
    beyond_db = max(apart_db**2 - expected_db**2, 0.0) ** 0.5
    drift = ErrorContribution("drift", beyond_db * (passed * (1.0 - passed)) ** 0.5)
    return UncertainLevel(before.kind, 10.0 * float(np.log10(power.sum())), (*kept, *scatter, drift))


def _size(own: Sequence[dict[str, ErrorContribution]], name: str, part: Array) -> float:
    """Standard uncertainty of one error that each reading has anew [dB], each with its part of the power."""
    sizes = [one[name].std_db if name in one else 0.0 for one in own]
    return float(np.linalg.norm(part * sizes))


def has_drifted(before: UncertainLevel, after: UncertainLevel) -> bool:
    """Whether two readings of one thing differ by more than the meter repeats.

    Parameters
    ----------
    before, after : UncertainLevel
        As `between`.
    """
    apart_db, expected_db = _apart(before, after)
    return apart_db > DRIFTED_STD * expected_db


def _apart(before: UncertainLevel, after: UncertainLevel) -> tuple[float, float]:
    """By how much two readings differ, and the standard deviation of that if nothing changed [dB]."""
    own = [c.std_db for level in (before, after) for c in level.contributions if c.name in PER_READING]
    return abs(after.level_db - before.level_db), float(np.linalg.norm(own))

"""Time above a bound and the runs above it, from those row groups that hold anything above."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from roomfield.logs import groups, kernels
from roomfield.logs.clock import MICRO
from roomfield.logs.condensed import Floats, Ints
from roomfield.logs.series import GapRule, LogSeries


@dataclass(frozen=True)
class Runs:
    """Runs of readings above a bound: first and last stamp [µs], greatest value, readings; shape (n,) each."""

    begin_us: Ints
    last_us: Ints
    peak: Floats
    count: Ints


@dataclass(frozen=True)
class Above:
    """What lies above a bound.

    Parameters
    ----------
    seen_us : int
        Observed time above it [µs].
    energy : float
        Sum of hold [µs] times power over it.
    count : int
        Readings above it.
    runs : Runs
        Runs above it.
    """

    seen_us: int
    energy: float
    count: int
    runs: Runs


def above(series: LogSeries, rule: GapRule, bound: float, join_s: float) -> Above:
    """What lies above a bound.

    Parameters
    ----------
    series : LogSeries
        The series or a span of it.
    rule : GapRule
        How long a reading stands.
    bound : float
        In the unit of the series; a reading must exceed it.
    join_s : float
        Runs no further apart than this are one [s].
    """
    ends = groups.row_groups(series)
    holding = [i for i in ends.within(series.start_us, series.end_us) if ends.high[i] > bound]
    hold_us, join_us = round(rule.hold_limit_s * MICRO), round(join_s * MICRO)
    parts = groups.spans(holding)
    with ThreadPoolExecutor(min(len(parts), os.cpu_count() or 1)) as pool:
        done = list(pool.map(lambda span: _part(series, span, (bound, hold_us, join_us)), parts))
    return Above(
        sum(part.seen_us for part in done),
        math.fsum(energy for part in done for energy in part.energy),
        sum(part.count for part in done),
        _joined([piece for part in done for piece in part.pieces], join_us),
    )


@dataclass
class _Part:
    seen_us: int = 0
    count: int = 0
    energy: list[float] = field(default_factory=list)
    pieces: list[tuple[Ints, Floats]] = field(default_factory=list)


def _part(series: LogSeries, span: list[int], how: tuple[float, int, int]) -> _Part:
    bound, hold_us, join_us = how
    part, going = _Part(), np.zeros(4)
    for t, value, step in _readings(series, span, bound):
        hold = np.minimum(step, hold_us)
        part.seen_us += int(hold.sum())
        part.energy.append(float(np.sum(hold * series.unit.power(value))))
        part.count += t.size
        whole, peaks = np.empty((3, t.size + 1), dtype=np.int64), np.empty(t.size + 1)
        closed = kernels.runs(t, value, join_us, going, whole, peaks)
        part.pieces.append((whole[:, :closed].copy(), peaks[:closed].copy()))
    if going[3]:
        begin, last, peak, readings = going
        part.pieces.append((np.array([[int(begin)], [int(last)], [int(readings)]]), np.array([peak])))
    return part


def _readings(series: LogSeries, span: list[int], bound: float) -> Iterator[tuple[Ints, Floats, Ints]]:
    """Readings above, and the time from each to the next."""
    with groups.opened(series) as file:
        for group in span:
            value, t, step = groups.read(file, [group], ["value", "t_us", "dt_us"])
            at = np.flatnonzero(value > bound)
            if not series.whole:
                stamps = t[at]
                at = at[(stamps >= series.start_us) & (stamps <= series.end_us)]
            if at.size:
                yield t[at], value[at], step[at]


def _joined(pieces: list[tuple[Ints, Floats]], join_us: int) -> Runs:
    """Runs of all parts; one that goes on into the next part is made whole."""
    if not pieces:
        none = np.zeros(0, dtype=np.int64)
        return Runs(none, none, np.zeros(0), none)
    (begin, last, count), peak = np.concatenate([p[0] for p in pieces], axis=1), np.concatenate([p[1] for p in pieces])
    starts = np.flatnonzero(np.append(True, begin[1:] - last[:-1] > join_us))
    ends = np.append(starts[1:], begin.size) - 1
    return Runs(begin[starts], last[ends], np.maximum.reduceat(peak, starts), np.add.reduceat(count, starts))

"""Time above a bound and the runs above it, from those row groups that hold anything above."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, fields

import numpy as np

from roomfield.logs import row_groups
from roomfield.logs.clock import MICRO
from roomfield.logs.log_series import GapRule, LogSeries
from roomfield.logs.sufficient_statistics import Floats, Ints


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
    ends = row_groups.row_groups(series)
    holding = [i for i in ends.within(series.start_us, series.end_us) if ends.high[i] > bound]
    hold_us, join_us = round(rule.hold_limit_s * MICRO), round(join_s * MICRO)
    done = row_groups.side_by_side(
        row_groups.spans(holding), lambda span: _part(series, span, (bound, hold_us, join_us))
    )
    runs = _joined(_one_after_another([run for part in done for run in part.runs]), join_us)
    return Above(
        sum(part.seen_us for part in done),
        math.fsum(energy for part in done for energy in part.energy),
        int(runs.count.sum()),
        runs,
    )


@dataclass
class _Part:
    seen_us: int = 0
    energy: list[float] = field(default_factory=list)
    runs: list[Runs] = field(default_factory=list)


def _part(series: LogSeries, span: list[int], how: tuple[float, int, int]) -> _Part:
    bound, hold_us, join_us = how
    part = _Part()
    for t, value, step in _readings(series, span, bound):
        hold = np.minimum(step, hold_us)
        part.seen_us += int(hold.sum())
        part.energy.append(float(np.sum(hold * series.unit.power(value))))
        part.runs.append(_joined(Runs(t, t, value, np.ones(t.size, np.int64)), join_us))
    return part


def _readings(series: LogSeries, span: list[int], bound: float) -> Iterator[tuple[Ints, Floats, Ints]]:
    """Readings above, and the time from each to the next."""
    ends = row_groups.row_groups(series)
    with row_groups.opened(series) as file:
        for group in span:
            t, value = row_groups.read(file, [group], ["t_us", "value"])
            at = np.flatnonzero(value > bound)
            if not series.whole:
                stamps = t[at]
                at = at[(stamps >= series.start_us) & (stamps <= series.end_us)]
            if at.size:
                yield t[at], value[at], np.append(t, ends.next_after(group, series))[at + 1] - t[at]


def _joined(runs: Runs, join_us: int) -> Runs:
    """Neighbouring runs made one where they are no further apart than `join_us`."""
    if not runs.count.size:
        return runs
    starts = np.flatnonzero(np.append(True, runs.begin_us[1:] - runs.last_us[:-1] > join_us))
    ends = np.append(starts[1:], runs.count.size) - 1
    return Runs(
        runs.begin_us[starts],
        runs.last_us[ends],
        np.maximum.reduceat(runs.peak, starts),
        np.add.reduceat(runs.count, starts),
    )


def _one_after_another(pieces: list[Runs]) -> Runs:
    none = np.zeros(0, dtype=np.int64)
    pieces = [Runs(none, none, np.zeros(0), none), *pieces]
    return Runs(*(np.concatenate([getattr(p, f.name) for p in pieces]) for f in fields(Runs)))

"""One pass over the readings of a series, in parts side by side, condensed to what every statistic needs."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
import pyarrow.parquet as pq
from numpy.typing import NDArray

from roomfield.logs import kernels, reading
from roomfield.logs.clock import MICRO
from roomfield.logs.scale import Unit
from roomfield.logs.series import GapRule, LogSeries

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

CELL_US = 60 * MICRO
"""Width of the cells that profiles, comparisons and change points are built from [µs]."""

_HISTOGRAM_BINS = 1 << 16
_GROUPS_A_CHUNK = 2
_GROUPS_WORTH_A_PART = 24
_MOST_PARTS = 8
_NEVER = 1 << 62


@dataclass(frozen=True)
class Windowed:
    """The greatest mean over a window.

    Parameters
    ----------
    window_us : int
        Length [µs].
    mean_power : float
        Mean of what is proportional to power.
    end_us : int
        End of the window [µs].
    seen_us : int
        Time observed in it [µs]; negative if no window is observed enough.
    """

    window_us: int
    mean_power: float
    end_us: int
    seen_us: int


@dataclass(frozen=True)
class Cells:
    """Sums by minute, for the minutes that hold readings.

    Parameters
    ----------
    index : ndarray of int, shape (n,)
        Minutes since 1970.
    seen_us : ndarray of int, shape (n,)
        Time observed [µs].
    energy : ndarray, shape (n,)
        Sum of hold [µs] times power.
    high : ndarray, shape (n,)
        Greatest value.
    """

    index: Ints
    seen_us: Ints
    energy: Floats
    high: Floats


@dataclass(frozen=True)
class Runs:
    """Runs of readings above a bound: first and last stamp [µs], greatest value, readings; shape (n,) each."""

    begin_us: Ints
    last_us: Ints
    peak: Floats
    count: Ints


@dataclass(frozen=True)
class Question:
    """What one pass is asked.

    Parameters
    ----------
    rule : GapRule
        How long a reading stands.
    windows_s : tuple of float
        Lengths of rolling means [s].
    least_share : float
        Share of a window that must be observed.
    bound : float or None
        Bound for time above and runs, in the unit of the series.
    join_s : float
        Runs no further apart than this are one [s].
    """

    rule: GapRule
    windows_s: tuple[float, ...] = ()
    least_share: float = 0.8
    bound: float | None = None
    join_s: float = 60.0


@dataclass(frozen=True)
class Condensed:
    """The answer of one pass; sums over readings are taken about ``shift``."""

    question: Question
    shift: float
    count: int
    moments: tuple[float, ...]
    seen_us: int
    energy: float
    floor_us: int
    floor_energy: float
    overload_us: int
    above_us: int
    above_count: int
    windows: tuple[Windowed, ...]
    histogram: Ints
    sample: Floats
    mixed: NDArray[np.bool_]
    key0: int
    key_shift: int
    gap_begin_us: Ints
    gap_end_us: Ints
    cells: Cells
    runs: Runs


@dataclass
class _Part:
    """Sums of one part; lists are added up exactly at the end."""

    histogram: Ints
    sample: Ints
    mixed: NDArray[np.bool_]
    count: int = 0
    moments: list[Floats] = field(default_factory=list)
    seen_us: int = 0
    floor_us: int = 0
    floor_energy: list[float] = field(default_factory=list)
    overload_us: int = 0
    above_us: int = 0
    above_count: int = 0
    windows: dict[int, tuple[Ints, Floats]] = field(default_factory=dict)
    gaps: list[tuple[Ints, Ints]] = field(default_factory=list)
    cells: list[tuple[Ints, Floats]] = field(default_factory=list)
    runs: list[tuple[Ints, Floats]] = field(default_factory=list)
    going: Floats = field(default_factory=lambda: np.zeros(4))

    @staticmethod
    def empty(bins: int) -> _Part:
        """Nothing yet."""
        return _Part(np.zeros(bins, np.int64), np.zeros(bins, np.int64), np.zeros(bins, np.bool_))


@dataclass(frozen=True)
class _Chunk:
    """Readings, the first of which may only lead in; ``dropped`` counts those the last chunk had before them."""

    t: Ints
    value: Floats
    step: Ints
    flag: NDArray[np.int8] | None
    first: int
    dropped: int


def _key(value: float) -> int:
    bits = int(np.float64(value).view(np.int64))
    return bits if bits >= 0 else -(1 << 63) - bits


def value_of_key(key: int) -> float:
    """The float64 that an ordered key stands for."""
    bits = key if key >= 0 else -(1 << 63) - key
    return float(np.int64(bits).view(np.float64))


@dataclass(frozen=True)
class _RowGroups:
    """First and last stamp of each row group of a file."""

    first: Ints
    last: Ints


def _row_groups(file: pq.ParquetFile) -> _RowGroups:
    ends = [file.metadata.row_group(i).column(0).statistics for i in range(file.num_row_groups)]
    return _RowGroups(np.asarray([e.min for e in ends]), np.asarray([e.max for e in ends]))


def _spans(groups: list[int]) -> list[list[int]]:
    """Row groups in runs of equal length, at most so many."""
    count = max(1, min(_MOST_PARTS, len(groups) // _GROUPS_WORTH_A_PART))
    edges = [round(i * len(groups) / count) for i in range(count + 1)]
    return [groups[a:b] for a, b in pairwise(edges)]


class _Scanner:
    def __init__(self, series: LogSeries, question: Question) -> None:
        self.series, self.question = series, question
        rule = question.rule
        self.unit: Unit = series.unit
        self.hold_us = round(rule.hold_limit_s * MICRO)
        self.gap_us = round(rule.gap_limit_s * MICRO)
        self.nominal_us = round(series.nominal_interval_s * MICRO)
        self.join_us = round(question.join_s * MICRO)
        self.key0 = _key(series.minimum)
        self.key_shift = max(0, (_key(series.maximum) - self.key0).bit_length() - _HISTOGRAM_BINS.bit_length() + 1)
        self.bins = ((_key(series.maximum) - self.key0) >> self.key_shift) + 1
        self.flagged = bool(series.report.below_floor or series.report.overload)
        longest = max((round(w * MICRO) for w in question.windows_s), default=0)
        self.lead_us = longest + self.hold_us + self.gap_us

    def run(self) -> Condensed:
        with pq.ParquetFile(self.series.path) as file:
            self.groups = _row_groups(file)
        inside = (self.groups.last >= self.series.start_us) & (self.groups.first <= self.series.end_us)
        spans = _spans(np.flatnonzero(inside).tolist())
        with ThreadPoolExecutor(min(len(spans), os.cpu_count() or 1)) as pool:
            done = list(pool.map(self._part, spans))
        return self._merged(done)

    def _part(self, span: list[int]) -> _Part:
        part = _Part.empty(self.bins)
        with pq.ParquetFile(self.series.path) as file:
            for chunk in self._chunks(file, span):
                self._fold(part, chunk)
        return part

    def _chunks(self, file: pq.ParquetFile, span: list[int]) -> Iterator[_Chunk]:
        """Readings of a run of row groups, after what leads in to them."""
        leading = self.groups.last[: span[0]] >= self.groups.first[span[0]] - self.lead_us
        lead = self._read(file, np.flatnonzero(leading).tolist())
        dropped = 0
        for begin in range(0, len(span), _GROUPS_A_CHUNK):
            fresh = self._read(file, span[begin : begin + _GROUPS_A_CHUNK])
            if not fresh[0].size:
                continue
            columns = [np.concatenate(pair) for pair in zip(lead, fresh, strict=True)]
            t, value, step = columns[:3]
            yield _Chunk(t, value, step, columns[3] if self.flagged else None, lead[0].size, dropped)
            dropped = int(np.searchsorted(t, t[-1] - self.lead_us))
            lead = [column[dropped:] for column in columns]

    def _read(self, file: pq.ParquetFile, groups: list[int]) -> list[NDArray[Any]]:
        """Stamps, values, steps to the next stamp and, if there are any, flags of neighbouring row groups."""
        names = ["t_us", "value", "flag"] if self.flagged else ["t_us", "value"]
        table = file.read_row_groups(groups, columns=names, use_threads=False)
        t, value, *flag = (column.to_numpy() for column in table.columns)
        if not groups:
            return [t, value, t, *flag]
        after = groups[-1] + 1
        following = self.groups.first[after] if after < self.groups.first.size else t[-1] + self.nominal_us
        columns = [t, value, np.diff(t, append=following), *flag]
        if self.series.whole:
            return columns
        rows = slice(*np.searchsorted(t, (self.series.start_us, self.series.end_us + 1)))
        return [column[rows] for column in columns]

    def _fold(self, part: _Part, chunk: _Chunk) -> None:
        first = chunk.first
        hold = np.minimum(chunk.step, self.hold_us)
        power = self.unit.power(chunk.value)
        part.count += chunk.t.size - first
        part.seen_us += int(hold[first:].sum())
        sums = np.zeros(6)
        kernels.moments(chunk.value, chunk.step, first, self.series.mean_shift, self.gap_us, sums)
        part.moments.append(sums)
        bins = (part.histogram, part.sample, part.mixed)
        kernels.histogram(chunk.value.view(np.int64), hold, first, self.key0, self.key_shift, *bins)
        self._fold_windows(part, chunk, hold, power)
        self._fold_cells(part, chunk, hold, power)
        silent = np.flatnonzero(chunk.step[first:] > self.gap_us) + first
        silent = silent[chunk.t[silent] < self.series.end_us]
        part.gaps.append((chunk.t[silent], chunk.t[silent] + chunk.step[silent]))
        if chunk.flag is not None:
            self._fold_flags(part, chunk, hold, power)
        if self.question.bound is not None:
            self._fold_bound(part, chunk, hold, self.question.bound)

    def _fold_windows(self, part: _Part, chunk: _Chunk, hold: Ints, power: Floats) -> None:
        """Carry each window on; at the start of a part it fills from what leads in."""
        for window_s in self.question.windows_s:
            window = round(window_s * MICRO)
            need = math.ceil(self.question.least_share * window)
            if window not in part.windows:
                whole, real = np.asarray([0, 0, 0, -1]), np.asarray([0.0, -np.inf])
                lead = chunk.first
                kernels.rolling(chunk.t[:lead], hold[:lead], power[:lead], 0, window, _NEVER, whole, real)
                part.windows[window] = (whole, real)
            whole, real = part.windows[window]
            whole[0] -= chunk.dropped
            kernels.rolling(chunk.t, hold, power, chunk.first, window, need, whole, real)

    def _fold_cells(self, part: _Part, chunk: _Chunk, hold: Ints, power: Floats) -> None:
        t = chunk.t
        room = min(t.size - chunk.first, int(t[-1] // CELL_US - t[chunk.first] // CELL_US) + 1)
        whole, real = np.empty((2, room), dtype=np.int64), np.empty((2, room))
        used = kernels.cells(t, hold, chunk.value, power, chunk.first, CELL_US, whole, real)
        part.cells.append((whole[:, :used].copy(), real[:, :used].copy()))

    def _fold_flags(self, part: _Part, chunk: _Chunk, hold: Ints, power: Floats) -> None:
        first = chunk.first
        flag = chunk.flag[first:] if chunk.flag is not None else np.zeros(0, dtype=np.int8)
        below = flag == reading.BELOW_FLOOR
        part.floor_us += int(hold[first:][below].sum())
        part.floor_energy.append(float(np.sum(hold[first:][below] * power[first:][below])))
        part.overload_us += int(hold[first:][flag == reading.OVERLOAD].sum())

    def _fold_bound(self, part: _Part, chunk: _Chunk, hold: Ints, bound: float) -> None:
        first = chunk.first
        above = chunk.value[first:] > bound
        count = int(np.count_nonzero(above))
        if not count:
            return
        part.above_count += count
        part.above_us += int(hold[first:][above].sum())
        whole, peaks = np.empty((3, count + 1), dtype=np.int64), np.empty(count + 1)
        closed = kernels.runs_above(chunk.t, chunk.value, first, bound, self.join_us, part.going, whole, peaks)
        part.runs.append((whole[:, :closed].copy(), peaks[:closed].copy()))

    def _merged(self, parts: list[_Part]) -> Condensed:
        windows = tuple(self._best_window(parts, round(w * MICRO)) for w in self.question.windows_s)
        sums = [s for part in parts for s in part.moments]
        gaps = [g for part in parts for g in part.gaps]
        cells = _joined_cells(parts)
        return Condensed(
            question=self.question,
            shift=self.series.mean_shift,
            count=sum(part.count for part in parts),
            moments=tuple(math.fsum(s[k] for s in sums) for k in range(6)),
            seen_us=sum(part.seen_us for part in parts),
            energy=math.fsum(cells.energy),
            floor_us=sum(part.floor_us for part in parts),
            floor_energy=math.fsum(e for part in parts for e in part.floor_energy),
            overload_us=sum(part.overload_us for part in parts),
            above_us=sum(part.above_us for part in parts),
            above_count=sum(part.above_count for part in parts),
            windows=windows,
            histogram=np.sum([part.histogram for part in parts], axis=0),
            **_bins_of(parts),
            key0=self.key0,
            key_shift=self.key_shift,
            gap_begin_us=np.concatenate([g[0] for g in gaps]),
            gap_end_us=np.concatenate([g[1] for g in gaps]),
            cells=cells,
            runs=_joined_runs(parts, self.join_us),
        )

    def _best_window(self, parts: list[_Part], window: int) -> Windowed:
        found = [
            Windowed(window, float(real[1]), int(whole[2]), int(whole[3]))
            for whole, real in (part.windows[window] for part in parts if window in part.windows)
        ]
        valid = [w for w in found if w.seen_us >= 0]
        return max(valid, key=lambda w: w.mean_power, default=Windowed(window, -math.inf, 0, -1))


def _bins_of(parts: list[_Part]) -> dict[str, NDArray[Any]]:
    """One value of each bin, and whether it holds others."""
    sample, mixed, filled = parts[0].sample, parts[0].mixed, parts[0].histogram > 0
    for part in parts[1:]:
        also = part.histogram > 0
        mixed = mixed | part.mixed | (filled & also & (sample != part.sample))
        sample = np.where(filled, sample, part.sample)
        filled = filled | also
    return {"sample": sample.view(np.float64), "mixed": mixed}


def _joined_cells(parts: list[_Part]) -> Cells:
    whole = np.concatenate([c[0] for part in parts for c in part.cells], axis=1)
    real = np.concatenate([c[1] for part in parts for c in part.cells], axis=1)
    starts = np.flatnonzero(np.diff(whole[0], prepend=whole[0][0] - 1))
    add = np.add.reduceat
    return Cells(
        index=whole[0][starts],
        seen_us=add(whole[1], starts),
        energy=add(real[0], starts),
        high=np.maximum.reduceat(real[1], starts),
    )


def _joined_runs(parts: list[_Part], join_us: int) -> Runs:
    """Runs of all parts; one that goes on into the next part is made whole."""
    pieces: list[tuple[Ints, Floats]] = []
    for part in parts:
        pieces += part.runs
        if part.going[3]:
            begin, last, peak, count = part.going
            pieces.append((np.array([[int(begin)], [int(last)], [int(count)]]), np.array([peak])))
    if not pieces:
        none = np.zeros(0, dtype=np.int64)
        return Runs(none, none, np.zeros(0), none)
    (begin, last, count), peak = np.concatenate([p[0] for p in pieces], axis=1), np.concatenate([p[1] for p in pieces])
    starts = np.flatnonzero(np.append(True, begin[1:] - last[:-1] > join_us))
    ends = np.append(starts[1:], begin.size) - 1
    return Runs(begin[starts], last[ends], np.maximum.reduceat(peak, starts), np.add.reduceat(count, starts))


@lru_cache(maxsize=4)
def minute_cells(series: LogSeries, rule: GapRule) -> Cells:
    """Minute sums of a series; kept for the last few asked for, since every look at its course needs them.

    Parameters
    ----------
    series : LogSeries
        The series or a span of it.
    rule : GapRule
        How long a reading stands.
    """
    return scan(series, Question(rule)).cells


def scan(series: LogSeries, question: Question) -> Condensed:
    """Read a series once and condense it.

    The series is cut by its size alone, so that a result is the same to the last bit on any machine.

    Parameters
    ----------
    series : LogSeries
        The series or a span of it.
    question : Question
        What is asked.
    """
    return _Scanner(series, question).run()

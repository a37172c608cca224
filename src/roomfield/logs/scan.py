"""One pass over the readings of a series, in parts side by side, condensed to what every statistic needs."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from roomfield.logs import engine, kernels, reading
from roomfield.logs.clock import MICRO
from roomfield.logs.pyramid import read_tiers
from roomfield.logs.scale import Unit
from roomfield.logs.series import PYRAMID_FILE, GapRule, LogSeries

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

CELL_US = 60 * MICRO
"""Width of the cells that profiles, comparisons and change points are built from [µs]."""

_HISTOGRAM_BINS = 1 << 16
_ROWS_WORTH_A_PART = 4_000_000
_MOST_PARTS = 8


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
    low, high : ndarray, shape (n,)
        Least and greatest value.
    count : ndarray of int, shape (n,)
        Readings.
    """

    index: Ints
    seen_us: Ints
    energy: Floats
    low: Floats
    high: Floats
    count: Ints


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
    count: int = 0
    moments: list[Floats] = field(default_factory=list)
    seen_us: int = 0
    floor_us: int = 0
    floor_energy: list[float] = field(default_factory=list)
    overload_us: int = 0
    above_us: int = 0
    above_count: int = 0
    windows: dict[int, Windowed] = field(default_factory=dict)
    gaps: list[tuple[Ints, Ints]] = field(default_factory=list)
    cells: list[tuple[Ints, Floats]] = field(default_factory=list)
    runs: list[tuple[Ints, Floats]] = field(default_factory=list)
    going: Floats = field(default_factory=lambda: np.zeros(4))


@dataclass(frozen=True)
class _Chunk:
    """Readings, the first of which may only lead in."""

    t: Ints
    value: Floats
    step: Ints
    flag: NDArray[np.int8] | None
    first: int


def _key(value: float) -> int:
    bits = int(np.float64(value).view(np.int64))
    return bits if bits >= 0 else -(1 << 63) - bits


def value_of_key(key: int) -> float:
    """The float64 that an ordered key stands for."""
    bits = key if key >= 0 else -(1 << 63) - key
    return float(np.int64(bits).view(np.float64))


class _Scanner:
    def __init__(self, series: LogSeries, question: Question) -> None:
        self.series, self.question = series, question
        rule = question.rule
        self.unit: Unit = series.unit
        self.hold_us = round(rule.hold_limit_s * MICRO)
        self.gap_us = round(rule.gap_limit_s * MICRO)
        self.join_us = round(question.join_s * MICRO)
        self.key0 = _key(series.minimum)
        self.key_shift = max(
            0, (_key(series.maximum) - self.key0).bit_length() - _HISTOGRAM_BINS.bit_length() + 1
        )
        self.bins = ((_key(series.maximum) - self.key0) >> self.key_shift) + 1
        self.flagged = bool(series.report.below_floor or series.report.overload)
        longest = max((round(w * MICRO) for w in question.windows_s), default=0)
        self.lead_us = longest + self.hold_us + self.gap_us

    def run(self, parts: int) -> Condensed:
        bounds = self._bounds(parts)
        with ThreadPoolExecutor(min(len(bounds), os.cpu_count() or 1)) as pool:
            done = list(pool.map(lambda span: self._part(*span), bounds))
        return self._merged(done)

    def _bounds(self, parts: int) -> list[tuple[int, int]]:
        start, end = self.series.start_us, self.series.end_us + 1
        if parts <= 1:
            return [(start, end)]
        tier = read_tiers(self.series.directory / PYRAMID_FILE)[0]
        begins = tier.index * tier.width_us
        inside = (begins >= start) & (begins < end)
        total = np.cumsum(tier.count[inside])
        cuts = begins[inside][np.searchsorted(total, total[-1] * np.arange(1, parts) / parts)]
        edges = [start, *sorted({int(cut) for cut in cuts if start < cut < end}), end]
        return list(pairwise(edges))

    def _part(self, start: int, end: int) -> _Part:
        part = _Part(np.zeros(self.bins, dtype=np.int64))
        last = end == self.series.end_us + 1
        for chunk in self._chunks(start, end):
            self._fold(part, chunk)
        if last and part.gaps and part.gaps[-1][0].size and part.gaps[-1][0][-1] >= self.series.end_us:
            begins, ends = part.gaps[-1]
            part.gaps[-1] = (begins[:-1], ends[:-1])
        return part

    def _chunks(self, start: int, end: int) -> Iterator[_Chunk]:
        columns = "t_us, value, dt_us" + (", flag" if self.flagged else "")
        low = max(start - self.lead_us, self.series.start_us)
        query = (
            f"SELECT {columns} FROM {engine.parquet(self.series.path)} WHERE t_us >= {low} AND t_us < {end}"
        )
        kept: list[NDArray[np.generic]] = []
        with engine.reader() as database:
            for batch in engine.batches(database, query):
                arrays = [batch.column(i).to_numpy(zero_copy_only=False) for i in range(batch.num_columns)]
                lead = kept[0].size if kept else 0
                if lead:
                    arrays = [np.concatenate(pair) for pair in zip(kept, arrays, strict=True)]
                t = arrays[0]
                first = max(lead, int(np.searchsorted(t, start)))
                if first < t.size:
                    yield _Chunk(t, arrays[1], arrays[2], arrays[3] if self.flagged else None, first)
                keep = int(np.searchsorted(t, t[-1] - self.lead_us))
                kept = [array[keep:] for array in arrays]

    def _fold(self, part: _Part, chunk: _Chunk) -> None:
        first = chunk.first
        hold = np.minimum(chunk.step, self.hold_us)
        power = self.unit.power(chunk.value)
        part.count += chunk.t.size - first
        part.seen_us += int(hold[first:].sum())
        sums = np.zeros(7)
        kernels.moments(
            chunk.value, chunk.step, hold, power, first, self.series.mean_shift, self.gap_us, sums
        )
        part.moments.append(sums)
        kernels.histogram(chunk.value.view(np.int64), hold, first, self.key0, self.key_shift, part.histogram)
        self._fold_windows(part, chunk, hold, power)
        self._fold_cells(part, chunk, hold, power)
        silent = np.flatnonzero(chunk.step[first:] > self.gap_us) + first
        part.gaps.append((chunk.t[silent], chunk.t[silent] + chunk.step[silent]))
        if chunk.flag is not None:
            self._fold_flags(part, chunk, hold, power)
        if self.question.bound is not None:
            self._fold_bound(part, chunk, hold, self.question.bound)

    def _fold_windows(self, part: _Part, chunk: _Chunk, hold: Ints, power: Floats) -> None:
        for window_s in self.question.windows_s:
            window = round(window_s * MICRO)
            need = math.ceil(self.question.least_share * window)
            mean, end, seen = kernels.rolling(chunk.t, hold, power, chunk.first, window, need)
            best = part.windows.get(window)
            if best is None or (seen >= 0 and (best.seen_us < 0 or mean > best.mean_power)):
                part.windows[window] = Windowed(window, mean, end, seen)

    def _fold_cells(self, part: _Part, chunk: _Chunk, hold: Ints, power: Floats) -> None:
        t = chunk.t
        room = min(t.size - chunk.first, int(t[-1] // CELL_US - t[chunk.first] // CELL_US) + 1)
        whole, real = np.empty((3, room), dtype=np.int64), np.empty((3, room))
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
        closed = kernels.runs_above(
            chunk.t, chunk.value, first, bound, self.join_us, part.going, whole, peaks
        )
        part.runs.append((whole[:, :closed].copy(), peaks[:closed].copy()))

    def _merged(self, parts: list[_Part]) -> Condensed:
        windows = tuple(self._best_window(parts, round(w * MICRO)) for w in self.question.windows_s)
        sums = [s for part in parts for s in part.moments]
        gaps = [g for part in parts for g in part.gaps]
        return Condensed(
            question=self.question,
            shift=self.series.mean_shift,
            count=sum(part.count for part in parts),
            moments=tuple(math.fsum(s[k] for s in sums) for k in range(7)),
            seen_us=sum(part.seen_us for part in parts),
            energy=math.fsum(s[6] for s in sums),
            floor_us=sum(part.floor_us for part in parts),
            floor_energy=math.fsum(e for part in parts for e in part.floor_energy),
            overload_us=sum(part.overload_us for part in parts),
            above_us=sum(part.above_us for part in parts),
            above_count=sum(part.above_count for part in parts),
            windows=windows,
            histogram=np.sum([part.histogram for part in parts], axis=0),
            key0=self.key0,
            key_shift=self.key_shift,
            gap_begin_us=np.concatenate([g[0] for g in gaps]),
            gap_end_us=np.concatenate([g[1] for g in gaps]),
            cells=_joined_cells(parts),
            runs=_joined_runs(parts, self.join_us),
        )

    def _best_window(self, parts: list[_Part], window: int) -> Windowed:
        found = [part.windows[window] for part in parts if window in part.windows]
        valid = [w for w in found if w.seen_us >= 0]
        best = max(valid, key=lambda w: w.mean_power, default=Windowed(window, -math.inf, 0, -1))
        return best


def _joined_cells(parts: list[_Part]) -> Cells:
    whole = np.concatenate([c[0] for part in parts for c in part.cells], axis=1)
    real = np.concatenate([c[1] for part in parts for c in part.cells], axis=1)
    starts = np.flatnonzero(np.diff(whole[0], prepend=whole[0][0] - 1))
    add = np.add.reduceat
    return Cells(
        index=whole[0][starts],
        seen_us=add(whole[1], starts),
        energy=add(real[0], starts),
        low=np.minimum.reduceat(real[1], starts),
        high=np.maximum.reduceat(real[2], starts),
        count=add(whole[2], starts),
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


def scan(series: LogSeries, question: Question, parts: int = 0) -> Condensed:
    """Read a series once and condense it.

    Parameters
    ----------
    series : LogSeries
        The series or a span of it.
    question : Question
        What is asked.
    parts : int
        Parts into which the series is cut; 0 chooses by size alone, so that a result is the same to the last bit
        on any machine.
    """
    if not parts:
        parts = min(_MOST_PARTS, 1 + series.rows // _ROWS_WORTH_A_PART)
    return _Scanner(series, question).run(parts)

"""One pass over the readings of a series, in parts side by side, condensed to what every statistic needs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.extras import library
from roomfield.logs import reading, row_groups, series_kernels
from roomfield.logs.clock import MICRO
from roomfield.logs.log_series import LogSeries
from roomfield.logs.scale import Unit
from roomfield.logs.sufficient_statistics import (
    CELL_US,
    Cells,
    Condensed,
    Floats,
    Ints,
    PassRequest,
    Tier,
    Windowed,
    key_of,
)

pq = library("pyarrow.parquet", "logs")

_HISTOGRAM_BINS = 1 << 16
_GROUPS_A_CHUNK = 1
_NEVER = 1 << 62


@dataclass
class _PartSums:
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
    windows: dict[int, tuple[Ints, Floats]] = field(default_factory=dict)
    gaps: list[tuple[Ints, Ints]] = field(default_factory=list)
    cells: list[tuple[Ints, Floats]] = field(default_factory=list)
    tier: list[tuple[Ints, Floats]] = field(default_factory=list)

    @staticmethod
    def empty(bins: int) -> _PartSums:
        """Nothing yet."""
        return _PartSums(np.zeros(bins, np.int64), np.zeros(bins, np.int64), np.zeros(bins, np.bool_))


@dataclass(frozen=True)
class _Chunk:
    """Readings, the first of which may only lead in; ``dropped`` counts those the last chunk had before them."""

    t: Ints
    value: Floats
    step: Ints
    flag: NDArray[np.int8] | None
    first: int
    dropped: int


class _Scanner:
    def __init__(self, series: LogSeries, question: PassRequest) -> None:
        self.series, self.question = series, question
        rule = question.rule
        self.unit: Unit = series.unit
        self.hold_us = round(rule.hold_limit_s * MICRO)
        self.gap_us = round(rule.gap_limit_s * MICRO)
        self.key0 = key_of(series.minimum)
        self.key_shift = max(0, (key_of(series.maximum) - self.key0).bit_length() - _HISTOGRAM_BINS.bit_length() + 1)
        self.bins = ((key_of(series.maximum) - self.key0) >> self.key_shift) + 1
        self.flagged = bool(series.report.below_floor or series.report.overload)
        longest = max((round(w * MICRO) for w in question.windows_s), default=0)
        self.lead_us = longest + self.hold_us + self.gap_us

    def run(self) -> Condensed:
        self.ends = row_groups.row_groups(self.series)
        spans = row_groups.spans(self.ends.within(self.series.start_us, self.series.end_us))
        return self._merged(row_groups.side_by_side(spans, self._part))

    def _part(self, span: list[int]) -> _PartSums:
        part = _PartSums.empty(self.bins)
        with row_groups.opened(self.series) as file:
            for chunk in self._chunks(file, span):
                self._fold(part, chunk)
        return part

    def _chunks(self, file: Any, span: list[int]) -> Iterator[_Chunk]:
        """Readings of a run of row groups, after what leads in to them."""
        leading = self.ends.last[: span[0]] >= self.ends.first[span[0]] - self.lead_us
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

    def _read(self, file: Any, wanted: list[int]) -> list[NDArray[Any]]:
        """Stamps, values, steps to the next stamp and, if there are any, flags of neighbouring row groups."""
        names = ["t_us", "value", "flag"] if self.flagged else ["t_us", "value"]
        t, value, *flag = row_groups.read(file, wanted, names)
        if not wanted:
            return [t, value, t, *flag]
        columns = [t, value, np.diff(t, append=self.ends.next_after(wanted[-1], self.series)), *flag]
        if self.series.whole:
            return columns
        rows = slice(*np.searchsorted(t, (self.series.start_us, self.series.end_us + 1)))
        return [column[rows] for column in columns]

    def _fold(self, part: _PartSums, chunk: _Chunk) -> None:
        first = chunk.first
        hold = np.minimum(chunk.step, self.hold_us)
        power = self.unit.power(chunk.value)
        part.count += chunk.t.size - first
        part.seen_us += int(hold[first:].sum())
        sums = np.zeros(6)
        series_kernels.moments(chunk.value, chunk.step, first, self.series.mean_shift, self.gap_us, sums)
        part.moments.append(sums)
        bins = (part.histogram, part.sample, part.mixed)
        series_kernels.histogram(chunk.value.view(np.int64), hold, first, self.key0, self.key_shift, *bins)
        self._fold_windows(part, chunk, hold, power)
        self._fold_cells(part, chunk, hold, power)
        silent = np.flatnonzero(chunk.step[first:] > self.gap_us) + first
        silent = silent[chunk.t[silent] < self.series.end_us]
        part.gaps.append((chunk.t[silent], chunk.t[silent] + chunk.step[silent]))
        if chunk.flag is not None:
            self._fold_flags(part, chunk, hold, power)
        if self.question.tier_us:
            self._fold_tier(part, chunk, power)

    def _fold_windows(self, part: _PartSums, chunk: _Chunk, hold: Ints, power: Floats) -> None:
        """Carry each window on; at the start of a part it fills from what leads in."""
        for window_s in self.question.windows_s:
            window = round(window_s * MICRO)
            need = math.ceil(self.question.least_share * window)
            if window not in part.windows:
                whole, real = np.asarray([0, 0, 0, -1]), np.asarray([0.0, -np.inf])
                lead = chunk.first
                series_kernels.rolling(chunk.t[:lead], hold[:lead], power[:lead], 0, window, _NEVER, whole, real)
                part.windows[window] = (whole, real)
            whole, real = part.windows[window]
            whole[0] -= chunk.dropped
            series_kernels.rolling(chunk.t, hold, power, chunk.first, window, need, whole, real)

    def _fold_cells(self, part: _PartSums, chunk: _Chunk, hold: Ints, power: Floats) -> None:
        t = chunk.t
        room = min(t.size - chunk.first, int(t[-1] // CELL_US - t[chunk.first] // CELL_US) + 1)
        whole, real = np.empty((2, room), dtype=np.int64), np.empty((2, room))
        used = series_kernels.cells(t, hold, chunk.value, power, chunk.first, CELL_US, whole, real)
        part.cells.append((whole[:, :used].copy(), real[:, :used].copy()))

    def _fold_flags(self, part: _PartSums, chunk: _Chunk, hold: Ints, power: Floats) -> None:
        first = chunk.first
        flag = chunk.flag[first:] if chunk.flag is not None else np.zeros(0, dtype=np.int8)
        below = flag == reading.BELOW
        part.floor_us += int(hold[first:][below].sum())
        part.floor_energy.append(float(np.sum(hold[first:][below] * power[first:][below])))
        part.overload_us += int(hold[first:][flag == reading.ABOVE].sum())

    def _fold_tier(self, part: _PartSums, chunk: _Chunk, power: Floats) -> None:
        t, width = chunk.t, self.question.tier_us
        room = min(t.size - chunk.first, int(t[-1] // width - t[chunk.first] // width) + 1)
        whole, real = np.empty((2, room), dtype=np.int64), np.empty((3, room))
        used = series_kernels.bins(t, chunk.value, power, chunk.first, width, whole, real)
        part.tier.append((whole[:, :used].copy(), real[:, :used].copy()))

    def _merged(self, parts: list[_PartSums]) -> Condensed:
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
            windows=windows,
            histogram=np.sum([part.histogram for part in parts], axis=0),
            **_bins_of(parts),
            key0=self.key0,
            key_shift=self.key_shift,
            gap_begin_us=np.concatenate([g[0] for g in gaps]),
            gap_end_us=np.concatenate([g[1] for g in gaps]),
            cells=cells,
            tier=_joined_tier([piece for part in parts for piece in part.tier], self.question.tier_us),
        )

    def _best_window(self, parts: list[_PartSums], window: int) -> Windowed:
        found = [
            Windowed(window, float(real[1]), int(whole[2]), int(whole[3]))
            for whole, real in (part.windows[window] for part in parts if window in part.windows)
        ]
        valid = [w for w in found if w.seen_us >= 0]
        return max(valid, key=lambda w: w.mean_power, default=Windowed(window, -math.inf, 0, -1))


def _bins_of(parts: list[_PartSums]) -> dict[str, NDArray[Any]]:
    """One value of each bin, and whether it holds others."""
    sample, mixed, filled = parts[0].sample, parts[0].mixed, parts[0].histogram > 0
    for part in parts[1:]:
        also = part.histogram > 0
        mixed = mixed | part.mixed | (filled & also & (sample != part.sample))
        sample = np.where(filled, sample, part.sample)
        filled = filled | also
    return {"sample": sample.view(np.float64), "mixed": mixed}


def _joined_cells(parts: list[_PartSums]) -> Cells:
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


def _joined_tier(pieces: list[tuple[Ints, Floats]], width_us: int) -> Tier:
    """Bins of all parts; one that two chunks share is made whole."""
    if not pieces:
        none = np.zeros(0)
        return Tier(width_us, none.astype(np.int64), none, none, none, none.astype(np.int64))
    whole = np.concatenate([p[0] for p in pieces], axis=1)
    real = np.concatenate([p[1] for p in pieces], axis=1)
    starts = np.flatnonzero(np.diff(whole[0], prepend=whole[0][0] - 1))
    return Tier(
        width_us,
        index=whole[0][starts],
        low=np.minimum.reduceat(real[0], starts),
        high=np.maximum.reduceat(real[1], starts),
        power=np.add.reduceat(real[2], starts),
        count=np.add.reduceat(whole[1], starts),
    )


def scan(series: LogSeries, question: PassRequest) -> Condensed:
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

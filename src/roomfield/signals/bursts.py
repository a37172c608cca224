"""Bursts: when they start, how wide and how high they are, and in what groups they come.

Edges pass AC coupling and hum unharmed where levels do not, so a burst is a rise and the next fall
of like height, looked for at several time scales.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_kernels import edge_response, kth_smallest, pair_edges, running_sum

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

_Tables = list[tuple[NDArray[np.int64], NDArray[np.int64], F64, NDArray[np.int64]]]

REACHES_S = (42e-6, 84e-6, 210e-6, 667e-6, 2.7e-3)
THRESHOLD = 4.7
LONG_THRESHOLD = 6.0
LONGEST_S = 2.5
STEADY_SCALE = 3
PROBES = 30000


@dataclass(frozen=True)
class BurstTable:
    """Bursts in order of start.

    Attributes
    ----------
    starts_s, widths_s : ndarray, shape (n,)
        [s]
    heights : ndarray, shape (n,)
        Height of the edges [full scale of the recording].
    scales : ndarray of int, shape (n,)
        Index of the time scale that found the burst, 0 the finest.
    sharpness : ndarray, shape (n,)
        Height of the finest edge near the start over the burst's height; low for smooth sounds.
    scatter : tuple of float
        Standard deviation of the edge response per scale [full scale].
    closing : ndarray, shape (n,)
        As sharpness, of the fall at the end.
    steady : ndarray, shape (n,)
        Lower of both edges seen over 0.7 ms on either side, over the burst's height: near 1 for a burst that
        stays up, low for two clicks. Means nothing for bursts shorter than that.
    """

    starts_s: F64
    widths_s: F64
    heights: F64
    scales: NDArray[np.int64]
    sharpness: F64
    scatter: tuple[float, ...]
    closing: F64
    steady: F64

    @property
    def ends_s(self) -> F64:
        """Ends [s]."""
        return np.asarray(self.starts_s + self.widths_s)


def robust_scatter(edges: F32) -> float:
    """Standard deviation of a response between bursts: the lower of two quantiles' answers.

    The fifth quantile still sees silence when traffic fills most of the time.
    """
    probe = np.abs(edges[:: max(1, edges.size // PROBES)])
    fifth, half = (kth_smallest(probe, probe.size // parts) for parts in (5, 2))
    return min(fifth / 0.2533, half / 0.6745) + 1e-9


def find_bursts(samples: F32, sample_rate_hz: float) -> BurstTable:
    """Look for bursts from the finest time scale to the coarsest; a coarser one is kept if it is new.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    sample_rate_hz : float
        [Hz]
    """
    running = running_sum(samples)
    found: _Tables = []
    scatter: list[float] = []
    finest, broad = samples, samples
    for scale, reach_s in enumerate(REACHES_S):
        reach = max(2, round(reach_s * sample_rate_hz))
        edges = edge_response(running, reach)
        finest, broad = edges if scale == 0 else finest, edges if scale == STEADY_SCALE else broad
        scatter.append(robust_scatter(edges))
        starts, ends, heights = pair_edges(edges, THRESHOLD * scatter[-1], reach, int(LONGEST_S * sample_rate_hz))
        keep = (ends - starts) >= (1 if scale == 0 else 0.75 * reach)
        keep &= (ends - starts < 12 * reach) | (heights > LONG_THRESHOLD * scatter[-1])
        fresh = _new_ones(starts[keep], ends[keep], found, reach)
        fresh &= ~_made_of(starts[keep], ends[keep], heights[keep], found, reach)
        found.append((starts[keep][fresh], ends[keep][fresh], heights[keep][fresh], np.full(int(fresh.sum()), scale)))
    starts, ends, heights, scales = (np.concatenate(column) for column in zip(*found, strict=True))
    order = np.argsort(starts, kind="stable")
    starts, ends, heights, scales = starts[order], ends[order], heights[order], scales[order]
    sharp, closing = _sharpness(finest, starts, heights), _sharpness(-finest, ends, heights)
    last = samples.size - 1
    steady = np.minimum(broad[np.minimum(starts, last)], -broad[np.minimum(ends, last)]) / np.maximum(heights, 1e-12)
    widths_s = (ends - starts) / sample_rate_hz
    return BurstTable(starts / sample_rate_hz, widths_s, heights, scales, sharp, tuple(scatter), closing, steady)


def _new_ones(starts: NDArray[np.int64], ends: NDArray[np.int64], found: _Tables, reach: int) -> NDArray[np.bool_]:
    """Which bursts are not yet in the finer tables: no finer one starts and ends close by or fills most of it."""
    fresh = np.ones(starts.size, bool)
    for old_starts, old_ends, _, _ in found:
        if old_starts.size == 0 or starts.size == 0:
            continue
        at = np.clip(np.searchsorted(old_starts, starts - reach), 0, old_starts.size - 1)
        for step in (0, 1, 2):
            j = np.clip(at + step, 0, old_starts.size - 1)
            overlap = np.minimum(ends, old_ends[j]) - np.maximum(starts, old_starts[j])
            fresh &= overlap < 0.5 * (ends - starts)
            near = (np.abs(starts - old_starts[j]) <= reach) & (np.abs(ends - old_ends[j]) <= 2 * reach)
            fresh &= ~near
    return fresh


def _made_of(
    starts: NDArray[np.int64],
    ends: NDArray[np.int64],
    heights: F64,
    found: _Tables,
    reach: int,
) -> NDArray[np.bool_]:
    """Which bursts are only the blurred sum of finer ones: those hold at least half of height times width."""
    if not found or starts.size == 0:
        return np.zeros(starts.size, bool)
    fine_starts = np.concatenate([f[0] for f in found])
    area = np.concatenate([f[2] * (f[1] - f[0]) for f in found])
    order = np.argsort(fine_starts)
    sums = np.concatenate([[0.0], np.cumsum(area[order])])
    fine_starts = fine_starts[order]
    inside = sums[np.searchsorted(fine_starts, ends)] - sums[np.searchsorted(fine_starts, starts - reach)]
    return np.asarray(inside > 0.5 * heights * (ends - starts))


def _sharpness(finest: F32, starts: NDArray[np.int64], heights: F64) -> F64:
    if starts.size == 0:
        return np.zeros(0)
    around = np.clip(starts[:, None] + np.arange(-6, 7), 0, finest.size - 1)
    return np.asarray(finest[around].max(1) / np.maximum(heights, 1e-12), np.float64)


WIDTH_EDGES_S = (
    0.0,
    5e-5,
    9.5e-5,
    1.6e-4,
    2.6e-4,
    4.4e-4,
    7e-4,
    1.2e-3,
    2.5e-3,
    4.6e-3,
    10e-3,
    20e-3,
    35e-3,
    0.15,
    9.9,
)


@dataclass(frozen=True)
class BurstGroups:
    """Counts of the groupings that set sporadic emitters apart.

    Attributes
    ----------
    triplets : int
        Three equal bursts at equal steps under 5 ms, alone (Bluetooth LE advertising events).
    answered : int
        Bursts of 0.45-4.4 ms followed after 192 us by one of 352 us (IEEE 802.15.4).
    trains : int
        Six or more microsecond pulses at an even step (a radar beam passing).
    train_rate_hz : float
        Median pulse rate of the trains [Hz]; 0 if none.
    turn_s : float
        Median time between trains [s]; 0 if fewer than two.
    telegrams : int
        Groups of ten or more like-high marks whose widths fall in two classes (on-off keying).
    in_telegrams, in_trains, in_triplets : float
        Share of all bursts.
    """

    triplets: int
    answered: int
    trains: int
    train_rate_hz: float
    turn_s: float
    telegrams: int
    in_telegrams: float
    in_trains: float
    in_triplets: float


def find_groups(table: BurstTable) -> BurstGroups:
    """Group bursts by the rules of each kind of sporadic emitter."""
    starts, widths, heights = table.starts_s, table.widths_s, table.heights
    count = max(starts.size, 1)
    triplets = _triplets(starts, widths)
    trains = _trains(starts, widths)
    telegrams = _telegrams(starts, widths, heights)
    rates = [1 / np.median(np.diff(starts[a:b])) for a, b in trains]
    begins = np.array([starts[a] for a, _ in trains])
    return BurstGroups(
        triplets=triplets,
        answered=_answered(starts, widths),
        trains=len(trains),
        train_rate_hz=float(np.median(rates)) if rates else 0.0,
        turn_s=float(np.median(np.diff(begins))) if begins.size > 1 else 0.0,
        telegrams=len(telegrams),
        in_telegrams=sum(b - a for a, b in telegrams) / count,
        in_trains=sum(b - a for a, b in trains) / count,
        in_triplets=3 * triplets / count,
    )


def _triplets(starts: F64, widths: F64) -> int:
    if starts.size < 3:
        return 0
    gaps = np.diff(starts)
    first, second = gaps[:-1], gaps[1:]
    before = np.r_[9.0, gaps[:-2]] if gaps.size > 1 else np.array([9.0])
    after = np.r_[gaps[2:], 9.0] if gaps.size > 1 else np.array([9.0])
    even = (np.abs(first - second) < 45e-6) & (first < 5e-3) & (first > 1e-4)
    alone = (before > 1.6 * first) & (after > 1.6 * first)
    w = np.column_stack([widths[:-2], widths[1:-1], widths[2:]])
    alike = (w.max(1) - w.min(1) < 50e-6) & (w.max(1) < 480e-6)
    return int(np.count_nonzero(even & alone & alike))


def _answered(starts: F64, widths: F64) -> int:
    if starts.size < 2:
        return 0
    gap = starts[1:] - starts[:-1] - widths[:-1]
    long = (widths[:-1] > 0.45e-3) & (widths[:-1] < 4.5e-3)
    return int(np.count_nonzero(long & (np.abs(gap - 192e-6) < 45e-6) & (np.abs(widths[1:] - 352e-6) < 45e-6)))


def _trains(starts: F64, widths: F64) -> list[tuple[int, int]]:
    """Runs of at least six short pulses at an even (or two-valued, staggered) step."""
    short = np.flatnonzero(widths < 140e-6)
    runs: list[tuple[int, int]] = []
    if short.size < 6:
        return runs
    t = starts[short]
    gaps = np.diff(t)
    inside = (gaps > 2.5e-4) & (gaps < 5e-3)
    even = np.r_[False, np.abs(np.diff(gaps)) < 60e-6]
    stagger = np.r_[False, False, np.abs(gaps[2:] - gaps[:-2]) < 60e-6] if gaps.size > 2 else np.zeros_like(even)
    good = inside & (even | stagger)
    edges = np.flatnonzero(np.diff(np.r_[0, good.astype(int), 0]))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        first = a - 1 if a > 0 and inside[a - 1] else a
        if b - first >= 5 and t[b] - t[first] < 0.25:
            runs.append((int(short[first]), int(short[b]) + 1))
    return runs


def _telegrams(starts: F64, widths: F64, heights: F64) -> list[tuple[int, int]]:
    if starts.size < 10:
        return []
    gaps = starts[1:] - starts[:-1] - widths[:-1]
    breaks = np.flatnonzero(gaps > 6e-3) + 1
    bounds = np.r_[0, breaks, starts.size]
    begins, ends = bounds[:-1], bounds[1:]
    brief = (starts[ends - 1] - starts[begins] <= 0.35) & (np.maximum.reduceat(widths, begins) < 6e-3)
    found = []
    for a, b in bounds[np.flatnonzero(brief & (ends - begins >= 10))[:, None] + np.arange(2)]:
        if heights[a:b].std() < 0.25 * heights[a:b].mean() and _two_classes(widths[a:b]):
            found.append((int(a), int(b)))
    return found


def _two_classes(widths: F64) -> bool:
    """Whether widths fall near one value or two (within 60 us or 12 %)."""
    middle = 0.5 * (widths.min() + widths.max())
    low, high = widths[widths <= middle], widths[widths > middle]
    spread = [c.std() < max(40e-6, 0.1 * c.mean()) for c in (low, high) if c.size]
    return bool(all(spread)) and float(widths.min()) > 9e-5


@dataclass(frozen=True)
class BurstRun:
    """The run of like bursts that holds most of them: one telegram, however seldom it is sent.

    Attributes
    ----------
    marks : int
        Bursts in it.
    length_s : float
        From its first start to its last end [s].
    even : float
        Spread of the heights over their mean.
    classes : float
        Ratio of the ninth to the first decile of the widths.
    brief_s : float
        First decile of the widths [s].
    share : float
        Share of all crisp bursts that lie in runs of at least six.
    again : float
        Number of runs about as long as the longest.
    grid : float
        How well widths and gaps are whole multiples of the briefest mark [-1..1].
    """

    marks: int = 0
    length_s: float = 0.0
    even: float = 1.0
    classes: float = 1.0
    brief_s: float = 0.0
    share: float = 0.0
    again: float = 0.0
    grid: float = 0.0


RUN_GAP_S = 6e-3
LEAST_MARKS = 6


def longest_run(table: BurstTable) -> BurstRun:
    """The longest run of crisp bursts less than 6 ms apart."""
    crisp = table.sharpness > 0.35
    starts, widths, heights = table.starts_s[crisp], table.widths_s[crisp], table.heights[crisp]
    if starts.size < LEAST_MARKS:
        return BurstRun()
    gaps = starts[1:] - starts[:-1] - widths[:-1]
    bounds = np.r_[0, np.flatnonzero(gaps > RUN_GAP_S) + 1, starts.size]
    sizes = np.diff(bounds)
    best = int(np.argmax(sizes))
    first, last = int(bounds[best]), int(bounds[best + 1])
    if last - first < LEAST_MARKS:
        return BurstRun(share=0.0)
    low, high = np.quantile(widths[first:last], [0.1, 0.9])
    lengths = np.r_[widths[first:last], gaps[first : last - 1]]
    lengths = lengths[(lengths > 0.5 * low) & (lengths < 12 * low)]
    return BurstRun(
        marks=last - first,
        length_s=float(starts[last - 1] + widths[last - 1] - starts[first]),
        even=float(heights[first:last].std() / heights[first:last].mean()),
        classes=float(high / max(low, 1e-6)),
        brief_s=float(low),
        share=float(sizes[sizes >= LEAST_MARKS].sum() / starts.size),
        again=float(np.count_nonzero(sizes > 0.7 * sizes[best])),
        grid=float(np.cos(2 * np.pi * lengths / max(low, 1e-6)).mean()) if lengths.size else 0.0,
    )


LATTICES_S = (312.5e-6, 320e-6, 416.67e-6, 500e-6, 625e-6, 1e-3)
LATTICE_GAPS_S = (0.45e-3, 30e-3)
LATTICE_WIDTHS_S = {"brief": (5e-5, 2e-4), "slot": (2.8e-4, 4.6e-4), "wide": (5e-4, 2.95e-3)}
WIDTH_LATTICES = (
    ("brief", 625e-6), ("brief", 1e-3), ("slot", 625e-6), ("slot", 416.67e-6), ("wide", 500e-6), ("wide", 625e-6),
    ("wide", 1e-3), ("wide", 1.25e-3), ("wide", 2.5e-3),
)  # fmt: skip


def lattice(table: BurstTable, step_s: float, widths_s: tuple[float, float] = (0.0, 9.9)) -> tuple[float, float]:
    """How well the gaps between neighbouring bursts are whole multiples of a slot.

    Parameters
    ----------
    table : BurstTable
    step_s : float
        The slot [s].
    widths_s : tuple of float
        Only bursts of these widths; others may lie between them [s].

    Returns
    -------
    mean : float
        Mean cosine of the gaps' phase [-1..1].
    score : float
        The same in standard deviations of gaps at random.
    """
    starts = table.starts_s[(table.widths_s >= widths_s[0]) & (table.widths_s < widths_s[1])]
    gaps = np.concatenate([starts[k:] - starts[:-k] for k in (1, 2) if starts.size > k] or [np.zeros(0)])
    gaps = gaps[(gaps > LATTICE_GAPS_S[0]) & (gaps < LATTICE_GAPS_S[1])]
    if gaps.size < 4:
        return 0.0, 0.0
    mean = float(np.cos(2 * np.pi * gaps / step_s).mean())
    return mean, mean * float(np.sqrt(2 * gaps.size))


def crisp_and_long(table: BurstTable, low_s: float, high_s: float) -> NDArray[np.bool_]:
    """Which bursts have such a width, begin and end within a sample or two and stay up in between."""
    inside = (table.widths_s >= low_s) & (table.widths_s < high_s)
    crisp = inside & (np.minimum(table.sharpness, table.closing) > 0.5) & (table.steady > 0.55)
    return np.asarray(crisp & (table.heights > 2 * table.scatter[0]))


def crisp_long(table: BurstTable, low_s: float, high_s: float) -> tuple[int, float, float]:
    """Long bursts that begin and end within a sample or two and stay up in between.

    Returns
    -------
    count : int
        Bursts of the widths asked for with two sharp edges and a level that holds.
    share : float
        Of all bursts of these widths.
    height : float
        Median height over the scatter of the finest edges [1].
    """
    inside = (table.widths_s >= low_s) & (table.widths_s < high_s)
    crisp = crisp_and_long(table, low_s, high_s)
    count = int(crisp.sum())
    height = float(np.median(table.heights[crisp])) / table.scatter[0] if count else 0.0
    return count, count / max(int(inside.sum()), 1), height


@dataclass(frozen=True)
class LoneBursts:
    """Crisp long bursts that are telegrams by themselves: what is known of a sender that speaks once or seldom.

    Attributes
    ----------
    count : int
        Crisp bursts of 2.5 ms and more.
    alone : float
        Share of them with no other crisp burst within 30 ms before and after.
    least_s, middle_s, most_s : float
        Widths of the briefest, the middle and the longest [s]; 0 if there is none.
    height : float
        Of the highest over the scatter of the finest edges [1].
    flutter : float
        Median scatter of neighbouring samples inside over that of the whole [1]: a carrier of constant envelope is as quiet
        as what lies between.
    falls : float
        Median of the height of the fall over that of the rise [1]: what a short coupling leaves of a long burst.
    """

    count: int = 0
    alone: float = 0.0
    least_s: float = 0.0
    middle_s: float = 0.0
    most_s: float = 0.0
    height: float = 0.0
    flutter: float = 1.0
    falls: float = 1.0


LONE_S = 2.5e-3
LONE_GAP_S = 30e-3
MOST_LONE = 200


def lone_bursts(table: BurstTable, samples: F32, sample_rate_hz: float) -> LoneBursts:
    """Widths, heights and flutter of the crisp long bursts of a recording.

    Parameters
    ----------
    table : BurstTable
    samples : ndarray of float32, shape (n,)
        The sound in which the bursts were found.
    sample_rate_hz : float
        [Hz]
    """
    chosen = np.flatnonzero(crisp_and_long(table, LONE_S, LONGEST_S))
    if chosen.size == 0:
        return LoneBursts()
    starts, widths = table.starts_s[chosen], table.widths_s[chosen]
    crisp = table.sharpness > 0.5
    begins, ends = table.starts_s[crisp], np.sort(table.ends_s[crisp])
    after = np.searchsorted(begins, starts + widths + LONE_GAP_S) - np.searchsorted(begins, starts + widths)
    before = np.searchsorted(ends, starts) - np.searchsorted(ends, starts - LONE_GAP_S)
    steps = np.abs(np.diff(samples))
    whole = float(np.median(steps[:: max(1, steps.size // PROBES)])) + 1e-12
    edges = np.column_stack([starts + 0.1 * widths, starts + 0.9 * widths]) * sample_rate_hz
    inner = [float(np.median(steps[int(a) : int(b)])) for a, b in edges[:MOST_LONE] if int(b) > int(a)]
    ratio = table.closing[chosen] / np.maximum(table.sharpness[chosen], 1e-6)
    return LoneBursts(
        count=int(chosen.size),
        alone=float(np.mean((after == 0) & (before == 0))),
        least_s=float(widths.min()), middle_s=float(np.median(widths)), most_s=float(widths.max()),
        height=float(table.heights[chosen].max()) / table.scatter[0],
        flutter=float(np.median(inner)) / whole if inner else 1.0,
        falls=float(np.median(ratio)),
    )  # fmt: skip

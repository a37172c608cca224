"""Widths of bursts that repeat, from the folded course of their period, with a standard deviation.

Every linear path shifts rise and fall alike, so a width survives low-passes, AC coupling and rooms as long as both edges are
read over a time as short as the band allows: over longer ones the droop of a high-pass and the tail of a room look like a
fall. What lies between the edges in blocks of the recording scatters; that scatter is the deviation. A burst that is no wider
than two and a half times what the band can part shows the band, not itself: it has a width "at most".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_kernels import fold_spans
from roomfield.signals.folding import circular_edges, vertex, without_subframes

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

BLOCKS = 8
STUDENT = 1.18  # 7 degrees of freedom: 95 % within 2.36 instead of 2
MOST_NODES = 9600
FINEST_NODES = 2
CERTAIN = 6.0
COARSER = 1.6
FALL_SHARE = 0.87  # the overshoot of a high-pass after a rise stays below it
ALIKE_EDGES = 0.5
MORE_BACK = (1.3, 0.15)
VAGUE = 0.1
LEAST_STEPS = 2.5
# Edges are no steps, detectors no ideal ones: what they leave, by simulation; of the time that the band parts, in itself, and
# of the width.
FLOOR_STEPS, FLOOR_S, FLOOR_SHARE = 0.075, 3.5e-6, 2e-4


@dataclass(frozen=True)
class BurstWidth:
    """Width of a burst and its standard deviation [s]; ``at_most``: the band shows no shorter ones, so it may be less."""

    width_s: float
    std_s: float
    at_most: bool


def folded_width(
    samples: F32,
    sample_rate_hz: float,
    period_s: float,
    *,
    top_hz: float,
    widest_reach_s: float,
    subframes: bool = False,
) -> BurstWidth | None:
    """Width of the strongest burst of a period; None if no rise stands out or no fall is like it.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    sample_rate_hz : float
        [Hz]
    period_s : float
        Period as the recording has it, exact to parts per million [s].
    top_hz : float
        Where the recording's band ends [Hz].
    widest_reach_s : float
        Longest averaging time on either side of an edge, for faint bursts [s].
    subframes : bool
        Whether to take off what all tenths of the period have in common (a base's subframes beside a cordless base).
    """
    rows = _block_courses(samples, sample_rate_hz, period_s)
    if rows is None:
        return None
    if subframes:
        rows = np.array([without_subframes(row) for row in rows])
    step_s, resolution_s = period_s / rows.shape[1], 0.5 / top_hz
    course = rows.mean(0)
    reach = _finest_reach(course, resolution_s / step_s, widest_reach_s / step_s)
    edges = circular_edges(course, reach) if reach else np.zeros(0)
    ends = _burst_ends(edges)
    if ends is None:
        return None
    rise, fall = ends
    width = ((fall - rise) % edges.size + _vertex(-edges, fall) - _vertex(edges, rise)) * step_s
    scatter = _scatter(np.array([circular_edges(row, reach) for row in rows]), rise, fall, reach) * step_s
    std = float(np.linalg.norm([scatter, FLOOR_STEPS * resolution_s, FLOOR_S, FLOOR_SHARE * width]))
    least = LEAST_STEPS * resolution_s
    if std > VAGUE * max(width, least) or _rises_again(edges, rise, fall, max(round(least / step_s), 1)):
        return None
    return BurstWidth(max(width, least), std, width < least)


def _block_courses(samples: F32, sample_rate_hz: float, period_s: float) -> F64 | None:
    """Mean course of the period in each block of the recording, mean removed; None if a block holds no whole period."""
    period = period_s * sample_rate_hz
    per_block = int(samples.size / period) // BLOCKS
    if per_block < 1:
        return None
    nodes = min(MOST_NODES, 10 * max(round(period / 10), 2))  # ten subframes of whole nodes
    borders = np.rint(np.arange(BLOCKS + 1) * per_block * period).astype(np.int64)
    weights = np.maximum(fold_spans(np.ones(int(borders[-1]), np.float32), 1 / period, nodes, borders), 1e-3)
    rows = fold_spans(samples, 1 / period, nodes, borders) / weights
    return np.asarray(rows - rows.mean(1, keepdims=True))


def _finest_reach(course: F64, finest: float, widest: float) -> int:
    """Shortest averaging time [nodes] over which a rise stands out; 0 if it does over none."""
    reach = max(FINEST_NODES, round(finest))
    while reach <= max(FINEST_NODES, round(finest), round(widest)):
        edges = circular_edges(course, reach)
        if float(edges.max()) > CERTAIN * 1.4826 * float(np.median(np.abs(edges))) + 1e-15:
            return reach
        reach = int(np.ceil(reach * COARSER))
    return 0


def _burst_ends(edges: F64) -> tuple[int, int] | None:
    """Places of the strongest rise and of the first fall after it that is like it; None if none is."""
    if edges.size == 0:
        return None
    rise = int(np.argmax(edges))
    drop = -edges
    local = (drop > np.roll(drop, 1)) & (drop >= np.roll(drop, -1)) & (drop >= FALL_SHARE * drop.max())
    places = np.flatnonzero(local)
    if places.size == 0:
        return None
    fall = int(places[np.argmin((places - rise) % edges.size)])
    return (rise, fall) if ALIKE_EDGES < drop[fall] / edges[rise] < 1 / ALIKE_EDGES else None


def _rises_again(edges: F64, rise: int, fall: int, near: int) -> bool:
    """Whether more follows a fall than what the path makes of an edge: a gap shorter than the band parts moves both its ends."""
    after = np.arange(1, near + 1)
    swing = -float(edges[(rise + after) % edges.size].min()) / float(edges[rise])
    back = float(edges[(fall + after) % edges.size].max()) / -float(edges[fall])
    return back > MORE_BACK[0] * max(swing, 0.0) + MORE_BACK[1]


def _vertex(edges: F64, at: int) -> float:
    """Place of a maximum between nodes, round the circle [nodes]."""
    return float(vertex(edges[at - 1], edges[at], edges[(at + 1) % edges.size]))


def _scatter(rows: F64, rise: int, fall: int, reach: int) -> float:
    """Standard deviation of the width from how it differs between blocks [nodes]."""
    near = np.arange(-reach, reach + 1)
    widths = np.empty(rows.shape[0])
    for i, row in enumerate(rows):
        up = (rise + near[int(np.argmax(row[(rise + near) % row.size]))]) % row.size
        down = (fall + near[int(np.argmin(row[(fall + near) % row.size]))]) % row.size
        span = (down - rise + reach) % row.size - (up - rise + reach) % row.size
        widths[i] = span + _vertex(-row, down) - _vertex(row, up)
    return STUDENT * float(widths.std(ddof=1)) / float(np.sqrt(widths.size))

"""Faint short bursts: a box less its two neighbours, at widths from 62 us to 0.7 ms.

A rise and a fall must each stand above the noise before ``bursts`` pairs them; a box gathers the whole burst and so hears it
one or two decibels further down, at the price of its exact edges. The likeliest box is kept first, whatever overlaps it is
dropped, and its start and width are then moved until it stands out most.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_kernels import box_peaks, box_response, refine_boxes, running_sum, without_overlap
from roomfield.signals.bursts import LATTICE_WIDTHS_S, BurstTable, lattice, robust_scatter
from roomfield.signals.trains import triplet_score

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

NARROWEST_S = 62.5e-6
STEP = 1.5
SCALES = 7
THRESHOLD = 5.2
WIDTH_EDGES_S = (0.0, 8e-5, 1e-4, 1.4e-4, 2e-4, 3e-4, 4.2e-4, 6e-4, 9.9)
SLOT_S = 625e-6
SHORT_S, LONG_S = (4.5e-5, 7.8e-5), (1.05e-4, 1.36e-4)


def find_faint(samples: F32, sample_rate_hz: float) -> tuple[BurstTable, NDArray[np.int64]]:
    """Boxes above the noise in order of start, and the number of dips of each width.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    sample_rate_hz : float
        [Hz]

    Returns
    -------
    BurstTable
        ``sharpness`` holds how far each box stands above the noise of its width [standard deviations].
    dips : ndarray of int, shape (scales,)
        Boxes of the opposite sign, as a control.
    """
    running = running_sum(samples)
    starts, widths, scores, scales, dips = [], [], [], [], np.zeros(SCALES, np.int64)
    spreads: list[float] = []
    for scale in range(SCALES):
        width = max(2, round(NARROWEST_S * STEP**scale * sample_rate_hz))
        if samples.size < 12 * width:
            spreads.append(1e-9)
            continue
        response = box_response(running, width)
        spreads.append(robust_scatter(response))
        at, dips[scale] = box_peaks(response, THRESHOLD * spreads[-1], width)
        starts.append(at)
        widths.append(np.full(at.size, width))
        scores.append(response[at] / spreads[-1])
        scales.append(np.full(at.size, scale))
    first, span, score, scale_of = (np.concatenate(column) for column in (starts, widths, scores, scales))
    kept = without_overlap(first, span, np.argsort(-score, kind="stable"), samples.size)
    first, span, score, scale_of = first[kept], span[kept], score[kept], scale_of[kept]
    first, span, heights = refine_boxes(running, first, span)
    order = np.argsort(first, kind="stable")
    ones = np.ones(order.size)
    table = BurstTable(
        first[order] / sample_rate_hz, span[order] / sample_rate_hz, heights[order], scale_of[order],
        score[order].astype(np.float64), tuple(spreads), ones, ones,
    )  # fmt: skip
    return table, dips


def faint_numbers(table: BurstTable, dips: NDArray[np.int64]) -> dict[str, float]:
    """The faint bursts as named numbers."""
    out: dict[str, float] = {}
    counts, _ = np.histogram(table.widths_s, WIDTH_EDGES_S)
    out.update({f"faint.{i}": float(np.log1p(count)) for i, count in enumerate(counts)})
    out.update({f"faint.dips.{i}": float(np.log1p(dips[i : i + 3].sum())) for i in range(0, SCALES, 3)})
    total = table.starts_s.size
    out["faint.total"] = float(np.log1p(total))
    scores = np.quantile(table.sharpness, [0.5, 0.9]) if total else np.full(2, THRESHOLD)
    out["faint.middle"], out["faint.high"] = float(np.log10(scores[0])), float(np.log10(scores[1]))
    out["faint.even"] = float(table.heights.std() / (table.heights.mean() + 1e-12)) if total else 0.0
    brief = max(int((table.widths_s < 2e-4).sum()), 1)
    for name, (low, high) in (("short", SHORT_S), ("long", LONG_S)):
        out[f"faint.{name}"] = float(((table.widths_s > low) & (table.widths_s < high)).sum()) / brief
    gaps = np.diff(table.starts_s) if total > 2 else np.array([9.0, 9.0])
    out["faint.gaps"] = float(np.log10(np.median(gaps) + 1e-5))
    count, score = triplet_score(table)
    out["faint.triplets"], out["faint.triplets.score"] = float(np.log1p(count)), float(np.arcsinh(score))
    out["faint.slots"] = float(np.arcsinh(lattice(table, SLOT_S, LATTICE_WIDTHS_S["slot"])[1]))
    return out

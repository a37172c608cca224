"""Several cordless bases in one recording, told apart by their clocks.

Two bases repeat at the same nominal rate, each by its own crystal. Folded at the rate of the
first, its bursts stand still along the recording and those of the second drift, by 10 us a second for every 10 ppm between
the clocks. The recording is folded in blocks; for every drift the blocks are turned back and added, and each burst shows as
a rise at its own phase and drift. Rises of one drift belong to one clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_kernels import fold_spans
from roomfield.signals.folding import circular_edges

F64 = NDArray[np.float64]
Whole = NDArray[np.int64]

BLOCKS = 16
LEAST_PERIODS = 40
MOST_RISES = 12
CERTAIN_RISE = 9.0
IN_EACH_HALF = 4.0
APART = 4.0
LEAST_APART_PPM = 0.8
SHADOW = 0.5
FAINTEST = 0.15
VAGUE_PPM = 0.3
STEPS = 4
STUDENT = 1.07  # 14 degrees of freedom
FLOOR_PPM = 0.05
EDGE_REACH_S = {"dect": 60e-6}
NODE_S = {"dect": 16e-6}

# Largest difference of two clocks that the standards allow [ppm]: EN 300 175-2 (10 each, 25 in extreme conditions); from memory.
WIDEST_PPM = {"dect": 50.0}


@dataclass(frozen=True)
class ClockedSource:
    """One transmitter among several of its kind.

    Attributes
    ----------
    frequency_hz, frequency_std_hz : float
        Its own rate and standard deviation, the recorder's clock error left out [Hz].
    rises : int
        Bursts of a period that keep its clock.
    strength : float
        Height of the strongest over that of the strongest of all sources [1].
    """

    frequency_hz: float
    frequency_std_hz: float
    rises: int
    strength: float


@dataclass(frozen=True)
class _Rise:
    phase: int
    drift: float
    drift_std: float
    certainty: float


def told_apart(
    samples: NDArray[np.float32], sample_rate_hz: float, name: str, rate_hz: float
) -> tuple[ClockedSource, ...]:
    """Sources of one kind by their clocks, the strongest first; empty if the kind is not told apart so, or nothing stands out.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    sample_rate_hz : float
        [Hz]
    name : str
        Technology.
    rate_hz : float
        Rate of the strongest source [Hz].
    """
    period = sample_rate_hz / rate_hz
    if name not in EDGE_REACH_S or samples.size < LEAST_PERIODS * period:
        return ()
    node_s = max(NODE_S[name], 1 / sample_rate_hz)
    nodes = round(1 / (rate_hz * node_s))
    per_block = int(samples.size / period) // BLOCKS
    borders = np.rint(np.arange(BLOCKS + 1) * per_block * period).astype(np.int64)
    step = rate_hz / sample_rate_hz
    rows = fold_spans(samples, step, nodes, borders) / _weights(samples.size, step, nodes, borders)
    reach = max(2, round(EDGE_REACH_S[name] / node_s))
    edges = np.array([circular_edges(row - row.mean(), reach) for row in rows])
    span_s = float(borders[-1]) / sample_rate_hz
    widest = int(np.ceil(WIDEST_PPM[name] * 1e-6 * span_s * rate_hz * nodes)) + 1
    rises = _rises(edges, widest, reach)
    ppm = 1e6 / (nodes * rate_hz * span_s) * BLOCKS / (BLOCKS - 1)  # of one node between first and last block
    return _by_clock(rises, rate_hz, ppm)


def _weights(count: int, step: float, nodes: int, borders: Whole) -> F64:
    """How much sound each node of each block rests on: nearly whole samples a period beat with the nodes."""
    return np.asarray(np.maximum(fold_spans(np.ones(count, np.float32), step, nodes, borders), 1e-3))


def _turned(edges: F64, widest: int) -> F64:
    """Mean of the blocks, each turned back by its part of a drift: ``[drift, phase]``.

    Drifts are whole nodes from first to last block, from minus to plus ``widest``. Turned as sums of harmonics: straight lines between nodes would favour whole nodes, and so no drift at all.
    """
    along = np.linspace(-0.5, 0.5, edges.shape[0])
    orders = np.fft.rfftfreq(edges.shape[1])
    by_one = np.exp(2j * np.pi * orders * along[:, None])
    lines = np.fft.rfft(edges, axis=1) / edges.shape[0] * np.exp(-2j * np.pi * widest * orders * along[:, None])
    turned = np.empty((2 * widest + 1, orders.size), np.complex128)
    for row in turned:
        row[:] = lines.sum(0)
        lines *= by_one
    return np.asarray(np.fft.irfft(turned, edges.shape[1], axis=1))


def _rises(edges: F64, widest: int, reach: int) -> list[_Rise]:
    """Rises at any phase and drift, the most certain first; each is taken out before the next is sought."""
    edges = edges.copy()
    scatter = 1.4826 * float(np.median(np.abs(edges))) / float(np.sqrt(edges.shape[0])) + 1e-15
    drifts = np.arange(-widest, widest + 1).astype(float)
    found: list[_Rise] = []
    for _ in range(MOST_RISES):
        image = _turned(edges, widest)
        best, phase = np.unravel_index(int(np.argmax(image)), image.shape)
        certainty = float(image[best, phase]) / scatter
        if certainty < CERTAIN_RISE:
            break
        half = edges.shape[0] // 2
        halves = [
            _along(edges[part], float(drifts[best]), int(phase), rows)
            for part, rows in ((slice(0, half), np.arange(half)), (slice(half, None), np.arange(half, edges.shape[0])))
        ]
        if min(halves) / (scatter * np.sqrt(2)) > IN_EACH_HALF and 0 < best < drifts.size - 1:
            drift, std = _drift_of(edges, float(drifts[best]), int(phase), reach)
            new = _Rise(int(phase), drift, std, certainty)
            if not any(_shadow(new, old, reach, edges.shape[1]) for old in found):
                found.append(new)
        _blank(edges, float(drifts[best]), int(phase), 2 * reach)
    return found


def _shadow(new: _Rise, old: _Rise, reach: int, nodes: int) -> bool:
    """Whether a faint rise stands where a stronger one's edges blur at another drift."""
    apart = abs(new.phase - old.phase)
    near = min(apart, nodes - apart) < 3 * reach + 0.5 * abs(new.drift - old.drift)
    return near and new.certainty < SHADOW * old.certainty


def _along(edges: F64, drift: float, phase: int, rows: Whole) -> float:
    along = rows / (BLOCKS - 1) - 0.5
    at = (phase + np.rint(drift * along).astype(int)) % edges.shape[1]
    return float(edges[np.arange(edges.shape[0]), at].mean())


def _blank(edges: F64, drift: float, phase: int, reach: int) -> None:
    along = np.linspace(-0.5, 0.5, edges.shape[0])
    for row, turn in enumerate(np.rint(drift * along).astype(int)):
        edges[row, np.arange(phase + turn - reach, phase + turn + reach + 1) % edges.shape[1]] = 0.0


def _drift_of(edges: F64, drift: float, phase: int, reach: int) -> tuple[float, float]:
    """Drift of one rise and its standard deviation, from where every block has it.

    The place in each block is read from the phases of the lines of a window about it, against the mean of all blocks; a
    straight line through the places corrects the drift, three times. Their scatter about the line tells its uncertainty.
    """
    along = np.linspace(-0.5, 0.5, edges.shape[0])
    half = 3 * reach
    taper = np.hanning(2 * half + 3)[1:-1]
    orders = np.fft.rfftfreq(2 * half + 1)
    moment = float((along**2).sum())
    std = 0.0
    for _ in range(STEPS):
        whole = np.rint(drift * along).astype(int)
        columns = phase + whole[:, None] + np.arange(-half, half + 1)
        lines = np.fft.rfft(edges[np.arange(along.size)[:, None], columns % edges.shape[1]] * taper, axis=1)
        lines = lines * np.exp(2j * np.pi * orders * (drift * along - whole)[:, None])
        mean = lines.mean(0)
        seen = float((orders**2 * np.abs(mean) ** 2).sum()) + 1e-300
        late = -(orders * (mean.conj() * lines).imag).sum(1) / (2 * np.pi * seen)
        change = float((along * late).sum()) / moment
        rest = late - late.mean() - change * along
        std = STUDENT * float(np.sqrt((rest**2).sum() / (along.size - 2) / moment))
        drift += float(np.clip(change, -reach, reach))
    return drift, std


def _by_clock(rises: list[_Rise], rate_hz: float, ppm: float) -> tuple[ClockedSource, ...]:
    """Rises gathered by drift; a new clock must differ from all before by four deviations and one part per million."""
    groups: list[list[_Rise]] = []
    for rise in rises:
        near = next((g for g in groups if not _differ(rise, g, ppm)), None)
        if near is not None:
            near.append(rise)
        else:
            groups.append([rise])
    loudest = rises[0].certainty if rises else 1.0
    sources = [_source(group, rate_hz, ppm, loudest) for group in groups]
    clear = [s for s in sources if s.strength >= FAINTEST and s.frequency_std_hz < VAGUE_PPM * 1e-6 * rate_hz]
    return tuple(clear)


def _pooled(group: list[_Rise], ppm: float) -> tuple[float, float]:
    """Mean drift and its standard deviation [ppm], widened where rises disagree: bursts of two bases may run into each other."""
    weights = np.array([1 / ((r.drift_std * ppm) ** 2 + FLOOR_PPM**2) for r in group])
    drifts = np.array([r.drift * ppm for r in group])
    mean = float((weights * drifts).sum() / weights.sum())
    excess = float((weights * (drifts - mean) ** 2).sum()) / max(len(group) - 1, 1)
    return mean, float(np.sqrt(max(excess, 1.0) / weights.sum()))


def _differ(rise: _Rise, group: list[_Rise], ppm: float) -> bool:
    middle, std = _pooled(group, ppm)
    apart = abs(rise.drift * ppm - middle)
    return apart > max(LEAST_APART_PPM, APART * float(np.hypot(std, np.hypot(rise.drift_std * ppm, FLOOR_PPM))))


def _source(group: list[_Rise], rate_hz: float, ppm: float, loudest: float) -> ClockedSource:
    middle, std = _pooled(group, ppm)
    # a rise that comes later in every block is of a slower clock
    return ClockedSource(rate_hz * (1 - middle * 1e-6), rate_hz * std * 1e-6, len(group), group[0].certainty / loudest)

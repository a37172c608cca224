"""Epoch folding: the mean course of one period, and what it looks like."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.signals.audio_kernels import fold_between, fold_blocks

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

MOST_NODES = 6000
DENSE_PERIODS = 100


def fold(samples: F32, sample_rate_hz: float, period_s: float, bins: int) -> F64:
    """Mean of the samples by phase of a period, mean removed.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    sample_rate_hz : float
        [Hz]
    period_s : float
        [s]
    bins : int
        Number of phase bins; bin 0 starts at the first sample.
    """
    sums, counts = fold_blocks(samples, 1.0 / (period_s * sample_rate_hz), bins, 1)
    profile = sums[0] / np.maximum(counts[0], 1)
    return np.asarray(profile - profile.mean())


def nodes(samples: F32, sample_rate_hz: float, period_s: float) -> F64:
    """Course of one period at evenly spaced phases, to be read straight between them, mean removed.

    Each sample counts for the two nodes beside it by its nearness; two nodes a sample if there are periods enough.
    What the first course leaves is folded once more and added, which makes its edges as steep as the samples'.
    """
    per_period = period_s * sample_rate_hz
    count = int(min(MOST_NODES, per_period * (2 if samples.size > DENSE_PERIODS * per_period else 1)))
    number, places, squares, sums, by_place = fold_between(samples, 1.0 / per_period, count).T
    weights = number - places + np.roll(places, 1)
    seen = sums - by_place + np.roll(by_place, 1)
    course = _means(seen, weights)
    # what a course read straight between the nodes gives when it is folded itself
    own = (number - 2 * places + squares + np.roll(squares, 1)) * course
    beside = places - squares
    own += beside * np.roll(course, -1) + np.roll(beside * course, 1)
    course += _means(seen - own, weights)
    return np.asarray(course - course.mean())


def _means(sums: F64, weights: F64) -> F64:
    seen = weights > 1e-3
    at = np.arange(sums.size)
    return np.asarray(np.interp(at, at[seen], sums[seen] / weights[seen], period=sums.size))


@dataclass(frozen=True)
class ProfileShape:
    """Description of a folded profile by its edges.

    Attributes
    ----------
    strength : float
        Strongest rise over the scatter of the profile's edge response [1].
    width_s : float
        From the strongest rise to the strongest fall, around the circle [s].
    second : float
        Next strongest rise over the strongest.
    spacing_s : float
        From the strongest to the next strongest rise, the shorter way round [s].
    fall : float
        Strongest fall over strongest rise.
    skew : float
        Skewness of the profile: high for narrow pulses, negative for narrow gaps.
    gathered : float
        Share of the profile's variance in its highest twentieth.
    rises : float
        Number of rises above 0.35 of the strongest.
    burst_s : float
        From the strongest rise to the first fall that is at least half the strongest: one burst of several alike [s].
    """

    strength: float
    width_s: float
    second: float
    spacing_s: float
    fall: float
    skew: float
    gathered: float
    rises: float
    burst_s: float


def vertex(left: ArrayLike, mid: ArrayLike, right: ArrayLike) -> F64:
    """Where a parabola through three neighbouring values is highest, from the middle one, within one place; 0 if it bends up."""
    values = np.asarray(left), np.asarray(mid), np.asarray(right)
    bend = values[0] - 2 * values[1] + values[2]
    place = np.where(bend < 0, 0.5 * (values[0] - values[2]) / np.minimum(bend, -1e-30), 0.0)
    return np.asarray(np.clip(place, -1.0, 1.0), np.float64)


def circular_edges(profile: F64, reach: int) -> F64:
    """Mean of the next ``reach`` bins minus mean of the last, round the circle."""
    running = np.concatenate([[0.0], np.cumsum(np.tile(profile, 3))])
    at = np.arange(profile.size) + profile.size
    return np.asarray((running[at + reach] - 2 * running[at] + running[at - reach]) / reach)


def describe(profile: F64, period_s: float, reach_s: float) -> ProfileShape:
    """Edges and moments of a folded profile.

    Parameters
    ----------
    profile : ndarray, shape (bins,)
    period_s : float
        [s]
    reach_s : float
        Averaging time on either side of an edge [s].
    """
    bins = profile.size
    step = period_s / bins
    reach = max(2, round(reach_s / step))
    edges = circular_edges(profile, reach)
    scatter = 1.4826 * float(np.median(np.abs(edges))) + 1e-12
    rise, fall = int(np.argmax(edges)), int(np.argmin(edges))
    peak = float(edges[rise])
    rest = edges.copy()
    near = np.arange(-2 * reach, 2 * reach + 1)
    rest[(rise + near) % bins] = 0.0
    other = int(np.argmax(rest))
    gap = abs(other - rise)
    local = (edges > np.roll(edges, 1)) & (edges >= np.roll(edges, -1)) & (edges > 0.35 * peak)
    spread = float(profile.std()) + 1e-12
    ordered = np.sort(profile**2)[::-1]
    return ProfileShape(
        strength=peak / scatter,
        width_s=((fall - rise) % bins) * step,
        second=float(rest[other]) / (peak + 1e-12),
        spacing_s=min(gap, bins - gap) * step,
        fall=-float(edges[fall]) / (peak + 1e-12),
        skew=float((profile**3).mean()) / spread**3,
        gathered=float(ordered[: max(bins // 20, 1)].sum() / (ordered.sum() + 1e-20)),
        rises=float(np.count_nonzero(local)),
        burst_s=float(np.min((_falls(edges) - rise) % bins)) * step,
    )


def _falls(edges: F64) -> NDArray[np.intp]:
    """Where a profile falls by at least half its strongest fall."""
    fall = -edges
    local = (fall > np.roll(fall, 1)) & (fall >= np.roll(fall, -1)) & (fall >= 0.5 * fall.max())
    return np.flatnonzero(local) if local.any() else np.array([int(np.argmax(fall))])


def fold_aligned(samples: F32, sample_rate_hz: float, period_s: float, bins: int, block_s: float) -> tuple[F64, float]:
    """Fold a source that drifts: fold short blocks, turn each to fit the mean so far, then average.

    Returns
    -------
    profile : ndarray, shape (bins,)
    drift : float
        Standard deviation of the turns about a straight line [cycles].
    """
    blocks = max(1, int(samples.size / sample_rate_hz / block_s))
    sums, counts = fold_blocks(samples, 1.0 / (period_s * sample_rate_hz), bins, blocks)
    rows = sums / np.maximum(counts, 1)
    rows -= rows.mean(1, keepdims=True)
    mean = rows[0].copy()
    turns = np.zeros(blocks)
    for i in range(1, blocks):
        match = np.fft.irfft(np.fft.rfft(mean) * np.conj(np.fft.rfft(rows[i])), bins)
        turn = int(np.argmax(match))
        turns[i] = (turn + bins / 2) % bins - bins / 2
        mean += np.roll(rows[i], turn)
    drift = float(np.std(turns) / bins) if blocks > 1 else 0.0
    return np.asarray(mean / blocks), drift


SYMBOL_S = 1e-3 / 14
TEMPLATES_S: dict[str, tuple[tuple[float, float], ...]] = {
    "sync_fdd": ((0.0, 2 * SYMBOL_S),),
    "sync_tdd": ((0.0, SYMBOL_S), (3 * SYMBOL_S, SYMBOL_S)),
    "broadcast": ((0.0, 6 * SYMBOL_S),),
    "ssb30": ((0.0, 2 * SYMBOL_S), (3 * SYMBOL_S, 2 * SYMBOL_S)),
    "ssb15": ((0.0, 4 * SYMBOL_S), (6 * SYMBOL_S, 4 * SYMBOL_S)),
    "block15": ((0.0, 4 * SYMBOL_S),),
    "dect": ((0.0, 368.06e-6),),
    "short": ((0.0, 83.3e-6),),
}


def template_shares(profile: F64, period_s: float) -> dict[str, float]:
    """Share of a profile's variance that one copy of each template explains, at its best place.

    The templates are the synchronisation signals of LTE and NR and the packets of DECT, as boxes
    less their own mean within a window of 1.2 ms.
    """
    bins = profile.size
    step = period_s / bins
    window = round(1.2e-3 / step)
    centre = np.fft.rfft(profile)
    total = float((profile**2).sum()) + 1e-20
    out = {}
    for name, boxes in TEMPLATES_S.items():
        shape = np.zeros(bins)
        for start, width in boxes:
            first = 0.3e-3 + start
            grid = np.arange(window + 1) * step
            cover = np.clip((np.minimum(grid[1:], first + width) - np.maximum(grid[:-1], first)) / step, 0, 1)
            shape[:window] += cover
        shape[:window] -= shape[:window].mean()
        fits = np.fft.irfft(centre * np.conj(np.fft.rfft(shape)), bins)
        out[name] = float(max(fits.max(), 0.0) ** 2 / ((shape**2).sum() * total))
    return out


CRS_SYMBOLS = (0, 4, 7, 11)


@dataclass(frozen=True)
class FrameShape:
    """A 10 ms profile held against the grid of ten subframes.

    Attributes
    ----------
    pattern : float
        Correlation of the 1 ms mean profile with reference symbols at symbols 0, 4, 7 and 11 [-1..1].
    subframes : tuple of float
        Strength of that pattern in each subframe over the strongest, sorted upwards [1].
    means : tuple of float
        Mean level of each subframe, sorted, spread scaled to 1.
    repeats : float
        Share of the 10 ms profile's variance that repeats every 1 ms.
    half_repeats : float
        Share that repeats every 5 ms.
    """

    pattern: float
    subframes: tuple[float, ...]
    means: tuple[float, ...]
    repeats: float
    half_repeats: float


@lru_cache(maxsize=4)
def _turned_templates(bins: int) -> F64:
    """The template of reference symbols turned by every number of bins: row k by k bins."""
    at = np.arange(bins)
    return np.asarray(_reference_template(bins)[(at[None, :] - at[:, None]) % bins])


def _reference_template(bins: int) -> F64:
    at = np.zeros(bins)
    for symbol in CRS_SYMBOLS:
        first, last = symbol * bins / 14, (symbol + 1) * bins / 14
        at[int(round(first)) : int(round(last))] = 1.0
    return at - at.mean()


def frame_shape(profile: F64) -> FrameShape:
    """Compare a 10 ms profile (bins divisible by 10) with the layout of LTE's reference symbols."""
    rows = profile.reshape(10, -1)
    mean = rows.mean(0)
    template = _reference_template(rows.shape[1])
    norm = np.linalg.norm(template)
    fits = (
        _turned_templates(template.size) @ (mean - mean.mean()) / (norm * (np.linalg.norm(mean - mean.mean()) + 1e-12))
    )
    best = int(np.argmax(fits))
    aligned = np.roll(profile, -best).reshape(10, -1)
    centred = aligned - aligned.mean(1, keepdims=True)
    strength = centred @ template / norm**2
    top = float(np.max(strength)) + 1e-12
    levels = np.sort(aligned.mean(1))
    total = float((profile**2).mean()) + 1e-20
    half = profile.reshape(2, -1).mean(0)
    return FrameShape(
        pattern=float(fits[best]),
        subframes=tuple(float(v) for v in np.sort(strength / top)),
        means=tuple(float(v) for v in (levels - levels[0]) / (levels[-1] - levels[0] + 1e-12)),
        repeats=float((mean**2).mean()) / total,
        half_repeats=float((half**2).mean()) / total,
    )


def without_subframes(profile: F64) -> F64:
    """A 10 ms profile minus what every subframe has in common (median over the ten)."""
    rows = profile.reshape(10, -1)
    return np.asarray((rows - np.median(rows, axis=0)).ravel())

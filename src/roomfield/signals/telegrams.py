"""Single telegrams and passing beams: what is left of them on narrow paths.

A telephone's line takes the level from a burst of some milliseconds and leaves its two edges: a step up and, the next thing
heard, a step down. And it turns the pulses of a radar into ringing, in which their rate still stands: the loudest moments
repeat themselves after one step while the beam passes, swelling and fading as the antenna's pattern does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from roomfield.signals.audio_kernels import thin_samples
from roomfield.signals.bursts import robust_scatter
from roomfield.signals.folding import vertex
from roomfield.signals.telegram_kernels import (
    block_powers,
    lone_pairs,
    shortest_step,
    signed_peaks,
    sudden_changes,
    windows_without_slow,
)

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]

LEAST_RATE_HZ = 20000.0
AHEAD_S, BEHIND_S, HOLD_S = 0.21e-3, 0.8e-3, 1.3e-3
THRESHOLD, STRONG = 6.0, 0.35
TELEGRAM_S = (2.0e-3, 2.5)
QUIET_S = 20e-3
SAME_LENGTH, SAME_LENGTH_S = 0.01, 1e-4
MOST_EDGES_PER_S, MOST_INSIDE = 150.0, 12

BLOCK_S, SMOOTH, APART_S, EVENTS = 2e-3, 7, 60e-3, 8
LOUDEST, LEAST_LOUD, SHRINK, MOST_SHRINK = 7.0, 0.1, 2.0, 0.35
COURSE_S, HALF_S, AROUND_S = 32e-3, 22e-3, 1e-3
STEP_S = (0.3e-3, 5e-3)
SAME_STEP, NEARLY = 0.01, 0.85
BEAM_ALIKE, EVEN_TURNS = 0.35, 0.02
AGAIN_S, LONG_HALF_S = (8e-3, 0.25), 0.2


@dataclass(frozen=True)
class Thinned:
    """Sound at a rate of 20 to 40 kHz, its sudden changes, and the scatter of these."""

    samples: F32
    edges: F32
    scatter: float
    rate_hz: float


def thin(samples: F32, sample_rate_hz: float) -> Thinned:
    """Means of neighbouring samples down to a rate of at least 20 kHz, and the sudden changes of these."""
    many = max(1, int(sample_rate_hz / LEAST_RATE_HZ))
    thinned = thin_samples(samples, many)
    rate_hz = sample_rate_hz / many
    edges = sudden_changes(thinned, round(AHEAD_S * rate_hz), round(BEHIND_S * rate_hz))
    return Thinned(thinned, edges, robust_scatter(edges), rate_hz)


def telegram_numbers(samples: F32, sample_rate_hz: float) -> dict[str, float]:
    """Single telegrams, passing beams and repeated ones as named numbers.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    sample_rate_hz : float
        [Hz]
    """
    sound = thin(samples, sample_rate_hz)
    return pair_numbers(sound) | beam_numbers(sound)


@dataclass(frozen=True)
class LoneTelegrams:
    """Bursts with nothing near them: how many, the shortest and the longest from rise to fall [s], and the height of their
    edges over the scatter of the rest [1].
    """

    count: int
    least_s: float
    most_s: float
    height: float


@dataclass(frozen=True)
class Beam:
    """Loud moments that repeat themselves after one step, or after whole multiples of it.

    Attributes
    ----------
    passages : int
        Moments of this step; 0 if none repeats itself.
    step_s : float
        [s]
    turn_s : float
        From one to the next [s]; 0 if there are fewer than two, or three and more that do not come evenly.
    """

    passages: int
    step_s: float
    turn_s: float


def lone_telegrams(samples: F32, sample_rate_hz: float) -> LoneTelegrams:
    """What `telegram_numbers` says of single telegrams, for a reader."""
    numbers = pair_numbers(thin(samples, sample_rate_hz))
    if numbers["pairs.alone"] == 0:
        return LoneTelegrams(0, 0.0, 0.0, 0.0)
    count = round(float(np.expm1(numbers["pairs.strong"])))
    height = float(np.sinh(numbers["pairs.height"]))
    return LoneTelegrams(count, 10 ** numbers["pairs.least"], 10 ** numbers["pairs.most"], height)


def passing_beam(samples: F32, sample_rate_hz: float) -> Beam:
    """What `telegram_numbers` says of a beam, for a reader."""
    numbers = beam_numbers(thin(samples, sample_rate_hz))
    if min(numbers["beam.alike"], numbers["beam.again"]) < BEAM_ALIKE:
        return Beam(0, 0.0, 0.0)
    passages = round(float(np.expm1(numbers["beam.same"])))
    even = passages > 1 and numbers["beam.uneven"] < EVEN_TURNS
    return Beam(passages, 10 ** numbers["beam.step"] - 1e-4, 10 ** numbers["beam.turn"] - 1e-3 if even else 0.0)


def pair_numbers(sound: Thinned) -> dict[str, float]:
    """Bursts of which a rise and the next fall are left: how many, how wide, how alike, how quiet in between."""
    edges, rate, sigma = sound.edges, sound.rate_hz, sound.scatter
    most = int(MOST_EDGES_PER_S * edges.size / rate) + 1
    at, heights = signed_peaks(edges, THRESHOLD * sigma, round(HOLD_S * rate))
    if at.size > most:
        kept = np.sort(np.argpartition(np.abs(heights), -most)[-most:])
        at, heights = at[kept], heights[kept]
    least, longest = (round(width * rate) for width in TELEGRAM_S)
    rises, falls, alone = lone_pairs(at, heights, least, longest, round(QUIET_S * rate))
    out = {"pairs.edges": float(np.log1p(at.size)), "pairs.all": float(np.log1p(rises.size))}
    out["pairs.alone"] = float(np.log1p(alone.sum()))
    out["pairs.down"] = float((heights < 0).mean()) if at.size else 0.0
    rises, falls = (rises[alone], falls[alone]) if alone.any() else (rises, falls)
    rises, falls = _strong(heights, rises, falls)
    out["pairs.strong"] = float(np.log1p(rises.size))
    widths = np.sort(at[falls] - at[rises]) / rate
    shown = widths if widths.size else np.array([1e-3])
    for name, width in (("least", shown[0]), ("middle", np.median(shown)), ("most", shown[-1])):
        out[f"pairs.{name}"] = float(np.log10(width))
    near = np.diff(widths) < np.maximum(SAME_LENGTH * widths[1:], SAME_LENGTH_S)
    out["pairs.alike"] = float(near.sum() / near.size) if near.size else -1.0
    up, down = heights[rises], -heights[falls]
    level = float(np.median(np.sqrt(up * down))) if widths.size else 0.0
    out["pairs.height"] = float(np.arcsinh(level / sigma))
    out["pairs.fall"] = float(np.median(np.log10(down / up))) if widths.size else -1.0
    strong = int((np.abs(heights) > 0.4 * level).sum())
    out["pairs.share"] = 2 * widths.size / max(strong, 1)
    out["pairs.above"] = float(np.log10(np.abs(heights).max() / level)) if widths.size else 2.0
    out["pairs.inside"] = _inside(edges, at[rises], at[falls], sigma)
    starts = np.sort(at[rises]) / rate
    gaps = np.diff(starts) if starts.size > 1 else np.array([30.0])
    out["pairs.gap"], out["pairs.gap.least"] = float(np.log10(np.median(gaps))), float(np.log10(gaps.min()))
    return out


def _strong(heights: F64, rises: I64, falls: I64) -> tuple[I64, I64]:
    """The pairs that are not much lower than the highest: chance pairs of weak edges are left out."""
    if rises.size == 0:
        return rises, falls
    both = np.minimum(heights[rises], -heights[falls])
    kept = both > STRONG * both.max()
    return rises[kept], falls[kept]


def _inside(edges: F32, begins: I64, ends: I64, sigma: float) -> float:
    """How restless it is inside of the pairs, over the whole [decades]."""
    middle = [
        float(np.median(np.abs(edges[a + (b - a) // 4 : b - (b - a) // 8])))
        for a, b in zip(begins[:MOST_INSIDE], ends[:MOST_INSIDE], strict=True)
    ]
    return float(np.log10(np.median(middle) / (0.6745 * sigma) + 1e-2)) if middle else -2.0


@dataclass(frozen=True)
class LoudMoment:
    """A loud moment of the recording.

    Attributes
    ----------
    at_s : float
        Centre of its power [s].
    step_s, alike, again, least : float
        Step after which it repeats itself [s], its autocorrelation there and at twice the step, and the lowest before it.
    width_s, peaked : float
        Spread of its power in time [s], and the fourth moment over the square of the second: 3 for a bell, 1.8 for a box.
    skew, spiky : float
        Third and fourth moment of its samples.
    power : float
        Over the middle of all blocks [1].
    lags : ndarray
        Autocorrelation by lag in samples.
    """

    at_s: float
    step_s: float
    alike: float
    again: float
    least: float
    width_s: float
    peaked: float
    skew: float
    spiky: float
    power: float
    lags: F64


def _loudest(powers: F64) -> tuple[list[int], F64]:
    """Blocks of the loudest moments, none near a louder one; and the power round each block."""
    smooth = np.convolve(powers, np.ones(SMOOTH) / SMOOTH, "same")
    left, chosen, away = smooth.copy(), [], round(APART_S / BLOCK_S)
    for _ in range(EVENTS):
        best = int(np.argmax(left))
        if left[best] <= 0:
            break
        chosen.append(best)
        left[max(0, best - away) : best + away + 1] = 0
    return chosen, smooth


def _autocorrelations(parts: F64, most: int) -> F64:
    """Autocorrelation of each row up to a lag, 1 at no lag."""
    size = next_fast_len(parts.shape[1] + most, real=True)
    lines = rfft(parts, size, axis=1)
    lags = irfft(lines.real**2 + lines.imag**2, size, axis=1)[:, : most + 1]
    return np.asarray(lags / (lags[:, :1] + 1e-30))


def _step(lags: F64, rate_hz: float) -> tuple[float, float, float, float]:
    """Shortest step after which a moment repeats itself nearly as well as it ever does; see `LoudMoment`."""
    first, last = round(STEP_S[0] * rate_hz), round(STEP_S[1] * rate_hz)
    best = int(shortest_step(lags, first, last, NEARLY))
    if best < 0:
        return 0.0, 0.0, 0.0, float(lags[first : last + 1].min())
    exact = best + float(vertex(*lags[best - 1 : best + 2]))
    twice = round(2 * exact)
    return exact / rate_hz, float(lags[best]), float(lags[twice - 1 : twice + 2].max()), float(lags[:best].min())


def _windows(sound: Thinned, centres_s: F64, half_s: float, around_s: float) -> F64:
    """Samples round each moment, less their running mean, nothing beyond the ends: shape (moments, samples)."""
    centres = np.rint(centres_s * sound.rate_hz).astype(np.int64)
    half, around = round(half_s * sound.rate_hz), round(around_s * sound.rate_hz)
    return np.asarray(windows_without_slow(sound.samples, centres, half, around))


def _events(sound: Thinned, chosen: I64, powers: F64, floor: float) -> list[LoudMoment]:
    """What is heard in the moments round the chosen blocks."""
    if chosen.size == 0:
        return []
    reach = round(COURSE_S / BLOCK_S)
    at = chosen[:, None] + np.arange(-reach, reach + 1)
    inside = (at >= 0) & (at < powers.size)
    course = np.where(inside, np.maximum(powers[np.clip(at, 0, powers.size - 1)] - floor, 0.0), 0.0)
    total = course.sum(1) + 1e-30
    centre = (course * at).sum(1) / total
    away = (at - centre[:, None]) ** 2
    spread = (course * away).sum(1) / total + 1 / 12
    peaked = (course * away**2).sum(1) / total / spread**2
    parts = _windows(sound, (centre + 0.5) * BLOCK_S, HALF_S, AROUND_S)
    sizes = np.abs(parts)
    limit = np.minimum(
        SHRINK * 1.4826 * np.partition(sizes, sizes.shape[1] // 2, axis=1)[:, sizes.shape[1] // 2],
        MOST_SHRINK * sizes.max(1),
    )[:, None]
    lags = _autocorrelations(parts - np.clip(parts, -limit, limit), round(2.1 * STEP_S[1] * sound.rate_hz))
    square = parts * parts
    variance = square.mean(1) + 1e-30
    skew, spiky = (square * parts).mean(1) / variance**1.5, (square * square).mean(1) / variance**2
    return [
        LoudMoment(
            float((centre[i] + 0.5) * BLOCK_S), *_step(lags[i], sound.rate_hz), float(np.sqrt(spread[i]) * BLOCK_S),
            float(peaked[i]), float(skew[i]), float(spiky[i]), float(total[i] / floor), lags[i],
        )
        for i in range(chosen.size)
    ]  # fmt: skip


def beam_numbers(sound: Thinned) -> dict[str, float]:
    """The loudest moments: do they repeat themselves at one step, how do they swell, how evenly do they come."""
    block = round(BLOCK_S * sound.rate_hz)
    powers = block_powers(sound.edges, block, LOUDEST * sound.scatter)
    count = powers.size
    floor = float(np.median(powers)) + 1e-20
    chosen, smooth = _loudest(powers)
    loud = np.array([at for at in chosen if smooth[at] > LEAST_LOUD * smooth[chosen[0]]], np.int64)
    events = _events(sound, loud, powers, floor)
    best = max(events, key=lambda event: min(event.alike, event.again), default=None)
    if best is None:
        best = LoudMoment(
            0.0, 0.0, 0.0, 0.0, 0.0, 1e-3, 1.0, 0.0, 3.0, 1.0, np.zeros(round(3 * STEP_S[1] * sound.rate_hz))
        )
    alike = [e for e in events if e.alike > 0.3 and abs(e.step_s / max(best.step_s, 1e-6) - 1) < SAME_STEP]
    out = {"beam.alike": best.alike, "beam.again": best.again, "beam.least": best.least}
    out["beam.step"] = float(np.log10(best.step_s + 1e-4))
    out["beam.width"], out["beam.peaked"] = float(np.log10(best.width_s)), min(best.peaked, 12.0)
    out["beam.skew"], out["beam.spiky"] = float(np.arcsinh(best.skew)), float(np.log10(best.spiky + 0.1))
    out["beam.power"] = float(np.log10(best.power + 1.0))
    out["beam.events"], out["beam.same"] = float(np.log1p(len(events))), float(np.log1p(len(alike)))
    out["beam.middle"] = float(np.median([min(e.alike, e.again) for e in events])) if events else 0.0
    step_s, once, twice, _ = _step(np.mean([e.lags for e in events or [best]], axis=0), sound.rate_hz)
    out["beam.joint"], out["beam.joint.step"] = min(once, twice), float(np.log10(step_s + 1e-4))
    widths = np.array([e.width_s for e in events]) if events else np.array([1e-3])
    out["beam.widths"] = float(np.std(np.log10(widths)))
    times = np.sort([e.at_s for e in (alike if len(alike) > 1 else events)])
    turns = np.diff(times)
    out["beam.turn"] = float(np.log10(np.median(turns) + 1e-3)) if turns.size else 1.5
    whole = turns / (turns.min() + 1e-9) if turns.size else np.zeros(1)
    out["beam.uneven"] = float(np.abs(whole - np.rint(whole)).max()) if turns.size > 1 else -1.0
    near = np.zeros(count, bool)
    for event in events:
        near[max(0, int((event.at_s - COURSE_S) / BLOCK_S)) : int((event.at_s + COURSE_S) / BLOCK_S) + 1] = True
    above = np.maximum(powers - 3 * floor, 0.0)
    out["beam.beside"] = float(above[~near].sum() / (above.sum() + 1e-30))
    return out | _said_again(sound, best)


def _said_again(sound: Thinned, best: LoudMoment) -> dict[str, float]:
    """Whether what is said in the loudest moment is said again within a quarter of a second: step and likeness."""
    fewer = max(1, int(sound.rate_hz / 6000))
    part = _windows(sound, np.array([best.at_s]), LONG_HALF_S, 2 * AROUND_S)
    part = part[:, : part.shape[1] // fewer * fewer].reshape(1, -1, fewer).mean(2)
    rate = sound.rate_hz / fewer
    first, last = (round(step * rate) for step in AGAIN_S)
    lags = _autocorrelations(part, last)[0]
    at = first + int(np.argmax(lags[first:]))
    return {"again.alike": float(lags[at]), "again.step": float(np.log10(at / rate))}

"""Repetitions found without being told, and their rates to parts per million.

Search: harmonic sums of the whitened spectrum over a grid of fundamentals, as in searches for pulsars.
Under noise a sum of K lines follows a gamma distribution of shape K, which gives the false-alarm rate
after the number of independent trials. Each repetition found is masked and the search repeated.

Refinement: the recording is folded in blocks, and the phases of all harmonics are brought to one
straight line. The standard deviation is the Cramér-Rao bound of a sum of harmonics in white noise
(Rife and Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591, summed over harmonics).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc, gammaln

from roomfield.signals.audio_kernels import fold_spans, harmonic_sums, phase_line_scores
from roomfield.signals.combs import Comb, CombEvidence, mask_comb, weigh_comb
from roomfield.signals.folding import vertex
from roomfield.signals.spectrum import WhiteSpectrum

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

SEARCH_CAP = 40.0
LOWEST_HZ = 2.0
HIGHEST_HZ = 2500.0
PLANS = ((5, 400.0), (3, HIGHEST_HZ))  # harmonics as a power of two, highest fundamental [Hz]
REFINE_BLOCKS = 16
FOLD_AGAIN = 2e-5
MOST_NODES = 16384.0
STUDENT = 1.07  # 14 degrees of freedom: 95 % within 2.14 instead of 2
STEADY = 0.2
QUIET_BAND_HZ, QUIET_SHARE = (500.0, 2500.0), 0.0001


@dataclass(frozen=True)
class FoundPeriod:
    """A repetition: rate, standard deviation [Hz], score, log10 false-alarm rate, lines counted, and share in phase."""

    frequency_hz: float
    std_hz: float
    score: float
    log10_false_alarm: float
    lines: int
    coherence: float = 1.0


@dataclass(frozen=True)
class RefinedRate:
    """A rate with its standard deviation [Hz] and the share of power that keeps its phase throughout [0..1]."""

    frequency_hz: float
    std_hz: float
    coherence: float


def _near_mains(frequency_hz: float) -> bool:
    return any(abs(frequency_hz / nominal - 1) < 4e-3 for nominal in (50.0, 60.0, 100.0, 120.0))


def log10_gamma_tail(total: float, shape: int) -> float:
    """log10 of the chance that a gamma variate of whole-number shape exceeds ``total``."""
    tail = float(gammaincc(shape, total))
    if tail > 1e-280:
        return float(np.log10(tail))
    log_tail = (shape - 1) * np.log(total) - total - gammaln(shape) - np.log1p(-(shape - 1) / total)
    return float(log_tail / np.log(10))


def strongest_period(white: F32, spectrum: WhiteSpectrum) -> tuple[float, float, int]:
    """Best fundamental of a harmonic-sum search: frequency [Hz], log10 false-alarm rate, harmonics."""
    best = (0.0, 0.0, 0)
    for depth, top_hz in PLANS:
        step = 1.0 / (1 << depth)
        first = LOWEST_HZ * spectrum.bins_per_hz
        last = min(top_hz, spectrum.top_hz / 2) * spectrum.bins_per_hz
        count = int((last - first) / step)
        if count < 1:
            continue
        sums = harmonic_sums(white, first, step, count, depth, SEARCH_CAP)
        for d in range(depth + 1):
            at = int(np.argmax(sums[d]))
            trials = count * step * (1 << d)
            chance = log10_gamma_tail(float(sums[d, at]), 1 << d) + float(np.log10(max(trials, 1.0)))
            if chance < best[1]:
                best = ((first + at * step) / spectrum.bins_per_hz, chance, 1 << d)
    return best


def _to_fundamental(white: F32, spectrum: WhiteSpectrum, frequency_hz: float) -> float:
    """Step down to f/2, f/3 or f/5 while the lines in between are certain too, then up while they are not there."""
    changed = True
    while changed:
        changed = False
        for divisor in (2, 3, 5):
            lower = frequency_hz / divisor
            if lower < LOWEST_HZ:
                continue
            between = _between(white, spectrum, lower, divisor)
            if between.score > 12 and between.hits > 0.25 and _comparable(white, spectrum, lower, divisor):
                frequency_hz, changed = lower * (1 + between.offset_ppm * 1e-6), True
                break
    for factor in (2, 3, 5):
        if frequency_hz * factor < HIGHEST_HZ and _bare(white, spectrum, frequency_hz, factor):
            frequency_hz *= factor
    return frequency_hz


def _between(white: F32, spectrum: WhiteSpectrum, lower_hz: float, divisor: int) -> CombEvidence:
    """What stands on the lines of a comb that are no lines of the comb ``divisor`` times as wide."""
    comb = Comb("between", lower_hz, (divisor,), top_hz=40 * lower_hz, reach_ppm=30.0)
    return weigh_comb(replace(spectrum, white=white), comb)


def _bare(white: F32, spectrum: WhiteSpectrum, frequency_hz: float, factor: int) -> bool:
    """Whether a comb has no lines but those of one ``factor`` times as wide."""
    between = _between(white, spectrum, frequency_hz, factor)
    return between.score < 6 and between.hits < 0.1


def _comparable(white: F32, spectrum: WhiteSpectrum, lower_hz: float, divisor: int) -> bool:
    """Whether the lines in between are within 22 dB of the main ones, so that they are no mere side lines."""
    orders = np.arange(1, 40)
    at = np.minimum(np.rint(orders * lower_hz * spectrum.bins_per_hz).astype(int), white.size - 1)
    main = orders % divisor == 0
    return float(np.median(white[at[~main]])) > 0.006 * float(np.median(white[at[main]]))


def find_periods(
    samples: F32, sample_rate_hz: float, spectrum: WhiteSpectrum, *, at_most: int = 6, false_alarm: float = 1e-4
) -> tuple[FoundPeriod, ...]:
    """Search, refine, mask, search again.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    sample_rate_hz : float
        [Hz]
    spectrum : WhiteSpectrum
        Of the same samples.
    at_most : int
        Largest number of repetitions.
    false_alarm : float
        Chance allowed that noise alone yields the repetition anywhere in one search.
    """
    white = spectrum.white.copy()
    found: list[FoundPeriod] = []
    for _ in range(at_most):
        frequency, chance, lines = strongest_period(white, spectrum)
        if chance > np.log10(false_alarm):
            break
        frequency = _to_fundamental(white, spectrum, frequency)
        if any(abs(frequency / known.frequency_hz - 1) < 2e-3 for known in found):
            _blank(white, spectrum, frequency)
            continue
        refined = refine_rate(samples, sample_rate_hz, frequency, spectrum)
        if refined.coherence < STEADY:
            _blank(white, spectrum, frequency)
            if not _near_mains(frequency):
                continue
            refined = RefinedRate(frequency, 0.2 / spectrum.duration_s, refined.coherence)
        rate, std = refined.frequency_hz, refined.std_hz
        score = weigh_comb(replace(spectrum, white=white), Comb("found", rate, reach_ppm=5.0, top_hz=64 * rate)).score
        found.append(FoundPeriod(rate, std, score, chance, lines, refined.coherence))
        mask_comb(white, spectrum, rate, 0.0)
    return tuple(found)


def _blank(white: F32, spectrum: WhiteSpectrum, frequency_hz: float) -> None:
    """Take out the skirts of a drifting source: 0.4 % round every line."""
    for order in range(1, 40):
        centre = order * frequency_hz * spectrum.bins_per_hz
        white[int(0.996 * centre) : int(1.004 * centre) + 2] = 1.0


def refine_rate(
    samples: F32,
    sample_rate_hz: float,
    rate_hz: float,
    spectrum: WhiteSpectrum,
    *,
    top_hz: float = 12000.0,
    span_cycles: float = 0.8,
    again: bool = True,
) -> RefinedRate:
    """Rate and its standard deviation from the phases of all harmonics along the recording.

    Parameters
    ----------
    rate_hz : float
        Start value, right to about the inverse of the length over the number of harmonics [Hz].
    top_hz : float
        Highest harmonic used [Hz].
    span_cycles : float
        Largest correction, in cycles of the fundamental over the whole recording.
    again : bool
        Whether a large correction is followed by one more folding.
    """
    harmonics = int(np.clip(min(top_hz, 0.84 * spectrum.top_hz) / rate_hz, 1, 512))
    per_period = min(
        sample_rate_hz / rate_hz, MOST_NODES
    )  # fewer nodes than samples would fold high lines onto low ones
    bins = int(2 ** np.ceil(np.log2(max(4 * harmonics, per_period, 16))))
    edges, middle = _whole_periods(samples.size, sample_rate_hz / rate_hz)
    sums = fold_spans(samples, rate_hz / sample_rate_hz, bins, edges)
    coefficients = np.fft.rfft(sums / np.diff(edges)[:, None], axis=1)[:, 1 : harmonics + 1]
    orders = np.arange(1, harmonics + 1)
    at = np.minimum((orders * rate_hz * spectrum.bins_per_hz).astype(int), spectrum.floor.size - 1)
    noise = np.maximum(spectrum.floor[at].astype(float), _quietest(spectrum))
    noise *= 1.0 / (0.375 * samples.size) / samples.size  # Hann window's power; spectrum to mean-coefficient units
    duration = samples.size / sample_rate_hz
    power_now = np.abs(coefficients.mean(0)) ** 2 / noise
    offset = _best_slope(coefficients, orders, noise, middle, power_now, span_cycles)
    turned = coefficients * np.exp(-2j * np.pi * offset * middle[:, None] * orders)
    mean = turned.mean(0)
    bound = _bound(mean, orders, noise)
    left, std = _line_through_blocks(turned, mean, orders, noise, middle)
    std = max(bound, std) / duration
    refined_hz = rate_hz + (offset + left) / duration
    if again and abs(refined_hz / rate_hz - 1) > FOLD_AGAIN:  # a start so far off blurs every block
        span = 0.5 * span_cycles
        return refine_rate(samples, sample_rate_hz, refined_hz, spectrum, top_hz=top_hz, span_cycles=span, again=False)
    steady = float((np.abs(mean) ** 2).sum() / (np.abs(turned) ** 2).mean(0).sum())
    return RefinedRate(refined_hz, float(std), steady)


def _quietest(spectrum: WhiteSpectrum) -> float:
    """Lowest floor that a line is weighed by: above its band a codec leaves next to none, and the rounding there is no clock."""
    low, high = (int(hz * spectrum.bins_per_hz) for hz in QUIET_BAND_HZ)
    return QUIET_SHARE * float(np.median(spectrum.floor[low:high])) if spectrum.floor.size > high else 0.0


def _whole_periods(count: int, period: float) -> tuple[NDArray[np.int64], F64]:
    """Edges of up to 16 blocks of whole periods [samples], and their middles in parts of the recording from its middle."""
    periods = int(count / period)
    blocks = int(np.clip(periods, 3, REFINE_BLOCKS))
    per_block = max(periods // blocks, 1)
    edges = np.minimum(np.rint(np.arange(blocks + 1) * per_block * period), count).astype(np.int64)
    return edges, np.asarray(0.5 * (edges[:-1] + edges[1:]) / count - 0.5)


def _bound(mean: NDArray[np.complex128], orders: NDArray[np.int64], noise: F64) -> float:
    """Cramér-Rao bound of the cycles gained over the recording [cycles of the fundamental]."""
    strength = np.clip(np.abs(mean) ** 2 / noise - 1, 0, None)
    return float(np.sqrt(6 / max(float((orders**2 * strength).sum()), 1e-3)) / (2 * np.pi))


def _line_through_blocks(
    turned: NDArray[np.complex128],
    mean: NDArray[np.complex128],
    orders: NDArray[np.int64],
    noise: F64,
    middle: F64,
) -> tuple[float, float]:
    """Slope of the blocks' own phases along the recording, and its standard deviation from their scatter [cycles].

    What jitters from period to period, pauses or is disturbed scatters more than noise alone would; the bound knows nothing
    of that. Each block counts by how strongly it shows the mean course. Student's factor for 14 degrees of freedom.
    """
    weight = orders**2 * np.clip(1 - noise / np.maximum(np.abs(mean) ** 2, 1e-300), 0, None) / noise
    seen = (weight * (mean.conj() * turned).real).sum(1)
    usual = float(seen.mean()) + 1e-300
    strength = np.clip(seen / usual, 0.02, None)
    phase = (weight / orders * (mean.conj() * turned).imag).sum(1) / (2 * np.pi * usual * strength)
    centred = middle - (strength * middle).sum() / strength.sum()
    level = (strength * phase).sum() / strength.sum()
    moment = float((strength * centred**2).sum())
    slope = float((strength * centred * phase).sum()) / moment
    rest = phase - level - slope * centred
    variance = float((strength * rest**2).sum()) / (middle.size - 2)
    limit = 0.25 / max(int(orders[-1]), 1)
    return (slope if abs(slope) < limit else 0.0), STUDENT * float(np.sqrt(variance / moment))


def _best_slope(
    coefficients: NDArray[np.complex128],
    orders: NDArray[np.int64],
    noise: F64,
    middle: F64,
    power_now: F64,
    widest: float,
) -> float:
    """Extra cycles of the fundamental over the recording that line the harmonics' phases up best."""
    strong = orders[power_now > 8]
    top = int(strong.max()) if strong.size else int(min(orders.size, 8))
    span, step = min(widest, 40.0 / top), 0.15 / top
    grid = np.arange(-span, span + step, step)

    def score(first: float, step: float, count: int) -> F64:
        return np.asarray(phase_line_scores(coefficients, middle, 1 / (noise * middle.size**2), first, step, count))

    values = score(-span, step, grid.size)
    peak = int(np.clip(np.argmax(values), 1, grid.size - 2))
    for _ in range(2):
        fine = grid[peak] + np.linspace(-1, 1, 9) * step
        values = score(fine[0], step / 4, 9)
        best = int(np.clip(np.argmax(values), 1, 7))
        step /= 4
        grid, peak = np.array([fine[best] + float(vertex(*values[best - 1 : best + 2])) * step]), 0
    return float(grid[0])

"""Repetitions that stand in no table: found blindly, taken off, and the rest heard again.

A comb of lines sits in every finer comb: pulses at 10 Hz put lines on all multiples of 50, 100 and 200 Hz. A name must
therefore survive without the repetitions that only a stranger makes. The strongest repetition of the recording is sought
without being told; if no listed technology has it, its course is subtracted period by period, and what the rest says is
an upper limit for every name. A name that rests on the widths and gaps of bursts is not earned by bursts that keep step with
a stranger: what sends now and then does not keep time.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_kernels import phase_line_scores
from roomfield.signals.bursts import BurstTable
from roomfield.signals.classifier import WITH_MARK, WITHOUT_EVIDENCE, Judgement, judge
from roomfield.signals.cleaning import take_course
from roomfield.signals.combs import CRYSTAL_PPM, DVB_COMBS, TU_HZ
from roomfield.signals.conditioning import Conditioned, condition
from roomfield.signals.features import Evidence, gather, vector
from roomfield.signals.folding import nodes
from roomfield.signals.periodicity import FoundPeriod
from roomfield.signals.tonal_share import tonal_share
from roomfield.signals.tones import TONAL

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

CERTAIN_LOG10 = -12.0
LEAST_LINES = 4
MOST_TAKEN = 3
LEAST_PARTS = 3
MAINS_REACH = 4e-3
CRYSTAL_REACH = 25e-6
STEADY = 0.9
CLOCKED_LINES, CLOCKED_LOG10, CLOCKED_PHASE = 8, -60.0, 0.8
SIDE_LINES = 4
WORTH_A_SECOND_HEARING = 0.05
SHARP = 0.5
LEAST_BURSTS = 8
MOST_BURSTS = 1500
IN_STEP = 0.75
PHASE_PARTS = 64
CERTAIN_RAYLEIGH = 16.0  # log of some thousand rates tried, and one in a thousand
BY_MAINS = "microwave_oven"
BY_BURSTS = (
    "mode_s_1090", "smart_meter", "ism_remote", "zigbee", "lora", "bluetooth_le_adv", "bluetooth_classic", "wifi_data",
)  # fmt: skip

# Rates that the listed technologies repeat at, their multiframes and sub-frames included [Hz]; sources as in the table of
# technologies, multiframes from the same standards (from memory): GSM 26, 51 and 104 frames, TETRA 18 frames, DMR 360 ms.
LISTED_HZ = (
    25.0, 50.0, 100.0, 200.0, 400.0, 500.0, 1000.0, 2000.0,
    *(k / 0.12 for k in (1, 2, 13, 26, 52, 208)), 26 / 0.12 / 51,
    *(k / 1.02 for k in range(2, 31)), 12 / 0.17, 18000.0,
    1 / 0.36, 50 / 3,
    400 / 3, 800 / 3, 1600 / 3, 800.0, 1600.0,
    1500.0,
    TU_HZ / 50, TU_HZ / 100, TU_HZ / 200, TU_HZ / 300,
    *(k * comb.base_hz for comb in DVB_COMBS for k in (1, 2, 4)),
)  # fmt: skip
MAINS_HZ = (50.0, 60.0, 100.0, 120.0)


def is_listed(period: FoundPeriod) -> bool:
    """Whether a listed technology or the mains repeats at this rate, within what two clocks may be off."""
    near = CRYSTAL_PPM * 1e-6 + 3 * period.std_hz / period.frequency_hz
    if any(abs(period.frequency_hz / hz - 1) < near for hz in LISTED_HZ):
        return True
    return not keeps_crystal_time(period) and any(abs(period.frequency_hz / hz - 1) < MAINS_REACH for hz in MAINS_HZ)


def keeps_crystal_time(period: FoundPeriod) -> bool:
    """Whether a rate lies nearer to the mains' nominal one than the mains is for one second in twenty, and in phase.

    A grid wanders by some hundred ppm within minutes (common practice, no source).
    """
    near = any(abs(period.frequency_hz / hz - 1) < CRYSTAL_REACH for hz in MAINS_HZ)
    return near and period.coherence > STEADY and period.std_hz < 0.5 * CRYSTAL_REACH * period.frequency_hz


def strangers(periods: Sequence[FoundPeriod]) -> tuple[FoundPeriod, ...]:
    """Certain repetitions of no listed technology that are no side lines of a stronger, listed one."""
    found: list[FoundPeriod] = []
    listed: list[FoundPeriod] = []
    for period in periods:
        if is_listed(period):
            listed.append(period)
        elif period.log10_false_alarm < CERTAIN_LOG10 and period.lines >= LEAST_LINES and not _beside(period, listed):
            found.append(period)
    return tuple(found[:MOST_TAKEN])


def _beside(period: FoundPeriod, listed: Sequence[FoundPeriod]) -> bool:
    """Whether a rate is a small fraction of a multiple of a listed one: what modulation of that one leaves behind."""
    for other in listed:
        for part in range(1, SIDE_LINES + 1):
            ratio = period.frequency_hz / other.frequency_hz * part
            if round(ratio) >= 1 and abs(ratio / round(ratio) - 1) < 2 * CRYSTAL_PPM * 1e-6:
                return True
    return False


def without(data: Conditioned, found: Sequence[FoundPeriod]) -> Conditioned:
    """The recording less the course of each stranger."""
    raw: F32 = data.raw.copy()
    for period in found:
        course = nodes(raw, data.sample_rate_hz, 1 / period.frequency_hz)
        parts = listed_parts(period)
        if parts:
            course = course - shared(course, parts)
            course -= course.mean()
        take_course(raw, data.sample_rate_hz, 1 / period.frequency_hz, course)
    return condition(raw, data.sample_rate_hz, known_top_hz=data.top_hz)


def listed_parts(period: FoundPeriod) -> int:
    """The least number of parts, at least three, in which a listed rate divides the stranger's period; 0 if none does."""
    near = CRYSTAL_PPM * 1e-6
    counts = [round(hz / period.frequency_hz) for hz in LISTED_HZ]
    pairs = zip(LISTED_HZ, counts, strict=True)
    inside = [n for hz, n in pairs if n >= LEAST_PARTS and abs(hz / (n * period.frequency_hz) - 1) < near]
    return min(inside, default=0)


def shared(course: F64, parts: int) -> F64:
    """What all parts of a period have in common, their median: a listed emitter that repeats within the stranger's period."""
    size = -(-course.size // parts)
    at = np.arange(size * parts) * (course.size / (size * parts))
    fine = np.interp(at, np.arange(course.size), course, period=course.size)
    common = np.tile(np.median(fine.reshape(parts, size), axis=0), parts)
    return np.asarray(np.interp(np.arange(course.size), at, common, period=course.size))


def burst_rate(bursts: BurstTable) -> float:
    """An unlisted rate with which nearly all bursts keep step [Hz]; 0 if there is none.

    The share that keeps step is the length of the mean of the bursts' phases (Rayleigh), sought from 2 to 60 Hz.
    """
    starts = bursts.starts_s[bursts.sharpness > SHARP][:MOST_BURSTS]
    if starts.size < LEAST_BURSTS:
        return 0.0
    span = float(starts[-1] - starts[0])
    step = 0.2 / max(span, 0.1)
    rates = np.arange(2.0, 60.0, step)
    bursts_at, one = np.ones((starts.size, 1), np.complex128), np.array([1 / starts.size**2])
    together = np.sqrt(phase_line_scores(bursts_at, starts - starts[0], one, 2.0, step, rates.size))
    best = int(np.argmax(together))
    rate = float(rates[best])
    listed = any(abs(rate / hz - 1) < 0.3 / max(span * rate, 1.0) for hz in LISTED_HZ)
    periods_hit = np.unique(np.round((starts - starts[0]) * rate)).size
    certain = periods_hit * together[best] ** 2 > CERTAIN_RAYLEIGH
    return rate if together[best] > IN_STEP and certain and not listed else 0.0


def share_in_step(bursts: BurstTable, rate_hz: float) -> float:
    """Share of the crisp bursts that start in at most three narrow parts of a period."""
    starts = bursts.starts_s[bursts.sharpness > SHARP]
    if starts.size < LEAST_BURSTS:
        return 0.0
    counts, _ = np.histogram(starts * rate_hz % 1.0, PHASE_PARTS, (0.0, 1.0))
    pairs = np.sort(counts + np.roll(counts, 1))[::-1]
    return min(float(pairs[0:5:2].sum()) / starts.size, 1.0)


def _keeps_time(evidence: Evidence, found: Sequence[FoundPeriod]) -> bool:
    in_step = any(share_in_step(evidence.bursts, p.frequency_hz) > IN_STEP for p in found)
    return in_step or burst_rate(evidence.bursts) > 0


def hear_again(evidence: Evidence, first: Judgement, periods: Sequence[FoundPeriod]) -> Judgement:
    """The first judgement, each name limited by what is said of the recording without the strangers.

    What the mains keys does not keep a crystal's time.
    """
    found = strangers(periods)
    if max(first.chances.values()) < WORTH_A_SECOND_HEARING:
        return Judgement(first.chances, max(first.transmitter, _steady_comb(evidence, found)))
    limits = judge(vector(gather(without(evidence.conditioned, found)))).chances if found else first.chances
    if max(first.chances[name] for name in BY_BURSTS) > WITHOUT_EVIDENCE and _keeps_time(evidence, found):
        limits = limits | {name: min(limits[name], WITHOUT_EVIDENCE) for name in BY_BURSTS}
    if any(keeps_crystal_time(p) or _holds_mains(p) for p in (*periods[:1], *found)):
        limits = limits | {BY_MAINS: min(limits[BY_MAINS], WITHOUT_EVIDENCE)}
    chances = {name: min(chance, limits[name]) for name, chance in first.chances.items()}
    return Judgement(chances, max(first.transmitter, _steady_comb(evidence, found)))


def _holds_mains(period: FoundPeriod) -> bool:
    """Whether lines of the mains lie on a stranger's own comb: what they show is the stranger's."""
    ratios = [hz / period.frequency_hz for hz in MAINS_HZ]
    return not is_listed(period) and any(r > 1.5 and abs(r / round(r) - 1) < CRYSTAL_REACH for r in ratios)


def _steady_comb(evidence: Evidence, found: Sequence[FoundPeriod]) -> float:
    """A comb of many lines that keeps its phase throughout is made by a clock: no voice or instrument holds a note so."""
    made_by_clock = any(
        p.lines >= CLOCKED_LINES and p.log10_false_alarm < CLOCKED_LOG10 and p.coherence > CLOCKED_PHASE for p in found
    )
    return WITH_MARK if made_by_clock and tonal_share(evidence.spectrum) < TONAL else 0.0

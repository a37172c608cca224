"""Repetitions that stand in no table: found blindly, taken off, and the rest heard again.

A comb of lines sits in every finer comb: pulses at 10 Hz put lines on all multiples of 50, 100 and 200 Hz. A name must
therefore survive without the repetitions that only a stranger makes. The strongest repetition of the recording is sought
without being told; if no listed technology has it, its course is subtracted period by period, and what the rest says is
an upper limit for every name. Neither do lines earn a name that are the stranger's own: each name's combs must stand out where
those are taken from the spectrum, whatever the subtraction of uneven pulses leaves. A name that rests on the widths and gaps of bursts is not earned by bursts that keep step with
a stranger: what sends now and then does not keep time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_kernels import phase_line_scores
from roomfield.signals.bursts import BurstTable
from roomfield.signals.classifier import LIVES_ON, WITH_MARK, WITHOUT_EVIDENCE, Judgement, judge
from roomfield.signals.cleaning import CERTAIN, take_course
from roomfield.signals.combs import CRYSTAL_PPM, DVB_COMBS, TU_HZ, Comb, mask_comb, weigh_comb
from roomfield.signals.conditioning import Conditioned, condition
from roomfield.signals.features import COMBS, FRAME, Evidence, gather, vector
from roomfield.signals.folding import nodes
from roomfield.signals.periodicity import FoundPeriod
from roomfield.signals.spectrum import WhiteSpectrum
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
STEP_CYCLES, ONE_IN = 0.2, 1e-3
FAST_HZ = (60.0, 1500.0)
AS_WELL = 0.98  # pulses keep step with the multiples of their rate too
BY_PULSES = "mode_s_1090"
BY_SLOTS, SLOT_COMBS = "bluetooth_classic", ("bt133", "bt266", "bt800", "bt1600")
BY_MAINS = "microwave_oven"
NARROWEST_MAINS_S, CERTAIN_SHAPE = 2.5e-3, 10.0
NEVER_SILENT = "dvbt"
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

# Combs that must stand out without a stranger's lines, for each name.
RESTS_ON: dict[str, tuple[Comb, ...]] = {
    name: tuple(COMBS[comb] for comb in combs) for name, combs in LIVES_ON.items()
} | {"dvbt": DVB_COMBS}
MANY_LINES = 16  # with fewer a fraction of a listed rate is found at times
STANDS_OUT, SKIRTS, SAME_LINE_BINS, COMPARABLE = 6.0, 0.125, 3, 0.1


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
    rate, together, tried = _kept_step(starts, 2.0, 60.0)
    listed = any(abs(rate / hz - 1) < 0.3 / max(span * rate, 1.0) for hz in LISTED_HZ)
    periods_hit = np.unique(np.round((starts - starts[0]) * rate)).size
    certain = periods_hit * together**2 > np.log(tried / ONE_IN)
    return rate if together > IN_STEP and certain and not listed else 0.0


def _kept_step(starts: F64, low_hz: float, high_hz: float) -> tuple[float, float, float]:
    """The lowest rate that does about as well as the best, the length of the phases' mean there, and how many rates differ."""
    along = starts - starts[0]
    step = STEP_CYCLES / max(float(along[-1]), 0.1)
    rates = np.arange(low_hz, high_hz, step)
    bursts_at, one = np.ones((starts.size, 1), np.complex128), np.array([1 / starts.size**2])
    together = np.sqrt(phase_line_scores(bursts_at, along, one, low_hz, step, rates.size))
    first = int(np.argmax(together > AS_WELL * together.max()))
    best = first + int(np.argmax(together[first : first + 3]))
    return float(rates[best]), float(together[best]), STEP_CYCLES * rates.size


def fast_burst_rate(bursts: BurstTable) -> float:
    """A rate of 60 to 1500 Hz with which nearly all bursts keep step, sought about the inverse of their short gaps [Hz]; or 0."""
    starts = bursts.starts_s[bursts.sharpness > SHARP][:MOST_BURSTS]
    if starts.size < LEAST_BURSTS:
        return 0.0
    rate_hz = 1 / max(float(np.quantile(np.diff(starts), 0.1)), 1e-6)
    if not FAST_HZ[0] < rate_hz < FAST_HZ[1]:
        return 0.0
    rate, together, tried = _kept_step(starts, 0.97 * rate_hz, 1.03 * rate_hz)
    certain = starts.size * together**2 > np.log(max(tried, 1.0) / ONE_IN)
    return rate if together > IN_STEP and certain else 0.0


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
    rest = gather(without(evidence.conditioned, found)) if found else evidence
    limits = judge(vector(rest)).chances if found else first.chances
    if max(first.chances[name] for name in BY_BURSTS) > WITHOUT_EVIDENCE and _keeps_time(evidence, found):
        limits = limits | {name: min(limits[name], WITHOUT_EVIDENCE) for name in BY_BURSTS}
    unearned = [
        name for name in RESTS_ON if first.chances[name] > WITHOUT_EVIDENCE and _all_stranger(name, evidence, found)
    ]
    if found and first.chances[BY_SLOTS] > WITHOUT_EVIDENCE and _no_slots(evidence, rest, found):
        unearned.append(BY_SLOTS)
    if first.chances[BY_PULSES] > WITHOUT_EVIDENCE and fast_burst_rate(evidence.bursts) > 0:
        unearned.append(BY_PULSES)
    crystal = any(keeps_crystal_time(p) or _holds_mains(p) for p in (*periods[:1], *found))
    if crystal or _too_brief_for_mains(evidence):
        unearned.append(BY_MAINS)
    if any(share_in_step(evidence.bursts, p.frequency_hz) > IN_STEP for p in periods[:1] if is_broadcast(p)):
        unearned.append(NEVER_SILENT)
    limits = limits | {name: min(limits[name], WITHOUT_EVIDENCE) for name in unearned}
    chances = {name: min(chance, limits[name]) for name, chance in first.chances.items()}
    return Judgement(chances, max(first.transmitter, _steady_comb(evidence, found)))


def _all_stranger(name: str, evidence: Evidence, found: Sequence[FoundPeriod]) -> bool:
    """Whether none of a name's combs stands out once the strangers' own lines are taken from the spectrum."""
    combs = RESTS_ON[name]
    if name == NEVER_SILENT:
        combs = (max(combs, key=lambda comb: evidence.combs[comb.name].score),)
    return bool(found) and not any(earned(comb, evidence.spectrum, found) for comb in combs)


def _no_slots(evidence: Evidence, rest: Evidence, found: Sequence[FoundPeriod]) -> bool:
    """Whether Bluetooth's combs are the strangers' own, and no bursts are left without them that could lie on its slots."""
    left = int(np.count_nonzero(rest.bursts.sharpness > SHARP))
    return left < LEAST_BURSTS and not any(earned(COMBS[name], evidence.spectrum, found) for name in SLOT_COMBS)


def earned(comb: Comb, spectrum: WhiteSpectrum, found: Sequence[FoundPeriod]) -> bool:
    """Whether a comb stands out without the strangers' lines, by more than their skirts: an eighth of what it was."""
    with_them = weigh_comb(spectrum, comb).score
    alone = weigh_comb(_less_lines(spectrum, comb, found), comb).score if with_them >= STANDS_OUT else 0.0
    return alone >= max(STANDS_OUT, SKIRTS * with_them)


def _less_lines(spectrum: WhiteSpectrum, comb: Comb, found: Sequence[FoundPeriod]) -> WhiteSpectrum:
    """The spectrum less the lines of strangers, save where those beside the comb's are faint: modulation leaves such."""
    white = spectrum.white.copy()
    mine = comb.lines_hz(spectrum.top_hz)
    if mine.size == 0:
        return spectrum
    for period in (p for p in found if p.lines >= MANY_LINES):
        lines = np.arange(1, max(int(spectrum.top_hz / period.frequency_hz), 2)) * period.frequency_hz
        at = np.minimum(np.rint(lines * spectrum.bins_per_hz).astype(int), white.size - 1)
        after = np.clip(np.searchsorted(mine, lines), 0, mine.size - 1)
        apart = np.minimum(np.abs(mine[after] - lines), np.abs(mine[np.maximum(after - 1, 0)] - lines))
        shared = apart < np.maximum(SAME_LINE_BINS / spectrum.bins_per_hz, comb.reach_ppm * 1e-6 * lines)
        power = spectrum.white[at]
        if not shared.any() or shared.all() or np.median(power[~shared]) > COMPARABLE * np.median(power[shared]):
            mask_comb(white, spectrum, period.frequency_hz, 0.0)
    return replace(spectrum, white=white)


def _too_brief_for_mains(evidence: Evidence) -> bool:
    """Whether what keeps time with the mains is on for less than a magnetron is in a half wave (some 5 of 10 ms).

    At 50 Hz bases click too: beside their certain frame nothing is said.
    """
    best = max((50, 60), key=lambda hz: evidence.shapes[f"mains{hz}"].strength)
    if best == MAINS_HZ[0] and max(evidence.combs[name].score for name in FRAME.combs) > CERTAIN:
        return False
    shape = evidence.shapes[f"mains{best}"]
    return shape.strength > CERTAIN_SHAPE and shape.width_s < NARROWEST_MAINS_S


def is_broadcast(period: FoundPeriod) -> bool:
    """Whether a rate is one of a broadcast multiplex' symbols; its carrier is on all the time and has no bursts."""
    near = CRYSTAL_PPM * 1e-6
    return any(abs(period.frequency_hz / (k * comb.base_hz) - 1) < near for comb in DVB_COMBS for k in (1, 2, 4))


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

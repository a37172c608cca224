"""From a recording to the ear's answer."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_measures import check, measure, power_course
from roomfield.signals.classifier import Judgement, shipped_forest
from roomfield.signals.conditioning import condition
from roomfield.signals.features import FOLDS, FRAME, Evidence, frame_with_lows, gather
from roomfield.signals.hearing import (
    CLAIM,
    BurstSummary,
    FoldedEnvelope,
    Heard,
    HeardSpan,
    Hearing,
    Measured,
    MeterAudio,
    OmittedSpan,
    Periodicity,
    SpectrumPicture,
)
from roomfield.signals.long_recordings import BlockAnswer, combine, hear_blocks
from roomfield.signals.periodicity import FoundPeriod, find_periods
from roomfield.signals.quality import warnings
from roomfield.signals.reasons import explain
from roomfield.signals.recorder_clock import Clock, clock_sentence, recorder_clock
from roomfield.signals.recording import AudioSource, open_source
from roomfield.signals.strangers import hear_again, strangers
from roomfield.signals.tones import judgement
from roomfield.signals.verdict import answer_for, verdict_text
from roomfield.signals.width_reasons import WIDTH_FOLDS

MENTION = 0.1
STILL_OPEN = 0.02
CERTAIN_CLAIM = 0.99
TABLE_ROWS = 2000
PICTURE_BANDS = 800
FOLDS_SHOWN = {plan.name: plan.period_s for plan in (FRAME, *FOLDS)}
SHOWN_FOR = {
    "frame": ("dect", "lte_fdd", "lte_tdd", "nr_tdd", "nr_fdd", "nr_ue_tdd"), "gsm": ("gsm",),
    "bt": ("bluetooth_classic",), "tetra": ("tetra",), "sixty": ("dmr",), "beacon": ("wifi_beacon", "wifi_data"),
    "mains50": ("microwave_oven",), "mains60": ("microwave_oven",),
}  # fmt: skip


def analyse(
    recording: str | Path | NDArray[np.floating],
    *,
    sample_rate_hz: float | None = None,
    meter_audio: MeterAudio | None = None,
    processes: int | None = None,
) -> Hearing:
    """Hear a recording: bursts, repetitions, technologies with probability and evidence.

    Parameters
    ----------
    recording : path or ndarray, shape (n,) or (n, channels)
        WAV, FLAC, OGG or MP3 file (M4A with the extra), or samples.
    sample_rate_hz : float, optional
        Rate of samples given as an array [Hz].
    meter_audio : MeterAudio, optional
        Detector law and coupling; without it no quantity is measured.
    processes : int, optional
        Processes for files of more than about 100 s; all cores if left out.

    Returns
    -------
    Hearing

    Raises
    ------
    InputError, FormatError, RangeError
        If the recording cannot be used; nothing is half done.
    """
    if meter_audio is not None:
        check(meter_audio)
    source = open_source(recording, sample_rate_hz)
    cuts = source.cuts()
    if len(cuts) == 1:
        data = condition(source.read(*cuts[0]), source.sample_rate_hz)
        evidence = gather(data)
        found = judgement(evidence)
        block = BlockAnswer(
            0.0, source.duration_s, found.chances, data.clipped_fraction, data.hum_hz, found.transmitter
        )
        return _answer(source, found, [block], evidence, meter_audio, {})
    answers = hear_blocks(source, processes or os.cpu_count() or 1)
    together = combine(answers)
    chances = together.chances
    claimed = [name for name, chance in chances.items() if chance >= CLAIM]
    best = max(answers, key=lambda a: sum(a.chances[n] for n in claimed or a.chances))
    elsewhere = _explained_elsewhere(source, chances, answers, best, claimed)
    return _answer(source, together, answers, _evidence_of(source, best), meter_audio, elsewhere)


def _evidence_of(source: AudioSource, block: BlockAnswer) -> Evidence:
    rate = source.sample_rate_hz
    return gather(condition(source.read(round(block.start_s * rate), round(block.end_s * rate)), rate))


def _explained_elsewhere(
    source: AudioSource, chances: dict[str, float], answers: list[BlockAnswer], best: BlockAnswer, claimed: list[str]
) -> dict[str, Heard]:
    """Reasons for claims that the main block does not show, each from the block that shows it best."""
    groups: dict[int, list[str]] = {}
    for name in claimed:
        if best.chances[name] < CLAIM:
            index = max(range(len(answers)), key=lambda i: answers[i].chances[name])
            groups.setdefault(index, []).append(name)
    found = {}
    for index, names in groups.items():
        evidence = _evidence_of(source, answers[index])
        found.update({name: explain(name, chances[name], evidence, full=True) for name in names})
    return found


def _answer(
    source: AudioSource,
    first: Judgement,
    answers: list[BlockAnswer],
    evidence: Evidence,
    meter: MeterAudio | None,
    elsewhere: dict[str, Heard],
) -> Hearing:
    data = evidence.conditioned
    repetitions = find_periods(data.samples, data.sample_rate_hz, evidence.spectrum)
    unlisted = strangers(repetitions)
    judged = hear_again(evidence, first, repetitions)
    ordered = sorted(judged.chances.items(), key=lambda item: -item[1])
    heard = tuple(elsewhere.get(n) or explain(n, p, evidence, full=p >= MENTION) for n, p in ordered)
    heard = tuple(_still_open(h, judged.chances) for h in heard)
    periods = _periods(repetitions, heard, unlisted)
    bursts = _bursts(evidence)
    claimed = tuple(h for h in heard if h.claimed)
    clipped, clock = float(np.mean([a.clipped for a in answers])), recorder_clock(claimed)
    answer = answer_for(heard, periods, evidence, judged.transmitter)
    return Hearing(
        source=source.name,
        duration_s=source.duration_s,
        sample_rate_hz=source.sample_rate_hz,
        verdict=verdict_text(answer, heard, evidence.duration_s),
        technologies=heard,
        periodicities=periods,
        bursts=bursts,
        profiles=_profiles(evidence, claimed),
        spectrum=_picture(evidence),
        excluded=_loud_spans(evidence),
        clipped_fraction=clipped,
        hum_hz=next((a.hum_hz for a in answers if a.hum_hz is not None), None),
        measured=None if meter is None else _measured(evidence, claimed, meter),
        unknowns=_unknowns(meter, answers, clock),
        answer=answer,
        transmitter=judged.transmitter,
        warnings=warnings(data, evidence.spectrum, source.sample_rate_hz, source.duration_s, clipped),
        clock_ppm=None if clock is None else (clock.ppm, clock.std_ppm),
        span_s=evidence.duration_s,
        course=_course(answers, {h.name for h in claimed}),
    )


def _course(answers: list[BlockAnswer], claimed: set[str]) -> tuple[HeardSpan, ...]:
    """Each stretch that was heard in full, with what the whole recording claims and what it shows itself."""
    if len(answers) < 2:
        return ()
    return tuple(
        HeardSpan(a.start_s, a.end_s, {n: p for n, p in a.chances.items() if n in claimed or p >= CLAIM})
        for a in answers
    )


def _still_open(heard: Heard, chances: dict[str, float]) -> Heard:
    """The technology with those alone that this recording does not part from it."""
    names = heard.indistinguishable_from if heard.probability < CERTAIN_CLAIM else ()
    return replace(heard, indistinguishable_from=tuple(n for n in names if chances.get(n, 0.0) >= STILL_OPEN))


def _periods(
    repetitions: tuple[FoundPeriod, ...], heard: tuple[Heard, ...], unlisted: tuple[FoundPeriod, ...]
) -> tuple[Periodicity, ...]:
    """Repetitions found without being told, each with the technologies that explain it, strongest first."""
    known = [(rate.frequency_hz, h.name, rate.label) for h in heard if h.claimed for rate in h.rates]
    return tuple(_named(p, [] if p in unlisted else known) for p in repetitions)


def _named(found: FoundPeriod, known: list[tuple[float, str, str]]) -> Periodicity:
    names, label = [], ""
    for rate, name, words in known:
        ratio = found.frequency_hz / rate
        near = [n / m for n in (1, 2, 3, 4, 5, 6, 8) for m in (1, 2, 3, 4, 5, 6, 18, 24, 26, 52)]
        if min(abs(ratio / value - 1) for value in near) < 4e-4:
            names.append(name)
            label = label or (words if abs(ratio - 1) < 4e-4 else f"side lines of {words}")
    if not names and min(abs(found.frequency_hz / mains - 1) for mains in (50.0, 60.0, 100.0, 120.0)) < 4e-3:
        names, label = ["mains"], "mains hum"
    return Periodicity(
        found.frequency_hz, found.std_hz, found.score, found.log10_false_alarm, found.lines, tuple(names), label
    )


def _bursts(evidence: Evidence) -> BurstSummary:
    table = evidence.bursts
    keep = (table.sharpness > 0.35) | (table.scales > 1)
    widths, heights = table.widths_s[keep], table.heights[keep]
    low, mid, high = np.quantile(widths, [0.1, 0.5, 0.9]) if widths.size else (0.0, 0.0, 0.0)
    return BurstSummary(
        count=int(widths.size),
        per_second=float(widths.size / evidence.duration_s),
        width_quantiles_s=(float(low), float(mid), float(high)),
        height_median=float(np.median(heights)) if heights.size else 0.0,
        starts_s=table.starts_s[keep][:TABLE_ROWS],
        widths_s=widths[:TABLE_ROWS],
        heights=heights[:TABLE_ROWS],
    )


def _profiles(evidence: Evidence, claimed: tuple[Heard, ...]) -> tuple[FoldedEnvelope, ...]:
    wanted = {h.name for h in claimed}
    shown = []
    for name, levels in evidence.profiles.items():
        if wanted & set(SHOWN_FOR.get(name, ())):
            period = FOLDS_SHOWN.get(name) or 1 / float(name.removeprefix("mains"))
            shown.append(FoldedEnvelope(name, period, frame_with_lows(evidence) if name == FRAME.name else levels))
    return tuple(shown)


def _picture(evidence: Evidence) -> SpectrumPicture:
    """Strongest line over the floor in bands of equal ratio from 2 Hz up."""
    white = evidence.spectrum.white
    edges = np.unique(np.geomspace(2.0 * evidence.spectrum.bins_per_hz, white.size, PICTURE_BANDS + 1).astype(int))
    tops = np.maximum.reduceat(white, edges[:-1])
    centres = 0.5 * (edges[:-1] + edges[1:]) / evidence.spectrum.bins_per_hz
    return SpectrumPicture(centres, np.round(10 * np.log10(np.maximum(tops, 1e-3)).astype(float), 2))


def _loud_spans(evidence: Evidence) -> tuple[OmittedSpan, ...]:
    """Stretches of 0.1 s in which low sound without edges towers over the rest: handling or room sound."""
    data = evidence.conditioned
    step = int(0.1 * data.sample_rate_hz)
    count = data.samples.size // step
    if count < 10:
        return ()
    rows = data.samples[: count * step].reshape(count, step)
    slow = rows[:, : step // 16 * 16].reshape(count, -1, 16).mean(2).std(1)
    fast = np.diff(rows, axis=1).std(1)
    loud = (slow > 8 * np.median(slow)) & (fast < 2.5 * np.median(fast))
    edges = np.flatnonzero(np.diff(np.r_[0, loud.astype(int), 0]))
    return tuple(
        OmittedSpan(0.1 * a, 0.1 * b, "handling or room sound") for a, b in zip(edges[::2], edges[1::2], strict=True)
    )


def _measured(evidence: Evidence, claimed: tuple[Heard, ...], meter: MeterAudio) -> Measured:
    data = evidence.conditioned
    shares = {}
    for heard in claimed:
        if heard.name in WIDTH_FOLDS and heard.rates:
            fold_name = next((k for k, v in SHOWN_FOR.items() if heard.name in v), None)
            if fold_name in FOLDS_SHOWN and fold_name is not None:
                levels = frame_with_lows(evidence) if fold_name == FRAME.name else evidence.profiles[fold_name]
                course, rate = np.tile(levels, 8), levels.size / FOLDS_SHOWN[fold_name]
                shares[heard.name] = float(power_course(course, rate, replace(meter, known_level_w_m2=None)).mean())
    return measure(data.raw, data.sample_rate_hz, meter, shares)


def _unknowns(meter: MeterAudio | None, answers: list[BlockAnswer], clock: Clock | None) -> tuple[str, ...]:
    out = [clock_sentence(clock)]
    if meter is None:
        out.append("duty cycle, crest factor and power shares: the detector law and coupling were not given")
    elif meter.known_level_w_m2 is None:
        out.append("absolute level: no simultaneous reading was given")
    if max(a.clipped for a in answers) > 1e-3:
        out.append("heights: the recording is clipped")
    return tuple(out)


def warm_up() -> None:
    """Compile the inner loops and load the parameters, so that the first answer comes quickly.

    Two seconds of pulses that come as time slots of a frame do, in noise: every detector finds something to work on.
    """
    shipped_forest()
    times = np.arange(96000) / 48000.0
    sound = np.random.default_rng(0).standard_normal(times.size) + 6.0 * (times * 26 / 0.12 % 1.0 < 0.125)
    evidence = gather(condition(1e-2 * sound, 48000.0))
    judgement(evidence)
    find_periods(evidence.conditioned.samples, 48000.0, evidence.spectrum)

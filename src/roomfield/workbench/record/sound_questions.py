"""Questions to sound beyond one answer: two recordings held against each other, and a long one along time."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from roomfield.errors import InputError
from roomfield.references.technologies import technology
from roomfield.show.figures.presence import PresenceRow, presence
from roomfield.show.phrase import Told
from roomfield.show.sound_comparison import ShownActivity, ShownClock, ShownRecordingComparison
from roomfield.show.words import Words
from roomfield.signals.hearing import CLAIM, Hearing, plain
from roomfield.signals.two_recordings import ActivityChange, ClockMatch, RecordingComparison
from roomfield.signals.two_recordings import compare as hold_together
from roomfield.workbench.record.recording_analysis import listen

SPARSE = 0.15
"""A technology that no stretch shows with more than this has no row."""


def compare_recordings(
    first: str | Path | Hearing, second: str | Path | Hearing, *, one_recorder: bool = True
) -> RecordingComparison:
    """Two recordings held against each other: whose clock it is, whether more is sent, what came and went.

    Parameters
    ----------
    first, second : str, Path or Hearing
        The earlier recording and the later, or what was heard in them.
    one_recorder : bool
        Whether both were made with the same recorder.

    Raises
    ------
    InputError
        If a file cannot be read or holds no sound.

    Examples
    --------
    >>> import numpy as np, roomfield as rf
    >>> moment = np.arange(8 * 48000) / 48000
    >>> noise = 1e-3 * np.random.default_rng(1).standard_normal(len(moment))
    >>> heard = rf.listen((np.mod(moment, 0.1024) < 1e-3) + noise, sample_rate_hz=48000.0)
    >>> rf.compare_recordings(heard, heard).new
    ()
    """
    heard = [one if isinstance(one, Hearing) else listen(one) for one in (first, second)]
    return hold_together(*heard, one_recorder=one_recorder)


def shown_comparison(found: RecordingComparison) -> ShownRecordingComparison:
    """The comparison as every door shows it."""
    return ShownRecordingComparison(
        _titles(found.gone),
        _titles(found.new),
        _titles(found.both),
        tuple(_clock(one) for one in found.clocks),
        tuple(_activity(one) for one in found.activity),
        found.recorder.ppm,
        found.recorder.std_ppm,
        _titles(found.recorder.told_by),
    )


def _titles(names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(technology(name).title for name in names)


def _clock(one: ClockMatch) -> ShownClock:
    low, high = one.interval_ppm
    return ShownClock(technology(one.name).title, one.difference_ppm, low, high, one.odds, one.verdict)


def _activity(one: ActivityChange) -> ShownActivity:
    title = technology(one.name).title
    return ShownActivity(title, one.measure, one.first, one.second, one.low, one.high, one.verdict)


def plain_comparison(found: RecordingComparison, words: Words) -> dict[str, Any]:
    """The comparison as plain values with its sentences."""
    answer: dict[str, Any] = plain(found)
    for row, one in zip(answer["clocks"], found.clocks, strict=True):
        row |= {"verdict": one.verdict, "interval_ppm": list(one.interval_ppm)}
    for row, change in zip(answer["activity"], found.activity, strict=True):
        row["verdict"] = change.verdict
    return answer | {"sentences": [words.text(sentence) for sentence in shown_comparison(found).sentences()]}


def presence_figure(hearing: Hearing, words: Words) -> str:
    """Which technology was there when, as SVG.

    Raises
    ------
    InputError
        If the recording is so short that it was heard at once.
    """
    if not hearing.course:
        raise InputError(
            f"the recording lasts {hearing.duration_s:.0f} s and was heard at once: nothing to draw along time.",
            where=hearing.source,
            mend="Record longer than half a minute.",
        )
    names = {n for span in hearing.course for n, chance in span.chances.items() if chance >= CLAIM}
    names |= {h.name for h in hearing.claimed}
    first = {n: next((s.start_s for s in hearing.course if s.chances.get(n, 0.0) >= CLAIM), 1e9) for n in names}
    rows = [
        PresenceRow(words.text(Told(technology(name).title)), [span.chances.get(name, 0.0) for span in hearing.course])
        for name in sorted(names, key=lambda n: first[n])
        if max(span.chances.get(name, 0.0) for span in hearing.course) > SPARSE
    ]
    return presence([(s.start_s, s.end_s) for s in hearing.course], rows, hearing.duration_s, words)

"""Recordings as the report shows them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.references.technologies import technology
from roomfield.show.chapters import EnvelopeSpectrum, FoldedProfile, HeardEntry, RecordingEntry
from roomfield.show.phrase import Told
from roomfield.signals.hearing import Hearing
from roomfield.survey import Recording
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.recording_analysis import evidence_text, kept_hearing

LEAST_SHOWN = 0.1
MOST_LINES = 6
MOST_POINTS = 240
MOST_ORDERS = 8
STANDS_OUT_DB = 10.0


def recording_entries(job: Job, visit_id: str) -> tuple[RecordingEntry, ...]:
    """Every recording of a visit with what was heard in it.

    Parameters
    ----------
    visit_id : str
        The visit.
    """
    return tuple(
        recording_entry(job, recording, kept_hearing(job, recording))
        for recording in job.survey.current_recordings()
        if recording.visit_id == visit_id
    )


def recording_entry(job: Job, recording: Recording, hearing: Hearing) -> RecordingEntry:
    """One recording as the report shows it."""
    places = {p.id: p.name for p in job.survey.places}
    states = {s.id: s.name for s in job.survey.visit(recording.visit_id).radio_states}
    heard = tuple(
        HeardEntry(
            Told(h.title),
            h.probability,
            Told(evidence_text(h)),
            tuple(Told(technology(name).title) for name in h.indistinguishable_from),
            h in hearing.claimed,
        )
        for h in hearing.technologies
        if h.probability >= LEAST_SHOWN
    )
    return RecordingEntry(
        recording.id,
        places.get(recording.place_id, ""),
        states.get(recording.radio_state_id, recording.radio_state_id),
        hearing.duration_s,
        heard,
        tuple(Told(text) for text in hearing.unknowns),
        Told(hearing.verdict),
        _profile(hearing),
        _spectrum(hearing),
    )


def _profile(hearing: Hearing) -> FoldedProfile | None:
    if not hearing.profiles:
        return None
    first = hearing.profiles[0]
    level = np.asarray(first.levels, dtype=np.float64)
    level = level - level.min()
    top = float(level.max()) or 1.0
    phase = (np.arange(len(level)) + 0.5) / len(level)
    return FoldedProfile(first.period_s, tuple(phase.tolist()), tuple((level / top).tolist()))


def _spectrum(hearing: Hearing) -> EnvelopeSpectrum:
    """The spectrum thinned to its strongest line in each stretch, with marks where a repetition's line stands out."""
    hz, level = np.asarray(hearing.spectrum.frequencies_hz), np.asarray(hearing.spectrum.over_floor_db)
    step = max(1, len(hz) // MOST_POINTS)
    starts = np.arange(0, len(hz), step)
    tops = [int(start + np.argmax(level[start : start + step])) for start in starts]
    marks = [_mark(period.frequency_hz, hz[tops], level[tops]) for period in hearing.periodicities[:MOST_LINES]]
    return EnvelopeSpectrum(
        tuple(hz[tops].tolist()), tuple(level[tops].tolist()), tuple(mark for mark in marks if mark is not None)
    )


def _mark(rate_hz: float, hz: NDArray[np.float64], level_db: NDArray[np.float64]) -> tuple[float, str] | None:
    """The lowest multiple of a rate whose line stands out in the drawing; None if none of the first few does."""
    for order in range(1, MOST_ORDERS + 1):
        nearest = int(np.argmin(np.abs(np.log(hz / (order * rate_hz)))))
        if level_db[nearest] >= STANDS_OUT_DB:
            words = f"{rate_hz:.4g} Hz" if order == 1 else f"{order} × {rate_hz:.4g} Hz"
            return float(hz[nearest]), words
    return None

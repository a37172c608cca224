"""Sound through the door: live chunks, uploaded recordings, and what was heard in those that are kept."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError, UnknownNameError
from roomfield.show.words.message_catalogue import load_words
from roomfield.signals.analysis import warm_up
from roomfield.signals.live import StreamingAnalyser
from roomfield.survey import Recording
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.recording_analysis import HeardWhere, keep_recording, kept_hearing
from roomfield.workbench.record.sound_questions import presence_figure
from roomfield.workbench.record.survey_list import Records, opened

ENDINGS = frozenset({".wav", ".flac", ".ogg", ".oga", ".mp3", ".m4a"})
LONGEST_CHUNK_BYTES = 1 << 20
WAITING_S = 0.005
"""A chunk that comes so soon after an answer lay in a queue: fewer answers are worked out until sound is caught up."""


def samples_of_chunk(chunk: bytes) -> NDArray[np.float32]:
    """Samples that a page sends while it records.

    Parameters
    ----------
    chunk : bytes
        Little-endian 32-bit floats, one channel.

    Raises
    ------
    FormatError
        If it is no whole number of samples, or too long.
    """
    if len(chunk) % 4 or len(chunk) > LONGEST_CHUNK_BYTES:
        raise FormatError("a chunk of sound is broken.", where="stream", mend="Start listening again.")
    return np.frombuffer(chunk, dtype="<f4")


class LiveEar:
    """Listens to a stream of samples.

    Parameters
    ----------
    sample_rate_hz : float
        Rate at which the samples come [Hz].

    Raises
    ------
    RangeError
        If the rate cannot be used.
    """

    def __init__(self, sample_rate_hz: float) -> None:
        self._analyser = StreamingAnalyser(sample_rate_hz)
        warm_up()
        self._returned_at = 0.0

    def hear(self, chunk: bytes) -> dict[str, Any]:
        """The newest answer after one more chunk.

        Parameters
        ----------
        chunk : bytes
            Little-endian 32-bit floats, one channel.

        Raises
        ------
        FormatError
            If it is no whole number of samples, or too long.
        """
        samples = samples_of_chunk(chunk)
        waited = time.monotonic() - self._returned_at < WAITING_S
        answer = self._analyser.push(samples, hurry=waited).to_dict()
        self._returned_at = time.monotonic()
        return answer


def keep_sound(records: Records, survey_id: str, path: Path, where: HeardWhere) -> Recording:
    """Analyse a recording and keep it with the survey.

    Parameters
    ----------
    path : Path
        The file, under the ending that its user gave it, which says the form.
    where : HeardWhere
        Place, visit, meter and radio state.

    Raises
    ------
    FormatError
        If it is no sound file that is read.
    """
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise FormatError(
            f"files ending in {ending or 'nothing'!r} are not read as sound.",
            where=path.name,
            mend="Bring WAV, FLAC, OGG or MP3.",
        )
    return keep_recording(Job(opened(records, survey_id).survey, records), path, where)


def heard_in(records: Records, survey_id: str, recording_id: str, language: str) -> dict[str, Any]:
    """What is heard in a kept recording, as plain values; with a figure along time if it is long.

    Raises
    ------
    UnknownNameError
        If there is no such recording.
    """
    survey = opened(records, survey_id).survey
    found = {recording.id: recording for recording in survey.current_recordings()}
    if recording_id not in found:
        raise UnknownNameError("recording", recording_id, found)
    hearing = kept_hearing(Job(survey, records), found[recording_id])
    return hearing.to_dict() | {"figure": presence_figure(hearing, load_words(language)) if hearing.course else ""}

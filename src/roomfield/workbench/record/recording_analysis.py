"""The ear: what a recording of the meter's audio holds, and its place in the record."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from roomfield import __version__
from roomfield.errors import InputError
from roomfield.signals.analysis import analyse
from roomfield.signals.folder import analyse_folder
from roomfield.signals.hearing import Heard, Hearing, MeterAudio
from roomfield.signals.iq_recording import ENVELOPE_AUDIO, is_iq
from roomfield.survey import DetectorLaw, HeardTechnology, Meter, Recording
from roomfield.workbench.record.editing import new_id
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.visit_choice import visit_asked_or_first

__all__ = [
    "HeardWhere",
    "Hearing",
    "audio_of",
    "evidence_text",
    "heard_technologies",
    "keep_recording",
    "kept_hearing",
    "listen",
    "listen_folder",
]

LEAST_PROBABILITY = 0.02
"""Technologies less likely than this are not written into the record."""
_LAWS = {DetectorLaw.SQUARE: "square", DetectorLaw.LINEAR: "linear", DetectorLaw.LOGARITHMIC: "log"}


@dataclass(frozen=True)
class HeardWhere:
    """Where a recording belongs in the record; empty ids mean the survey's first."""

    place_id: str = ""
    visit_id: str = ""
    meter_id: str = ""
    state_id: str = ""


def audio_of(meter: Meter | None) -> MeterAudio | None:
    """How a meter turns power into sound, if its record tells law and coupling; None otherwise."""
    if meter is None or meter.audio.law is DetectorLaw.UNKNOWN or meter.audio.coupling_hz is None:
        return None
    return MeterAudio(_LAWS[meter.audio.law], meter.audio.coupling_hz, meter.audio.lowpass_hz)


def listen(path: str | Path, meter: Meter | None = None) -> Hearing:
    """What is heard in a recording.

    Parameters
    ----------
    path : str or Path
        WAV, FLAC, OGG or MP3 (M4A with the extra ``m4a``), or I/Q as SigMF (extra ``sigmf``).
    meter : Meter, optional
        Whose audio output it is; without its detector law no quantity can be measured on the sound.

    Raises
    ------
    InputError
        If the file cannot be read or holds no sound.
    """
    audio = ENVELOPE_AUDIO if is_iq(path) else audio_of(meter)
    return _listened(str(path), _content_of(Path(path)), audio)


def _content_of(path: Path) -> str:
    """Digest of a file; empty if there is none, which the reader of sound then says better."""
    if not path.is_file():
        return ""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@lru_cache(maxsize=64)
def _listened(path: str, _content: str, audio: MeterAudio | None) -> Hearing:
    return analyse(path, meter_audio=audio)


def listen_folder(
    folder: str | Path, on_progress: Callable[[float], None] | None = None
) -> list[tuple[str, Hearing | str]]:
    """What is heard in every recording of a folder, over all cores; a bad file gives its sentence.

    Parameters
    ----------
    folder : str or Path
        With sound files, at any depth.
    """
    step = on_progress or (lambda _share: None)
    answers = analyse_folder(folder, progress=lambda done, whole, _newest: step(done / max(whole, 1)))
    return [(str(a.path), a.hearing if a.hearing is not None else a.error or "") for a in answers]


def evidence_text(heard: Heard) -> str:
    """The reasons for one technology in one line."""
    return "; ".join(item.text for item in heard.evidence)


def keep_recording(job: Job, path: str | Path, where: HeardWhere) -> Recording:
    """Analyse a recording and keep it with the survey: the file, and what was heard as an observation.

    Parameters
    ----------
    job : Job
        A survey in a record.
    path : str or Path
        The recording.
    where : HeardWhere
        Place, visit, meter and radio state.

    Raises
    ------
    InputError
        If the survey lies in no record, or has no visit or meter yet.
    """
    if is_iq(path):
        raise InputError(
            "an I/Q recording is two files and is not kept with the survey.",
            where=Path(path).name,
            mend="Listen to it without --keep; --labels writes what was heard beside it.",
        )
    survey = job.survey
    if job.store is None or not survey.visits or not survey.meters:
        raise InputError("the survey has no record, visit or meter yet.", mend="Enter these before the recording.")
    visit = visit_asked_or_first(survey, where.visit_id)
    meter = survey.meter(where.meter_id) if where.meter_id else survey.meters[0]
    if where.place_id:
        survey.place(where.place_id)
    hearing = listen(path, meter)
    item = job.store.media.put(Path(path), file_name=Path(path).name)
    recording = Recording(
        new_id("recording"),
        visit.id,
        meter.id,
        where.state_id or visit.radio_states[0].id,
        item.sha256,
        where.place_id,
        duration_s=hearing.duration_s,
        heard=heard_technologies(hearing),
        unknown_signals=hearing.unknowns,
        analysed_with=f"roomfield {__version__}",
    )
    job.store.append(survey.id, [recording], files=[item])
    return recording


def heard_technologies(hearing: Hearing) -> tuple[HeardTechnology, ...]:
    """What the record keeps of a hearing: every technology that is not practically excluded."""
    return tuple(
        HeardTechnology(h.name, h.probability, evidence_text(h))
        for h in hearing.technologies
        if h.probability >= LEAST_PROBABILITY
    )


def kept_hearing(job: Job, recording: Recording) -> Hearing:
    """The hearing of a kept recording, computed again from the sound.

    Raises
    ------
    IntegrityError
        If the file has changed since it was kept.
    """
    return listen(job.media_path(recording.media_sha256), job.survey.meter(recording.meter_id))

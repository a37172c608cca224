"""All recordings of a folder, over all cores, with progress."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

from roomfield.errors import InputError, RoomfieldError
from roomfield.signals.analysis import analyse
from roomfield.signals.hearing import Hearing, MeterAudio
from roomfield.signals.worker_memory import keep_freed_memory

SUFFIXES = frozenset({".wav", ".flac", ".ogg", ".mp3", ".m4a", ".aac", ".oga", ".aiff", ".aif"})


@dataclass(frozen=True)
class FileAnswer:
    """One file's answer, or the one sentence that says why there is none."""

    path: Path
    hearing: Hearing | None
    error: str | None


def recordings_in(folder: str | Path) -> tuple[Path, ...]:
    """Sound files below a folder, by name.

    Raises
    ------
    InputError
        If there is no such folder or no sound file in it.
    """
    root = Path(folder)
    if not root.is_dir():
        raise InputError("there is no such folder.", where=str(root), mend="Check the name.")
    found = tuple(sorted(p for p in root.rglob("*") if p.suffix.lower() in SUFFIXES and p.is_file()))
    if not found:
        raise InputError("the folder holds no sound files.", where=str(root), mend="Put WAV, FLAC, OGG or MP3 there.")
    return found


def _one(path: Path, meter_audio: MeterAudio | None) -> FileAnswer:
    try:
        return FileAnswer(path, analyse(path, meter_audio=meter_audio, processes=1), None)
    except RoomfieldError as fault:
        return FileAnswer(path, None, fault.sentence())


def analyse_folder(
    folder: str | Path,
    *,
    meter_audio: MeterAudio | None = None,
    processes: int | None = None,
    progress: Callable[[int, int, FileAnswer], None] | None = None,
) -> tuple[FileAnswer, ...]:
    """Analyse every recording below a folder; a bad file costs only itself.

    Parameters
    ----------
    folder : path
    meter_audio : MeterAudio, optional
        Detector law and coupling, the same for all files.
    processes : int, optional
        All cores if left out.
    progress : callable, optional
        Called with files done, files in all, and the newest answer.

    Returns
    -------
    tuple of FileAnswer
        In the order of the file names.
    """
    paths = recordings_in(folder)
    workers = min(processes or os.cpu_count() or 1, len(paths))
    answers: dict[Path, FileAnswer] = {}

    def note(answer: FileAnswer) -> None:
        answers[answer.path] = answer
        if progress is not None:
            progress(len(answers), len(paths), answer)

    if workers == 1:
        for path in paths:
            note(_one(path, meter_audio))
    else:
        with ProcessPoolExecutor(workers, initializer=keep_freed_memory) as pool:
            for job in as_completed([pool.submit(_one, path, meter_audio) for path in paths]):
                note(job.result())
    return tuple(answers[path] for path in paths)

"""The demo survey in a record of its own, so that everything can be tried without a home to measure."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from roomfield.demo.invented_recordings import DEMO_RECORDINGS, write_recording
from roomfield.demo.invented_survey import FIRST, SURVEY_ID, demo_survey
from roomfield.demo.overnight import LOG_NAME, overnight_csv
from roomfield.errors import StoreError
from roomfield.scratch import scratch_folder
from roomfield.store.repository import Store, open_store
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.long_series import LogPlace, guessed_log, keep_log
from roomfield.workbench.record.recording_analysis import HeardWhere, keep_recording

RECORD_NAME = "roomfield.sqlite"


def demo_job(folder: str | Path) -> Job:
    """The demo survey, made in a folder if it is not there yet.

    Parameters
    ----------
    folder : str or Path
        Made if need be.

    Raises
    ------
    StoreError
        If the folder cannot be made or written.
    """
    home = Path(folder)
    try:
        home.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise StoreError(
            f"the folder cannot be made ({fault.strerror}).", where=str(home), mend="Name another folder."
        ) from None
    return with_demo(open_store(home / RECORD_NAME))


def with_demo(store: Store, on_progress: Callable[[float], None] | None = None) -> Job:
    """The demo survey in a record, put there if it is missing.

    Parameters
    ----------
    store : Store
        An open record.
    on_progress : callable, optional
        Called with the share done, 0 to 1, where it is made; what it raises stops it, and nothing of it stays.
    """
    if SURVEY_ID not in {s.id for s in store.surveys()}:
        survey = demo_survey()
        store.create(survey)
        try:
            _add_files(Job(store.load(SURVEY_ID).survey, store), on_progress or (lambda _share: None))
        except BaseException:
            store.delete(SURVEY_ID, survey.title)  # half a demonstration would be taken for a whole one ever after
            raise
    return Job(store.load(SURVEY_ID).survey, store)


def _add_files(job: Job, step: Callable[[float], None]) -> None:
    with scratch_folder() as folder:
        log = folder / LOG_NAME
        step(0.05)
        log.write_bytes(overnight_csv())
        keep_log(job, log, guessed_log(log).confirm(), LogPlace("cot", FIRST.id), lambda share: step(0.1 + 0.4 * share))
        for number, recording in enumerate(DEMO_RECORDINGS):
            step(0.5 + 0.5 * number / len(DEMO_RECORDINGS))
            sound = write_recording(recording, folder)
            keep_recording(job, sound, HeardWhere(recording.place_id, FIRST.id, "", recording.state_id))

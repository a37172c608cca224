"""The demo survey in a record of its own, so that everything can be tried without a home to measure."""

from __future__ import annotations

from pathlib import Path

from roomfield.demo.survey import SURVEY_ID, demo_survey
from roomfield.errors import StoreError
from roomfield.store.repository import Store, open_store
from roomfield.workbench.job import Job

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


def with_demo(store: Store) -> Job:
    """The demo survey in a record, put there if it is missing.

    Parameters
    ----------
    store : Store
        An open record.
    """
    if SURVEY_ID not in {s.id for s in store.surveys()}:
        store.create(demo_survey())
    return Job(store.load(SURVEY_ID).survey, store)

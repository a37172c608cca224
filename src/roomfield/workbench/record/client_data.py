"""Everything that is held about one client, as files to hand over (GDPR, articles 15 and 20)."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from roomfield.errors import InputError, StoreError
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.packages import plain_name
from roomfield.workbench.record.survey_list import Records


@dataclass(frozen=True)
class HeldSurvey:
    """One survey about a client.

    Parameters
    ----------
    package : str
        File name of its package, which holds every entry and every file.
    changes : int
        How many entries and changes its chain lists.
    """

    survey: str
    title: str
    client: str
    address: str
    created_at: str
    readings: int
    files: int
    changes: int
    package: str


def held_about(records: Records, client: str) -> tuple[HeldSurvey, ...]:
    """Surveys whose client this is; capital letters and spaces do not matter.

    Raises
    ------
    InputError
        If there is none.
    """
    wanted = _folded(client)
    found = tuple(
        HeldSurvey(
            one.id,
            one.title,
            one.client,
            one.address,
            one.created_at,
            one.readings,
            len(records.load(one.id).survey.media),
            len(records.history(one.id)),
            f"{number:02d}-{plain_name(one.title)}.zip",
        )
        for number, one in enumerate((s for s in records.surveys() if wanted and _folded(s.client) == wanted), 1)
    )
    if not found:
        known = sorted({one.client for one in records.surveys() if one.client})
        listed = ", ".join(known[:12])
        raise InputError(
            f"nothing is held about {client!r}.", mend=f"Clients here: {listed}." if listed else "Check the record."
        )
    return found


def export_held(records: Records, client: str, folder: str | Path) -> tuple[HeldSurvey, ...]:
    """Write what is held about a client into a new folder: a list as JSON, and a package for each survey.

    Parameters
    ----------
    folder : str or Path
        Made by this call; readable by its owner only.

    Raises
    ------
    InputError
        If nothing is held.
    StoreError
        If the folder is there already or cannot be written.
    """
    found, target = held_about(records, client), Path(folder)
    try:
        target.mkdir(parents=True, mode=0o700)
        for one in found:
            Job(records.load(one.survey).survey, records).write_package(target / one.package)
        text = json.dumps([asdict(one) for one in found], ensure_ascii=False, indent=1)
        (target / "held.json").write_text(text + "\n", encoding="utf-8")
    except OSError as fault:
        raise StoreError(
            f"the folder cannot be written ({fault.strerror}).", where=str(target), mend="Name a new folder."
        ) from None
    return found


def _folded(text: str) -> str:
    return " ".join(text.casefold().split())

"""The end of a chain stamped by somebody who is neither the assessor nor the client."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from roomfield.errors import InputError
from roomfield.exchange import time_stamp
from roomfield.regular_files import refuse_irregular
from roomfield.workbench.record.survey_list import Records, keep_file

_MOST_BYTES = 1 << 20


@dataclass(frozen=True)
class Stamped:
    """A link that a time stamp was asked or given for.

    Parameters
    ----------
    sha256 : str
        Hash of the link.
    number : int
        Its number in the chain.
    """

    sha256: str
    number: int


def ask(records: Records, survey_id: str, target: str | Path) -> Stamped:
    """Write a time-stamp request for the last link of a survey; nothing is sent.

    Parameters
    ----------
    target : str or Path
        The file, to be sent to a time-stamping authority by its user.
    """
    last = records.history(survey_id)[-1]
    Path(target).write_bytes(time_stamp.request(last.sha256))
    return Stamped(last.sha256, last.number)


def keep(records: Records, survey_id: str, response: str | Path) -> Stamped:
    """Keep the answer of the authority with the survey.

    Raises
    ------
    InputError
        If it is no stamp of a link of this chain.
    """
    path = Path(response)
    refuse_irregular(path)
    if not path.is_file() or path.stat().st_size > _MOST_BYTES:
        raise InputError("there is no such answer.", where=path.name, mend="Name the file that the authority sent.")
    content = path.read_bytes()
    for link in reversed(records.history(survey_id)):
        if time_stamp.answers(content, link.sha256):
            keep_file(records, survey_id, content, f"link-{link.number}.tsr", "application/timestamp-reply")
            return Stamped(link.sha256, link.number)
    raise InputError(
        "it is no time stamp of an entry or change of this survey.", where=path.name, mend="Ask for another one."
    )

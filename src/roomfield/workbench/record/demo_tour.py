"""The invented home for looking around: put into the record once, spoiled at will."""

from __future__ import annotations

from roomfield.workbench.record.demo_record import with_demo
from roomfield.workbench.record.survey_list import Records


def begin(records: Records) -> str:
    """The id of the invented survey; it is made if it is not there.

    Parameters
    ----------
    records : Records
        The open record.
    """
    return with_demo(records).survey.id

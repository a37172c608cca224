"""The invented home for looking around: put into the record once, spoiled at will."""

from __future__ import annotations

from collections.abc import Callable

from roomfield.workbench.record.demo_record import with_demo
from roomfield.workbench.record.survey_list import Records


def begin(records: Records, on_progress: Callable[[float], None] | None = None) -> str:
    """The id of the invented survey; it is made if it is not there.

    Parameters
    ----------
    records : Records
        The open record.
    on_progress : callable, optional
        Called with the share done, 0 to 1, where it is made.
    """
    return with_demo(records, on_progress).survey.id

"""Logs of held maxima: where the hold was reset, and when a new maximum came."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any

import numpy as np

from roomfield.errors import KindMismatchError
from roomfield.logs.clock import moment_of
from roomfield.logs.log_series import LogSeries
from roomfield.logs.summary import plain


@dataclass(frozen=True)
class HeldStretch:
    """Time between two resets of the hold.

    Parameters
    ----------
    start, end : datetime
        First and last reading, UTC.
    maximum : float
        Highest level held, in the unit of the series.
    reached_at : datetime
        When it was reached, UTC.
    rises : tuple of datetime
        When the held value rose, UTC.
    overload : bool
        Whether the meter was overloaded, so that the maximum is a lower bound.
    """

    start: datetime
    end: datetime
    maximum: float
    reached_at: datetime
    rises: tuple[datetime, ...]
    overload: bool

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready form."""
        return plain(self)  # type: ignore[no-any-return]


def held_stretches(series: LogSeries, *, tolerance_db: float = 0.5) -> tuple[HeldStretch, ...]:
    """Cut a log of held maxima at its resets: a held maximum that falls was reset.

    Parameters
    ----------
    series : LogSeries
        A log of kind ``highest_held``.
    tolerance_db : float
        A fall up to this is the meter's rounding [dB].

    Raises
    ------
    KindMismatchError
        If the log is of another kind.
    """
    if series.kind != "highest_held":
        raise KindMismatchError(
            f"this log holds values of kind {series.kind}, not held maxima.",
            where=series.source_name,
            mend="Confirm the mapping with kind='highest_held' if the meter's hold was on.",
        )
    t, value, flag = series.readings()
    level = series.unit.decibels(value)
    with np.errstate(invalid="ignore"):
        steps = np.nan_to_num(np.diff(level), nan=0.0)
    edges = [0, *(np.flatnonzero(steps < -tolerance_db) + 1).tolist(), t.size]
    stretches = []
    for a, b in pairwise(edges):
        top = int(np.argmax(value[a:b])) + a
        rises = np.flatnonzero(steps[a : b - 1] > 0) + a + 1
        stretches.append(
            HeldStretch(
                moment_of(int(t[a])),
                moment_of(int(t[b - 1])),
                float(value[top]),
                moment_of(int(t[top])),
                tuple(moment_of(int(t[i])) for i in rises),
                bool((flag[a:b] == 2).any()),
            )
        )
    return tuple(stretches)

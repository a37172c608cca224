"""What exceeds a bound in a log, as the page shows it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from roomfield.show.trade_units import HOUR, MINUTE
from roomfield.web.formats import Show
from roomfield.web.page_texts import say

MOST_SHOWN = 12


@dataclass(frozen=True)
class EventRow:
    """One run above the bound.

    Parameters
    ----------
    start, end : str
        ISO 8601, for moving the timeline there.
    """

    start: str
    end: str
    began: str
    lasted: str
    highest: str


@dataclass(frozen=True)
class AboveSheet:
    """How much of a log lies above a bound.

    Parameters
    ----------
    runs : int
        Runs above it in all.
    rows : tuple of EventRow
        The highest of them, in the order of time.
    """

    bound: str
    time_above: str
    share: str
    longest: str
    runs: int
    rows: tuple[EventRow, ...]


def above_of(told: dict[str, Any] | None, show: Show, figure: Callable[[float], str], zone: str) -> AboveSheet | None:
    """The sheet from the plain values of the statistics; None if there was no bound.

    Parameters
    ----------
    told : dict or None
        Time above, share, longest run and runs.
    show : Show
        Language.
    figure : callable
        Writes a level with its unit.
    zone : str
        Time zone of the log's clock.
    """
    if told is None:
        return None
    events = sorted(told["events"], key=lambda one: -one["peak"])[:MOST_SHOWN]
    return AboveSheet(
        figure(told["bound"]),
        duration(told["time_above_s"], show),
        show.share(told["share_above"]) if told["events"] else "0 %",
        duration(told["longest_s"], show),
        len(told["events"]),
        tuple(_row(one, show, figure, zone) for one in sorted(events, key=lambda one: str(one["start"]))),
    )


def _row(event: dict[str, Any], show: Show, figure: Callable[[float], str], zone: str) -> EventRow:
    return EventRow(
        event["start"],
        event["end"],
        show.moment(in_zone(event["start"], zone), seconds=True),
        duration(event["length_s"], show),
        figure(event["peak"]),
    )


@dataclass(frozen=True)
class PartRow:
    """Night, day or evening: its mean with interval, and its highest reading with the moment."""

    name: str
    hours: str
    mean: str
    span: str
    highest: str
    at: str
    start: str
    end: str
    days: int


PART_NAMES = {"night": "Night", "day": "Day", "evening": "Evening"}


def parts_of(told: list[dict[str, Any]], show: Show, figure: Callable[[float], str], zone: str) -> tuple[PartRow, ...]:
    """Rows of night, day and evening from their plain values; times as in `above_of`."""
    return tuple(_part(one, show, figure, zone) for one in told)


def _part(one: dict[str, Any], show: Show, figure: Callable[[float], str], zone: str) -> PartRow:
    mean, at = one["mean"], datetime.fromisoformat(one["highest_at"])
    span = ""
    if mean is not None and mean["low"] is not None and mean["high"] is not None:
        span = say(show.language, "{low} to {high}", low=figure(mean["low"]), high=figure(mean["high"]))
    return PartRow(
        PART_NAMES[one["name"]],
        f"{one['from_hour']}\u2013{one['to_hour']}",
        figure(mean["value"]) if mean is not None else "",
        span,
        figure(one["highest"]),
        show.moment(in_zone(one["highest_at"], zone)),
        (at - timedelta(hours=1)).isoformat(),
        (at + timedelta(hours=1)).isoformat(),
        one["days"],
    )


def in_zone(iso: str, zone: str) -> str:
    """A moment as the clock of a time zone showed it; as it is if the zone is not known."""
    try:
        clock = datetime.strptime(zone, "%z").tzinfo if zone[:1] in ("+", "-") else ZoneInfo(zone)
        return datetime.fromisoformat(iso).astimezone(clock).replace(tzinfo=None).isoformat()
    except (ZoneInfoNotFoundError, ValueError):
        return iso


def duration(seconds: float, show: Show) -> str:
    """A length of time in its handiest unit."""
    if MINUTE.shown(seconds) < 2.0:
        return say(show.language, "{amount} s", amount=show.number(seconds, 3))
    if HOUR.shown(seconds) < 2.0:
        return say(show.language, "{amount} min", amount=show.number(MINUTE.shown(seconds), 3))
    return say(show.language, "{amount} h", amount=show.number(HOUR.shown(seconds), 3))

"""What was not alike on the two visits, and how far that widens the comparison."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from roomfield.errors import InputError
from roomfield.instrument import meter_chart
from roomfield.survey import Reading, Survey, Visit

HOURS_APART = 3.0
TIME_STD_DB = 2.0
"""Another time of day: traffic of masts and neighbours differs by a few decibels (our judgement; spot readings vary
by 3 to 13 dB within a day)."""
WEEKEND_STD_DB = 1.5
STATE_STD_DB = 3.0
SCAN_STD_DB = 1.5
PLACE_STD_DB = 3.0
MOVED_M = 0.15
DRIFT_STD_DB = 1.5


_TEXTS = {
    "time_of_day": "the times of day are {amount:.0f} hours apart",
    "day_of_week": "one visit was on a weekend",
    "radio_state": "not the same radios were on ({detail})",
    "another_meter": "not the same meter ({detail}): its errors do not cancel",
    "meter_drift": "the reference checks of the meter {detail} show a drift",
    "way_of_reading": "{place}: the meter was moved or turned in another way",
    "scanned_volume": "{place}: not the same volume was scanned",
    "position": "{place}: read {amount:.1f} m apart",
}


@dataclass(frozen=True)
class Condition:
    """One thing that was not alike.

    Parameters
    ----------
    name : str
        Key.
    std_db : float
        What it adds to the comparison, in quadrature [dB]; 0 if the comparison already holds it.
    place_id, place : str
        Only at this place, by id and name; empty for all.
    detail : str
        Which meters or switches.
    amount : float
        How far apart: hours, or metres [h or m].
    """

    name: str
    std_db: float
    place_id: str = ""
    place: str = ""
    detail: str = ""
    amount: float = 0.0

    @property
    def text(self) -> str:
        """In words."""
        return _TEXTS[self.name].format(place=self.place, detail=self.detail, amount=self.amount)

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return {"name": self.name, "text": self.text, "std_db": self.std_db, "place_id": self.place_id}


def conditions(
    survey: Survey, first: Visit, second: Visit, pairs: Sequence[tuple[list[Reading], list[Reading]]]
) -> tuple[Condition, ...]:
    """Everything that differed.

    Parameters
    ----------
    first, second : Visit
        Before and after.
    pairs : sequence of (readings before, readings after)
        Of each place compared.
    """
    return (*_of_time(first, second), *_of_states(survey, first, second, pairs), *_of_readings(survey, pairs))


def _of_time(first: Visit, second: Visit) -> Iterator[Condition]:
    try:
        a, b = datetime.fromisoformat(first.started_at), datetime.fromisoformat(second.started_at)
    except ValueError:
        raise InputError(
            f"{first.started_at!r} or {second.started_at!r} is no time.", mend="Write it as 2026-03-14T10:30:00+01:00."
        ) from None
    hours = abs((a.hour + a.minute / 60.0) - (b.hour + b.minute / 60.0))
    hours = min(hours, 24.0 - hours)
    if hours > HOURS_APART:
        yield Condition("time_of_day", TIME_STD_DB, amount=hours)
    if (a.weekday() >= 5) != (b.weekday() >= 5):
        yield Condition("day_of_week", WEEKEND_STD_DB)


def _of_states(
    survey: Survey, first: Visit, second: Visit, pairs: Sequence[tuple[list[Reading], list[Reading]]]
) -> Iterator[Condition]:
    before, after = pairs[0][0][0], pairs[0][1][0]
    old = set(survey.radio_state(first.id, before.radio_state_id).off_groups)
    new = set(survey.radio_state(second.id, after.radio_state_id).off_groups)
    if old != new:
        names = ", ".join(sorted(old ^ new))
        yield Condition("radio_state", STATE_STD_DB, detail=names)


def _of_readings(survey: Survey, pairs: Sequence[tuple[list[Reading], list[Reading]]]) -> Iterator[Condition]:
    meters = {(b[0].meter_id, a[0].meter_id) for b, a in pairs}
    for before, after in sorted(meters):
        if before != after:
            names = f"{survey.meter(before).name} / {survey.meter(after).name}"
            yield Condition("another_meter", 0.0, detail=names)
    for meter_id in sorted({m for pair in meters for m in pair}):
        chart = meter_chart(survey.meter(meter_id))
        if chart is not None and chart.drifting:
            yield Condition("meter_drift", DRIFT_STD_DB, detail=survey.meter(meter_id).name)
    for before_readings, after_readings in pairs:
        yield from _of_place(survey, before_readings[0], after_readings[0])


def _of_place(survey: Survey, before: Reading, after: Reading) -> Iterator[Condition]:
    place_id, name = before.place_id, survey.place(before.place_id).name
    if before.orientation is not after.orientation or before.scan is not after.scan:
        yield Condition("way_of_reading", SCAN_STD_DB, place_id, name)
    elif abs(before.scan_edge_m - after.scan_edge_m) > MOVED_M:
        yield Condition("scanned_volume", SCAN_STD_DB, place_id, name)
    if before.position and after.position:
        apart = sum((x - y) ** 2 for x, y in zip(before.position, after.position, strict=True)) ** 0.5
        if apart > MOVED_M:
            yield Condition("position", PLACE_STD_DB, place_id, name, amount=apart)

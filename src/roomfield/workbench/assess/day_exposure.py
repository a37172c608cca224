"""The day of everybody who lives or works here: its mean, and the highest where they sleep."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from roomfield.exposure.averaging import as_time_average
from roomfield.exposure.day import DayLevel, highest_of, mean_over_hours
from roomfield.quantities import Kind
from roomfield.survey import NIGHT_HOURS, Period, Person, Stay, Survey
from roomfield.workbench.assess.assessment import Assessment
from roomfield.workbench.assess.place_levels import MeasuredLevel
from roomfield.workbench.assess.switching import WIDEST_VARIATION

DAY_STARTS = 8.0
"""Where only the hours of stay are known, the day's stay is put at this hour (no more than a convention)."""


@dataclass(frozen=True)
class DayPart:
    """One stay of a day with the level that stands for it.

    Parameters
    ----------
    measured : MeasuredLevel or None
        Average read there at that time of day, else at the other; None if no average was read.
    """

    place_id: str
    hours: float
    period: Period
    measured: MeasuredLevel | None


@dataclass(frozen=True)
class DayExposure:
    """A person's day.

    Parameters
    ----------
    person : Person
        As entered, or made from a place's usual stay.
    entered : bool
        False if nobody's whereabouts are entered and the stay of one place stands in.
    parts : tuple of DayPart
        Every stay.
    mean : DayLevel or None
        Mean over the hours with a level; None if there is none.
    highest_at_night : DayLevel or None
        Highest held (or peak) where the person is at night; None if none was read.
    night_place_ids : tuple of str
        Places behind it.
    """

    person: Person
    entered: bool
    parts: tuple[DayPart, ...]
    mean: DayLevel | None
    highest_at_night: DayLevel | None
    night_place_ids: tuple[str, ...]

    @property
    def hours_covered(self) -> float:
        """Hours of the day with a level behind them [h]."""
        return sum(p.hours for p in self.parts if p.measured is not None)

    def to_dict(self, coverage: float = 0.95) -> dict[str, Any]:
        """As plain values; densities in W/m²."""
        return {
            "person": self.person.name,
            "entered": self.entered,
            "hours_covered": self.hours_covered,
            "coverage": coverage,
            "mean": _plain(self.mean, coverage),
            "highest_at_night": _plain(self.highest_at_night, coverage),
            "night_places": list(self.night_place_ids),
            "parts": [
                {"place_id": p.place_id, "hours": p.hours, "period": p.period.value, "read": p.measured is not None}
                for p in self.parts
            ],
        }


def _plain(level: DayLevel | None, coverage: float) -> dict[str, float] | None:
    if level is None:
        return None
    span = level.interval(coverage)
    return {"median_w_m2": level.median_w_m2, "low_w_m2": span.low_w_m2, "high_w_m2": span.high_w_m2}


def day_exposures(assessment: Assessment, state_id: str | None = None) -> tuple[DayExposure, ...]:
    """The day of everybody who was entered; without anybody, one for each place with usual hours of stay.

    Parameters
    ----------
    assessment : Assessment
        Of a visit.
    state_id : str, optional
        Radio state; as found if left out.
    """
    survey, state = assessment.survey, state_id or assessment.table.base_state.id
    people = survey.people or tuple(_stand_ins(survey))
    return tuple(_day(assessment, person, state, bool(survey.people)) for person in people)


def _stand_ins(survey: Survey) -> Iterator[Person]:
    for place in survey.places:
        stays = []
        if place.night_hours > 0.0:
            stays.append(Stay(place.id, NIGHT_HOURS[0], (NIGHT_HOURS[0] + place.night_hours) % 24.0))
        if place.day_hours > 0.0:
            stays.append(Stay(place.id, DAY_STARTS, (DAY_STARTS + place.day_hours) % 24.0))
        if stays:
            yield Person(place.id, place.name, tuple(stays))


def _day(assessment: Assessment, person: Person, state: str, entered: bool) -> DayExposure:
    parts = tuple(part for stay in person.stays for part in _parts(assessment, stay, state))
    read = [(p.measured.combined.level, p.hours) for p in parts if p.measured is not None]
    # What goes up and down between a second's average and a stay's is the same for one place, not for several.
    widened = [as_time_average(level, WIDEST_VARIATION, f"time/{n}") for n, (level, _) in enumerate(read)]
    mean = mean_over_hours(widened, [hours for _, hours in read]) if read else None
    beds = tuple(dict.fromkeys(p.place_id for p in parts if p.period is Period.NIGHT and p.place_id))
    highest = [m for m in (_highest(assessment, bed, state) for bed in beds) if m is not None]
    return DayExposure(
        person,
        entered,
        parts,
        mean,
        highest_of([m.combined.level for m in highest]) if highest else None,
        tuple(m.place_id for m in highest),
    )


def _parts(assessment: Assessment, stay: Stay, state: str) -> Iterator[DayPart]:
    """A stay cut into its hours by night and by day."""
    for period, hours in ((Period.NIGHT, _night_hours(stay)), (Period.DAY, stay.hours - _night_hours(stay))):
        if hours > 1e-9:
            found = _read(assessment, stay.place_id, state, Kind.AVERAGE, period) if stay.place_id else None
            yield DayPart(stay.place_id, hours, period, found)


def _night_hours(stay: Stay) -> float:
    """Hours of a stay that lie at night [h]."""
    start, end = NIGHT_HOURS
    first, last = stay.from_hour, stay.from_hour + stay.hours
    nights = [(start - 24.0, end), (start, end + 24.0), (start + 24.0, end + 48.0)]
    return sum(max(0.0, min(last, b) - max(first, a)) for a, b in nights)


def _read(assessment: Assessment, place: str, state: str, kind: Kind, period: Period) -> MeasuredLevel | None:
    """What was read there at that time of day, else at the other, by the first meter."""
    table = assessment.table
    here = [i for i in (*table.levels, *table.other_times) if (i.place_id, i.state_id, i.kind) == (place, state, kind)]
    return min(here, key=lambda i: i.period is not period, default=None)


def _highest(assessment: Assessment, place: str, state: str) -> MeasuredLevel | None:
    found = (_read(assessment, place, state, kind, Period.NIGHT) for kind in (Kind.HIGHEST_HELD, Kind.PEAK))
    return next((m for m in found if m is not None), None)

"""What a log says in figures, as report, page and command show it: one row for each, in words of the catalogue."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from roomfield.logs.changes import ChangePoint
from roomfield.logs.duration import RequiredDuration
from roomfield.logs.profile import LoggedDayPart
from roomfield.logs.pulses import Bursts
from roomfield.logs.scale import POWER_DENSITY_UNIT
from roomfield.logs.summary import LogStatistics
from roomfield.show.phrase import Text, phrase

Figures = tuple[tuple[Text, Text], ...]
"""Name and value of each figure."""

SHOWN_PERCENTILES = (50.0, 95.0, 99.0)


def statistic_figures(found: LogStatistics) -> Figures:
    """How much was observed, mean, highest, rolling averages, percentiles, and what lies above the bound.

    Parameters
    ----------
    found : LogStatistics
        Statistics of a log in the unit of its series [W/m² or V/m or dBm].
    """
    return tuple(_statistics(found))


def day_part_figures(parts: Sequence[LoggedDayPart], unit: str) -> Figures:
    """Mean and highest reading of night, day and evening; empty for a log of held maxima.

    Parameters
    ----------
    parts : sequence of LoggedDayPart
        In the unit of the series.
    unit : str
        Name of that unit.
    """
    rows: list[tuple[Text, Text]] = []
    for part in parts:
        hours = {"first": part.from_hour, "last": part.to_hour}
        if part.mean is not None:
            rows.append((phrase(f"log.mean_{part.name}", **hours), _level(part.mean.value, unit, False)))
        rows.append((phrase(f"log.highest_{part.name}", **hours), _level(part.highest, unit, False)))
    return tuple(rows)


def duration_figures(need: RequiredDuration) -> Figures:
    """How long a log of the place must be.

    Parameters
    ----------
    need : RequiredDuration
        From the log itself [h].
    """
    hours = phrase("log.hours", hours=need.hours) if need.hours else phrase("log.longer", hours=need.record_hours)
    rows: list[tuple[Text, Text]] = [(phrase("log.needed"), hours)]
    if need.one_day_enough is not None:
        rows.append((phrase("log.one_day"), phrase("log.share", share=need.one_day_enough)))
    return tuple(rows)


def step_figures(changes: Sequence[ChangePoint]) -> Figures:
    """How often the level changed for good, and by how much at most.

    Parameters
    ----------
    changes : sequence of ChangePoint
        Steps of a log of a day or more [dB]; empty if none was found.
    """
    if not changes:
        return ((phrase("log.steps"), phrase("log.no_steps")),)
    largest = max(changes, key=lambda change: abs(change.step_db))
    on = largest.at.date().isoformat()
    return ((phrase("log.steps"), phrase("log.largest_step", count=len(changes), step=largest.step_db, on=on)),)


def burst_figures(seen: Bursts | None) -> Figures:
    """Why peak and average differ, for a log fast enough to see it; empty for a slow one.

    Parameters
    ----------
    seen : Bursts or None
        Of a fast log.
    """
    if seen is None:
        return ()
    rows: list[tuple[Text, Text]] = [(phrase("log.bursts"), phrase("log.per_day", count=seen.per_day))]
    if seen.peak_and_mean is not None:
        rows.append((phrase("log.duty"), phrase("log.duty_share", percent=100.0 * seen.duty_cycle)))
        rows.append((phrase("log.crest"), phrase("log.decibels", value=seen.peak_and_mean.total_db)))
    return tuple(rows)


def _statistics(found: LogStatistics) -> Iterator[tuple[Text, Text]]:
    over = found.share_overload > 0.0
    yield phrase("log.readings"), phrase("log.count", count=found.readings)
    yield phrase("log.observed"), phrase("log.share", share=found.share_observed)
    if found.gaps:
        yield phrase("log.gaps"), phrase("log.count", count=len(found.gaps))
    if over:
        yield phrase("log.overload"), phrase("log.share", share=found.share_overload)
    yield phrase("log.mean"), _level(found.mean, found.unit, found.mean_is_at_least)
    yield phrase("log.highest"), _level(found.maximum, found.unit, over)
    yield phrase("log.when"), phrase("log.moment", at=found.maximum_at.isoformat())
    for one in found.rolling:
        yield phrase("log.rolling", minutes=one.window_s / 60.0), _level(one.value, found.unit, found.mean_is_at_least)
    for percent, value in found.percentiles:
        if percent in SHOWN_PERCENTILES:
            yield phrase("log.percentile", percent=percent), _level(value, found.unit, False)
    if found.above is not None:
        yield phrase("log.above"), phrase("log.share", share=found.above.share_above)
        yield phrase("log.events"), phrase("log.count", count=len(found.above.events))


def _level(value: float | None, unit: str, is_bound: bool) -> Text:
    """A level in the unit of its series; a bound, where part of the log was in overload, is called one."""
    if value is None or not math.isfinite(value):
        return phrase("log.unknown")
    said = (
        phrase("log.power", value=value) if unit == POWER_DENSITY_UNIT else phrase("log.level", value=value, unit=unit)
    )
    return phrase("log.at_least", level=said) if is_bound else said

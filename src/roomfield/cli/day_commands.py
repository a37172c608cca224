"""person, day: where people stay, and what that means over a day."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, echo
from roomfield.cli.terminal_language import opened_job
from roomfield.cli.terminal_numbers import microwatts, span
from roomfield.show.trade_units import PERCENT

if TYPE_CHECKING:
    from roomfield.workbench.assess.day_exposure import DayExposure


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(person)
    app.command()(day)


def person(
    name: Annotated[str, typer.Argument(help="What the client wishes them to be called.")],
    stay: Annotated[
        list[str] | None,
        typer.Option(help="'PLACE=22-6:30', hours by the clock; '=8-17' for elsewhere; repeat for more."),
    ] = None,
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Enter somebody's usual day: where they are, and when."""
    from roomfield.workbench.record.setting_up import put_person

    made = put_person(opened_job(record, survey), name, stay or [])
    hours = made.hours
    plain = {"person": made.id, "name": made.name, "hours": hours}
    answer(as_json, plain, lambda: echo(f"{made.name}: {len(made.stays)} stays, {hours:g} of 24 hours"))


def day(
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    coverage: Annotated[float, typer.Option(help="Probability content of intervals.", min=0.5, max=0.999)] = 0.95,
    as_json: AsJson = False,
) -> None:
    """Say what everybody gets in a day: its mean, and the highest where they sleep."""
    from roomfield.workbench.assess.assessment import assess
    from roomfield.workbench.assess.day_exposure import day_exposures

    found = day_exposures(assess(opened_job(record, survey).survey, visit or None))
    plain: dict[str, Any] = {"days": [one.to_dict(coverage) for one in found]}
    answer(as_json, plain, lambda: _show(found, coverage))


def _show(found: tuple[DayExposure, ...], coverage: float) -> None:
    if found and not found[0].entered:
        echo("Nobody's whereabouts are entered (roomfield person); the usual hours of each place stand in.")
    for one in found:
        echo(f"{one.person.name}: {one.hours_covered:g} of 24 hours with a level")
        for label, level in (("mean", one.mean), ("highest where they sleep", one.highest_at_night)):
            if level is None:
                echo(f"  {label}: nothing was read")
                continue
            ends = level.interval(coverage)
            interval = span(ends.low_w_m2, ends.high_w_m2)
            echo(f"  {label}: {microwatts(level.median_w_m2)} µW/m² ({interval}, {PERCENT.shown(coverage):g} %)")

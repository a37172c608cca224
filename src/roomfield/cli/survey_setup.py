"""transmitter, state, visit, aim: what must be known before readings make sense."""

from __future__ import annotations

from typing import Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, echo, grouped
from roomfield.cli.plan_commands import POSITION
from roomfield.cli.terminal_language import opened_job
from roomfield.cli.terminal_numbers import microwatts, tell
from roomfield.show.trade_units import MEGAHERTZ, MICROWATT_M2


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(transmitter)
    app.command("bring-masts")(bring_masts)
    app.command()(state)
    app.command()(visit)
    app.command()(aim)


def transmitter(
    name: Annotated[str, typer.Argument(help="What it is called in the report.")],
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    technology: Annotated[str, typer.Option(help="Key of the technology, such as dect or wifi_data.")] = "",
    frequency: Annotated[float | None, typer.Option(help="Carrier frequency, MHz.")] = None,
    switch: Annotated[str, typer.Option(help="Name of its switch, if it shares one.")] = "",
    control: Annotated[str, typer.Option(help="client, neighbour, utility, operator or unknown.")] = "client",
    outdoor: Annotated[bool, typer.Option("--outdoor", help="It stands outside.")] = False,
    position: Annotated[str, typer.Option(help=f"Where it stands: {POSITION}.")] = "",
    bearing: Annotated[float | None, typer.Option(help="Direction towards it, degrees from plan north.")] = None,
    eirp: Annotated[float | None, typer.Option(help="Radiated power while on air (EIRP), mW.")] = None,
    duty: Annotated[float | None, typer.Option(help="Share of time on air, per cent.")] = None,
    as_json: AsJson = False,
) -> None:
    """Enter a transmitter, so that a radio state can switch it off."""
    from roomfield.workbench.record.setting_up import add_transmitter

    made = add_transmitter(
        opened_job(record, survey),
        name,
        technology=technology,
        frequency_hz=MEGAHERTZ.si(frequency),
        switch=switch,
        control=control,
        outdoor=outdoor,
        details={
            "position": position,
            "bearing": "" if bearing is None else str(bearing),
            "eirp": "" if eirp is None else str(eirp),
            "duty": "" if duty is None else str(duty),
        },
    )
    plain = {"transmitter": made.id, "name": made.name, "switch": made.group, "position_m": made.position}
    answer(as_json, plain, lambda: echo(f"{made.name}: {made.id}"))


def bring_masts(
    file: Annotated[str, typer.Argument(help="GeoJSON, GPX, GeoPackage, or a table with latitude and longitude.")],
    home: Annotated[
        str, typer.Option(help="Where the middle of the plan lies: 'latitude, longitude'; it is not kept.")
    ],
    north: Annotated[float | None, typer.Option(help="True north, degrees clockwise from plan north.")] = None,
    within: Annotated[float, typer.Option(help="Leave out what is farther away, m.")] = 1500.0,
    layer: Annotated[str, typer.Option(help="Layer of a GeoPackage; the first one if left out.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Put masts from a file of open data onto the plan, so that the model knows them."""
    from roomfield.workbench.record.bring_masts import bring_masts as bring
    from roomfield.workbench.record.bring_masts import home_from_text

    found = bring(opened_job(record, survey), file, home_from_text(home, north), within_m=within, layer=layer)
    rows = [
        (m.name, f"{m.distance_m:.0f}", f"{m.azimuth_deg:.0f}", tell("there already") if m.known else "") for m in found
    ]
    columns = ("mast", "m away", "° from true north", "")
    answer(as_json, [m.to_dict() for m in found], lambda: grouped("Masts on the plan", columns, rows, right=(1, 2)))


def state(
    name: Annotated[str, typer.Argument(help="Name of the radio state, as the table of readings gives it.")],
    off: Annotated[list[str] | None, typer.Option(help="Transmitter or switch that is off; repeat for more.")] = None,
    doing: Annotated[
        list[str] | None,
        typer.Option(help="What a transmitter does, 'NAME=in_use' (silent, idle, in_use, forced); repeat for more."),
    ] = None,
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    as_json: AsJson = False,
) -> None:
    """Enter a radio state: what is switched off, and what others do, while readings are taken."""
    from roomfield.workbench.record.setting_up import add_radio_state

    made = add_radio_state(opened_job(record, survey), name, off or [], visit, doing=doing or [])
    plain = {"state": made.id, "name": made.name, "off": list(made.off_groups)} | {
        "doing": {one.name: one.activity.value for one in made.activities}
    }
    answer(as_json, plain, lambda: echo(f"{made.name}: {made.id}, {len(made.off_groups)} switched off"))


def visit(
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    conditions: Annotated[str, typer.Option(help="Whatever may matter later.")] = "",
    first: Annotated[bool, typer.Option("--first", help="Nothing was done since the visit before.")] = False,
    at: Annotated[str, typer.Option(help="Date and time it began, such as 2027-06-01T14:30+02:00; else now.")] = "",
    until: Annotated[str, typer.Option(help="Date and time it ended.")] = "",
    as_json: AsJson = False,
) -> None:
    """Enter one more visit, in the radio states of the one before."""
    from roomfield.workbench.record.setting_up import add_visit

    made = add_visit(
        opened_job(record, survey), follow_up=not first, conditions=conditions, started_at=at, ended_at=until
    )
    answer(as_json, {"visit": made.id, "started_at": made.started_at}, lambda: echo(f"Visit {made.id}"))


def aim(
    value: Annotated[float | None, typer.Argument(help="Level not to be exceeded, µW/m²; shown if left out.")] = None,
    usual: Annotated[bool, typer.Option("--usual", help="Back to the guideline's usual aim.")] = False,
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Write down the client's aim where people sleep; usual is the upper edge of the guideline's second category."""
    from roomfield.workbench.assess.place_use import aim_in
    from roomfield.workbench.record.setting_up import put_aim

    job = opened_job(record, survey)
    if value is not None or usual:
        put_aim(job, None if usual or value is None else MICROWATT_M2.si(value))
        job = job.again()
    found = aim_in(job.survey.assignment)
    plain = {"aim_w_m2": found.value_w_m2 if found else None, "chosen": bool(found and found.chosen)}
    source = "set for the client" if found and found.chosen else "the usual one of the guideline"
    answer(
        as_json,
        plain,
        lambda: echo(f"Aim: {microwatts(found.value_w_m2)} µW/m², {source}" if found else "There is no aim."),
    )

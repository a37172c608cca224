"""plan, place: rooms and walls from a file or from text, and where people stay."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, answer, echo, lines, one_line
from roomfield.cli.terminal_language import opened_job
from roomfield.cli.terminal_numbers import tell
from roomfield.cli.thing_lines import line_of

if TYPE_CHECKING:
    from roomfield.survey import Survey

POSITION = (
    "'Bedroom: 1.2 west, 0.8 south, 0.5 up' (from two walls and the floor, m), a room for its middle, or 'x, y, z'"
)


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(plan)
    app.command()(place)


def plan(
    file: Annotated[
        str,
        typer.Argument(
            help="GeoJSON, GeoPackage, IFC, DXF, or text with rooms by size and side (.txt); shown if left out."
        ),
    ] = "",
    template: Annotated[
        str, typer.Option(help="Dwelling to start from: one-room-flat, three-room-flat or terraced-house.")
    ] = "",
    room: Annotated[
        list[str] | None,
        typer.Option(
            help="'Kitchen 3 x 4.1 east of Living room' (west to east, south to north, m), or "
            "'door Kitchen west 0.4 to 1.3'; repeat for more."
        ),
    ] = None,
    coordinates: Annotated[str, typer.Option(help="Of a GeoJSON file: metres or degrees.")] = "",
    metres_per_unit: Annotated[float, typer.Option(help="Of a DXF file that does not say its unit.")] = 0.0,
    storey: Annotated[str, typer.Option(help="Name of the storey; of an IFC file or GeoPackage: which one.")] = "",
    floor: Annotated[float, typer.Option(help="Height of its floor, m.")] = 0.0,
    ceiling: Annotated[float, typer.Option(help="Height of its ceiling over the floor, m.")] = 2.5,
    replace: Annotated[
        bool, typer.Option("--replace", help="In the place of the plan that is there; places and transmitters stay.")
    ] = False,
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Bring a plan: from a file, a template, or rooms by size and side. Without any, show the plan."""
    from roomfield.workbench.record.bring_plan import PlanWish, bring_plan
    from roomfield.workbench.record.plan_import import Asked

    job = opened_job(record, survey)
    remarks: tuple[str, ...] = ()
    if file or template or room:
        asked = Asked(coordinates=coordinates, metres_per_unit=metres_per_unit)
        wish = PlanWish(file, template, tuple(room or ()), asked, storey, floor, ceiling, replace)
        job, remarks = bring_plan(job, wish)
    home = job.survey
    plain = {
        "dwelling": asdict(home.dwelling),
        "places": [asdict(one) for one in home.places],
        "transmitters": [asdict(one) for one in home.emitters],
        "remarks": list(remarks),
    }
    answer(as_json, plain, lambda: _show_plan(home, remarks))


def _show_plan(home: Survey, remarks: tuple[str, ...]) -> None:
    from roomfield.workbench.record.things import things

    rows = [
        (tell(sort), one.name, line_of(home, one))
        for sort in ("storey", "room", "place", "transmitter")
        for one in things(home, sort)
    ]
    lines(rows, "Nothing is drawn yet.")
    walls = home.dwelling.walls
    openings = sum(len(wall.openings) for wall in walls)
    echo(f"{len(walls)} walls with {openings} doors and windows; 'roomfield list walls' lists their ids.")
    for remark in remarks:
        echo(f"! {one_line(tell(remark))}")
    if not home.dwelling.rooms:
        echo("There is no room yet: 'roomfield plan --room \"Bedroom 4 x 3.5\"', or a file, or --template.")
    elif home.places and not any(one.position for one in home.places):
        echo("No place has a position yet: 'roomfield place NAME --position ROOM'.")


def place(
    name: Annotated[str, typer.Argument(help="What it is called in the report.")],
    kind: Annotated[str, typer.Option(help="bed, cot, desk, sofa, table, play or other; else by its name.")] = "",
    position: Annotated[str, typer.Option(help=f"Where it is: {POSITION}.")] = "",
    room: Annotated[str, typer.Option(help="The room it is in, where there is no position.")] = "",
    night: Annotated[str, typer.Option(help="Usual stay in a night, h.")] = "",
    day: Annotated[str, typer.Option(help="Usual stay in a day, h.")] = "",
    note: Annotated[str, typer.Option(help="Whatever may matter later.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Enter a place where somebody stays, or change the one of this name."""
    from roomfield.workbench.record.put_place import put_place
    from roomfield.workbench.record.things import thing_named

    job = opened_job(record, survey)
    wanted = {"kind": kind, "room": room, "position": position, "night": night, "day": day, "note": note}
    made = put_place(job, name, wanted)
    shown = thing_named(job.again().survey, "place", made.id)
    answer(as_json, asdict(made), lambda: echo(f"{made.name}: {made.id}, {line_of(job.survey, shown)}"))

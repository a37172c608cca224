"""show, change, remove, assignment: what stands in the record, by name or id."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, answer, echo, lines, one_line
from roomfield.cli.terminal_language import opened_job
from roomfield.cli.thing_lines import line_of, plain_thing

Sort = Annotated[
    str,
    typer.Argument(help="place, room, storey, wall, transmitter, state, visit, reading, meter, person or action."),
]
Name = Annotated[str, typer.Argument(help="Its name or id, see 'roomfield list'.")]
Visit = Annotated[str, typer.Option("--visit", help="Visit of a radio state, where several have one of this name.")]


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(show)
    app.command()(change)
    app.command()(remove)
    app.command()(assignment)


def list_things(sort: str, record: str, survey: str, visit: str, as_json: bool) -> None:
    """Print all things of a sort with their ids."""
    from roomfield.workbench.record.things import things

    home = opened_job(record, survey).survey
    found = things(home, sort, visit)
    rows = [(one.id, one.name if one.name != one.id else "", line_of(home, one)) for one in found]
    answer(as_json, [plain_thing(one) for one in found], lambda: lines(rows, f"There are no {sort} yet."))


def show(
    sort: Sort,
    name: Name,
    visit: Visit = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Show everything that the record holds of one thing."""
    from roomfield.workbench.record.things import thing_named

    plain = plain_thing(thing_named(opened_job(record, survey).survey, sort, name, visit))
    answer(as_json, plain, lambda: _show_fields(plain))


def _show_fields(plain: dict[str, Any]) -> None:
    for field, value in plain.items():
        if value not in ("", None, (), []):
            echo(one_line(f"{field}: {value}"))


def change(
    sort: Sort,
    name: Name,
    settings: Annotated[
        list[str],
        typer.Argument(help="field=value, such as position='Bedroom: 1 west, 1 south' or eirp=100 (mW)."),
    ],
    visit: Visit = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Change fields of a place, room, transmitter, radio state or visit; readings are amended instead."""
    from roomfield.workbench.record.things import change_thing

    job = opened_job(record, survey)
    made = change_thing(job, sort, name, settings, visit)
    answer(as_json, plain_thing(made), lambda: echo(f"{made.name}: {line_of(job.again().survey, made)}"))


def remove(
    sort: Sort,
    name: Name,
    visit: Visit = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Take out a place, room, transmitter, radio state or visit that no reading needs."""
    from roomfield.workbench.record.things import remove_thing

    gone = remove_thing(opened_job(record, survey), sort, name, visit)
    answer(as_json, {"removed": gone.id, "name": gone.name}, lambda: echo(f"{gone.name} is taken out"))


def assignment(
    title: Annotated[str, typer.Option(help="What the survey is called.")] = "",
    client: Annotated[str, typer.Option(help="Client.")] = "",
    address: Annotated[str, typer.Option(help="Address of the dwelling.")] = "",
    assessor: Annotated[str, typer.Option(help="Assessor.")] = "",
    organisation: Annotated[str, typer.Option(help="The assessor's office.")] = "",
    question: Annotated[str, typer.Option(help="What the client wants to know.")] = "",
    jurisdiction: Annotated[str, typer.Option(help="Code of the legal limits, such as EU, CH, US.")] = "",
    guideline: Annotated[str, typer.Option(help="Guideline that the client chose; none for none.")] = "",
    language: Annotated[str, typer.Option(help="Language of the report, see 'roomfield languages'.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Show what was ordered, by whom and against what it is held; or change what is given."""
    from roomfield.workbench.record.assignment import change_assignment

    given = {
        "client": client,
        "address": address,
        "assessor": assessor,
        "organisation": organisation,
        "question": question,
        "jurisdiction": jurisdiction,
        "guideline": guideline,
        "language": language,
    }
    home = change_assignment(opened_job(record, survey), title, given).survey
    plain = {"title": home.title} | asdict(home.assignment)
    answer(as_json, plain, lambda: _show_fields(plain))

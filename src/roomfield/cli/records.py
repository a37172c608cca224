"""new, list, pack, unpack, follow-up, amend, withdraw, delete: the record."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, answer, echo, lines
from roomfield.cli.terminal_language import opened_job, speak_as
from roomfield.cli.terminal_numbers import microwatts, tell
from roomfield.cli.thing_commands import list_things

Reason = Annotated[str, typer.Option(help="Why; it stands in the report.")]
By = Annotated[str, typer.Option(help="Who.")]


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(new)
    app.command(name="list")(list_surveys)
    app.command()(pack)
    app.command()(unpack)
    app.command(name="follow-up")(follow_up)
    app.command()(amend)
    app.command()(withdraw)
    app.command()(delete)


def new(
    title: Annotated[str, typer.Argument(help="What the survey is called.")],
    record: Record = DEFAULT_RECORD,
    starter: Annotated[str, typer.Option(help="Dwelling to start from; 'blank' for none.")] = "blank",
    client: Annotated[str, typer.Option(help="Client.")] = "",
    assessor: Annotated[str, typer.Option(help="Assessor.")] = "",
    jurisdiction: Annotated[str, typer.Option(help="Code of the legal limits, such as EU, CH, US.")] = "EU",
    guideline: Annotated[str, typer.Option(help="Guideline that the client chose; empty for none.")] = "",
    address: Annotated[str, typer.Option(help="Address of the dwelling.")] = "",
    organisation: Annotated[str, typer.Option(help="The assessor's office.")] = "",
    question: Annotated[str, typer.Option(help="What the client wants to know.")] = "",
    language: Annotated[str, typer.Option(help="Language of the report, see 'roomfield languages'.")] = "",
    at: Annotated[str, typer.Option(help="When the first visit began, such as 2027-06-01T14:30; else now.")] = "",
    as_json: AsJson = False,
) -> None:
    """Begin a survey; the record is made if it is not there yet."""
    from roomfield.workbench.record.begin import begin_survey

    survey = begin_survey(
        record,
        title,
        {
            "client": client,
            "assessor": assessor,
            "jurisdiction": jurisdiction,
            "guideline": guideline,
            "address": address,
            "organisation": organisation,
            "question": question,
            "language": language,
        },
        starter=starter,
        started_at=at,
    )
    speak_as(survey.assignment.language)
    answer(
        as_json,
        {"survey": survey.id, "record": record},
        lambda: echo(f"Survey {survey.id} in {record}"),
    )


def list_surveys(
    what: Annotated[
        str,
        typer.Argument(
            help="places, rooms, storeys, walls, transmitters, states, visits, readings, meters, people or actions of "
            "a survey; else words that title, client or address of a survey hold."
        ),
    ] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: Annotated[str, typer.Option("--visit", help="Only radio states and readings of this visit.")] = "",
    as_json: AsJson = False,
) -> None:
    """List the surveys of a record, last changed first; or things of one survey with their ids."""
    from roomfield.workbench.record.things import is_sort

    if is_sort(what):
        list_things(what, record, survey, visit, as_json)
        return
    from roomfield.workbench.record.job import existing_record
    from roomfield.workbench.record.survey_list import list_surveys as call

    cards = call(existing_record(record), what)
    rows = [(c.id, c.title, c.line, c.changed_at[:16], tell(f"{c.readings} readings")) for c in cards]
    plain = [vars(c) for c in cards]
    answer(as_json, plain, lambda: lines(rows, "The record holds no such survey; 'roomfield new' begins one."))


def pack(
    target: Annotated[str, typer.Argument(help="Zip file to write; with the ending .zip.age under a passphrase.")],
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Write the survey package (BagIt, RFC 8493): the survey with all its files and their checksums."""
    from roomfield.workbench.record.job import is_sealed

    job = opened_job(record, survey)
    digest = job.write_sealed(target, asked_passphrase(twice=True)) if is_sealed(target) else job.write_package(target)
    plain = {"package": target, "sha256": digest, "content_sha256": job.content_sha256}
    answer(as_json, plain, lambda: echo(f"{target}\nSHA-256 {digest}"))


def unpack(
    package: Annotated[str, typer.Argument(help="Survey package; with the ending .age its passphrase is asked.")],
    record: Record = DEFAULT_RECORD,
    as_json: AsJson = False,
) -> None:
    """Check every checksum of a survey package, then take it into a record."""
    from roomfield.workbench.record.job import is_sealed, unpack_into

    survey = unpack_into(record, package, asked_passphrase() if is_sealed(package) else "")
    speak_as(survey.assignment.language)
    plain = {"survey": survey.id, "readings": len(survey.readings)}
    answer(as_json, plain, lambda: echo(f"Survey {survey.id}, {len(survey.readings)} readings"))


def asked_passphrase(*, twice: bool = False) -> str:
    """The passphrase from ROOMFIELD_PASSPHRASE, or asked without showing it."""
    given = os.environ.get("ROOMFIELD_PASSPHRASE", "")
    return given or str(typer.prompt("Passphrase", hide_input=True, confirmation_prompt=twice, err=True))


def follow_up(
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    title: Annotated[str, typer.Option(help="Title of the copy.")] = "",
    as_json: AsJson = False,
) -> None:
    """Copy a survey for the visit after the work was done."""
    from roomfield.workbench.record.job import existing_record
    from roomfield.workbench.record.survey_list import copy_for_follow_up

    source = opened_job(record, survey).survey
    copy = copy_for_follow_up(existing_record(record), source.id, title)
    answer(as_json, {"survey": copy}, lambda: echo(f"Survey {copy}"))


def amend(
    observation: Annotated[str, typer.Argument(help="Id of the reading, bearing, recording or log.")],
    field: Annotated[
        str,
        typer.Argument(help="Field to correct: value, kind, place_id, taken_at, note or another, see 'show reading'."),
    ],
    value: Annotated[
        str, typer.Argument(help="New value; a level in µW/m² unless a unit follows it, such as '1.3 mW/m²'.")
    ],
    reason: Reason,
    by: By,
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Correct an observation; the original stays in the record."""
    from roomfield.workbench.record.begin import amend_observation

    made = amend_observation(record, survey, observation, field, value, reason, by)
    old, new = (_as_level(made.field, text) for text in (made.old, made.new))
    answer(as_json, vars(made), lambda: echo(f"{made.field.removesuffix('_w_m2')}: {old} -> {new}"))


def _as_level(field: str, text: str) -> str:
    """A level [W/m²] of an amendment as everywhere at the terminal; anything else as it is."""
    return f"{microwatts(float(text))} µW/m²" if field.endswith("_w_m2") and text not in ("", "null") else text


def withdraw(
    observation: Annotated[str, typer.Argument(help="Id of the observation.")],
    reason: Reason,
    by: By,
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Take an observation out of the findings; it stays in the record with the reason."""
    from roomfield.workbench.record.job import existing_record
    from roomfield.workbench.record.survey_list import withdraw as call

    made = call(existing_record(record), opened_job(record, survey).survey.id, observation, reason, by)
    answer(as_json, vars(made), lambda: echo(f"{observation} is withdrawn"))


def delete(
    title: Annotated[str, typer.Argument(help="The survey's title, typed in full.")],
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Remove a survey for good; its title must be typed."""
    from roomfield.workbench.record.job import existing_record
    from roomfield.workbench.record.survey_list import delete_survey

    name = opened_job(record, survey).survey.id
    delete_survey(existing_record(record), name, title)
    answer(as_json, {"deleted": name}, lambda: echo(f"{name} is deleted"))

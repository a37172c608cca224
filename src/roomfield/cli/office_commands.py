"""sign-off, hand-over: a second person reviews and releases, and a survey goes from one assessor to another."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, answer, echo, table
from roomfield.cli.terminal_language import opened_job


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command("sign-off")(sign_off)
    app.command("hand-over")(hand_over)


def sign_off(
    stage: Annotated[
        str, typer.Argument(help="'draft': ask for review; 'reviewed', 'released': by a second person; or only show.")
    ] = "",
    note: Annotated[str, typer.Option(help="What is to be said with it.")] = "",
    visit: Annotated[str, typer.Option(help="Visit that the report is about; the first one if left out.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Put a report up for review, say that it was reviewed, release it, or show how far it has come."""
    from roomfield.workbench.record import releasing
    from roomfield.workbench.record.job import existing_record

    records, name = existing_record(record), opened_job(record, survey).survey.id
    if stage:
        releasing.sign_off(records, name, stage, visit_id=visit or None, note=note)
    found = releasing.report_standing(records.load(name).survey, visit or None)
    rows = [(one.at, one.stage.value, one.account or one.by, one.device, one.note) for one in found.steps]

    def show() -> None:
        echo(_SAID[found.stage])
        if rows:
            table("", ("when (UTC)", "step", "who", "device", "note"), rows)

    answer(as_json, asdict(found), show)


_SAID = {
    "": "The report was not put up for review.",
    "draft": "The report is a draft, up for review.",
    "reviewed": "The report was reviewed and is not released yet.",
    "released": "The report is released.",
    "changed": "The survey was changed after these steps; the report is a draft again.",
}


def hand_over(
    account: Annotated[
        str, typer.Argument(help="Account of the assessor who gets it; left out: show who had it.")
    ] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Give a survey on a server to another assessor, who alone may then write to it."""
    from roomfield.workbench.record import releasing
    from roomfield.workbench.record.job import existing_record

    records, name = existing_record(record), opened_job(record, survey).survey.id
    if account:
        releasing.hand_over(records, name, account)
    found = releasing.owners(records, name)
    rows = [(one.at, one.owner, one.given_by) for one in found]
    nobody = "The survey belongs to nobody: everybody who may write to the record may change it."
    head = ("since (UTC)", "owner", "given by")
    answer(as_json, [asdict(one) for one in found], lambda: table("", head, rows) if rows else echo(nobody))

"""backup, check, history, identity, stamp, client-data, lock: nothing lost, everything as it was written."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, answer, echo, one_line, table
from roomfield.cli.terminal_language import opened_job


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(backup)
    app.command()(check)
    app.command()(history)
    app.command()(identity)
    app.command()(stamp)
    app.command("client-data")(client_data)
    app.command()(rights)
    app.command()(lock)
    app.command()(unlock)


def backup(
    folder: Annotated[
        str, typer.Argument(help="Folder to write to; if left out, ROOMFIELD_BACKUPS or 'backups' beside the record.")
    ] = "",
    record: Record = DEFAULT_RECORD,
    as_json: AsJson = False,
) -> None:
    """Copy the record with all its files, also while it is in use; the copy opens like any record."""
    from roomfield.workbench.record.backups import back_up
    from roomfield.workbench.record.job import existing_record

    made = back_up(existing_record(record), folder)
    answer(as_json, asdict(made), lambda: echo(f"{made.path}\n{made.files} files, {made.copied} of them new"))


def check(
    what: Annotated[str, typer.Argument(help="A survey package; the record if left out.")] = "",
    report: Annotated[str, typer.Option(help="A report, to be held against the record or package.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Walk the chain of every entry and change, read every file, and say what is not as it was written."""
    from roomfield.workbench.record import proof
    from roomfield.workbench.record.job import existing_record

    if report:
        said = proof.check_report(report, None if what else existing_record(record), what)
        answer(as_json, list(said), lambda: echo("\n".join(map(one_line, said))))
        return
    found = proof.check_package(what) if what else proof.check_record(existing_record(record), survey)

    def show() -> None:
        for title, head in found.heads:
            echo(one_line(f"{title}: {head or 'no chain'}"))
        rows = [(one.survey, one.where, one.what) for one in found.misfits]
        if rows:
            table("Not as it was written", ("survey", "where", "what"), rows)
        echo(f"{found.links} links walked, {found.files} files read, {len(rows)} misfits")
        for remark in found.remarks:
            echo(one_line(remark))

    answer(as_json, asdict(found), show)
    if found.misfits:
        raise typer.Exit(5)


def history(record: Record = DEFAULT_RECORD, survey: SurveyId = "", as_json: AsJson = False) -> None:
    """List every entry and change of a survey: when, who, on which device, what."""
    from roomfield.workbench.record.job import existing_record

    links = existing_record(record).history(opened_job(record, survey).survey.id)
    rows = [(str(k.number), k.at[:19], k.by, k.device, k.what, k.sha256[:12]) for k in links]
    head = ("no.", "when (UTC)", "who", "device", "what", "hash")
    answer(as_json, [asdict(link) for link in links], lambda: table("", head, rows))


def identity(
    name: Annotated[str, typer.Option(help="Your name as it shall stand in the record.")] = "",
    device: Annotated[str, typer.Option(help="Name of this computer.")] = "",
    sign: Annotated[bool, typer.Option("--sign", help="Sign every entry and change with a new key.")] = False,
    as_json: AsJson = False,
) -> None:
    """Set once who writes on this computer, or show it."""
    from roomfield.workbench.record.authorship import present_identity, set_identity, sign_from_now_on

    who = present_identity()
    if name or device:
        who = set_identity(name or who.name, device or who.device, who.signer)
    if sign:
        who = sign_from_now_on()
    signed = f", signing with key {who.signer[:16]}" if who.signer else ""
    answer(as_json, asdict(who), lambda: echo(one_line(f"{who.name}, on {who.device}{signed}")))


def stamp(
    file: Annotated[str, typer.Argument(help="The request to write, or with --keep the answer to keep.")],
    keep: Annotated[bool, typer.Option("--keep", help="Keep the authority's answer with the survey.")] = False,
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Write a time-stamp request (RFC 3161) for the last entry or change, or keep the answer; nothing is sent."""
    from roomfield.workbench.record import time_stamps
    from roomfield.workbench.record.job import existing_record

    records, name = existing_record(record), opened_job(record, survey).survey.id
    made = time_stamps.keep(records, name, file) if keep else time_stamps.ask(records, name, file)
    words = "is stamped; the answer is kept" if keep else f"can be stamped: send {file} to an authority yourself"
    answer(as_json, asdict(made), lambda: echo(one_line(f"Link {made.number} ({made.sha256[:12]}) {words}")))


def client_data(
    client: Annotated[str, typer.Argument(help="The client's name as it stands in the record.")],
    folder: Annotated[str, typer.Argument(help="New folder for everything that is held; else only listed.")] = "",
    record: Record = DEFAULT_RECORD,
    as_json: AsJson = False,
) -> None:
    """List what is held about a client, or write it into a folder: every entry, every file, as packages."""
    from roomfield.workbench.record import client_data as data
    from roomfield.workbench.record.job import existing_record

    records = existing_record(record)
    found = data.export_held(records, client, folder) if folder else data.held_about(records, client)
    rows = [(one.title, one.address, str(one.readings), str(one.files), str(one.changes)) for one in found]
    head = ("title", "address", "readings", "files", "changes")
    answer(as_json, [asdict(one) for one in found], lambda: table(f"Held about {found[0].client}", head, rows))


def rights(
    account: Annotated[str, typer.Argument(help="Account of the PostgreSQL server.")],
    right: Annotated[
        str, typer.Argument(help="'assess': work on own surveys; 'review': read, review, release; 'read': only read.")
    ],
    record: Record = DEFAULT_RECORD,
    as_json: AsJson = False,
) -> None:
    """Give an account of a server its rights; to be done by the account that owns the tables."""
    from roomfield.workbench.record.job import existing_record

    made = existing_record(record).grant(account, right)
    answer(as_json, list(made), lambda: echo(f"{account} may {right}"))


def lock(record: Record = DEFAULT_RECORD, as_json: AsJson = False) -> None:
    """Put the record, its files and its backups under a passphrase while nobody works with it; lost, all is lost."""
    from roomfield.cli.records import asked_passphrase
    from roomfield.workbench.record import locked_record

    done = locked_record.lock(record, asked_passphrase(twice=True))
    words = f"{done.files} files in {done.folder} are locked; nobody can open them without the passphrase"
    answer(as_json, asdict(done), lambda: echo(words))


def unlock(record: Record = DEFAULT_RECORD, as_json: AsJson = False) -> None:
    """Open a locked record; until it is locked again everything in it lies there in the clear."""
    from roomfield.cli.records import asked_passphrase
    from roomfield.workbench.record import locked_record

    done = locked_record.unlock(record, asked_passphrase())
    words = f"{done.files} files in {done.folder} lie in the clear until they are locked again"
    answer(as_json, asdict(done), lambda: echo(words))

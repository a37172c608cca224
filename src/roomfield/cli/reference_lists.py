"""references: what levels can be held against."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from roomfield.cli.console import AsJson, answer, grouped, one_line, table

if TYPE_CHECKING:
    from roomfield.workbench.publish.language_gaps import LanguageGaps


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(references)
    app.command()(languages)
    app.command("add-references")(add_references)


def references(as_json: AsJson = False) -> None:
    """List jurisdictions, limits, guidelines, decision rules, technologies and your measures by the names to give."""
    from roomfield.workbench.record.form_choices import everything

    found = everything()
    rows = [(kind, one.key, one.name) for kind, choices in found.items() for one in choices]
    plain = {kind: {one.key: one.name for one in choices} for kind, choices in found.items()}
    answer(as_json, plain, lambda: grouped("Names to give", ("kind", "name", "title"), rows))


def add_references(
    file: Annotated[
        str, typer.Argument(help="TOML file with guidelines, materials, technologies or measures of your own.")
    ],
    replace: Annotated[bool, typer.Option("--replace", help="In the place of a file of the same name.")] = False,
    as_json: AsJson = False,
) -> None:
    """Take guidelines, materials, technologies or measures of your own into the folder that every command reads."""
    from roomfield.workbench.record.own_references import add_references as add

    found = add(file, replace=replace)
    rows = [(one.kind, one.name) for one in found]
    answer(as_json, [one.to_dict() for one in found], lambda: table("Taken in", ("kind", "name"), rows))


def languages(
    language: Annotated[str, typer.Argument(help="Show what the catalogues of this language lack.")] = "",
    as_json: AsJson = False,
) -> None:
    """List the languages, and how much of each catalogue of texts each has; English stands in."""
    from roomfield.workbench.publish.language_gaps import gaps

    found = gaps(language)
    plain = [one.to_dict(with_keys=bool(language)) for one in found]
    answer(as_json, plain, lambda: _show_languages(found, whole=bool(language)))


def _show_languages(found: Sequence[LanguageGaps], *, whole: bool) -> None:
    head = ("language", "report and answers", "messages", "pages", "commands", "helps")
    shares = [(g.name, (g.report, g.messages, g.pages, g.commands, g.helps)) for g in found]
    rows = [(name, *(f"{share:.0%}" for share in parts)) for name, parts in shares]
    table("How much of each catalogue is there", head, rows)
    for gap in found if whole else ():
        for key in gap.lacking:
            typer.echo(one_line(key))

"""references: what levels can be held against."""

from __future__ import annotations

import typer

from roomfield.cli.console import AsJson, answer, grouped


def register(app: typer.Typer) -> None:
    """Add the verb."""
    app.command()(references)


def references(as_json: AsJson = False) -> None:
    """List jurisdictions, sets of limits, guidelines, decision rules and technologies by the names to give."""
    from roomfield.workbench.record.form_choices import everything

    found = everything()
    rows = [(kind, one.key, one.name) for kind, choices in found.items() for one in choices]
    plain = {kind: {one.key: one.name for one in choices} for kind, choices in found.items()}
    answer(as_json, plain, lambda: grouped("Names to give", ("kind", "name", "title"), rows))

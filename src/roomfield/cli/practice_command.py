"""practice: an invented home, and how good an order of switching or a plan is in it."""

from __future__ import annotations

from typing import Annotated

import typer

from roomfield.cli.console import AsJson, answer, echo
from roomfield.cli.terminal_language import spoken


def register(app: typer.Typer) -> None:
    """Add the verb."""
    app.command()(practice)


def practice(
    seed: Annotated[int, typer.Option(help="Which home; the same seed gives the same home.")] = 1,
    place: Annotated[str, typer.Option(help="Place that an order is for.")] = "",
    order: Annotated[list[str] | None, typer.Option(help="Transmitter switched off next; repeat in order.")] = None,
    plan: Annotated[list[str] | None, typer.Option(help="Transmitter to do without; repeat.")] = None,
    language: Annotated[str, typer.Option(help="Language of the sentences; the terminal's if left out.")] = "",
    as_json: AsJson = False,
) -> None:
    """Show an invented home to practise in; score an order of switching or a plan. Scans are on its page, /practice."""
    from roomfield.show.phrase import phrase
    from roomfield.show.words.message_catalogue import load_words
    from roomfield.workbench.practice.practice_scan import order_score, plan_score, practice_sheet

    words, sheet = load_words(spoken(language)), practice_sheet(seed)
    found = order_score(seed, place, tuple(order)) if order else plan_score(seed, tuple(plan)) if plan else None
    if found is None:
        said = [
            phrase("practice.home", seed=str(seed), places=", ".join(sheet.places)),
            phrase("practice.own", names=", ".join(sheet.own)),
            phrase("practice.foreign", names=", ".join(sheet.foreign) or "-"),
            phrase("practice.page", address=f"/practice/{seed}"),
        ]
    else:
        said = [phrase("practice.score", points=found.points, missed=found.missed_db, best=", ".join(found.best))]
    sentences = [words.text(one) for one in said]
    plain = (vars(sheet) if found is None else vars(found)) | {"sentences": sentences}
    answer(as_json, plain, lambda: echo("\n".join(sentences)))

"""coach: what a recorded hand scan still misses."""

from __future__ import annotations

from typing import Annotated

import typer

from roomfield.cli.console import AsJson, answer


def register(app: typer.Typer) -> None:
    """Add the verb."""
    app.command()(coach)


def coach(
    path: Annotated[str, typer.Argument(help="Recording of the meter's sound during one scan.")],
    turned: Annotated[
        bool | None,
        typer.Option("--turned/--not-turned", help="Whether the antenna was turned through all directions."),
    ] = None,
    law: Annotated[str, typer.Option(help="How sound follows power: square, linear or log.")] = "square",
    coupling: Annotated[float, typer.Option(help="Corner of the capacitor in the cable, Hz; 0 for none.")] = 0.0,
    language: Annotated[str, typer.Option(help="Language of the sentences.")] = "en",
    as_json: AsJson = False,
) -> None:
    """Say how far the highest value of a scan lies under the largest there is, and what would have helped."""
    from roomfield.show.words.message_catalogue import load_words
    from roomfield.workbench.record.night_sound import checked_law
    from roomfield.workbench.record.scan_coach import coached

    words, said = load_words(language), coached(path, turned, checked_law(law), coupling)
    lines = [" ".join(words.text(s) for s in each.sentences()) for each in said]
    answer(as_json, [vars(each) for each in said], lambda: typer.echo("\n".join(lines)))

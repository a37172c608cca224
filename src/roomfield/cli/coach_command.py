"""coach: what a recorded hand scan still misses."""

from __future__ import annotations

from typing import Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, answer, echo
from roomfield.cli.terminal_language import opened_job, spoken


def register(app: typer.Typer) -> None:
    """Add the verb."""
    app.command()(coach)


def coach(
    path: Annotated[str, typer.Argument(help="Recording of the meter's sound during one scan.")],
    turned: Annotated[
        bool | None,
        typer.Option("--turned/--not-turned", help="Whether the antenna was turned through all directions."),
    ] = None,
    spot: Annotated[
        list[str] | None,
        typer.Option(
            help="When the search at a loud spot began, seconds or m:ss of the recording; repeat for each spot."
        ),
    ] = None,
    again: Annotated[
        str,
        typer.Option(help="When the second sweep began, with the antenna as it stood at the highest value."),
    ] = "",
    place: Annotated[str, typer.Option(help="Keep the numbers below as a reading at this place, by name or id.")] = "",
    peak: Annotated[float | None, typer.Option(help="Peak that the display showed, µW/m².")] = None,
    held: Annotated[float | None, typer.Option(help="Highest held that the display showed, µW/m².")] = None,
    average: Annotated[float | None, typer.Option(help="Average that the display showed, µW/m².")] = None,
    state: Annotated[str, typer.Option(help="Radio state, by name or id; the first if left out.")] = "",
    visit: Annotated[str, typer.Option(help="Id of the visit; the only one if left out.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    law: Annotated[str, typer.Option(help="How sound follows power: square, linear or log.")] = "square",
    coupling: Annotated[float, typer.Option(help="Corner of the capacitor in the cable, Hz; 0 for none.")] = 0.0,
    language: Annotated[str, typer.Option(help="Language of the sentences; the terminal's if left out.")] = "",
    as_json: AsJson = False,
) -> None:
    """Say how far the highest value of a scan lies under the largest there is, and what would have helped.

    With a place and what the display showed, a reading is kept, and what the scan is worth with it.
    """
    from roomfield.show.phrase import phrase
    from roomfield.show.words.message_catalogue import load_words
    from roomfield.workbench.record.night_sound import checked_law
    from roomfield.workbench.record.scan_coach import CoachedEntry, ScanMarks, coached, keep_coached

    words = load_words(spoken(language))
    marks = ScanMarks(tuple(spot or ()), again) if spot or again else None
    scan = coached(path, turned, checked_law(law), coupling, marks)
    lines = [" ".join(words.text(s) for s in each.sentences()) for each in scan.said]
    if place:
        entry = CoachedEntry(place, peak, held, average, state, visit)
        kept = keep_coached(opened_job(record, survey), entry, scan)
        lines.append(words.text(phrase("coach.kept", n=len(kept.worth), place=place)))
    plain = [vars(each) | {"sentence": line} for each, line in zip(scan.said, lines, strict=False)]
    answer(as_json, plain, lambda: echo("\n".join(lines)))

"""night: level by second from a night of the meter's sound."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from roomfield.cli.console import AsJson, answer


def register(app: typer.Typer) -> None:
    """Add the verb."""
    app.command()(night)


def night(
    path: Annotated[str, typer.Argument(help="Recording of the meter's sound (WAV, FLAC, OGG, MP3).")],
    shown: Annotated[
        list[str],
        typer.Option(
            help="What the display showed, in µW/m²: 'at=0:30 peak=2400 held=3010 average=109'; at: time from the "
            "start of the recording. Give it a few times, in the evening and in the morning."
        ),
    ],
    coupling: Annotated[float, typer.Option(help="Corner of the capacitor in the cable, Hz; 0 for none.")] = 20.0,
    law: Annotated[str, typer.Option(help="How sound follows power: square, linear or log; found if left out.")] = "",
    channel: Annotated[int, typer.Option(help="Channel, from 0.")] = 0,
    began: Annotated[str, typer.Option(help="Start of the recording with offset, for --log.")] = "",
    log: Annotated[str, typer.Option(help="Write the series as a log (CSV) to this file.")] = "",
    language: Annotated[str, typer.Option(help="Language of the sentences.")] = "en",
    as_json: AsJson = False,
) -> None:
    """Say how loud a night was, second by second, from a recording of the meter's sound."""
    from roomfield.show.words.message_catalogue import load_words
    from roomfield.workbench.record.night_sound import (
        NightRecording,
        checked_law,
        night_of,
        plain_night,
        shown_night,
        write_night_log,
    )

    words = load_words(language)
    series = night_of(NightRecording(Path(path), tuple(shown), coupling, checked_law(law), channel))
    sentences = [words.text(sentence) for sentence in shown_night(series).sentences()]
    if log:
        write_night_log(series, began, log)
    answer(as_json, plain_night(series, sentences), lambda: typer.echo("\n".join(sentences)))

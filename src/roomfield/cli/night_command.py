"""night: level by second from a night of the meter's sound."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer

from roomfield.cli.console import AsJson, answer, echo
from roomfield.cli.terminal_language import spoken
from roomfield.errors import InputError


def register(app: typer.Typer) -> None:
    """Add the verb."""
    app.command()(night)


def night(
    path: Annotated[
        str,
        typer.Argument(help="Recording of the meter's sound (WAV, FLAC, OGG, MP3); with --live: as if it came now."),
    ] = "",
    shown: Annotated[
        list[str] | None,
        typer.Option(
            help="What the display showed, in µW/m²: 'at=0:30 peak=2400 held=3010 average=109'; at: time from the "
            "start of the recording. Give it a few times, in the evening and in the morning. Without a recording: note "
            "it now for the live night of --log (no 'at')."
        ),
    ] = None,
    live: Annotated[bool, typer.Option(help="Follow the sound card; --log is written anew every minute.")] = False,
    device: Annotated[str, typer.Option(help="Sound card's input by name or number; the usual one if left out.")] = "",
    coupling: Annotated[float, typer.Option(help="Corner of the capacitor in the cable, Hz; 0 for none.")] = 20.0,
    law: Annotated[str, typer.Option(help="How sound follows power: square, linear or log; found if left out.")] = "",
    channel: Annotated[int, typer.Option(help="Channel, from 0.")] = 0,
    began: Annotated[str, typer.Option(help="Start of the recording with offset, for --log.")] = "",
    log: Annotated[str, typer.Option(help="Write the series as a log (CSV) to this file.")] = "",
    language: Annotated[str, typer.Option(help="Language of the sentences; the terminal's if left out.")] = "",
    as_json: AsJson = False,
) -> None:
    """Say how loud a night was, second by second, from a recording of the meter's sound, or while it goes on."""
    from roomfield.show.words.message_catalogue import load_words
    from roomfield.workbench.record.night_sound import (
        NightRecording,
        checked_law,
        night_of,
        plain_night,
        shown_night,
        write_night_log,
    )

    words = load_words(spoken(language, plain=as_json))
    if live:
        _follow(path, tuple(shown or ()), coupling, checked_law(law), channel, log, device)
        return
    if not path:
        _note(log, shown or [])
        return
    series = night_of(NightRecording(Path(path), tuple(shown or ()), coupling, checked_law(law), channel))
    sentences = [words.text(sentence) for sentence in shown_night(series).sentences()]
    if log:
        write_night_log(series, began, log)
    answer(as_json, plain_night(series, sentences), lambda: echo("\n".join(sentences)))


def _follow(path: str, shown: tuple[str, ...], coupling: float, law: str, channel: int, log: str, device: str) -> None:
    from roomfield.workbench.record.live_night_log import begin_live, card_blocks, follow, now_here, played_blocks

    if not log:
        raise InputError(
            "it is not said where the night is kept.", where="--log", mend="Name a file, such as night.csv."
        )
    rate_hz, blocks = played_blocks(path, channel) if path else card_blocks(device)
    kept = begin_live(log, now_here(), coupling, law, rate_hz, shown)
    echo(f"The night is kept in {log}. Note what the display shows from another window:")
    echo(f'roomfield night --log {log} --shown "peak=2400 held=3010 average=109"')
    with suppress(KeyboardInterrupt):
        follow(kept, blocks, lambda one: echo(f"{one.night.seconds} s kept"))
    kept.save()
    for refused in kept.refused:
        echo(refused, err=True)


def _note(log: str, shown: list[str]) -> None:
    from roomfield.workbench.record.live_night_log import note_shown, now_here

    if not log or not shown:
        raise InputError(
            "there is no recording.",
            where="night",
            mend="Name one, follow the sound card with --live, or note a reading with --log and --shown.",
        )
    for text in shown:
        note_shown(log, text, now_here())
    echo(f"Noted for {log}.")

"""night: level by second from a night of the meter's sound."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, echo, progress
from roomfield.cli.terminal_language import opened_job, spoken
from roomfield.errors import InputError

if TYPE_CHECKING:
    from roomfield.show.shown_night import ShownNight
    from roomfield.workbench.record.night_sound import NightRecording


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
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep it with the survey: a log of averages, one of peaks.")
    ] = False,
    place: Annotated[str, typer.Option(help="Name or id of the place, with --keep.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    language: Annotated[str, typer.Option(help="Language of the sentences; the terminal's if left out.")] = "",
    as_json: AsJson = False,
) -> None:
    """Say how loud a night was, second by second, from a recording of the meter's sound, or while it goes on."""
    if live:
        _follow(path, tuple(shown or ()), coupling, _law(law), channel, log, device)
        return
    if not path:
        _note(log, shown or [])
        return
    from roomfield.show.words.message_catalogue import load_words
    from roomfield.workbench.record.night_sound import NightRecording, plain_night

    recording = NightRecording(Path(path), tuple(shown or ()), coupling, _law(law), channel)
    if keep:
        found, logs = _kept(recording, began, place, (record, survey, visit))
    else:
        found, logs = _worked_out(recording, began, log), ()
    words = load_words(spoken(language))
    sentences = [words.text(sentence) for sentence in found.sentences()]
    plain = plain_night(found, sentences) | {"logs": list(logs)}
    answer(
        as_json, plain, lambda: echo("\n".join([*sentences, *(words.say("night.kept_as", log=one) for one in logs)]))
    )


def _law(name: str) -> str:
    from roomfield.workbench.record.night_sound import checked_law

    return checked_law(name)


def _worked_out(recording: NightRecording, began: str, log: str) -> ShownNight:
    from roomfield.workbench.record.night_sound import (
        describe_night_log,
        moment_with_offset,
        night_of,
        shown_night,
        shown_reading,
        write_night_log,
    )

    began = moment_with_offset(began).isoformat() if began or log else ""
    with progress("night") as on_progress:
        series = night_of(recording, on_progress)
    if log:
        describe_night_log(write_night_log(series, began, log))
    return shown_night(series, [shown_reading(text) for text in recording.shown], began)


def _kept(
    recording: NightRecording, began: str, place: str, where: tuple[str, str, str]
) -> tuple[ShownNight, tuple[str, ...]]:
    from roomfield.workbench.record.kept_night import keep_night
    from roomfield.workbench.record.long_series import LogPlace
    from roomfield.workbench.record.things import id_named

    record, survey, visit = where
    job = opened_job(record, survey)
    at = LogPlace(id_named(job.survey, "place", place), visit)
    with progress("night") as on_progress:
        kept = keep_night(job, recording, began, at, on_progress)
    return kept.shown, tuple(one.id for one in kept.logs)


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

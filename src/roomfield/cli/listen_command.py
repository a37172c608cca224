"""listen: the meter's audio, one file or a folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, echo, progress
from roomfield.cli.terminal_language import opened_job, spoken
from roomfield.cli.terminal_numbers import probability, told_in

if TYPE_CHECKING:
    from roomfield.workbench.record.recording_analysis import Hearing


def register(app: typer.Typer) -> None:
    """Add the verb."""
    app.command()(listen)


_SENTENCES = ("verdict", "title", "warnings", "unknowns", "text", "reason", "fault")
"""Keys of JSON under which sentences stand."""
_NOTHING_READ = 3
"""Exit code when no file of a folder could be read, the same as for one bad file."""


def listen(
    path: Annotated[str, typer.Argument(help="Recording (WAV, FLAC, OGG, MP3, SigMF), or a folder of them.")],
    keep: Annotated[bool, typer.Option("--keep", help="Keep the recording with the survey.")] = False,
    place: Annotated[str, typer.Option(help="Name or id of the place, with --keep.")] = "",
    state: Annotated[str, typer.Option(help="Radio state, with --keep.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    compare: Annotated[
        str,
        typer.Option(help="A later recording: is it the same base (by its clock), is more sent, what came?"),
    ] = "",
    other_recorder: Annotated[
        bool,
        typer.Option("--other-recorder", help="The later recording is of another recorder, with --compare."),
    ] = False,
    figure: Annotated[
        str,
        typer.Option(help="Draw which transmitter was there when, to this SVG file; from half a minute on."),
    ] = "",
    labels: Annotated[
        str, typer.Option(help="Write what was heard as annotations to this .sigmf-meta file; I/Q recordings only.")
    ] = "",
    language: Annotated[str, typer.Option(help="Language of comparison and figure; the terminal's if left out.")] = "",
    as_json: AsJson = False,
) -> None:
    """Say which transmitters a recording of the meter's audio holds, with probability and evidence."""
    from roomfield.show.words.message_catalogue import load_words
    from roomfield.workbench.record.recording_analysis import HeardWhere, keep_recording, kept_hearing
    from roomfield.workbench.record.recording_analysis import listen as call
    from roomfield.workbench.record.sigmf_labels import write_labels
    from roomfield.workbench.record.sound_questions import compare_recordings, plain_comparison, presence_figure
    from roomfield.workbench.record.things import id_named

    if Path(path).is_dir():
        _folder(path, as_json)
        return
    if keep:
        job = opened_job(record, survey)
        kept = keep_recording(job, path, HeardWhere(id_named(job.survey, "place", place), visit, "", state))
        hearing = kept_hearing(job.again(), kept)
    else:
        hearing = call(path)
    if labels:
        write_labels(hearing, path, labels)
    words = load_words(spoken(language))
    if figure:
        Path(figure).write_text(presence_figure(hearing, words), encoding="utf-8")
    if compare:
        found = compare_recordings(hearing, call(compare), one_recorder=not other_recorder)
        told = plain_comparison(found, words)
        answer(as_json, told, lambda: echo("\n".join(told["sentences"])))
        return
    answer(as_json, told_in(hearing.to_dict(), _SENTENCES), lambda: _show(hearing))


def _folder(path: str, as_json: bool) -> None:
    from roomfield.workbench.record.recording_analysis import listen_folder

    with progress("listening") as on_progress:
        found = listen_folder(path, on_progress)
    plain: list[dict[str, Any]] = [
        {"file": name, **(result.to_dict() if not isinstance(result, str) else {"fault": result})}
        for name, result in found
    ]
    answer(as_json, told_in(plain, _SENTENCES), lambda: _show_folder(found))
    if all(isinstance(result, str) for _, result in found):
        raise typer.Exit(_NOTHING_READ)


def _show_folder(found: list[tuple[str, Hearing | str]]) -> None:
    for name, result in found:
        if isinstance(result, str):
            echo(f"{name}: {result.removeprefix(f'{name}: ')}")
            continue
        heard = ", ".join(f"{h.name} {probability(h.probability)}" for h in result.claimed)
        echo(f"{name}: {heard or result.verdict}")


def _show(hearing: Hearing) -> None:
    echo(f"{hearing.source}, {hearing.duration_s:.1f} s: {hearing.verdict}")
    for heard in hearing.technologies:
        if heard.probability < 0.1:
            continue
        echo(f"  {heard.title}: {probability(heard.probability)}")
        for item in heard.evidence:
            echo(f"      {item.text}")
        if heard.indistinguishable_from:
            echo(f"      cannot be told from: {', '.join(heard.indistinguishable_from)}")
    for warning in hearing.warnings:
        echo(f"  take care: {warning}")
    for unknown in hearing.unknowns:
        echo(f"  {unknown}")
    for span in hearing.excluded:
        echo(f"  left out {span.start_s:.1f} to {span.end_s:.1f} s: {span.reason}")

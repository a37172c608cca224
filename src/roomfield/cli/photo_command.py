"""photo: a picture from a file as evidence, with what the camera's clock says."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, echo
from roomfield.cli.terminal_language import opened_job

if TYPE_CHECKING:
    from roomfield.workbench.record.bring_photo import BroughtPhoto


def register(app: typer.Typer) -> None:
    """Add the verb."""
    app.command()(photo)


def photo(
    file: Annotated[str, typer.Argument(help="JPEG, PNG or WebP.")],
    caption: Annotated[str, typer.Option(help="What it shows, in words.")],
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    at: Annotated[str, typer.Option(help="Place that it shows.")] = "",
    shows: Annotated[str, typer.Option(help="display, place, room, house_front or other.")] = "other",
    time: Annotated[
        str, typer.Option(help="When it was taken, as you know it; the camera's clock is not trusted.")
    ] = "",
    keep_camera_data: Annotated[
        bool, typer.Option("--keep-camera-data", help="Keep the camera's own file, with time and position.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Keep a photo as evidence; without what the camera put into it, and with its clock's time in the words."""
    from roomfield.workbench.record.bring_photo import bring_photo

    brought = bring_photo(
        opened_job(record, survey), file, caption, place=at, subject=shows, visit_id=visit, taken_at=time,
        keeps_camera_data=keep_camera_data,
    )  # fmt: skip
    answer(as_json, {"photo": asdict(brought.photo), "camera": asdict(brought.camera)}, lambda: _show(brought))


def _show(brought: BroughtPhoto) -> None:
    echo(f"{brought.photo.id}: {brought.photo.caption}")
    if brought.camera.moment:
        moment = brought.camera.moment.replace("T", " ")
        echo(f"The camera's clock says {moment}; nobody has checked it. Say what you know with --time.")
    else:
        echo("The camera says no time.")
    if brought.camera.latitude_deg is not None:
        kept = brought.photo.camera_data
        echo("The position is kept in the file." if kept else "The file held a position; it is left out.")

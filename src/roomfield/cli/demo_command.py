"""demo: the main job on an invented home."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from roomfield.cli.console import AsJson, answer, echo, progress
from roomfield.cli.terminal_language import spoken


def register(app: typer.Typer) -> None:
    """Add the verb."""
    app.command()(demo)


def demo(
    folder: Annotated[str, typer.Argument(help="Folder for the demo record and its report.")] = "roomfield-demo",
    language: Annotated[str, typer.Option(help="en, de or fr; the terminal's if left out.")] = "",
    as_json: AsJson = False,
) -> None:
    """Make the demo survey (invented home, invented meter, invented people) and its report."""
    from roomfield.workbench.publish.whole_report import Wishes, whole_report
    from roomfield.workbench.record.demo_record import demo_job

    language = spoken(language)
    job = demo_job(folder)
    home = Path(folder).resolve()
    package = home / "survey-package.zip"
    with progress("demo report") as on_progress:
        job.write_package(package)
        paths = [
            whole_report(job, home / f"report{ending}", Wishes(language=language), on_progress)
            for ending in (".pdf", ".html", ".xlsx")
        ]
        proof = whole_report(job, home / "follow-up.pdf", Wishes(job.survey.visits[-1].id, language), on_progress)
    plain = {
        "record": str(home / "roomfield.sqlite"),
        "package": str(package),
        "report": str(paths[0]),
        "follow_up": str(proof),
        "also": [str(p) for p in paths[1:]],
        "invented": True,
    }
    answer(as_json, plain, lambda: _show(plain))


def _show(plain: dict[str, object]) -> None:
    echo("The demo survey is invented: home, meter and people do not exist.")
    echo(f"Report (PDF):    {plain['report']}")
    echo(f"Follow-up (PDF): {plain['follow_up']}")
    for path in plain["also"] if isinstance(plain["also"], list) else []:
        echo(f"Report ({Path(path).suffix[1:].upper()}):   {path}")
    echo(f"Survey package:  {plain['package']}")
    echo(f"Record:          {plain['record']}")
    echo(f"Look around:     roomfield assess --record {plain['record']}")

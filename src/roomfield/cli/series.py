"""log, stations: long series."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, progress
from roomfield.cli.numbers import decibels, microwatts
from roomfield.errors import InputError

if TYPE_CHECKING:
    from roomfield.workbench.series import LogView


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(log)
    app.command()(stations)


def log(
    file: Annotated[str, typer.Argument(help="CSV, TSV, Parquet or XLSX of a long log.")],
    set_: Annotated[
        list[str] | None,
        typer.Option("--set", help="A field of the mapping, such as unit=uW/m2 or zone=Europe/Vienna."),
    ] = None,
    confirm: Annotated[bool, typer.Option("--confirm", help="The columns are read rightly: analyse.")] = False,
    bound: Annotated[float | None, typer.Option(help="The client's bound in µW/m².")] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Keep the log with the survey.")] = False,
    place: Annotated[str, typer.Option(help="Id of the place, with --keep.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    as_json: AsJson = False,
) -> None:
    """Say what a long log holds: first shows how its columns are read; --confirm analyses it."""
    from roomfield.workbench.job import open_job
    from roomfield.workbench.series import LogPlace, guessed_log, keep_log, kept_series, series_from, view_of

    mapping = guessed_log(file)
    if not confirm:
        answer(as_json, mapping.to_dict(), lambda: _show_mapping(mapping.to_dict()))
        return
    settled = mapping.confirm(**_settings(set_ or []))
    with progress("log") as on_progress:
        if keep:
            job = open_job(record, survey)
            kept = keep_log(job, file, settled, LogPlace(place, visit), on_progress)
            series = kept_series(job.again(), kept)
        else:
            series = series_from(file, settled, Path(file).resolve().parent / ".roomfield-series", on_progress)
    found = view_of(series, None if bound is None else bound * 1e-6)
    answer(as_json, found.to_dict(), lambda: _show(found))


def _settings(given: list[str]) -> dict[str, Any]:
    words = {"true": True, "false": False}
    settings: dict[str, Any] = {}
    for item in given:
        name, sign, value = item.partition("=")
        if not sign:
            raise InputError(f"the setting {item!r} is not understood.", mend="Write it as field=value.")
        settings[name] = words.get(value.lower(), float(value) if name in ("floor", "overload") else value)
    return settings


def _show_mapping(plain: dict[str, Any]) -> None:
    for guess in plain["guesses"]:
        typer.echo(f"  {guess['what']}: {guess['answer']} ({guess['evidence']}; sure to {guess['confidence']:.0%})")
    for question in plain["questions"]:
        choices = f" One of: {', '.join(question['choices'])}." if question["choices"] else ""
        typer.echo(f"Open: {question['text']}{choices} (--set {question['what']}=...)")
    typer.echo("Nothing was stored. If this is right, say the same again with --confirm.")


def _show(found: LogView) -> None:
    figures = found.statistics
    dense = figures.unit == "W/m2"
    unit = "µW/m²" if dense else figures.unit

    def number(value: float | None) -> str:
        if value is None:
            return "not known"
        return f"{microwatts(value)} {unit}" if dense else f"{value:.4g} {unit}"

    typer.echo(f"{figures.readings:,} readings from {figures.start:%Y-%m-%d %H:%M} to {figures.end:%Y-%m-%d %H:%M} UTC")
    typer.echo(f"observed {figures.share_observed:.1%} of the time, {len(figures.gaps)} gaps")
    highest = f"highest {number(figures.maximum)} at {figures.maximum_at:%Y-%m-%d %H:%M}"
    typer.echo(f"mean over time {number(figures.mean)}; {highest}")
    for rolling in figures.rolling:
        typer.echo(f"highest {rolling.window_s / 60:g}-minute average {number(rolling.value)} {rolling.note}".rstrip())
    typer.echo("percentiles " + ", ".join(f"{p:g} %: {number(v)}" for p, v in figures.percentiles))
    if figures.above is not None:
        typer.echo(
            f"above the bound for {figures.above.share_above:.2%} of the time, {len(figures.above.events)} events"
        )
    for change in found.changes:
        typer.echo(f"level changed by {decibels(change.step_db)} at {change.at:%Y-%m-%d %H:%M} UTC")
    need = found.duration
    typer.echo(
        f"to know the highest half-hour average within {need.tolerance_db:g} dB: "
        + (f"log at least {need.hours} h" if need.hours else f"longer than this log shows ({need.record_hours:.0f} h)")
    )
    for remark in figures.remarks:
        typer.echo(f"note: {remark}")


def stations(
    source: Annotated[str, typer.Argument(help="Folder of logs, or any URL that fsspec opens.")],
    target: Annotated[str, typer.Argument(help="Folder for the results.")],
    bound: Annotated[float | None, typer.Option(help="Bound in µW/m².")] = None,
    scheduler: Annotated[
        str, typer.Option(help="'local' or the address of a Dask scheduler; empty: this process.")
    ] = "",
    workers: Annotated[int, typer.Option(help="Workers of a local cluster; 0: one for each core.")] = 0,
    keep_series: Annotated[bool, typer.Option("--keep-series", help="Keep the stored series.")] = False,
    as_json: AsJson = False,
) -> None:
    """Analyse every log of many stations; a failing file is reported and does not stop the rest."""
    from roomfield.workbench.series import stations as call

    settings = {
        "bound": None if bound is None else bound * 1e-6,
        "scheduler": scheduler,
        "workers": workers,
        "keep_series": keep_series,
    }
    with progress("stations") as on_progress:
        found = call(source, target, settings, on_progress)
    plain = {
        "results": len(found.results),
        "resumed": found.resumed,
        "faults": [{"url": f.url, "reason": f.reason} for f in found.faults],
        "folder": target,
    }
    answer(as_json, plain, lambda: _show_stations(plain))


def _show_stations(plain: dict[str, Any]) -> None:
    typer.echo(
        f"{plain['results']} logs analysed ({plain['resumed']} were there already); results in {plain['folder']}"
    )
    for fault in plain["faults"]:
        typer.echo(f"  {fault['url']}: {fault['reason']}")

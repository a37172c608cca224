"""log, stations: long series."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, echo, progress
from roomfield.cli.terminal_language import opened_job
from roomfield.cli.terminal_numbers import decibels, microwatts, terminal_words, whole
from roomfield.errors import InputError
from roomfield.show.trade_units import MICROWATT_M2, MILLISECOND, clock_of

if TYPE_CHECKING:
    from roomfield.logs.intervals import ConfidenceInterval
    from roomfield.workbench.record.long_series import LogView

_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


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
    split: Annotated[
        str, typer.Option(help="A moment (2026-03-10T00:00:00Z): compare what came after it with what came before.")
    ] = "",
    keep: Annotated[bool, typer.Option("--keep", help="Keep the log with the survey.")] = False,
    place: Annotated[str, typer.Option(help="Name or id of the place, with --keep.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    as_json: AsJson = False,
) -> None:
    """Say what a long log holds: first shows how its columns are read; --confirm analyses it."""
    from roomfield.workbench.record.long_series import (
        LogPlace,
        guessed_log,
        keep_log,
        kept_series,
        series_from,
        view_of,
    )
    from roomfield.workbench.record.things import id_named

    mapping = guessed_log(file)
    if not confirm:
        answer(as_json, mapping.to_dict(), lambda: _show_mapping(mapping.to_dict()))
        return
    settled = mapping.confirm(**_settings(set_ or []))
    with progress("log") as on_progress:
        if keep:
            job = opened_job(record, survey)
            kept = keep_log(job, file, settled, LogPlace(id_named(job.survey, "place", place), visit), on_progress)
            series = kept_series(job.again(), kept)
        else:
            series = series_from(file, settled, Path(file).resolve().parent / ".roomfield-series", on_progress)
    found = view_of(series, MICROWATT_M2.si(bound), split or None)
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
        echo(f"  {guess['what']}: {guess['answer']} ({guess['evidence']}; sure to {guess['confidence']:.0%})")
    for question in plain["questions"]:
        choices = f" One of: {', '.join(question['choices'])}." if question["choices"] else ""
        echo(f"Open: {question['text']}{choices} (--set {question['what']}=...)")
    echo("Nothing was stored. If this is right, say the same again with --confirm.")


def _show(found: LogView) -> None:
    from roomfield.show.log_figures import duration_figures, statistic_figures

    figures, words = found.statistics, terminal_words()
    number = _in_unit(figures.unit)
    echo(f"from {figures.start:%Y-%m-%d %H:%M} to {figures.end:%Y-%m-%d %H:%M} UTC")
    for name, value in (*statistic_figures(figures), *duration_figures(found.duration)):
        typer.echo(words.say("level.labelled", label=name, text=value))
    for line in (*_course(found, number), *_steps(found), *_bursts(found), *_held(found, number)):
        echo(line)
    for remark in figures.remarks:
        echo(f"note: {remark}")


def _in_unit(unit: str) -> Callable[[float | None], str]:
    dense = unit == "W/m2"
    shown = "µW/m²" if dense else unit

    def number(value: float | None) -> str:
        if value is None:
            return "not known"
        return f"{microwatts(value)} {shown}" if dense else f"{value:.4g} {shown}"

    return number


def _course(found: LogView, number: Callable[[float | None], str]) -> Iterator[str]:
    if found.day is not None and found.day.bins:
        for word, choose in (("highest", max), ("lowest", min)):
            part = choose(found.day.bins, key=lambda b: b.mean.value)
            level = _interval(part.mean, number)
            yield f"{word} hour of the day {clock_of(part.start_minute)} ({found.day.zone}): {level}"
    if found.week is not None and found.week.bins:
        part = max(found.week.bins, key=lambda b: b.mean.value)
        day = _WEEKDAYS[part.weekday or 0]
        yield f"highest hour of the week {day} {clock_of(part.start_minute)}: {_interval(part.mean, number)}"


def _interval(mean: ConfidenceInterval, number: Callable[[float | None], str]) -> str:
    if mean.low is None:
        return f"{number(mean.value)} (too few days for an interval)"
    return f"{number(mean.value)} ({number(mean.low)} to {number(mean.high)}, {mean.confidence:.0%})"


def _steps(found: LogView) -> Iterator[str]:
    for change in found.changes:
        yield f"level changed by {decibels(change.step_db)} at {change.at:%Y-%m-%d %H:%M} UTC"
    if found.comparison is not None:
        change_db = found.comparison.change_db
        ends = (
            "too few days for an interval"
            if change_db.low is None or change_db.high is None
            else f"{decibels(change_db.low)} to {decibels(change_db.high)}, {change_db.confidence:.0%}"
        )
        days = f"{found.comparison.first_days} days before, {found.comparison.second_days} after"
        yield f"after the split against before: {decibels(change_db.value)} ({ends}; {days})"
        yield from (f"note: {remark}" for remark in found.comparison.remarks)


def _bursts(found: LogView) -> Iterator[str]:
    seen = found.bursts
    if seen is None or seen.width_s is None or seen.peak_and_mean is None:
        return
    spacing = "" if seen.spacing_s is None else f", {seen.spacing_s.median:.3g} s from start to start"
    wide = MILLISECOND.shown(seen.width_s.median)
    yield (
        f"bursts: {whole(seen.count)} ({whole(seen.per_day)} a day), {wide:.3g} ms wide{spacing}, "
        f"{seen.duty_cycle:.2%} of the time"
    )
    parts = seen.peak_and_mean
    yield (
        f"highest over mean {decibels(parts.total_db)}: {decibels(parts.from_duty_db)} as bursts fill only part of the "
        f"time, {decibels(parts.from_uneven_bursts_db)} as bursts differ, less "
        f"{decibels(parts.filled_by_background_db)} for the level between them"
    )
    yield from (f"note: {remark}" for remark in seen.remarks)


def _held(found: LogView, number: Callable[[float | None], str]) -> Iterator[str]:
    """The last rise of each stretch between two resets: after it nothing was higher."""
    for one in found.held:
        bound = "at least " if one.overload else ""
        yield (
            f"held from {one.start:%Y-%m-%d %H:%M} to {one.end:%Y-%m-%d %H:%M} UTC: {bound}{number(one.maximum)}, "
            f"reached {one.reached_at:%Y-%m-%d %H:%M}, rose {len(one.rises)} times"
        )


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
    from roomfield.workbench.record.long_series import stations as call

    settings = {
        "bound": MICROWATT_M2.si(bound),
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
    echo(f"{plain['results']} logs analysed ({plain['resumed']} were there already); results in {plain['folder']}")
    for fault in plain["faults"]:
        echo(f"  {fault['url']}: {fault['reason']}")

"""assess, report: what the readings mean, and the document."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, progress, table
from roomfield.cli.numbers import microwatts, probability, span

if TYPE_CHECKING:
    from roomfield.workbench.assess import Assessment

Coverage = Annotated[float, typer.Option(help="Probability content of every interval, 0 to 1.", min=0.5, max=0.999)]
Rule = Annotated[str, typer.Option(help="Decision rule for legal limits, see 'roomfield references'.")]
Limits = Annotated[str, typer.Option("--limits", help="TOML file with limits of your own.")]


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(assess)
    app.command()(report)


def _assessed(record: str, survey: str, visit: str, coverage: float, rule: str, limits: str) -> tuple[Assessment, str]:
    from roomfield.workbench.assess import Terms
    from roomfield.workbench.assess import assess as call
    from roomfield.workbench.job import open_job

    job = open_job(record, survey)
    found = call(job.survey, visit or None, terms=Terms(coverage, rule), user_limits=limits)
    return found, job.package_sha256


def assess(
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    coverage: Coverage = 0.95,
    rule: Rule = "three-way",
    limits: Limits = "",
    all_states: Annotated[bool, typer.Option("--all-states", help="Every radio state, not only as found.")] = False,
    as_json: AsJson = False,
) -> None:
    """Say what a visit's readings mean: level, interval, law, guideline, and what each switch contributes."""
    from roomfield.workbench.summaries import assessment_plain

    found, _ = _assessed(record, survey, visit, coverage, rule, limits)
    answer(as_json, assessment_plain(found, all_states=all_states), lambda: _show(found, all_states))


def _show(found: Assessment, all_states: bool) -> None:
    if found.survey.invented:
        typer.echo("Everything in this survey is invented.")
    typer.echo(f"{found.survey.title}; visit {found.table.visit.id} of {found.table.visit.started_at[:10]}")
    limit = found.limit
    typer.echo(f"Law: {found.limits.title}, {microwatts(limit.value_w_m2)} µW/m² ({limit.standing.value}), average")
    if found.guideline is not None:
        typer.echo(f"Guideline: {found.guideline.title} ({found.guideline.standing.value}), peak")
    _show_levels(found, all_states)
    _show_switches(found)


def _show_levels(found: Assessment, all_states: bool) -> None:
    from roomfield.workbench.summaries import place_rows

    rows = [
        (
            f"{r.place} ({r.state})" if all_states else r.place,
            r.kind.replace("_", "-"),
            microwatts(r.median_w_m2, r.censored),
            span(r.low_w_m2, r.high_w_m2),
            r.category or r.outcome.replace("_", " "),
            probability(r.probability_below),
        )
        for r in place_rows(found, all_states=all_states)
    ]
    title = f"Levels, µW/m², median and {found.terms.coverage:.0%} interval"
    table(title, ("place", "kind", "median", "interval", "against", "P(below)"), _once(rows))


def _show_switches(found: Assessment) -> None:
    from roomfield.workbench.summaries import switch_row

    switches = [switch_row(found, f) for f in found.switches]
    rows = [
        (
            found.survey.place(s["place_id"]).name,
            f"{s['source']} ({s['state_with']} − {s['state_without']})",
            microwatts(s["difference_w_m2"]),
            span(s["low_w_m2"], s["high_w_m2"]),
            probability(s["probability_contributes"]),
        )
        for s in switches
        if s["kind"] == "peak"
    ]
    if rows:
        columns = ("place", "source (states)", "difference", "interval", "P(contributes)")
        table("What went away with a switch, peak, µW/m²", columns, _once(sorted(rows)))


def _once(rows: Sequence[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Rows that name their place only where it changes."""
    named = ["", *(row[0] for row in rows)]
    return [("" if row[0] == before else row[0], *row[1:]) for before, row in zip(named, rows, strict=False)]


def report(
    target: Annotated[str, typer.Argument(help="File to write: .pdf, .html, .xlsx, .csv or .json.")] = "report.pdf",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    language: Annotated[str, typer.Option(help="en or de; the survey's own if left out.")] = "",
    coverage: Coverage = 0.95,
    rule: Rule = "three-way",
    limits: Limits = "",
    short: Annotated[bool, typer.Option("--short", help="Readings only: no map, sources, remedy or logs.")] = False,
    as_json: AsJson = False,
) -> None:
    """Write the report; the ending of the name says in which form."""
    from roomfield.workbench.assess import Terms
    from roomfield.workbench.job import open_job
    from roomfield.workbench.whole import Wishes, whole_report

    job = open_job(record, survey)
    wishes = Wishes(visit or None, language, Terms(coverage, rule), limits, short)
    with progress("report") as on_progress:
        path = whole_report(job, target, wishes, on_progress)
    answer(as_json, {"report": str(path)}, lambda: typer.echo(f"The report lies at {path}"))

"""assess, report: what the readings mean, and the document."""

from __future__ import annotations

import textwrap
from dataclasses import astuple
from typing import TYPE_CHECKING, Annotated

import typer

from roomfield.cli.console import (
    DEFAULT_RECORD,
    AsJson,
    Record,
    SurveyId,
    VisitId,
    answer,
    echo,
    grouped,
    one_line,
    progress,
)
from roomfield.cli.terminal_language import opened_job, speak_as, terminal_language
from roomfield.cli.terminal_numbers import microwatts, probability, span, tell
from roomfield.show.trade_units import PERCENT

if TYPE_CHECKING:
    from roomfield.report.document import ReportContent
    from roomfield.workbench.assess.assessment import Assessment

Coverage = Annotated[float, typer.Option(help="Probability content of every interval, 0 to 1.", min=0.5, max=0.999)]
Rule = Annotated[str, typer.Option(help="Decision rule for legal limits, see 'roomfield references'.")]
WIDTH = 80
"""Columns of a terminal."""
Language = Annotated[str, typer.Option(help="Language, such as en, de or fr; the survey's own if left out.")]
Limits = Annotated[str, typer.Option("--limits", help="TOML file with limits of your own; the law stays beside them.")]


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(assess)
    app.command()(report)
    app.command("check-report")(check_report)


def _assessed(record: str, survey: str, visit: str, coverage: float, rule: str, limits: str) -> Assessment:
    from roomfield.workbench.assess.assessment import Terms
    from roomfield.workbench.assess.assessment import assess as call

    job = opened_job(record, survey)
    return call(job.survey, visit or None, terms=Terms(coverage, rule), user_limits=limits)


def assess(
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    coverage: Coverage = 0.95,
    rule: Rule = "three-way",
    limits: Limits = "",
    all_states: Annotated[bool, typer.Option("--all-states", help="Every radio state, not only as found.")] = False,
    language: Language = "",
    as_json: AsJson = False,
) -> None:
    """Say what a visit's readings mean: level, interval, law, guideline, and what each switch contributes."""
    from roomfield.workbench.model.model_fit import meter_question_at
    from roomfield.workbench.publish.plain_values import assessment_plain

    found = _assessed(record, survey, visit, coverage, rule, limits)
    spoken = language or found.survey.assignment.language
    speak_as(language, asked=bool(language))
    plain = assessment_plain(found, all_states=all_states)
    asked = meter_question_at(found.survey, found.table.visit.id, spoken)
    if asked:
        plain["meter_question"] = asked

    def show() -> None:
        _show(found, all_states, spoken)
        if asked:
            echo("\n" + textwrap.fill(f"? {asked}", WIDTH))
        _show_own(found)

    answer(as_json, plain, show)


def _show_own(found: Assessment) -> None:
    """Limits of the user's own, which stand beside the law and not in its place."""
    from roomfield.workbench.publish.plain_values import beside_rows

    columns = ("place", "kind", "comparison", "P(below)")
    for title, own in beside_rows(found):
        rows = [
            (_spot(found, r.place, r.meter), tell(r.kind.replace("_", "-")), tell(r.outcome.replace("_", " ")),
             probability(r.probability_below))
            for r in own
        ]  # fmt: skip
        grouped(f"Beside the law, limits of your own: {title}", columns, rows, right=(3,))


def _show(found: Assessment, all_states: bool, language: str) -> None:
    from roomfield.workbench.publish.answers import answer_sentences
    from roomfield.workbench.publish.files import report_content

    content = report_content(found)
    if found.survey.invented:
        echo("Everything in this survey is invented.")
    echo(f"{found.survey.title}; visit {found.table.visit.id} of {found.table.visit.started_at[:10]}\n")
    for sentence in answer_sentences(content, language):
        echo(textwrap.fill(sentence, WIDTH) + "\n")
    _show_places(content, language)
    _show_bands(content, language)
    if all_states:
        _show_levels(found, all_states)
    _show_switches(found)


def _show_places(content: ReportContent, language: str) -> None:
    """Each place: the level that answers against the aim, and the average against the limit."""
    from roomfield.show.words import load_words
    from roomfield.workbench.publish.answers import answer_cells

    say = load_words(language).say
    echo(say("levels.caption_short", coverage=content.rules.coverage))
    for cells in answer_cells(content, language):
        echo(one_line(cells.place))
        against = ", ".join(t for t in (cells.aim, cells.category) if t)
        for cell, name, text in ((cells.level, "aim.label", against), (cells.average, "front.limit", cells.law)):
            if cell is not None:
                echo(f"  {cell.kind:14} {cell.whole}")
            echo(
                textwrap.fill(
                    say("level.labelled", label=say(name), text=text),
                    WIDTH,
                    initial_indent="    ",
                    subsequent_indent="      ",
                )
            )


def _show_bands(content: ReportContent, language: str) -> None:
    """Levels by band, and all bands of each place against the limit."""
    from roomfield.show.band_cells import band_cells, total_sentence
    from roomfield.show.words import load_words

    words = load_words(language)
    rows = [tuple(one_line(text) for text in astuple(cells)) for cells in band_cells(content.bands, words)]
    if not rows:
        return
    keys = ("bands.band", "levels.kind", "levels.median", "levels.interval", "bands.of_limit", "bands.guideline")
    head = (words.say("front.place"), *(words.say(key) for key in keys))
    grouped(words.say("bands.title"), head, rows, right=(3, 4, 5))
    for one in content.band_totals:
        echo(textwrap.fill(total_sentence(one, words), WIDTH))


def _show_levels(found: Assessment, all_states: bool) -> None:
    from roomfield.workbench.publish.plain_values import place_rows

    states = {s.id: s.name for s in found.table.visit.radio_states}
    rows = [
        (
            _spot(found, r.place, r.meter) + (f", {states.get(r.state, r.state)}" if all_states else ""),
            tell(r.kind.replace("_", "-")),
            microwatts(r.median_w_m2, r.censoring),
            span(r.low_w_m2, r.high_w_m2),
            _against(r.reference == found.limits.title, r.outcome, r.upper_bound),
            probability(r.probability_below),
        )
        for r in place_rows(found, all_states=all_states)
    ]
    interval = f"{PERCENT.shown(found.terms.coverage):g} % interval"
    title = f"Levels, µW/m²: median, {interval}, comparison, probability to be below"
    grouped(title, ("place", "kind", "median", "interval", "against", "P(below)"), rows, right=(2, 3, 5))


def _spot(found: Assessment, place: str, meter_id: str) -> str:
    return f"{place} ({found.survey.meter(meter_id).name})" if len(found.meter_ids) > 1 else place


def _against(is_law: bool, outcome: str, upper_bound: bool) -> str:
    if not outcome:
        return ""
    name = ("limit, by its upper bound" if upper_bound else "limit") if is_law else "guideline"
    return tell(f"{name}: {outcome.replace('_', ' ')}")


def _show_switches(found: Assessment) -> None:
    from roomfield.workbench.publish.plain_values import doubt_sentences, pooled_row

    pooled = [pooled_row(found, item) for item in found.leading_switches]
    order = {p.id: n for n, p in enumerate(found.survey.places)}
    rows = [
        (
            _spot(found, found.survey.place(s["place_id"]).name, s["meter"]),
            s["source"],
            microwatts(s["difference_w_m2"], "overload" if s["only_at_least"] else "none"),
            span(s["low_w_m2"], s["high_w_m2"]),
            probability(s["probability_contributes"]),
        )
        for s in sorted(pooled, key=lambda s: (order[s["place_id"]], s["meter"]))
    ]
    if rows:
        columns = ("place", "switched off", "went away", "interval", "P(> 0)")
        grouped("What went away with a switch, highest values, µW/m²", columns, rows, right=(2, 3, 4))
    else:
        echo("\nNo on/off test: the readings do not show which source causes the levels.")
    for sentence in doubt_sentences(found, terminal_language()):
        echo(f"! {sentence}")
    wrong = [f for f in found.attributions if f.attribution.adds_up is False]
    for item in wrong:
        place = found.survey.place(item.place_id).name
        echo(f"{place}, {item.kind.value}: the on/off tests do not add up; a source changed or was not tested.")


def report(
    target: Annotated[str, typer.Argument(help="File to write: .pdf, .html, .xlsx, .csv or .json.")] = "report.pdf",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    language: Language = "",
    coverage: Coverage = 0.95,
    rule: Rule = "three-way",
    limits: Limits = "",
    short: Annotated[bool, typer.Option("--short", help="Readings only: no map, sources, remedy or logs.")] = False,
    as_json: AsJson = False,
) -> None:
    """Write the report; the ending of the name says in which form."""
    from roomfield.workbench.assess.assessment import Terms
    from roomfield.workbench.publish.whole_report import Wishes, whole_report

    job = opened_job(record, survey)
    wishes = Wishes(visit or None, language, Terms(coverage, rule), limits, short)
    with progress("report") as on_progress:
        path = whole_report(job, target, wishes, on_progress)
    answer(as_json, {"report": str(path)}, lambda: echo(f"The report lies at {path}"))


def check_report(
    report_file: Annotated[str, typer.Argument(metavar="REPORT", help="Report: .pdf, .html, .xlsx or .json.")],
    package: Annotated[str, typer.Argument(help="Survey package that is said to be behind it.")],
    as_json: AsJson = False,
) -> None:
    """Check a report against a survey package: every checksum in the package, and the one that the report prints."""
    from roomfield.workbench.publish.check_report import check

    found = check(report_file, package)
    answer(as_json, found.to_dict(), lambda: echo(found.sentence()))

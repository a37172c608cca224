"""sources, shares: questions put to the model of the dwelling."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, table
from roomfield.cli.numbers import probability, span

if TYPE_CHECKING:
    from roomfield.survey import Survey
    from roomfield.workbench.understand import Range

Kind = Annotated[str, typer.Option(help="peak, max_hold or average.")]


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(sources)
    app.command()(shares)


def sources(
    record: Record = DEFAULT_RECORD, survey: SurveyId = "", visit: VisitId = "", as_json: AsJson = False
) -> None:
    """Say how strong each source is, given all readings at once."""
    from roomfield.workbench.job import open_job
    from roomfield.workbench.understand import emitter_powers, posterior_of

    job = open_job(record, survey)
    found = emitter_powers(posterior_of(job.survey, visit or None))
    plain = [{"emitter_id": p.emitter_id, "eirp_w": vars(p.eirp_w), "duty": vars(p.duty)} for p in found]
    names = {e.id: e.name for e in job.survey.emitters}
    rows = [(names[p.emitter_id], _watts(p.eirp_w), _percent(p.duty)) for p in found]
    answer(
        as_json, plain, lambda: table("Radiated power while on air, 90% interval", ("source", "EIRP", "on air"), rows)
    )


def _watts(found: Range) -> str:
    return f"{found.median:.3g} W ({found.low:.2g} to {found.high:.2g})"


def _percent(found: Range) -> str:
    return f"{100 * found.median:.2g} % ({100 * found.low:.2g} to {100 * found.high:.2g})"


def shares(
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    place: Annotated[str, typer.Option(help="Id of a place; all if left out.")] = "",
    kind: Kind = "peak",
    as_json: AsJson = False,
) -> None:
    """Say which source makes the level at each place, given all readings at once."""
    from roomfield.workbench.job import open_job
    from roomfield.workbench.understand import kind_named, shares_of

    job = open_job(record, survey)
    found = shares_of(job.survey, visit or None, kind_named(kind), place)
    plain = [
        {
            "place_id": s.place_id,
            "emitter_id": s.emitter_id,
            "kind": s.kind.value,
            "level_w_m2": vars(s.level_w_m2),
            "share": vars(s.share),
            "probability_largest": s.probability_largest,
        }
        for s in found
    ]
    answer(as_json, plain, lambda: _show_shares(job.survey, plain))


def _show_shares(survey: Survey, plain: list[dict[str, Any]]) -> None:
    names = {e.id: e.name for e in survey.emitters}
    rows, before = [], ""
    for share in sorted(plain, key=lambda s: (s["place_id"], -s["share"]["median"])):
        if share["share"]["median"] < 0.01:
            continue
        place = survey.place(share["place_id"]).name
        level = share["level_w_m2"]
        rows.append(
            (
                "" if place == before else place,
                names[share["emitter_id"]],
                f"{100 * share['share']['median']:.0f} %",
                span(level["low"], level["high"]),
                probability(share["probability_largest"]),
            )
        )
        before = place
    table("Shares of the local mean, µW/m²", ("place", "source", "share", "level, 90%", "P(largest)"), rows)

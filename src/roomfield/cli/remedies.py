"""plans, verify: which actions to take, with what odds, and whether they worked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, table
from roomfield.cli.numbers import decibels, probability

if TYPE_CHECKING:
    from roomfield.workbench.choosing import NamedPlan, Offer


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(plans)
    app.command()(verify)


def plans(
    target: Annotated[float, typer.Argument(help="Level to be met at every place, in µW/m².")],
    kind: Annotated[str, typer.Option(help="peak, max_hold or average.")] = "peak",
    confidence: Annotated[
        float, typer.Option(help="Probability with which it is to be met.", min=0.5, max=0.999)
    ] = 0.9,
    budget: Annotated[float | None, typer.Option(help="Most that may be spent.")] = None,
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    as_json: AsJson = False,
) -> None:
    """Say which of the survey's actions to take: every plan that no other beats, cheap to dear."""
    from roomfield.workbench.choosing import Terms, offer
    from roomfield.workbench.job import open_job
    from roomfield.workbench.understand import kind_named

    job = open_job(record, survey)
    visit_id = visit or next((v.id for v in job.survey.visits), "")
    terms = Terms(target * 1e-6, kind_named(kind).value, confidence, budget)
    found = offer(job.survey, visit_id, terms)
    plain = {
        "target_w_m2": terms.target_w_m2,
        "confidence": confidence,
        "currency": found.currency,
        "plans": [_plain(plan) for plan in found.plans],
        "suggested": _plain(found.suggested) if found.suggested else None,
    }
    answer(as_json, plain, lambda: _show(found, confidence))


def _plain(plan: NamedPlan) -> dict[str, Any]:
    return {
        "action_ids": plan.plan.action_ids,
        "names": plan.names,
        "cost": plan.plan.cost,
        "probability": plan.plan.probability,
    }


def _show(found: Offer, confidence: float) -> None:
    rows = [
        (f"{p.plan.cost:,.0f} {found.currency}", probability(p.plan.probability), "; ".join(p.names) or "nothing")
        for p in found.plans
    ]
    table("Plans that no other beats", ("cost", "P(target met everywhere)", "actions"), rows)
    if found.suggested is None:
        typer.echo(f"No plan on the list meets the target with {confidence:.0%} probability.")
    else:
        names = "; ".join(found.suggested.names) or "nothing to do"
        typer.echo(f"Cheapest that does: {names}. Inner sources first, then outer, then measure again.")


def verify(
    second: Annotated[str, typer.Argument(help="Id of the follow-up visit.")],
    first: Annotated[str, typer.Option(help="Id of the visit before; the survey's first if left out.")] = "",
    target: Annotated[float | None, typer.Option(help="Level that was to be met, in µW/m².")] = None,
    kind: Annotated[str, typer.Option(help="peak, max_hold or average.")] = "peak",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Say whether it worked: the follow-up against the visit before and against the prediction."""
    from roomfield.workbench.beforeafter import verification_of
    from roomfield.workbench.job import open_job
    from roomfield.workbench.understand import kind_named

    job = open_job(record, survey)
    before = first or next((v.id for v in job.survey.visits), "")
    bound = None if target is None else target * 1e-6
    plain = verification_of(job.survey, before, second, kind_named(kind), bound).to_dict()
    names = {p.id: p.name for p in job.survey.places}
    answer(as_json, plain, lambda: _show_verification(plain, names))


def _show_verification(plain: dict[str, Any], names: dict[str, str]) -> None:
    rows = [
        (
            names[c["place_id"]],
            f"{decibels(c['reduction_db'])} ({decibels(c['reduction_low_db'])} to {decibels(c['reduction_high_db'])})",
            decibels(c["predicted_db"]),
            c["outcome"],
        )
        for c in plain["checks"]
    ]
    table("Reduction with its 90% interval", ("place", "reduction", "predicted", "outcome"), rows)
    typer.echo(plain["statement"])
    for condition in plain["conditions"]:
        typer.echo(f"  not alike: {condition['text']}")
    for text in (*plain["surprises"], *plain["causes"]):
        typer.echo(f"  {text}")

"""actions, action, predict, plans, agree, verify: what could be done, with what odds, and whether it worked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, grouped, progress, table
from roomfield.cli.numbers import decibels, microwatts, probability, span

if TYPE_CHECKING:
    from roomfield.workbench.actionlist import Listed
    from roomfield.workbench.choosing import NamedPlan, Offer, Terms

LevelKind = Annotated[str, typer.Option("--kind", help="peak, max_hold or average.")]
Sureness = Annotated[float, typer.Option(help="Probability with which it is to be met.", min=0.5, max=0.999)]


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    for verb in (actions, action, predict, plans, agree, verify):
        app.command()(verb)


def actions(record: Record = DEFAULT_RECORD, survey: SurveyId = "", as_json: AsJson = False) -> None:
    """List the survey's actions: what could be done, at what cost, and what is agreed or done."""
    from roomfield.workbench.actionlist import listed
    from roomfield.workbench.job import open_job

    found = listed(open_job(record, survey).survey)
    answer(as_json, [one.to_dict() for one in found], lambda: _show_actions(found))


def _show_actions(found: tuple[Listed, ...]) -> None:
    rows = [
        (
            one.action.name,
            one.action.id,
            one.action.kind.value,
            f"{one.action.cost.low:,.0f} to {one.action.cost.high:,.0f} {one.action.cost.currency}",
            f"done ({one.done_on})" if one.done_on else "agreed" if one.agreed else "",
        )
        for one in found
    ]
    grouped("Actions", ("name", "id", "kind", "cost", ""), rows)


def action(
    name: Annotated[str, typer.Argument(help="What it is called in the work order.")],
    kind: Annotated[
        str,
        typer.Argument(
            help="switch_off, night_schedule, reduce_power, wire_instead, "
            "relocate_emitter, move_place, replace_device, shield_surface, "
            "close_opening or canopy."
        ),
    ],
    transmitter: Annotated[list[str] | None, typer.Option(help="Transmitter acted on, by name or id; repeat.")] = None,
    place: Annotated[str, typer.Option(help="Place moved or put under a canopy, by name or id.")] = "",
    room: Annotated[str, typer.Option(help="Room to move to, anywhere in it.")] = "",
    position: Annotated[tuple[float, float, float] | None, typer.Option(help="x y z to move to, m.")] = None,
    wall: Annotated[list[str] | None, typer.Option(help="Wall or slab to shield or close, by id; repeat.")] = None,
    part: Annotated[str, typer.Option(help="masonry, openings or whole.")] = "whole",
    sheet: Annotated[float | None, typer.Option(help="Attenuation of the sheet, dB.")] = None,
    coverage: Annotated[float, typer.Option(help="Share of the area truly covered, 0 to 1.")] = 1.0,
    reduction: Annotated[float, typer.Option(help="Reduction of transmit power, dB.")] = 0.0,
    hours: Annotated[tuple[float, float] | None, typer.Option(help="Off from and to, local hours.")] = None,
    cost: Annotated[tuple[float, float], typer.Option(help="Cost from and to.")] = (0.0, 0.0),
    currency: Annotated[str, typer.Option(help="Currency of the costs.")] = "EUR",
    excludes: Annotated[list[str] | None, typer.Option(help="Action that cannot go with it, by id; repeat.")] = None,
    note: Annotated[str, typer.Option(help="Why, or how.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Put an action on the survey's list."""
    from roomfield.workbench.actionlist import Listed, NewAction, put_action
    from roomfield.workbench.job import open_job

    wanted = NewAction(
        name, kind, tuple(transmitter or ()), place, room, position, tuple(wall or ()), part, sheet, coverage,
        reduction, hours, cost, currency, tuple(excludes or ()), note,
    )  # fmt: skip
    made = put_action(open_job(record, survey), wanted)
    answer(as_json, Listed(made, False, "").to_dict(), lambda: typer.echo(f"{made.id}: {made.name}"))


def _terms(target: float | None, kind: str, confidence: float, budget: float | None = None) -> Terms:
    from roomfield.workbench.choosing import Terms
    from roomfield.workbench.understand import kind_named

    return Terms(0.0 if target is None else target * 1e-6, kind_named(kind).value, confidence, budget)


def predict(
    do: Annotated[list[str] | None, typer.Option("--do", help="Action that would be done, by id; repeat.")] = None,
    target: Annotated[float | None, typer.Option(help="Level to be met, in µW/m².")] = None,
    kind: LevelKind = "peak",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    as_json: AsJson = False,
) -> None:
    """Say what a set of actions would bring at every place, with what odds, what limits it and what gets worse."""
    from roomfield.workbench.actionlist import visit_for
    from roomfield.workbench.choosing import prediction_of
    from roomfield.workbench.job import open_job

    job = open_job(record, survey)
    found = prediction_of(job.survey, visit_for(job.survey, visit), tuple(do or ()), _terms(target, kind, 0.9))
    names = {place.id: place.name for place in job.survey.places}
    plain = found.to_dict()
    answer(as_json, plain, lambda: _show_prediction(plain, names))


def _show_prediction(found: dict[str, Any], names: dict[str, str]) -> None:
    def level(one: dict[str, float]) -> str:
        return f"{microwatts(one['median'])} ({span(one['low'], one['high'])})"

    def place(one: dict[str, Any]) -> str:
        return names[one["place_id"]] + (f" ({one['period']})" if one["period"] != "any" else "")

    rows = [
        (
            place(one),
            level(one["before_w_m2"]),
            level(one["after_w_m2"]),
            _reduction(one["reduction_db"]),
            "" if found["target_w_m2"] is None else probability(one["probability_met"]),
        )
        for one in found["outcomes"]
    ]
    title = f"{found['kind']}, µW/m², with 90 % intervals"
    table(title, ("place", "before", "after", "reduction", "P(target met)"), rows)
    if found["target_w_m2"] is not None:
        typer.echo(f"Target met at every place at once: {probability(found['probability_all'])}.")
    typer.echo("What limits the result:")
    for one in found["outcomes"]:
        typer.echo(f"  {place(one)}: {one['limiting'] or 'nothing remains.'}")
    _show_order(found)


def _reduction(one: dict[str, float]) -> str:
    return f"{decibels(one['median'])} ({decibels(one['low'])} to {decibels(one['high'])})"


def _show_order(found: dict[str, Any]) -> None:
    """What gets worse, and the work in its order with quantities and cautions."""
    for text in found["warnings"]:
        typer.echo(f"Worse: {text}")
    for number, step in enumerate(found["work"], start=1):
        sheet = ""
        if step["material_m2"]:
            sheet = f"; {step['material_m2']:.1f} m² of sheet, {step['edge_m']:.1f} m of edges"
        typer.echo(f"{number}. {step['name']} ({step['step'].replace('_', ' ')}{sheet})")
        heed = "; ".join(caution["topic"] for caution in step["cautions"])
        if heed:
            typer.echo(f"   heed: {heed}")
    if found["work"]:
        typer.echo("Inner sources first, then outer, then measure again.")


def plans(
    target: Annotated[float, typer.Argument(help="Level to be met at every place, in µW/m².")],
    kind: LevelKind = "peak",
    confidence: Sureness = 0.9,
    budget: Annotated[float | None, typer.Option(help="Most that may be spent.")] = None,
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    as_json: AsJson = False,
) -> None:
    """Say which of the survey's actions to take: every plan that no other beats, cheap to dear."""
    from roomfield.workbench.actionlist import visit_for
    from roomfield.workbench.choosing import choice_of, offer, prediction_of
    from roomfield.workbench.job import open_job

    job, terms = open_job(record, survey), _terms(target, kind, confidence, budget)
    visit_id = visit_for(job.survey, visit)
    with progress("Weighing the plans") as step:
        chosen = choice_of(job.survey, visit_id, terms, step)
    found = offer(job.survey, visit_id, terms, choice=chosen)
    expected = prediction_of(job.survey, visit_id, found.shown.plan.action_ids, terms).to_dict()
    plain = {
        "target_w_m2": terms.target_w_m2,
        "confidence": confidence,
        "budget": budget,
        "currency": found.currency,
        "reachable": chosen.reachable,
        "statement": chosen.statement,
        "plans": [_plain(plan) for plan in found.plans],
        "suggested": _plain(found.suggested) if found.suggested else None,
        "shown": _plain(found.shown),
        "prediction": expected,
    }
    answer(as_json, plain, lambda: _show(found, plain))


def _plain(plan: NamedPlan) -> dict[str, Any]:
    return {
        "action_ids": plan.plan.action_ids,
        "names": plan.names,
        "cost": plan.plan.cost,
        "cost_low": plan.plan.cost_low,
        "cost_high": plan.plan.cost_high,
        "probability": plan.plan.probability,
    }


def _show(found: Offer, plain: dict[str, Any]) -> None:
    rows = [
        (
            "; ".join(p.names) or "nothing",
            f"{p.plan.cost:,.0f} {found.currency}",
            probability(p.plan.probability),
            " ".join(p.plan.action_ids),
        )
        for p in found.plans
    ]
    grouped("Plans that no other beats", ("actions", "cost", "P(target met everywhere)", "ids"), rows, right=(1, 2))
    typer.echo(plain["statement"])
    if found.suggested is None and plain["reachable"]:
        typer.echo(f"No plan within {plain['budget']:,.0f} {found.currency} reaches it.")
    if found.shown.names:
        which = "Suggested" if found.suggested else "The surest that can be had"
        typer.echo(f"{which}: {found.shown.plan.cost_low:,.0f} to {found.shown.plan.cost_high:,.0f} {found.currency}.")
        _show_order(plain["prediction"])
    typer.echo("What limits the result:")
    for place, text in found.limits:
        typer.echo(f"  {place}: {text}")


def agree(
    ids: Annotated[list[str], typer.Argument(help="Ids of the actions, see 'roomfield actions'.")],
    target: Annotated[float, typer.Option(help="Level to be met, in µW/m².")],
    kind: LevelKind = "peak",
    confidence: Sureness = 0.9,
    note: Annotated[str, typer.Option(help="What the client said.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Write down the plan that the client agreed to; the report then holds its work order."""
    from dataclasses import asdict

    from roomfield.workbench import actionlist
    from roomfield.workbench.job import open_job

    job = open_job(record, survey)
    made = actionlist.agree(job, ids, _terms(target, kind, confidence), note)
    names = {one.id: one.name for one in job.survey.actions}
    answer(as_json, asdict(made), lambda: typer.echo("Agreed: " + "; ".join(names[i] for i in made.action_ids)))


def verify(
    second: Annotated[str, typer.Argument(help="Id of the follow-up visit.")],
    first: Annotated[str, typer.Option(help="Id of the visit before; the survey's first if left out.")] = "",
    target: Annotated[float | None, typer.Option(help="Level that was to be met, in µW/m².")] = None,
    kind: LevelKind = "peak",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Say whether it worked: the follow-up against the visit before and against the prediction."""
    from roomfield.workbench.beforeafter import comparison_of, done_names
    from roomfield.workbench.job import open_job
    from roomfield.workbench.understand import kind_named

    job = open_job(record, survey)
    before = first or next((v.id for v in job.survey.visits), "")
    bound = None if target is None else target * 1e-6
    compared = comparison_of(job.survey, before, second, kind_named(kind), bound)
    done = done_names(job.survey, second)
    plain = compared.verification.to_dict() | {"assumed_done": compared.assumed, "done": done}
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
    if plain["done"]:
        taken = "Taken as done, as no work is noted" if plain["assumed_done"] else "Done"
        typer.echo(f"{taken}: {'; '.join(plain['done'])}")
    for condition in plain["conditions"]:
        typer.echo(f"  not alike: {condition['text']}")
    for text in (*plain["surprises"], *plain["causes"]):
        typer.echo(f"  {text}")

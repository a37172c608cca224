"""actions, action, predict, plans, agree, verify: what could be done, with what odds, and whether it worked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

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
    progress,
    table,
)
from roomfield.cli.terminal_language import opened_job, spoken, terminal_language
from roomfield.cli.terminal_numbers import decibels, microwatts, probability, span, tell, terminal_words, whole
from roomfield.show.trade_units import MICROWATT_M2

if TYPE_CHECKING:
    from roomfield.survey import CostRange
    from roomfield.workbench.plan.action_list import Listed
    from roomfield.workbench.plan.plan_choice import PlanTerms
    from roomfield.workbench.record.job import Job

LevelKind = Annotated[str, typer.Option("--kind", help="peak, highest_held or average.")]
Sureness = Annotated[float, typer.Option(help="Probability with which it is to be met.", min=0.5, max=0.999)]

Where = Annotated[
    list[str] | None,
    typer.Option(
        "--at",
        help="Where the target is to hold: all, sleeping, long_stays (with sleeping places), "
        "or a place by name or id; repeat. All if left out.",
    ),
]


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    for verb in (actions, action, predict, plans, agree, verify, changed):
        app.command()(verb)


def actions(record: Record = DEFAULT_RECORD, survey: SurveyId = "", as_json: AsJson = False) -> None:
    """List the survey's actions: what could be done, at what cost, and what is agreed or done."""
    from roomfield.workbench.plan.action_list import listed

    found = listed(opened_job(record, survey).survey)
    answer(as_json, [one.to_dict() for one in found], lambda: _show_actions(found))


def _cost(cost: CostRange) -> str:
    return tell(f"{whole(cost.low)} to {whole(cost.high)} {cost.currency}" if cost.stated else "not known")


def _show_actions(found: tuple[Listed, ...]) -> None:
    rows = [
        (
            one.action.name,
            one.action.id,
            one.action.kind.value,
            _cost(one.action.cost),
            tell(f"done ({one.done_on})" if one.done_on else "agreed" if one.agreed else ""),
        )
        for one in found
    ]
    grouped("Actions", ("name", "id", "kind", "cost", ""), rows)


def action(
    name: Annotated[str, typer.Argument(help="What it is called in the work order; --from can say it.")] = "",
    kind: Annotated[
        str,
        typer.Argument(
            help="switch_off, night_schedule, reduce_power, wire_instead, "
            "relocate_emitter, move_place, replace_device, shield_surface, "
            "close_opening or canopy; --from says it."
        ),
    ] = "",
    measure: Annotated[
        str,
        typer.Option(
            "--from",
            help="Key of a measure of your own (see 'references'): gives wording, kind, sheet and price, "
            "worked out for the area on the plan.",
        ),
    ] = "",
    transmitter: Annotated[list[str] | None, typer.Option(help="Transmitter acted on, by name or id; repeat.")] = None,
    place: Annotated[str, typer.Option(help="Place moved or put under a canopy, by name or id.")] = "",
    room: Annotated[str, typer.Option(help="Room to move to, anywhere in it.")] = "",
    position: Annotated[tuple[float, float, float] | None, typer.Option(help="x y z to move to, m.")] = None,
    wall: Annotated[
        list[str] | None, typer.Option(help="Wall or slab to shield or close, by id (see 'list walls'); repeat.")
    ] = None,
    part: Annotated[str, typer.Option(help="masonry, openings or whole.")] = "whole",
    sheet: Annotated[float | None, typer.Option(help="Attenuation of the sheet, dB.")] = None,
    coverage: Annotated[float, typer.Option(help="Share of the area truly covered, 0 to 1.")] = 1.0,
    reduction: Annotated[float, typer.Option(help="Reduction of transmit power, dB.")] = 0.0,
    hours: Annotated[tuple[float, float] | None, typer.Option(help="Off from and to, local hours.")] = None,
    cost: Annotated[tuple[float, float] | None, typer.Option(help="Cost from and to; not known if left out.")] = None,
    currency: Annotated[str, typer.Option(help="Currency of the costs.")] = "EUR",
    excludes: Annotated[
        list[str] | None, typer.Option(help="Action that cannot go with it, by name or id; repeat.")
    ] = None,
    note: Annotated[str, typer.Option(help="Why, or how.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Put an action on the survey's list."""
    from roomfield.workbench.plan.action_list import Listed, NewAction, put_action

    job = opened_job(record, survey)
    wanted = NewAction(
        name, kind, tuple(transmitter or ()), place, room, position, tuple(wall or ()), part, sheet, coverage,
        reduction, hours, cost, currency, _actions(job, excludes), note, measure,
    )  # fmt: skip
    made = put_action(job, wanted)
    answer(as_json, Listed(made, False, "").to_dict(), lambda: echo(f"{made.id}: {made.name}"))


def _terms(
    job: Job, target: float | None, kind: str, confidence: float, budget: float | None, at: list[str] | None
) -> PlanTerms:
    from roomfield.workbench.model.joint_model import kind_named
    from roomfield.workbench.plan.plan_choice import PlanTerms
    from roomfield.workbench.plan.target_places import asked_places

    places = asked_places(job.survey, at or ())
    return PlanTerms(
        0.0 if target is None else MICROWATT_M2.si(target), kind_named(kind).value, confidence, budget, places
    )


def _actions(job: Job, named: list[str] | None) -> tuple[str, ...]:
    from roomfield.workbench.record.things import id_named

    return tuple(id_named(job.survey, "action", one) for one in named or ())


def predict(
    do: Annotated[
        list[str] | None, typer.Option("--do", help="Action that would be done, by name or id; repeat.")
    ] = None,
    target: Annotated[float | None, typer.Option(help="Level to be met, in µW/m².")] = None,
    at: Where = None,
    kind: LevelKind = "peak",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    as_json: AsJson = False,
) -> None:
    """Say what a set of actions would bring at every place, with what odds, what limits it and what gets worse."""
    from roomfield.workbench.plan.plan_choice import prediction_of
    from roomfield.workbench.record.visit_choice import visit_asked_or_first

    job = opened_job(record, survey)
    terms = _terms(job, target, kind, 0.9, None, at)
    found = prediction_of(job.survey, visit_asked_or_first(job.survey, visit).id, _actions(job, do), terms)
    names = {place.id: place.name for place in job.survey.places}
    plain = found.to_dict()
    answer(as_json, plain, lambda: _show_prediction(plain, names))


def _show_prediction(found: dict[str, Any], names: dict[str, str]) -> None:
    _show_outcomes(found, names)
    _show_order(found)


def _show_outcomes(found: dict[str, Any], names: dict[str, str]) -> None:
    """Levels before and after, and what limits the result, place by place."""

    def level(one: dict[str, float]) -> str:
        return f"{microwatts(one['median'])} ({span(one['low'], one['high'])})"

    def place(one: dict[str, Any]) -> str:
        return names[one["place_id"]] + (f" ({tell(one['period'])})" if one["period"] != "any" else "")

    rows = [
        (
            place(one),
            level(one["before_w_m2"]),
            level(one["after_w_m2"]),
            _reduction(one["reduction_db"]),
            "" if found["target_w_m2"] is None else probability(one["probability_met"]) + _unasked(one),
        )
        for one in found["outcomes"]
    ]
    title = f"{found['kind']}, µW/m², with {found['coverage']:.0%} intervals"
    table(title, ("place", "before", "after", "reduction", "P(target met)"), rows)
    if found["target_w_m2"] is not None:
        where = "every place" if all(one["asked"] for one in found["outcomes"]) else "every place asked for"
        echo(f"Target met at {where} at once: {probability(found['probability_all'])}.")
    echo("What limits the result:")
    for one in found["outcomes"]:
        echo(f"  {place(one)}: {one['limiting'] or tell('nothing remains.')}")


def _unasked(one: dict[str, Any]) -> str:
    return "" if one["asked"] else f" ({tell('not asked')})"


def _reduction(one: dict[str, float]) -> str:
    return tell(f"{decibels(one['median'])} ({decibels(one['low'])} to {decibels(one['high'])})")


def _show_order(found: dict[str, Any]) -> None:
    """What gets worse, and the work in its order with quantities and cautions."""
    words = terminal_words()
    for text in found["warnings"]:
        echo(f"Worse: {text}")
    for number, step in enumerate(found["work"], start=1):
        sheet = ""
        if step["material_m2"]:
            sheet = "; " + tell(f"{step['material_m2']:.1f} m² of sheet, {step['edge_m']:.1f} m of edges")
        echo(f"{number}. {step['name']} ({tell(step['step'].replace('_', ' '))}{sheet})")
        heed = "; ".join(words.translated("caution_topic", caution["topic"]) for caution in step["cautions"])
        if heed:
            echo(f"   heed: {heed}")
    if found["work"]:
        echo("Inner sources first, then outer, then measure again.")


def plans(
    target: Annotated[float, typer.Argument(help="Level to be met, in µW/m².")],
    at: Where = None,
    kind: LevelKind = "peak",
    confidence: Sureness = 0.9,
    budget: Annotated[float | None, typer.Option(help="Most that may be spent.")] = None,
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    as_json: AsJson = False,
) -> None:
    """Say which of the survey's actions to take: every plan that no other beats, cheap to dear.

    If no plan reaches the target: the lowest levels that can be had, what they cost, and where most remains from what.
    """
    from roomfield.workbench.plan.plan_offers import offered
    from roomfield.workbench.record.visit_choice import visit_asked_or_first

    job = opened_job(record, survey)
    terms = _terms(job, target, kind, confidence, budget, at)
    with progress("Weighing the plans") as step:
        found = offered(job.survey, visit_asked_or_first(job.survey, visit).id, terms, spoken(""), progress=step)
    names = {place.id: place.name for place in job.survey.places}
    answer(as_json, found, lambda: _show(found, names))


def _show(found: dict[str, Any], names: dict[str, str]) -> None:
    money, shown = found["currency"], found["shown"]
    rows = [
        ("; ".join(p["names"]) or tell("nothing"), f"{whole(p['cost'])} {money}", probability(p["probability"]),
         " ".join(p["action_ids"]))
        for p in found["plans"]
    ]  # fmt: skip
    grouped("Plans that no other beats", ("actions", "cost", "P(target met)", "ids"), rows, right=(1, 2))
    if len(found["asked_place_ids"]) < len(_once(found["prediction"]["outcomes"])):
        echo("Target asked for at: " + ", ".join(names[name] for name in found["asked_place_ids"]))
    if found["lowest"]:
        _show_lowest(found)
    for text in _told(found):
        echo(text)
    if shown["names"]:
        which = "Suggested" if found["suggested"] else _which(found)
        echo(f"{which}: {whole(shown['cost_low'])} to {whole(shown['cost_high'])} {money}.")
    _show_outcomes(found["prediction"], names)
    if shown["names"]:
        _show_order(found["prediction"])


def _told(found: dict[str, Any]) -> list[str]:
    """Whether the target is reached; what can be had instead, and where most remains from what."""
    if not found["lowest"]:
        return [found["statement"]]
    if found["reachable"] or terminal_language() != "en":
        return list(found["reach"])
    return [found["statement"], *found["reach"][2:]]


def _which(found: dict[str, Any]) -> str:
    lowest = found["lowest"][-1]["action_ids"] if found["lowest"] else None
    return "Shown, that of the lowest level" if found["shown"]["action_ids"] == lowest else "Shown, the surest one"


def _once(outcomes: list[dict[str, Any]]) -> set[str]:
    return {one["place_id"] for one in outcomes}


def _show_lowest(found: dict[str, Any]) -> None:
    rows = [
        ("; ".join(p["names"]) or tell("nothing"), f"{whole(p['cost'])} {found['currency']}",
         microwatts(p["level_w_m2"]), decibels(p["reduction_db"]), " ".join(p["action_ids"]))
        for p in found["lowest"]
    ]  # fmt: skip
    head = ("actions", "cost", f"{found['kind']}, µW/m²", "lower by", "ids")
    sure = f"Lowest levels that can be had: not exceeded where asked, with {found['confidence']:.0%}"
    grouped(sure, head, rows, right=(1, 2, 3))


def agree(
    ids: Annotated[list[str], typer.Argument(help="Names or ids of the actions, see 'roomfield actions'.")],
    target: Annotated[float, typer.Option(help="Level to be met, in µW/m².")],
    at: Where = None,
    kind: LevelKind = "peak",
    confidence: Sureness = 0.9,
    note: Annotated[str, typer.Option(help="What the client said.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Write down the plan that the client agreed to; the report then holds its work order."""
    from dataclasses import asdict

    from roomfield.workbench.plan import action_list

    job = opened_job(record, survey)
    made = action_list.agree(job, _actions(job, ids), _terms(job, target, kind, confidence, None, at), note)
    names = {one.id: one.name for one in job.survey.actions}
    answer(as_json, asdict(made), lambda: echo("Agreed: " + "; ".join(names[i] for i in made.action_ids)))


def verify(
    second: Annotated[str, typer.Argument(help="Id of the follow-up visit.")],
    first: Annotated[str, typer.Option(help="Id of the visit before; the last one before it if left out.")] = "",
    target: Annotated[float | None, typer.Option(help="Level that was to be met, in µW/m².")] = None,
    kind: Annotated[str, typer.Option(help="peak, highest_held or average; that of the agreed plan if left out.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Say whether it worked: the follow-up against the visit before and against the prediction."""
    from roomfield.workbench.model.joint_model import kind_named
    from roomfield.workbench.prove.before_after import comparison_of, done_names
    from roomfield.workbench.record.visit_choice import visit_asked_or_before

    job = opened_job(record, survey)
    before = visit_asked_or_before(job.survey, first, second).id
    bound = MICROWATT_M2.si(target)
    plan = job.survey.adopted_plan
    chosen = kind_named(kind or (plan.target_kind if plan else "peak"))
    compared = comparison_of(job.survey, before, second, chosen, bound)
    done = done_names(job.survey, second)
    plain = compared.verification.to_dict() | {"assumed_done": compared.assumed, "done": done}
    names = {p.id: p.name for p in job.survey.places}
    answer(as_json, plain, lambda: _show_verification(plain, names))


def changed(
    second: Annotated[str, typer.Argument(help="Id of the later visit.")],
    first: Annotated[str, typer.Option(help="Id of the visit before; the last one before it if left out.")] = "",
    language: Annotated[str, typer.Option(help="Of the sentences: en, de or fr; the terminal's if left out.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Say what changed between two visits beside the work: a sender new or gone, work not as ordered, or only load."""
    from roomfield.workbench.prove.unplanned_changes import what_changed_between
    from roomfield.workbench.record.visit_choice import visit_asked_or_before

    here = opened_job(record, survey).survey
    before = visit_asked_or_before(here, first, second).id
    found = what_changed_between(here, before, second, spoken(language))
    answer(as_json, found.to_dict(), lambda: echo("\n".join(found.sentences)))


def _show_verification(plain: dict[str, Any], names: dict[str, str]) -> None:
    rows = [
        (
            names[c["place_id"]],
            _reduction({"median": c["reduction_db"], "low": c["reduction_low_db"], "high": c["reduction_high_db"]}),
            decibels(c["predicted_db"]),
            tell(c["outcome"]),
        )
        for c in plain["checks"]
    ]
    table(f"Reduction with its {plain['coverage']:.0%} interval", ("place", "reduction", "predicted", "outcome"), rows)
    echo(plain["statement"])
    if plain["done"]:
        taken = "Taken as done, as no work is noted" if plain["assumed_done"] else "Done"
        echo(f"{taken}: {'; '.join(plain['done'])}")
    for condition in plain["conditions"]:
        echo(f"  not alike: {condition['text']}")
    for text in (*plain["surprises"], *plain["causes"]):
        echo(f"  {text}")

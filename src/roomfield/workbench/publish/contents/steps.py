"""What to do next, in order: inner sources, then outer ones, then measure again."""

from __future__ import annotations

from dataclasses import replace

from roomfield.report.document import ReportContent
from roomfield.show.chapters import WorkItem
from roomfield.show.findings import NextStep, Outcome, StepGroup
from roomfield.show.phrase import Text, phrase
from roomfield.survey import ActionKind, Control
from roomfield.workbench.assess.assessment import Assessment
from roomfield.workbench.assess.place_use import SLEEPING
from roomfield.workbench.assess.switching import PooledSwitch
from roomfield.workbench.publish.contents.place_findings import law_outcome, likely_outcome

SHIELDING = {ActionKind.SHIELD_SURFACE, ActionKind.CANOPY, ActionKind.CLOSE_OPENING}
SURE = 0.9
"""Probability from which a switch counts as contributing."""
MOST_INNER_STEPS = 5


def next_steps(assessment: Assessment) -> tuple[NextStep, ...]:
    """Steps that the readings support.

    Notes
    -----
    Order of work is common practice, no source: sources inside first, then those outside, then measure again.
    """
    if _nothing_needed(assessment):
        return (NextStep(StepGroup.MEASURE, *_words("nothing_needed")),)
    inner = _inner(assessment)
    outer = _outer(assessment)
    if not inner and not assessment.switches:
        place = _worst_place(assessment)
        inner = [NextStep(StepGroup.INNER, *_words("find_sources", place=place))]
    again = NextStep(StepGroup.MEASURE, *_words("measure_again"))
    log = NextStep(StepGroup.MEASURE, *_words("long_log", place=_worst_place(assessment)))
    return (*inner, *outer, again, log)


def with_agreed_steps(content: ReportContent) -> ReportContent:
    """The content with the agreed plan as its steps, if there is one: what was agreed replaces what was proposed."""
    if content.remedy is None:
        return content
    currency = content.remedy.currency
    agreed = tuple(NextStep(item.group, item.title, _agreed(item, currency)) for item in content.remedy.items)
    again = NextStep(StepGroup.MEASURE, *_words("measure_again"))
    return replace(content, steps=(*agreed, again))


def _agreed(item: WorkItem, currency: str) -> Text:
    if item.cost_low is None or item.cost_high is None:
        return phrase("step.agreed.unpriced")
    if not item.cost_high:
        return phrase("step.agreed.free")
    return phrase("step.agreed.reason", low=f"{item.cost_low:.0f}", high=f"{item.cost_high:.0f}", currency=currency)


def _words(key: str, **values: str | float) -> tuple[Text, Text]:
    return phrase(f"step.{key}.title", **values), phrase(f"step.{key}.reason", **values)


def _nothing_needed(assessment: Assessment) -> bool:
    base = assessment.table.base_state.id
    law = [law_outcome(f.verdict) for f in assessment.law if f.state_id == base]
    guideline = [
        likely_outcome(f.probability_within, assessment.terms.coverage)
        for f in assessment.precaution
        if f.state_id == base
    ]
    if len(law) < _places_read(assessment) or (assessment.guideline and len(guideline) < _places_read(assessment)):
        return False
    return bool(law or guideline) and all(o is Outcome.BELOW for o in (*law, *guideline))


def _places_read(assessment: Assessment) -> int:
    base = assessment.table.base_state.id
    return len({(i.place_id, i.meter_id) for i in assessment.table.levels if i.state_id == base})


def _inner(assessment: Assessment) -> list[NextStep]:
    """Each switch of the client's own, where it contributes most, the strongest first."""
    strongest: dict[str, PooledSwitch] = {}
    for item in _shown(assessment):
        best = strongest.get(item.first.group)
        if best is None or _rank(assessment, item) > _rank(assessment, best):
            strongest[item.first.group] = item
    ordered = sorted(strongest.values(), key=lambda f: _rank(assessment, f), reverse=True)
    return [_inner_step(assessment, f) for f in ordered[:MOST_INNER_STEPS]]


def _shown(assessment: Assessment) -> list[PooledSwitch]:
    return [
        p
        for p in assessment.leading_switches
        if p.contribution.probability_positive().low >= SURE
        and any(e.control in (Control.CLIENT, Control.UNKNOWN) for e in p.first.emitters)
    ]


def _rank(assessment: Assessment, item: PooledSwitch) -> tuple[bool, float]:
    sleeping = assessment.survey.place(item.first.place_id).kind in SLEEPING
    return sleeping, item.contribution.part(assessment.terms.coverage).median_w_m2


def _inner_step(assessment: Assessment, item: PooledSwitch) -> NextStep:
    sleeping, level = _rank(assessment, item)
    part = item.contribution.part(assessment.terms.coverage)
    key = "wire_instead" if any(e.technology == "dect" for e in item.first.emitters) else "switch_off"
    if sleeping and key == "switch_off":
        key = "night_schedule"
    place = assessment.survey.place(item.first.place_id).name
    title, reason = _words(
        key, source=item.first.name, place=place, level=level, low=part.low_w_m2, high=part.high_w_m2
    )
    if part.is_at_least:
        reason = phrase("step.fell_at_least", place=place, low=part.low_w_m2)
    return NextStep(StepGroup.INNER, title, reason)


def _outer(assessment: Assessment) -> list[NextStep]:
    """A step against what comes from outside, if the guideline is not met with all own radios off."""
    quiet = max(assessment.table.visit.radio_states, key=lambda s: len(s.off_groups))
    if assessment.guideline is None or not quiet.off_groups:
        return []
    left = [f for f in assessment.precaution if f.state_id == quiet.id and f.probability_within.high < 1.0 - SURE]
    beds = [f for f in left if assessment.survey.place(f.place_id).kind in SLEEPING]
    if not beds:
        return []
    worst = max(beds, key=lambda f: f.results[0].level.level_db)
    place = assessment.survey.place(worst.place_id)
    rooms = {r.id: r.name for r in assessment.survey.dwelling.rooms}
    where = rooms.get(place.room_id, place.name)
    moved = NextStep(StepGroup.OUTER, *_words("move_place", place=place.name))
    shielded = NextStep(StepGroup.OUTER, *_words("shield_surface", surface=where))
    steps = ((moved, {ActionKind.MOVE_PLACE}), (shielded, SHIELDING))
    return [step for step, kinds in steps if not kinds & _done(assessment)]


def _done(assessment: Assessment) -> set[ActionKind]:
    """Kinds of work that were done by this visit: what was just done is not proposed again."""
    visits = [v for v in assessment.survey.visits if v.started_at <= assessment.table.visit.started_at]
    ids = {name for visit in visits for name in visit.done_action_ids}
    return {action.kind for action in assessment.survey.actions if action.id in ids}


def _worst_place(assessment: Assessment) -> str:
    base = [i for i in assessment.table.levels if i.state_id == assessment.table.base_state.id]
    sleeping = [i for i in base if assessment.survey.place(i.place_id).kind in SLEEPING]
    worst = max(sleeping or base or assessment.table.levels, key=lambda i: i.combined.level.level_db)
    return assessment.survey.place(worst.place_id).name

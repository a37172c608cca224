"""The follow-up as the report shows it: before and after, and the letter that tells the client what came of it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from roomfield.errors import TooEarlyError
from roomfield.quantities import Censoring, ProbabilityRange
from roomfield.quantities.level import COVERAGE
from roomfield.remedy.verification import SURE, Agreement, PlaceCheck, VerifiedOutcome
from roomfield.remedy.verification import VerificationResult as Checked
from roomfield.show.chapters import BeforeAfter, Letter, Verification
from roomfield.show.findings import Level
from roomfield.show.findings import Outcome as Against
from roomfield.show.phrase import Text, phrase
from roomfield.survey import Survey
from roomfield.workbench.plan.outcomes import note, statement
from roomfield.workbench.plan.target_places import names_of
from roomfield.workbench.prove.before_after import VisitComparison, agreed_confidence, comparisons, done_names, unequal
from roomfield.workbench.prove.unplanned_changes import changed_texts, told_changes
from roomfield.workbench.publish.contents.place_findings import chance, likely_outcome, stated_level


def _compared(survey: Survey, first_id: str, second_id: str) -> VisitComparison | None:
    try:
        return comparisons(survey, first_id, second_id)[0]
    except TooEarlyError:
        return None


def verification(survey: Survey, first_id: str, second_id: str) -> Verification | None:
    """Before and after; None if no place was read on both visits."""
    compared = _compared(survey, first_id, second_id)
    if compared is None:
        return None
    found = compared.verification
    return Verification(
        tuple(_row(survey, compared, check) for check in found.checks),
        done_names(survey, second_id),
        statement(found),
        unequal(compared),
        (*(note(one) for one in found.unplanned), *changed_texts(survey, first_id, second_id)),
        found.target_w_m2,
        tuple(note(one) for one in found.suspected),
    )


def _row(survey: Survey, compared: VisitComparison, check: PlaceCheck) -> BeforeAfter:
    bound, target, met = compared.verification.target_w_m2, None, None
    if bound is not None and compared.verification.held_to_target(check.place_id):
        met = check.after.probability_below(bound)
        target = against_target(met, agreed_confidence(survey))
    foreseen = check.agreement is not Agreement.NOT_PREDICTED
    return BeforeAfter(
        survey.place(check.place_id).name,
        check.kind,
        stated_level(check.before, COVERAGE),
        stated_level(check.after, COVERAGE),
        0.0 if math.isnan(check.reduction_db) else check.reduction_db,
        check.low_db,
        check.high_db,
        _expected(compared, check),
        target,
        check.agreement is not Agreement.LESS if foreseen else None,
        place_id=check.place_id,
        probability_met=chance(met) if met is not None else None,
    )


def against_target(met: ProbabilityRange, confidence: float) -> Against:
    """Whether a target is met, with the confidence that the plan was agreed with."""
    return Against.BELOW if met.low >= confidence else likely_outcome(met, SURE)


def _expected(compared: VisitComparison, check: PlaceCheck) -> Level | None:
    outcome = compared.prediction.outcome(check.place_id) if compared.prediction else None
    if outcome is None:
        return None
    return Level(outcome.after_w_m2.median, outcome.after_w_m2.low, outcome.after_w_m2.high)


def follow_up_letter(survey: Survey, first_id: str, second_id: str, issued_at: str) -> Letter | None:
    """A letter that tells the client in plain words what came of the work; None if nothing can be compared.

    Parameters
    ----------
    issued_at : str
        Date of the letter, ISO 8601.
    """
    compared = _compared(survey, first_id, second_id)
    if compared is None:
        return None
    order, visit = survey.assignment, survey.visit(second_id)
    client = order.client
    return Letter(
        "\n".join(part for part in (client, *order.address.split(", ")) if part),
        issued_at,
        phrase("letter.subject", on=visit.started_at[:10]),
        (
            phrase("letter.dear", client=client) if client else phrase("letter.dear_client"),
            *_opening(survey, compared, first_id, second_id),
        ),
        ", ".join(part for part in (order.assessor, order.organisation) if part),
        tuple(_of_place(survey, compared.verification, check) for check in compared.verification.checks),
        tuple(_closing(survey, compared, second_id)),
    )


def _opening(survey: Survey, compared: VisitComparison, first_id: str, second_id: str) -> Iterator[Text]:
    first, second = survey.visit(first_id).started_at[:10], survey.visit(second_id).started_at[:10]
    yield phrase("letter.visit", on=second, first=first)
    done = "; ".join(done_names(survey, second_id))
    if done:
        yield phrase("letter.assumed" if compared.assumed else "letter.done", done=done)
    else:
        yield phrase("letter.nothing_noted")
    found = compared.verification
    if found.target_w_m2 is not None:
        kind = phrase(f"kind_noun.{found.kind.value}")
        yield phrase("letter.target", kind=kind, target=found.target_w_m2)
    if found.asked_ids:
        yield phrase("letter.asked", places=", ".join(names_of(survey, found.asked_ids)))
    yield statement(found)


def _of_place(survey: Survey, found: Checked, check: PlaceCheck) -> Text:
    place = survey.place(check.place_id).name
    before, after = check.before, check.after
    if after.censoring is Censoring.BELOW and before.censoring is Censoring.NONE:
        bound = after.interval(COVERAGE).high_w_m2
        return phrase("letter.under_floor", place=place, before=before.median_w_m2, bound=bound, low=check.low_db)
    if not all(math.isfinite(end) for end in (check.low_db, check.high_db, check.reduction_db)):
        return phrase("letter.only_bounds", place=place)
    values: dict[str, str | float] = {"place": place, "before": before.median_w_m2, "after": after.median_w_m2}
    if check.outcome is VerifiedOutcome.UNDECIDED:
        return phrase("letter.undecided", **values)
    rise = check.outcome is VerifiedOutcome.HIGHER
    spans = (-check.reduction_db, -check.high_db, -check.low_db) if rise else (
        check.reduction_db, check.low_db, check.high_db)  # fmt: skip
    values |= {"change": spans[0], "low": spans[1], "high": spans[2]}
    if rise:
        return phrase("letter.higher", **values)
    if check.outcome is VerifiedOutcome.LOWER:
        met = check.after.probability_below(found.target_w_m2 or math.inf)
        if likely_outcome(met, COVERAGE) is Against.ABOVE:
            return phrase("letter.lower_above", **values)
        return phrase("letter.lower_open", met=check.probability_met, sure=agreed_confidence(survey), **values)
    return phrase("letter.worked" if found.held_to_target(check.place_id) else "letter.lower", **values)


def _closing(survey: Survey, compared: VisitComparison, second_id: str) -> Iterator[Text]:
    found = compared.verification
    yield phrase("letter.ranges", coverage=COVERAGE)
    changed = told_changes(survey, found.first_visit_id, second_id)
    yield from (*(note(one) for one in found.unplanned), *changed)
    if found.suspected:
        yield phrase("letter.short")
        yield from (note(one) for one in found.suspected)
    for one in unequal(compared)[compared.assumed :]:
        yield phrase("letter.unequal", what=one)
    left = _left_open(survey, second_id)
    if left:
        yield phrase("letter.left_open", left=left)
    yield phrase("letter.next_worked" if found.worked and not found.unplanned and not changed else "letter.next_open")
    yield phrase("letter.standing")
    yield phrase("letter.regards")


def _left_open(survey: Survey, visit_id: str) -> str:
    """What was agreed and is not said to be done."""
    visit, plan = survey.visit(visit_id), survey.adopted_plan
    if plan is None or not visit.done_action_ids:
        return ""
    done = {n for v in survey.visits if v.started_at <= visit.started_at for n in v.done_action_ids}
    return "; ".join(a.name for a in survey.actions if a.id in plan.action_ids and a.id not in done)

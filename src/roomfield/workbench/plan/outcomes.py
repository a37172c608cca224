"""Findings of the remedy as phrases of the catalogue, so that page, command and report say the same."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from roomfield.remedy.choice import Choice, PlanPoint
from roomfield.remedy.conditions import Condition
from roomfield.remedy.failure_causes import Note
from roomfield.remedy.naming import Way
from roomfield.remedy.prediction import Limit, PlaceOutcome, Prediction, Worse, Worsening
from roomfield.remedy.verification import VerificationResult, VerifiedOutcome
from roomfield.show.phrase import Phrase, PhraseValue, Text, phrase


def limiting(outcome: PlaceOutcome) -> Text:
    """What limits the result at a place; empty if nothing remains."""
    return limit(outcome.limits[0]) if outcome.limits else ""


def limit(one: Limit) -> Phrase:
    """One part of what remains."""
    if one.way is None:
        return phrase("remains.free", source=one.emitter, share=one.share)
    key = "remains.treated" if one.treated else "remains.untreated"
    return phrase(key, source=one.emitter, way=way(one.way), share=one.share)


def way(one: Way) -> Phrase:
    """What a wall, slab or opening is called."""
    return phrase(f"way.{one.kind.value}", names=" / ".join(one.names))


def worsening(one: Worsening) -> Phrase:
    """Something that a plan makes worse."""
    if one.kind is Worse.REFLECTED:
        return phrase("worse.reflected", source=one.emitter, place=one.place, rise=one.rise_db)
    if one.kind is Worse.TRANSMITS_HARDER:
        return phrase("worse.transmits_harder", source=one.emitter)
    return phrase("worse.louder", place=one.place, rise=one.rise_db)


def reach(found: Choice, shown: PlanPoint, expected: Prediction, places: Mapping[str, str]) -> tuple[Phrase, ...]:
    """Whether the target is reached; if not, the lowest that can be had, and where it then remains from what.

    Parameters
    ----------
    shown : PlanPoint
        The plan that is shown.
    expected : Prediction
        What that plan would bring.
    places : mapping of str to str
        Names of the places by their ids.
    """
    asked: dict[str, PhraseValue] = {
        "target": found.target_w_m2,
        "asked": found.confidence,
        "where": everywhere(bool(found.place_ids)),
    }
    if not found.lowest:
        return (phrase("choice.reached", chance=shown.probability, **asked),)
    told = [phrase("choice.unreached", **asked)]
    if found.cheapest is not None:
        low, high = found.cheapest.cost_low, found.cheapest.cost_high
        told = [phrase("choice.over_budget", low=low, high=high, **asked)]
    last = found.lowest[-1]
    if last.plan.action_ids:
        low, high = last.plan.cost_low, last.plan.cost_high
        told.append(phrase("choice.lowest", level=last.level_w_m2, fall=last.reduction_db, low=low, high=high))
    else:
        told.append(phrase("choice.no_lower", level=last.level_w_m2))
    return (*told, *most_remains(expected, places))


def everywhere(restricted: bool) -> Phrase:
    """Where a target holds, in words."""
    return phrase("choice.where_asked" if restricted else "choice.everywhere")


def most_remains(expected: Prediction, places: Mapping[str, str]) -> Iterator[Phrase]:
    """Where most remains among the places asked for, how much, and from which source."""
    worst = expected.highest
    place, after = places[worst.place_id], worst.after_w_m2
    yield phrase("choice.remains", place=place, level=after.median, low=after.low, high=after.high)
    if worst.limits:
        yield limit(worst.limits[0])


def condition(one: Condition) -> Phrase:
    """One thing that was not alike on two visits."""
    return phrase(f"condition.{one.name}", place=one.place, detail=one.detail, amount=one.amount)


def note(one: Note) -> Phrase:
    """One thing noted of a follow-up."""
    detail: Text = one.detail
    if one.limit is not None:
        detail = limit(one.limit)
    if one.condition is not None:
        detail = condition(one.condition)
    return phrase(f"note.{one.kind.value}", place=one.place, detail=detail, rise=one.rise_db)


def _met_where_asked(found: VerificationResult) -> bool:
    held = [check.outcome for check in found.checks if found.held_to_target(check.place_id)]
    return bool(held) and all(outcome is VerifiedOutcome.WORKED for outcome in held)


def statement(found: VerificationResult) -> Phrase:
    """What came of the work, in numbers of places."""
    if found.worked and found.asked_ids:
        return phrase("verification.all_worked_asked", n=len(found.checks), asked=found.held_count)
    if found.worked:
        key = "verification.all_lower" if found.target_w_m2 is None else "verification.all_worked"
        return phrase(key, n=len(found.checks))
    if found.asked_ids and _met_where_asked(found):
        others = [check.outcome for check in found.checks if not found.held_to_target(check.place_id)]
        return phrase(
            "verification.met_where_asked", asked=found.held_count, n=len(others),
            lower=sum(o in (VerifiedOutcome.LOWER, VerifiedOutcome.WORKED) for o in others),
            undecided=others.count(VerifiedOutcome.UNDECIDED), higher=others.count(VerifiedOutcome.HIGHER),
        )  # fmt: skip
    key = "verification.counts_lower" if found.target_w_m2 is None else "verification.counts"
    if found.asked_ids:
        key = "verification.counts_asked"
    return phrase(
        key, n=len(found.checks), worked=found.count(VerifiedOutcome.WORKED), lower=found.count(VerifiedOutcome.LOWER),
        undecided=found.count(VerifiedOutcome.UNDECIDED), higher=found.count(VerifiedOutcome.HIGHER),
    )  # fmt: skip

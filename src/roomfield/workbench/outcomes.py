"""Findings of the remedy as phrases of the catalogue, so that page, command and report say the same."""

from __future__ import annotations

from roomfield.remedy.conditions import Condition
from roomfield.remedy.naming import Way
from roomfield.remedy.prediction import Limit, PlaceOutcome, Worse, Worsening
from roomfield.remedy.shortfall import Note
from roomfield.remedy.verification import Outcome, Verification
from roomfield.report.phrase import Phrase, Text, phrase


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


def statement(found: Verification) -> Phrase:
    """What came of the work, in numbers of places."""
    if found.worked:
        key = "verification.all_lower" if found.target_w_m2 is None else "verification.all_worked"
        return phrase(key, n=len(found.checks))
    key = "verification.counts_lower" if found.target_w_m2 is None else "verification.counts"
    return phrase(
        key, n=len(found.checks), worked=found.count(Outcome.WORKED), lower=found.count(Outcome.LOWER),
        undecided=found.count(Outcome.UNDECIDED), higher=found.count(Outcome.HIGHER),
    )  # fmt: skip

"""Findings of the remedy as phrases of the catalogue, so that page, command and report say the same."""

from __future__ import annotations

from roomfield.remedy.naming import Way
from roomfield.remedy.prediction import Limit, PlaceOutcome, Worse, Worsening
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

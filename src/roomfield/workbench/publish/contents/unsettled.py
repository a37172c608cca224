"""What the readings of a visit could not settle, as far as they tell without a model of the dwelling."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from math import dist

from roomfield.exposure.decision import limit_kind
from roomfield.exposure.regions import is_indicative
from roomfield.quantities import Censoring, Kind
from roomfield.show.phrase import PhraseValue, Text, phrase
from roomfield.survey import Activity
from roomfield.workbench.assess.assessment import Assessment
from roomfield.workbench.assess.doubts import Doubt
from roomfield.workbench.assess.switching import AttributionFinding

_MOST_NAMES = 4
_SUREST = (Kind.AVERAGE, Kind.HIGHEST_HELD, Kind.PEAK)
"""Kinds in the order in which their sums are best kept: highest values need not lie at one spot or moment."""


def unsettled(assessment: Assessment) -> tuple[Text, ...]:
    """Every open point that follows from the readings alone."""
    return (*doubt_texts(assessment), *_readings(assessment), *_near_fields(assessment), *_switching(assessment))


def doubt_texts(assessment: Assessment) -> tuple[Text, ...]:
    """What cannot be, or cannot all be right, in words: the same at command line, page and report."""
    return tuple(doubt_text(assessment, item) for item in assessment.doubts)


def doubt_text(assessment: Assessment, item: Doubt) -> Text:
    """One doubt in words."""
    survey = assessment.survey
    states = {s.id: s.name for s in assessment.table.visit.radio_states}
    values: dict[str, PhraseValue] = {
        "place": survey.place(item.place_id).name if item.place_id else "",
        "state": states.get(item.state_id, ""),
        "first": item.first_w_m2 or 0.0,
        "second": item.second_w_m2 or 0.0,
        "names": joined(item.names),
        "one": item.names[0] if item.names else "",
        "other": item.names[-1] if item.names else "",
    }
    for name, kind in (("lower", item.kind_first), ("higher", item.kind_second)):
        values[name] = phrase(f"kind_noun.{kind.value}") if kind else ""
    return phrase(f"doubt.{item.kind.value}", **values)


def joined(names: Iterable[str]) -> Text:
    """Names in one phrase, long lists cut and counted."""
    found = list(dict.fromkeys(names))
    if len(found) <= _MOST_NAMES:
        return ", ".join(found)
    return phrase("front.and_more", names=", ".join(found[:_MOST_NAMES]), n=len(found) - _MOST_NAMES)


def _readings(assessment: Assessment) -> Iterator[Text]:
    survey, base = assessment.survey, assessment.table.base_state.id
    if len(survey.visits) > 1:
        yield phrase("open.one_visit", date=assessment.table.visit.started_at[:10])
    over = [i for i in assessment.table.levels if i.combined.level.censoring is Censoring.ABOVE]
    if over:
        yield phrase("open.overload", places=joined(survey.place(i.place_id).name for i in over))
    bounded = [f for f in assessment.law if f.is_upper_bound and f.state_id == base]
    if bounded:
        asked = phrase(f"kind_noun.{limit_kind(assessment.limits.scope).value}")
        places = joined(survey.place(f.place_id).name for f in bounded)
        yield phrase("open.no_average", places=places, asked=asked)


def _near_fields(assessment: Assessment) -> Iterator[Text]:
    """Places so near to a transmitter that a power density from the electric field says little there."""
    survey, base = assessment.survey, assessment.table.base_state.id
    read = dict.fromkeys(i.place_id for i in assessment.table.levels if i.state_id == base)
    for emitter in survey.emitters:
        if emitter.position is None or not emitter.frequency_hz:
            continue
        near = [
            place.name
            for place in map(survey.place, read)
            if place.position and is_indicative(dist(place.position, emitter.position), emitter.frequency_hz)
        ]
        if near:
            yield phrase("open.near_field", places=joined(near), source=emitter.name)


def _switching(assessment: Assessment) -> Iterator[Text]:
    if not assessment.switches:
        yield phrase("open.not_switched")
    for place in _not_adding_up(assessment):
        yield phrase("open.does_not_add_up", place=place)
    without_effect: dict[tuple[str, bool], list[str]] = defaultdict(list)
    for item in assessment.leading_switches:
        if item.contribution.includes_zero(assessment.terms.coverage):
            spoke = item.first.activity in (Activity.IN_USE, Activity.FORCED)
            without_effect[item.first.name, spoke].append(assessment.survey.place(item.first.place_id).name)
    for (source, spoke), places in without_effect.items():
        yield phrase("open.no_effect_in_use" if spoke else "open.no_effect", source=source, places=joined(places))


def _not_adding_up(assessment: Assessment) -> list[str]:
    """Places whose on/off tests do not add up, in the surest kind that was tested there."""
    tested = [f for f in assessment.attributions if f.attribution.adds_up is not None]
    surest: dict[tuple[str, str], AttributionFinding] = {}
    for finding in sorted(tested, key=lambda f: _SUREST.index(f.kind)):
        surest.setdefault((finding.place_id, finding.meter_id), finding)
    wrong = [f.place_id for f in surest.values() if not f.attribution.adds_up]
    return [assessment.survey.place(p).name for p in dict.fromkeys(wrong)]

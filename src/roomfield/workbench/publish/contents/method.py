"""Paragraphs on the method that depend on this visit: what was added to a level, and why."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median

from roomfield.exposure.decision import UNCERTAINTY_CEILING_DB
from roomfield.exposure.guideline import SERVICES_AT_MOST
from roomfield.quantities import Kind
from roomfield.quantities.censoring import Censoring
from roomfield.quantities.convert import decibels_from_ratio
from roomfield.references.catalogue import time_variability
from roomfield.references.guidelines import GuidelineSet
from roomfield.show.phrase import Text, phrase
from roomfield.workbench.assess.assessment import Assessment
from roomfield.workbench.assess.switching import WIDEST_VARIATION

LEAST_TOLD_DB = 0.05
_BY_USE = {"daytime", "nighttime"}


def method_paragraphs(assessment: Assessment) -> tuple[Text, ...]:
    """What a reader must know of how this visit's levels were compared."""
    found = [*_corrections(assessment), *_on_limits(assessment), *_on_guideline(assessment)]
    if any(len(item.pairs) > 1 for item in assessment.pooled):
        found.append(phrase("method.pooled"))
    if len(assessment.meter_ids) > 1:
        names = ", ".join(assessment.survey.meter(m).name for m in assessment.meter_ids)
        found.append(phrase("method.meters", n=len(assessment.meter_ids), names=names))
    return (*_held(assessment), *found, *_across_meters(assessment), *_other_times(assessment))


def _held(assessment: Assessment) -> Iterator[Text]:
    """How the meter was held, and what is taken for it where nobody noted it."""
    readings = [r for item in assessment.table.levels for r in item.combined.readings]
    watched = [r.watched_s for r in readings if r.watched_s is not None]
    timed = sum(r.period is not None for r in readings)
    yield phrase("method.held", n=len(readings), timed=timed, watched=len(watched))
    listened = [r.listened for r in readings if r.listened is not None]
    if listened:
        low, high = min(s.low_db for s in listened), max(s.high_db for s in listened)
        yield phrase("method.listened", n=len(listened), low=low, high=high)
    if watched:
        yield phrase("method.watched", low=min(watched), high=max(watched))


def _across_meters(assessment: Assessment) -> Iterator[Text]:
    for item in assessment.across_meters:
        if item.state_id == assessment.table.base_state.id:
            span = item.level.interval(assessment.terms.coverage)
            yield phrase(
                "method.across_meters",
                place=assessment.survey.place(item.place_id).name,
                kind=phrase(f"kind_noun.{item.level.kind.value}"),
                median=item.level.median_w_m2,
                low=span.low_w_m2,
                high=span.high_w_m2,
            )


def _other_times(assessment: Assessment) -> Iterator[Text]:
    """What was read at the other time of day: a finding of its own."""
    for item in assessment.table.other_times:
        span = item.combined.level.interval(assessment.terms.coverage)
        if item.state_id == assessment.table.base_state.id and item.period is not None:
            yield phrase(
                f"method.by_{item.period.value}",
                place=assessment.survey.place(item.place_id).name,
                kind=phrase(f"kind_noun.{item.kind.value}"),
                median=item.combined.level.median_w_m2,
                low=span.low_w_m2,
                high=span.high_w_m2,
            )


def _corrections(assessment: Assessment) -> Iterator[Text]:
    """How far the level of each kind lies above what the meter showed, in the middle of the single readings."""
    for kind in Kind:
        rises = [
            item.combined.level.level_db - float(decibels_from_ratio(item.combined.readings[0].value_w_m2))
            for item in assessment.table.levels
            if item.kind is kind
            and item.combined.level.censoring is Censoring.NONE
            and len(item.combined.readings) == 1
        ]
        if rises and abs(rise := median(rises)) >= LEAST_TOLD_DB:
            yield phrase("method.correction", kind=phrase(f"kind_noun.{kind.value}"), rise=rise)


def _on_limits(assessment: Assessment) -> Iterator[Text]:
    limit = assessment.limit
    if not assessment.law:
        return
    if limit.band_hz is not None:
        low, high = limit.band_hz
        yield phrase("method.smallest", low=low, high=high, value=limit.value_w_m2, at=limit.frequency_hz)
    for low, high in limit.uncovered_hz:
        yield phrase("method.uncovered", low=low, high=high)
    if limit.averaging_s is not None:
        yield _on_time(assessment, limit.averaging_s)
    if assessment.pulse is not None and assessment.pulses:
        yield phrase("method.pulses", factor=assessment.pulse.value_w_m2 / limit.value_w_m2)
    widest = max(f.verdict.expanded_db for f in assessment.law)
    if widest > UNCERTAINTY_CEILING_DB:
        yield phrase("method.ceiling", value=widest, ceiling=UNCERTAINTY_CEILING_DB)


def _on_time(assessment: Assessment, averaging_s: float) -> Text:
    if any(f.verdict.level.kind is Kind.AVERAGE for f in assessment.law):
        spread = time_variability(WIDEST_VARIATION)
        source = spread.source.citation()
        return phrase("method.time_added", time=averaging_s, spread=spread.spread_db, source=source)
    return phrase("method.no_time", time=averaging_s)


def _on_guideline(assessment: Assessment) -> Iterator[Text]:
    chosen = assessment.guideline
    if chosen is None or not assessment.precaution:
        return
    yield phrase("method.standing_rule", coverage=assessment.terms.coverage)
    if chosen.per_service:
        named = chosen.services != ("any",)
        yield phrase("method.services_named") if named else phrase("method.services_each", n=SERVICES_AT_MOST)
    if assessment.aim is not None and assessment.aim.chosen:
        yield phrase("method.own_aim")
    if {row.name for row in chosen.levels} >= _BY_USE:
        yield phrase("method.target_use")
    if _silent_on_kind(chosen):
        yield phrase("method.statistic")


def _silent_on_kind(chosen: GuidelineSet) -> bool:
    return chosen.statistic == "not stated"

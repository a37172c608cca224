"""What changed that was not planned, and what may be behind a reduction that falls short."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from roomfield.instrument import meter_chart
from roomfield.remedy.conditions import Condition
from roomfield.remedy.prediction import Limit, Prediction
from roomfield.survey import Survey

HEARD = 0.7
"""Probability from which a technology counts as heard."""


class NoteKind(StrEnum):
    """What is noted of a follow-up."""

    HIGHER = "higher"
    NEW_SOURCE = "new_source"
    ALL_SHORT = "all_short"
    SOME_SHORT = "some_short"
    LIMITED = "limited"
    JOINTS = "joints"
    DRIFT = "drift"
    UNEQUAL = "unequal"


_TEXTS = {
    NoteKind.HIGHER: "{place}: the level is higher than before, by {rise_db:.1f} dB.",
    NoteKind.NEW_SOURCE: "A source not heard before: {detail}.",
    NoteKind.ALL_SHORT: (
        "All places fall short alike: a source that was not there before, or a source that now transmits harder."
    ),
    NoteKind.SOME_SHORT: (
        "Only some places fall short ({place}): a joint or edge that leaks near them, or a source close by."
    ),
    NoteKind.LIMITED: "{place}: {detail}",
    NoteKind.JOINTS: "Shield: look for gaps at joints, sockets and edges; check that it laps round the corner.",
    NoteKind.DRIFT: "Meter {detail}: its reference checks show a drift.",
    NoteKind.UNEQUAL: "Unequal conditions: {detail}",
}


@dataclass(frozen=True)
class Note:
    """One thing noted of a follow-up.

    Parameters
    ----------
    kind : NoteKind
        What it is.
    place : str
        Names of the places; empty if none is meant.
    detail : str
        Technology or meter.
    rise_db : float
        By how much a level rose [dB].
    limit : Limit or None
        What was expected to limit the result.
    condition : Condition or None
        What was not alike.
    """

    kind: NoteKind
    place: str = ""
    detail: str = ""
    rise_db: float = 0.0
    limit: Limit | None = None
    condition: Condition | None = None

    @property
    def text(self) -> str:
        """In words."""
        detail = self.detail
        if self.limit is not None:
            detail = self.limit.text
        if self.condition is not None:
            detail = self.condition.text
        return _TEXTS[self.kind].format(place=self.place, detail=detail, rise_db=self.rise_db)


def newly_heard(survey: Survey, first_id: str, second_id: str) -> Iterator[Note]:
    """Technologies heard on the second visit only, if both visits have recordings."""
    old, new = heard(survey, first_id), heard(survey, second_id)
    if old is not None and new is not None:
        for technology in sorted(new - old):
            yield Note(NoteKind.NEW_SOURCE, detail=technology)


def heard(survey: Survey, visit_id: str) -> set[str] | None:
    """Technologies heard on a visit; None if nothing was recorded."""
    recordings = [r for r in survey.current_recordings() if r.visit_id == visit_id]
    if not recordings:
        return None
    return {h.technology for r in recordings for h in r.heard if h.probability >= HEARD}


def causes_of(
    survey: Survey, short: set[str], checked: set[str], prediction: Prediction | None, found: Sequence[Condition]
) -> Iterator[Note]:
    """What may be behind it if places fall short of the prediction.

    Parameters
    ----------
    short, checked : set of str
        Ids of the places that fall short, and of all places compared.
    prediction : Prediction, optional
        What had been predicted.
    found : sequence of Condition
        What was not alike on the visits.
    """
    if short == checked and len(checked) > 2:
        yield Note(NoteKind.ALL_SHORT)
    else:
        yield Note(NoteKind.SOME_SHORT, ", ".join(survey.place(i).name for i in sorted(short)))
    for place_id in sorted(short):
        outcome = prediction.outcome(place_id) if prediction else None
        if outcome and outcome.limits and outcome.limits[0].way is not None and not outcome.limits[0].treated:
            yield Note(NoteKind.LIMITED, survey.place(place_id).name, limit=outcome.limits[0])
    if prediction and any(w.area_m2 for w in prediction.work):
        yield Note(NoteKind.JOINTS)
    for meter in survey.meters:
        chart = meter_chart(meter)
        if chart is not None and chart.drifting:
            yield Note(NoteKind.DRIFT, detail=meter.name)
    for condition in found:
        yield Note(NoteKind.UNEQUAL, condition=condition)

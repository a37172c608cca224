"""What is read although every transmitter on the list was off comes from one that is not on the list."""

from __future__ import annotations

from dataclasses import replace

from roomfield.field.emitter_states import receives
from roomfield.quantities.censoring import Censoring
from roomfield.show.words import LANGUAGES, load_words
from roomfield.survey import Activity, Emitter, Standing, Survey

UNLISTED_ID = "not-listed"


def with_unlisted(survey: Survey, visit_id: str) -> Survey:
    """The survey with one suspected transmitter outside, if readings of the visit cannot be made by those listed.

    A survey that lists nothing stays as it is: there is nothing to switch, so nothing tells listed from unlisted.
    """
    if not survey.emitters or not _read_with_all_off(survey, visit_id):
        return survey
    taken = {emitter.id for emitter in survey.emitters}
    own_id = UNLISTED_ID if UNLISTED_ID not in taken else f"{UNLISTED_ID}-{len(taken)}"
    spoken = survey.assignment.language
    name = load_words(spoken if spoken in LANGUAGES else "en").say("source.unlisted")
    extra = Emitter(own_id, name, outdoor=True, standing=Standing.SUSPECTED)
    return replace(survey, emitters=(*survey.emitters, extra))


def _read_with_all_off(survey: Survey, visit_id: str) -> bool:
    """Whether something was read on the plan while every listed transmitter that the meters receive was silent."""
    listed = [e for e in survey.emitters if any(receives(m, e) for m in survey.meters)]
    silent = {
        state.id
        for state in survey.visit(visit_id).radio_states
        if all(state.activity_of(e.id, e.group) is Activity.SILENT for e in listed)
    }
    on_plan = {place.id for place in survey.places if place.position is not None}
    return any(
        reading.radio_state_id in silent
        and reading.censoring is not Censoring.BELOW
        and (reading.position is not None or reading.place_id in on_plan)
        for reading in survey.current_readings(visit_id)
    )

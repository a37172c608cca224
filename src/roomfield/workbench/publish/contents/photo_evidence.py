"""Photos that were chosen for the report, as the report shows them."""

from __future__ import annotations

from roomfield.exchange.plan_page import jpeg_size
from roomfield.show.evidence import PhotoEntry
from roomfield.survey import Censoring, Photograph, Survey
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.photos import photos_of


def photo_entries(job: Job, visit_id: str) -> tuple[PhotoEntry, ...]:
    """Photos chosen for the report that were taken on a visit, or on none.

    Parameters
    ----------
    visit_id : str
        The visit.
    """
    return tuple(
        _entry(job, photo)
        for photo in photos_of(job.survey)
        if photo.in_report and photo.visit_id in ("", visit_id) and photo.small_sha256
    )


def _entry(job: Job, photo: Photograph) -> PhotoEntry:
    survey = job.survey
    picture = job.media_path(photo.small_sha256).read_bytes()
    width_px, height_px = jpeg_size(picture, photo.id)
    place = next((one.name for one in survey.places if one.id == photo.place_id), "")
    return PhotoEntry(
        photo.subject,
        photo.caption,
        place,
        _state_name(survey, photo),
        photo.taken_at,
        tuple(
            (reading.kind, reading.value_w_m2)
            for reading in survey.current_readings()
            if photo.entry_id and reading.id.startswith(f"{photo.entry_id}-") and reading.censoring is Censoring.NONE
        ),
        picture,
        width_px,
        height_px,
        photo.sha256,
    )


def _state_name(survey: Survey, photo: Photograph) -> str:
    states = (state for visit in survey.visits if visit.id == photo.visit_id for state in visit.radio_states)
    return next((state.name for state in states if state.id == photo.radio_state_id), "")

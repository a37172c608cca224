"""Counts over observations as a query, without reading the survey."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Exists, ScalarSelect, exists, func, select

from roomfield.store import schema
from roomfield.survey.survey_record import WITHDRAWN


def standing_readings() -> ScalarSelect[Any]:
    """How many readings of a survey count: those whose last mark does not withdraw them."""
    mark, reading = schema.amendment.c, schema.reading.c
    marks = select(mark.new).where(
        mark.survey_id == reading.survey_id, mark.target_id == reading.id, mark.field == WITHDRAWN
    )
    last = marks.order_by(mark.seq.desc()).limit(1).scalar_subquery()
    standing = func.coalesce(last, "false") != "true"
    return select(func.count()).where(reading.survey_id == schema.survey.c.id, standing).scalar_subquery()


def is_archived() -> Exists:
    """Whether a survey is marked as archived."""
    part = schema.survey_part.c
    return exists().where(part.survey_id == schema.survey.c.id, part.name == "archived", part.body == "true")

"""Who contributes what, place by place, as the pages show it."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.quantities import Kind
from roomfield.survey import Survey
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import EmitterShare, emitter_names, emitter_shares, placed, posterior_of

LEAST_SHARE = 0.01
"""Emitters whose share is practically excluded from reaching this are not listed."""


@dataclass(frozen=True)
class PlaceCauses:
    """The emitters behind the level at one place, the largest share first.

    Parameters
    ----------
    place : str
        Name of the place.
    shares : tuple of (str, EmitterShare)
        Name of the emitter and its share.
    """

    place: str
    shares: tuple[tuple[str, EmitterShare], ...]


@in_turn
def causes(survey: Survey, visit_id: str, kind: str = "peak") -> tuple[PlaceCauses, ...]:
    """Contributions at every place with everything on.

    Parameters
    ----------
    survey : Survey
        The record.
    visit_id : str
        The visit whose readings are used.
    kind : str
        ``peak``, ``highest_held`` or ``average``.

    Raises
    ------
    TooEarlyError
        If there is no emitter, reading or placed place yet.
    """
    found = emitter_shares(posterior_of(survey, visit_id), Kind(kind))
    names = emitter_names(survey, visit_id)
    return tuple(
        PlaceCauses(
            place.name,
            tuple(
                (names[share.emitter_id], share)
                for share in sorted(found, key=lambda one: -one.share.median)
                if share.place_id == place.id and share.share.high >= LEAST_SHARE
            ),
        )
        for place in placed(survey)
    )

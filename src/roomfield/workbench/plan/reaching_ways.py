"""What reaches a place, as ways from its main sources through walls and openings."""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np

from roomfield.errors import UnknownNameError
from roomfield.field.crossings import crossings, nearest_in
from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind
from roomfield.remedy.baseline_paths import Groundwork
from roomfield.remedy.evaluator import entries_at
from roomfield.remedy.naming import ways_of
from roomfield.show.drawings import Point, ReachingWay, WallCrossing
from roomfield.show.phrase import Text, phrase
from roomfield.survey import Point3, Survey
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import placed, posterior_of
from roomfield.workbench.model.source_contributions import PlaceCauses, shares_at_places
from roomfield.workbench.plan.outcomes import way as way_words

LEAST_SHARE = 0.03
"""Ways with a smaller share of the level are left out."""
MOST_WAYS = 6
LEAST_LOSS_DB = 0.5
"""A wall that takes less is not marked [dB]."""


@in_turn
@lru_cache(maxsize=16)
def reaching_ways(survey: Survey, visit_id: str, place_id: str) -> tuple[ReachingWay, ...]:
    """Ways by which the level at a place comes about, the largest first.

    Parameters
    ----------
    survey : Survey
        The record.
    visit_id : str
        The visit whose readings are used.
    place_id : str
        The place.

    Raises
    ------
    TooEarlyError
        If there is nothing to infer from.
    UnknownNameError
        If there is no such place with a position.

    Notes
    -----
    The share of a switch is that which every door tells; it is split by plate of entry as the ray model splits the
    power of its transmitters. A way is drawn straight to the plate by which most of it comes in, and on to the place;
    what is written at a wall is its loss at that angle, see `roomfield.field.crossings`.
    """
    ground, causes = _reckoned(survey, visit_id)
    posterior = ground.posterior
    places = placed(posterior.survey)
    column = next((n for n, place in enumerate(places) if place.id == place_id), None)
    target = None if column is None else places[column].position
    if column is None or target is None:
        raise UnknownNameError("place with a position", place_id, [place.id for place in places])
    entries = _by_switch(posterior, entries_at(ground, places, column, Kind.PEAK))
    found = [
        _way(posterior, (name, entry, share), emitter_id, target)
        for name, entry, share, emitter_id in _told_shares(causes[column], entries)
        if share >= LEAST_SHARE
    ]
    return tuple(sorted(found, key=lambda one: -one.share)[:MOST_WAYS])


Entries = dict[str, dict[str, tuple[float, dict[str, float]]]]
"""By switch and plate of entry: power, and the part of each transmitter in it."""


@lru_cache(maxsize=4)
def _reckoned(survey: Survey, visit_id: str) -> tuple[Groundwork, tuple[PlaceCauses, ...]]:
    """The model with what of it stays the same from place to place, and the shares at places with a position."""
    posterior = posterior_of(survey, visit_id)
    return Groundwork(posterior), shares_at_places(posterior, Kind.PEAK)


def _by_switch(posterior: Posterior, shares: dict[tuple[str, str], float]) -> Entries:
    groups = {emitter.id: emitter.group for emitter in posterior.survey.emitters}
    found: Entries = {}
    for (emitter_id, entry), share in shares.items():
        total, own = found.setdefault(groups[emitter_id], {}).get(entry, (0.0, {}))
        found[groups[emitter_id]][entry] = (total + share, {**own, emitter_id: share})
    return found


def _told_shares(told: PlaceCauses, split: Entries) -> list[tuple[str, str, float, str]]:
    """Name of the switch, plate, share of the level, and the transmitter that makes most of it."""
    found = []
    for one in told.shares:
        entries = split.get(one.share.name, {})
        whole = sum(total for total, _ in entries.values())
        for entry, (total, own) in entries.items():
            if whole > 0.0:
                strongest = max(own, key=lambda name: own[name])
                found.append((one.name, entry, one.share.share.median * total / whole, strongest))
    return found


def _way(posterior: Posterior, what: tuple[str, str, float], emitter_id: str, target: Point3) -> ReachingWay:
    name, entry, share = what
    row = posterior.emitter_ids.index(emitter_id)
    start = posterior.radiators.positions[row]
    frequency = float(posterior.radiators.frequencies_hz[row])
    between = nearest_in(posterior.scene, entry, start, target) if entry else None
    stops = [tuple(start), target] if between is None else [tuple(start), between, target]
    named = ways_of(posterior.survey.dwelling)
    marks: dict[str, WallCrossing] = {}
    # A way is cut a little before and behind the plate, so that this plate is met once.
    for a, b in pairwise(stops):
        for one in crossings(posterior.scene, a, _beyond(a, b, between), frequency):
            if one.loss_db >= LEAST_LOSS_DB and one.name not in marks:
                text: Text = way_words(named[one.name]) if one.name in named else ""
                marks[one.name] = WallCrossing(_flat(one.at), text, one.loss_db)
    through: Text = way_words(named[entry]) if entry in named else phrase("ways.free")
    return ReachingWay(name, through, share, tuple(_flat(stop) for stop in stops), tuple(marks.values()))


def _beyond(a: Point3, b: Point3, between: Point3 | None) -> Point3:
    if b is not between:
        return b
    step = np.asarray(b) + 1e-6 * (np.asarray(b) - np.asarray(a))
    return float(step[0]), float(step[1]), float(step[2])


def _flat(point: Point3) -> Point:
    return float(point[0]), float(point[1])

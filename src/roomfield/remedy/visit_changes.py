"""What changed between two visits beside the work: a short list of candidates, each with its odds.

Each hypothesis says what the meter should show the second time over the first, as a normal law: mean and spread over
the draws of the first visit's posterior, the load of each transmitter, the scatter of two scans. Its probability
follows by Bayes' rule; where one is accepted, it is taken as true and another one beside it is asked for.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon

from roomfield.field.path_gains import Radiators, unit_db
from roomfield.field.posterior import Posterior
from roomfield.remedy.failure_causes import heard
from roomfield.remedy.repeated_scans import RepeatedScans, repeated_scans, shown_parts
from roomfield.survey import Action, ActionKind, AntennaPattern, Polarisation, Survey

Array = NDArray[np.float64]


class VisitChange(StrEnum):
    """What may have changed."""

    LOAD = "load"
    """Nothing but how much was sent, and the scatter of two scans."""
    NEW_SENDER = "new_sender"
    GONE = "gone"
    """No longer there, or so much weaker (a sixteenth and less) that readings cannot tell it from that."""
    STRONGER = "stronger"
    WEAKER = "weaker"
    NOT_AS_ORDERED = "not_as_ordered"
    """Work that lets more through than ordered, up to none done."""
    BETTER = "better"
    PLACE = "place"
    """One place alone is read differently: another spot, something moved close by."""
    OTHER = "other"
    """More than load, at several places, and none of the above."""


PRIOR = {
    VisitChange.NEW_SENDER: 0.08, VisitChange.GONE: 0.03, VisitChange.STRONGER: 0.02, VisitChange.WEAKER: 0.02,
    VisitChange.NOT_AS_ORDERED: 0.1, VisitChange.BETTER: 0.03, VisitChange.PLACE: 0.05,
    VisitChange.OTHER: 0.03,
}  # fmt: skip
"""Probability of each before anything was read, shared by its candidates; the rest is load alone (our judgement)."""
LOAD_STD_DB, LOAD_AVERAGE_STD_DB = 1.0, 2.5
"""A transmitter's power and traffic from visit to visit (our judgement; as in `verification`)."""
HEARD_FACTOR = 8.0
"""A technology heard on one visit only speaks that much for a new sender, or one that is gone (our judgement)."""
TOLD, MOST_CHANGES = 0.8, 3
EIRP_W, DUTIES = (1e-5, 1e-4, 1e-3, 1e-2, 1e-1, 1.0), (1.0, 0.1, 0.01)
CELL_STD_DB = 3.5
"""Within a cell of powers ten decibels apart, with walls that are not quite as drawn [dB]."""
SPACING_M, HEIGHT_M, OUTSIDE_M, FREQUENCY_HZ = 2.0, 1.2, 12.0, 2.4e9
DOUBT_PER_DB = 0.15
"""The work's effect on each transmitter, and at each place, is doubted by this per decibel of it, beside the doubt that
`evaluator` has of all of it (our judgement)."""
SHIFTS_DB = {5.0: 0.4, 8.0: 0.3, 12.0: 0.2, 17.0: 0.1}
"""Steps of a transmitter's power, with how often each is met where there is one (our judgement)."""
SEEN_SHARE = 0.1
"""What made less than this of any reading on the first visit is less probably told as stronger: it cannot be told from
something new beside it."""
SHIFT_STD_DB, PLACE_STD_DB, FAR_WEAKER_DB, COMMON_PART = 2.5, 8.0, 12.0, 0.3
LEAKS, DENSER = (0.03, 0.1, 0.3, 1.0), (0.3, 0.6)
DIRECTIONS, THINNED = 8, 4
_LEAST = 1e-30


@dataclass(frozen=True)
class ChangeCandidate:
    """One thing that may have changed.

    Parameters
    ----------
    change : VisitChange
        What.
    subject : str
        Id of the emitter, action, place or room; a direction in degrees for a sender outside; empty for load.
    outside : bool
        True for a sender outside.
    probability : float
        That it did, given that what was accepted before it is true.
    size_db : float
        By how much it changed, where that is what changed [dB]; else 0.
    there : float
        Of a new sender: that it is in the room, or outside in the direction, named, if there is one.
    """

    change: VisitChange
    subject: str
    outside: bool
    probability: float
    size_db: float = 0.0
    there: float = 1.0


@dataclass(frozen=True)
class VisitChanges:
    """What changed between two visits.

    Parameters
    ----------
    told : tuple of ChangeCandidate
        Accepted, most certain first; empty if nothing but load explains the readings well enough.
    open : tuple of ChangeCandidate
        What may be behind it where nothing is certain, most probable first.
    load_only : float
        Probability that nothing changed but load and scatter.
    newly_heard : tuple of str
        Technologies heard on the second visit only.
    rows : int
        Number of readings compared.
    """

    told: tuple[ChangeCandidate, ...]
    open: tuple[ChangeCandidate, ...]
    load_only: float
    newly_heard: tuple[str, ...]
    rows: int


@dataclass(frozen=True, eq=False)
class _Hypothesis:
    """One way in which the second visit may differ.

    Parameters
    ----------
    after : ndarray, shape (draws, r, k)
        What each emitter then shows.
    more : ndarray, shape (draws, r)
        What a sender that is not listed adds.
    added : ndarray, shape (r, r)
        Covariance beside that of load and scatter [dB²].
    loose : ndarray, shape (k,)
        Standard deviation of each emitter's power beside its load [dB].
    """

    candidate: ChangeCandidate
    prior: float
    after: Array
    more: Array
    added: Array
    loose: Array
    more_std_db: float = 0.0


def changes_between(
    survey: Survey, posterior: Posterior, first_id: str, second_id: str, done: Sequence[Action]
) -> VisitChanges:
    """What changed between two visits beside the work.

    Parameters
    ----------
    survey : Survey
        The record with both visits.
    posterior : Posterior
        Of the first visit.
    done : sequence of Action
        The work done between the visits, as it stands at the hour of the second.

    Raises
    ------
    TooEarlyError
        If nothing was read alike on both visits.
    """
    scans = repeated_scans(survey, posterior, first_id, second_id)
    found = _Explainer(survey, posterior, scans, done, (first_id, second_id))
    told: list[ChangeCandidate] = []
    load_only, best = 1.0, None
    while True:
        weighed = found.weigh(best, told)
        load = next(c.probability for c in weighed if c.change is VisitChange.LOAD)
        load_only = load if not told else load_only
        others = _senders_together([c for c in weighed if c.change is not VisitChange.LOAD])
        first = others[0] if others else None
        if first is None or first.probability < TOLD or len(told) == MOST_CHANGES:
            break
        told.append(first)
        best = found.accepted(first)
    left = tuple(c for c in others if c.probability >= 0.1)[:3] if load < TOLD else ()
    return VisitChanges(tuple(told), left, load_only, found.new, len(scans.change_db))


class _Explainer:
    """Hypotheses about one pair of visits."""

    def __init__(
        self,
        survey: Survey,
        posterior: Posterior,
        scans: RepeatedScans,
        done: Sequence[Action],
        visits: tuple[str, str],
    ) -> None:
        self.survey, self.posterior, self.scans, self.done = survey, posterior, scans, tuple(done)
        ids = [a.id for a in done]
        without = [[name for name in ids if name != left] for left in ids]
        plans = shown_parts(posterior, scans.places, done, [[], ids, *without])
        self.before, self.planned, *self.without = (plan.rows(scans)[::THINNED] for plan in plans)
        old, new = (heard(survey, visit) for visit in visits)
        both = old is not None and new is not None
        self.new = tuple(sorted((new or set()) - (old or set()))) if both else ()
        self.lost = frozenset((old or set()) - (new or set())) if both else frozenset()
        self.quiet = both and not self.new
        total = np.maximum(self.before.sum(axis=2, keepdims=True), _LEAST)
        self.seen = np.mean(self.before / total, axis=0).max(axis=0)
        ratio = np.mean(self.planned, axis=0) / np.maximum(np.mean(self.before, axis=0), _LEAST)
        self.doubt_db = np.where(ratio > 0.0, DOUBT_PER_DB * np.abs(10.0 * np.log10(np.maximum(ratio, 1e-6))), 0.0)
        self._members: dict[tuple[VisitChange, str], list[tuple[float, _Hypothesis]]] = {}

    def weigh(self, base: _Hypothesis | None, told: Sequence[ChangeCandidate]) -> list[ChangeCandidate]:
        """Candidates beside what is accepted, the most probable first."""
        known = {(c.change, c.subject) for c in told}
        rows = [h for h in self._hypotheses(base) if (h.candidate.change, h.candidate.subject) not in known]
        log = np.array([np.log(h.prior) + self._log_likelihood(h) for h in rows])
        chance = np.exp(log - log.max())
        chance /= chance.sum()
        self._members = {}
        for h, p in zip(rows, chance.tolist(), strict=True):
            self._members.setdefault((h.candidate.change, h.candidate.subject), []).append((p, h))
        found = []
        for some in self._members.values():
            p = sum(one for one, _ in some)
            size = sum(one * h.candidate.size_db for one, h in some) / max(p, _LEAST)
            c = some[0][1].candidate
            found.append(ChangeCandidate(c.change, c.subject, c.outside, p, size))
        return sorted(found, key=lambda c: -c.probability)

    def accepted(self, candidate: ChangeCandidate) -> _Hypothesis:
        """The most probable way in which a candidate came about."""
        return max(self._members[candidate.change, candidate.subject], key=lambda one: one[0])[1]

    def _log_likelihood(self, h: _Hypothesis) -> float:
        scans = self.scans
        total = np.maximum(h.after.sum(axis=2) + h.more, _LEAST)
        change = 10.0 * np.log10(total / np.maximum(self.before.sum(axis=2), _LEAST))
        away = change - change.mean(axis=0)
        shares = np.mean(h.after / total[:, :, None], axis=0)
        load = np.hypot(np.where(scans.average, LOAD_AVERAGE_STD_DB, LOAD_STD_DB)[:, None], h.loose) * shares
        same_kind = scans.average[:, None] == scans.average[None]
        loose = h.loose * shares
        covariance = away.T @ away / len(away) + scans.scatter + h.added
        covariance += np.where(same_kind, load @ load.T, loose @ loose.T)
        doubt, same_place = self.doubt_db * shares, scans.place[:, None] == scans.place[None]
        covariance += (1.0 + same_place) * (doubt @ doubt.T)
        if h.more_std_db:
            share = np.mean(h.more / total, axis=0) * h.more_std_db
            covariance += (1.0 + same_place) * np.outer(share, share)
        factor = np.linalg.cholesky(covariance)
        free = np.linalg.solve(factor, scans.change_db - change.mean(axis=0))
        return float(-0.5 * free @ free - np.log(np.diag(factor)).sum())

    def _hypotheses(self, base: _Hypothesis | None) -> Iterator[_Hypothesis]:
        r, k = len(self.scans.change_db), self.before.shape[2]
        start = base or _Hypothesis(
            ChangeCandidate(VisitChange.LOAD, "", False, 0.0), 0.0, self.planned, np.zeros(self.planned.shape[:2]),
            np.zeros((r, r)), np.zeros(k),
        )  # fmt: skip
        offered = [*self._on_emitters(start), *self._on_work(start), *self._at_places(start), *self._new(start)]
        used = sum(h.prior for h in offered)
        yield replace(start, candidate=_named(VisitChange.LOAD, ""), prior=max(1.0 - used, 0.5))
        yield from offered

    def _on_emitters(self, start: _Hypothesis) -> Iterator[_Hypothesis]:
        """Gone, or another power: all bands of a switch together."""
        gone = {name for a in self.done if a.kind is ActionKind.SWITCH_OFF for name in a.emitter_ids}
        emitters = self.posterior.survey.emitters
        groups: dict[str, list[int]] = {}
        for n, emitter in enumerate(emitters):
            if emitter.id not in gone:
                groups.setdefault(emitter.group, []).append(n)
        for members in groups.values():
            subject = emitters[members[0]].id
            missed = any(emitters[m].technology in self.lost for m in members)
            prior = PRIOR[VisitChange.GONE] / len(groups) * (HEARD_FACTOR if missed else 1.0)
            silent = start.after.copy()
            silent[:, :, members] = 0.0
            yield replace(start, candidate=_named(VisitChange.GONE, subject), prior=min(prior, 0.3), after=silent)
            seen = min(1.0, float(self.seen[members].max()) / SEEN_SHARE)
            for sign, change in ((1.0, VisitChange.STRONGER), (-1.0, VisitChange.WEAKER)):
                for shift, part in SHIFTS_DB.items():
                    loose = start.loose.copy()
                    loose[members] = np.hypot(loose[members], SHIFT_STD_DB)
                    other = start.after.copy()
                    other[:, :, members] *= 10.0 ** (sign * shift / 10.0)
                    each = seen * part * PRIOR[change] / len(groups)
                    told = VisitChange.GONE if sign * shift <= -FAR_WEAKER_DB else change
                    named = _named(told, subject, size_db=sign * shift)
                    yield replace(start, candidate=named, prior=each, after=other, loose=loose)

    def _on_work(self, start: _Hypothesis) -> Iterator[_Hypothesis]:
        """Work that lets more through than ordered, or less."""
        for action, other in zip(self.done, self.without, strict=True):
            more = np.maximum(other - self.planned, 0.0)
            for leak in LEAKS:
                prior = PRIOR[VisitChange.NOT_AS_ORDERED] / len(self.done) / len(LEAKS)
                named = _named(VisitChange.NOT_AS_ORDERED, action.id)
                yield replace(start, candidate=named, prior=prior, after=start.after + leak * more)
            if action.kind is not ActionKind.SHIELD_SURFACE:
                continue
            through = np.clip(self.planned / np.maximum(other, _LEAST), 1e-6, 1.0)
            for denser in DENSER:
                prior = PRIOR[VisitChange.BETTER] / len(self.done) / len(DENSER)
                named = _named(VisitChange.BETTER, action.id)
                yield replace(start, candidate=named, prior=prior, after=start.after * through**denser)

    def _at_places(self, start: _Hypothesis) -> Iterator[_Hypothesis]:
        """One place that is read differently by itself; or all of them, in a way that nothing here explains."""
        for n in np.unique(self.scans.place):
            there = (self.scans.place == n).astype(np.float64)
            prior = PRIOR[VisitChange.PLACE] / len(np.unique(self.scans.place))
            added = start.added + PLACE_STD_DB**2 * np.outer(there, there)
            named = _named(VisitChange.PLACE, self.scans.places[n].id)
            yield replace(start, candidate=named, prior=prior, added=added)
        same = (self.scans.place[:, None] == self.scans.place[None]) + COMMON_PART
        other = start.added + PLACE_STD_DB**2 * same
        yield replace(start, candidate=_named(VisitChange.OTHER, ""), prior=PRIOR[VisitChange.OTHER], added=other)

    def _new(self, start: _Hypothesis) -> Iterator[_Hypothesis]:
        """A sender that is not on the list, in a room or outside; one in a room may go off with all of one's own."""
        spots = list(candidate_spots(self.posterior.survey))
        if not spots:
            return
        radiators = Radiators(
            np.array([s.position for s in spots]), np.full(len(spots), FREQUENCY_HZ),
            (AntennaPattern.ISOTROPIC,) * len(spots), (Polarisation.UNKNOWN,) * len(spots),
        )  # fmt: skip
        points = np.array([p.position for p in self.scans.places], dtype=np.float64)
        unit = 10.0 ** (unit_db(self.posterior.scene, radiators, points, order=1) / 10.0)
        subjects = {(s.subject, s.outside) for s in spots}
        rooms = {key: sum((s.subject, s.outside) == key for s in spots) for key in subjects}
        factor = HEARD_FACTOR if self.new else 0.3 if self.quiet else 1.0
        whole = min(PRIOR[VisitChange.NEW_SENDER] * factor, 0.5)
        own_off = self.scans.own_off
        everywhere = np.ones(len(own_off), dtype=np.bool_)
        for n, spot in enumerate(spots):
            many = len(subjects) * rooms[spot.subject, spot.outside] * len(EIRP_W) * len(DUTIES)
            speaking = [everywhere] if spot.outside or not own_off.any() else [everywhere, ~own_off]
            for eirp, duty, speaks in itertools.product(EIRP_W, DUTIES, speaking):
                shown = eirp * unit[self.scans.place, n] * np.where(self.scans.average, duty, 1.0) * speaks
                named = _named(VisitChange.NEW_SENDER, spot.subject, outside=spot.outside)
                yield replace(
                    start, candidate=named, prior=whole / many / len(speaking), more=start.more + shown,
                    more_std_db=CELL_STD_DB,
                )  # fmt: skip


@dataclass(frozen=True)
class CandidateSpot:
    """Where a sender that is not on the list might stand: a spot in a room (its id), or outside (a direction)."""

    subject: str
    outside: bool
    position: tuple[float, float, float]


def candidate_spots(survey: Survey) -> Iterator[CandidateSpot]:
    """A grid in every room, and a ring about each home."""
    floors = {s.id: s for s in survey.dwelling.storeys}
    for room in survey.dwelling.rooms:
        shape = Polygon(room.outline)
        x0, y0, x1, y1 = shape.bounds
        z = floors[room.storey_id].floor_m + HEIGHT_M
        spots = [
            (float(x), float(y)) for x in _steps(x0, x1) for y in _steps(y0, y1) if shape.contains(Point(x, y))
        ] or [(shape.representative_point().x, shape.representative_point().y)]
        for x, y in spots:
            yield CandidateSpot(room.id, False, (x, y, z))
    outlines = [s.outline for s in floors.values() if s.outline]
    if not outlines:
        return
    corners = np.concatenate([np.asarray(o, dtype=np.float64) for o in outlines])
    middle, reach = corners.mean(axis=0), float(np.ptp(corners, axis=0).max()) / 2.0 + OUTSIDE_M
    height = float(np.mean([s.floor_m for s in floors.values()])) + HEIGHT_M
    for step in range(DIRECTIONS):
        angle = 2.0 * np.pi * step / DIRECTIONS
        x, y = middle + reach * np.array([np.sin(angle), np.cos(angle)])
        yield CandidateSpot(f"{360.0 * step / DIRECTIONS:.0f}", True, (float(x), float(y), height))


def _steps(low: float, high: float) -> Array:
    count = max(1, round((high - low) / SPACING_M))
    return np.asarray(low + (np.arange(count) + 0.5) * (high - low) / count)


def _senders_together(weighed: Sequence[ChangeCandidate]) -> list[ChangeCandidate]:
    """A new sender as one candidate, wherever it is, named by where it most probably is; most probable first."""
    new = [c for c in weighed if c.change is VisitChange.NEW_SENDER]
    left = [c for c in weighed if c.change is not VisitChange.NEW_SENDER]
    if new:
        there = max(new, key=lambda c: c.probability)
        whole = sum(c.probability for c in new)
        left.append(replace(there, probability=whole, there=there.probability / max(whole, _LEAST)))
    return sorted(left, key=lambda c: -c.probability)


def _named(change: VisitChange, subject: str, *, outside: bool = False, size_db: float = 0.0) -> ChangeCandidate:
    """A candidate not weighed yet."""
    return ChangeCandidate(change, subject, outside, 0.0, size_db)

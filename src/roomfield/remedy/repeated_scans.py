"""Scans of two visits side by side: by how much each changed, and what the first visit and the work let expect.

A change is a ratio of what one meter showed twice, so that its gain cancels as far as the mix of frequencies stays.
What each transmitter shows at each place is drawn from the first visit's posterior, with the work done and without.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import TooEarlyError
from roomfield.field.foreseen import Foresight
from roomfield.field.noise import OWN_STD_DB, SCAN_STD_DB
from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind
from roomfield.remedy.evaluator import Evaluator
from roomfield.survey import Action, Censoring, Place, RadioState, Reading, Survey

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Mask = NDArray[np.bool_]
HAND_STD_DB = 1.0
"""Two scans of one place by two walks meet other spots and another axis (our judgement) [dB]."""
TRAFFIC_STD_DB = 1.5
"""An average also follows what is sent while it is read (our judgement) [dB]."""


@dataclass(frozen=True, eq=False)
class RepeatedScans:
    """Readings taken on both visits, one row each.

    Parameters
    ----------
    places : tuple of Place
        That were read on both.
    place, scan : ndarray of int, shape (r,)
        Index of the place; of the scan that kinds have in common.
    average : ndarray of bool, shape (r,)
        True for averages.
    on : ndarray of bool, shape (r, k)
        Emitters that were on, but for the work.
    own_off : ndarray of bool, shape (r,)
        Read with all that can be switched off, so that a sender nobody knows of may have been off too.
    change_db : ndarray, shape (r,)
        Second over first reading [dB].
    scan_std_db : float
        Scatter of two scans about each other, shared by their kinds [dB].
    """

    places: tuple[Place, ...]
    place: Indices
    scan: Indices
    average: Mask
    on: Mask
    own_off: Mask
    change_db: Array
    scan_std_db: float

    @property
    def scatter(self) -> Array:
        """Covariance of the rows for two scans of something that did not change [dB²], shape (r, r)."""
        alone = 2.0 * (OWN_STD_DB**2 + self.average * TRAFFIC_STD_DB**2)
        return np.asarray((self.scan[:, None] == self.scan[None]) * self.scan_std_db**2 + np.diag(alone))


def repeated_scans(survey: Survey, posterior: Posterior, first_id: str, second_id: str) -> RepeatedScans:
    """Pairs of readings of one place, radio state, kind and meter, both of them values.

    Parameters
    ----------
    survey : Survey
        The record with both visits.
    posterior : Posterior
        Of the first visit.

    Raises
    ------
    TooEarlyError
        If nothing was read alike on both visits.
    """
    places = tuple(p for p in posterior.survey.places if p.position is not None)
    number = {p.id: n for n, p in enumerate(places)}
    before, after = (_by_key(survey, visit_id) for visit_id in (first_id, second_id))
    keys = [key for key in before if key in after and key[0] in number]
    if not keys:
        raise TooEarlyError(
            "no place was read alike on both visits.",
            mend="Repeat readings of the first visit: same place, same kind, same radio state, same meter.",
        )
    scans = {scan: n for n, scan in enumerate(dict.fromkeys(key[:2] + key[3:] for key in keys))}
    emitters = posterior.survey.emitters
    on = {state: np.array([not _is_off(state, e.id, e.group) for e in emitters]) for state in {key[1] for key in keys}}
    full = _all_off(on, {e.group for e in emitters if e.switchable})
    used = {key[3] for key in keys}
    repeats = max(m.figures.repeatability_db for m in survey.meters if m.id in used)
    return RepeatedScans(
        places,
        np.array([number[key[0]] for key in keys]),
        np.array([scans[key[:2] + key[3:]] for key in keys]),
        np.array([not key[2].instantaneous for key in keys]),
        np.array([on[key[1]] for key in keys]),
        np.array([key[1] in full for key in keys]),
        np.array([10.0 * np.log10(after[key] / before[key]) for key in keys]),
        float(np.hypot(np.sqrt(2.0) * np.hypot(repeats, SCAN_STD_DB), HAND_STD_DB)),
    )  # fmt: skip


_State = tuple[tuple[str, ...], tuple[str, ...]]
_Key = tuple[str, _State, Kind, str]


def _by_key(survey: Survey, visit_id: str) -> dict[_Key, float]:
    """Geometric mean of the values read of each place, state, kind and meter [W/m²]."""
    states = {s.id: _doing(s) for s in survey.visit(visit_id).radio_states}
    found: dict[_Key, list[Reading]] = {}
    for reading in survey.current_readings(visit_id):
        if reading.place_id and reading.censoring is Censoring.NONE and reading.radio_state_id in states:
            key = (reading.place_id, states[reading.radio_state_id], reading.kind, reading.meter_id)
            found.setdefault(key, []).append(reading)
    return {key: float(np.exp(np.mean([np.log(r.value_w_m2) for r in some]))) for key, some in found.items()}


def _doing(state: RadioState) -> _State:
    """What a state switches and what devices do in it, whatever it is called."""
    return tuple(sorted(state.off_groups)), tuple(sorted(repr(one) for one in state.activities))


def _all_off(states: Iterable[_State], switchable: set[str]) -> set[_State]:
    """States in which all devices that can be switched are off, and no other state has still more off."""
    off = {state: {*state[0]} for state in states}
    return {
        state
        for state, names in off.items()
        if names and switchable <= names and not any(names < others for others in off.values())
    }


def _is_off(state: _State, emitter_id: str, group: str) -> bool:
    return group in state[0] or emitter_id in state[0]


@dataclass(frozen=True, eq=False)
class ShownParts:
    """What each emitter adds to what the meter shows at each place [W/m²], each (draws, k, places).

    Parameters
    ----------
    peak, average : ndarray
        Of instantaneous kinds, and of averages.
    """

    peak: Array
    average: Array

    def rows(self, scans: RepeatedScans) -> Array:
        """By row of repeated scans, what was off left out, shape (draws, r, k)."""
        peak, average = (np.swapaxes(t[:, :, scans.place], 1, 2) for t in (self.peak, self.average))
        return np.where(scans.on, np.where(scans.average[:, None], average, peak), 0.0)


def shown_parts(
    posterior: Posterior, places: Sequence[Place], done: Sequence[Action], which: Sequence[Sequence[str]]
) -> tuple[ShownParts, ...]:
    """What each emitter shows after some of the actions.

    Parameters
    ----------
    done : sequence of Action
        What can be done.
    which : sequence of sequences of str
        Ids of the actions that are done, plan by plan.
    """
    gains = 10.0 ** (Foresight(posterior, places).gains_db / 10.0)
    found = []
    for kind in (Kind.HIGHEST_HELD, Kind.AVERAGE):
        evaluator = Evaluator(posterior, done, kind=kind, places=places)
        first = np.searchsorted(evaluator.place_of_column, np.arange(len(places)))
        found.append([
            np.transpose(evaluator.contributions(ids)[:, first], (2, 0, 1)) * gains[:, :, None] for ids in which
        ])  # fmt: skip
    return tuple(ShownParts(peak, average) for peak, average in zip(*found, strict=True))

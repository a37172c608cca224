"""What a measurement that has not been taken would show, draw by draw: readings, switching, bearings, sounds, logs.

Every outcome holds the errors that the readings so far share (the meter's gain, fading and crest at a place), so that
one more reading of the same meter is not taken for an independent one.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from roomfield.field.contributions import switches_of
from roomfield.field.information import PredictedObservation
from roomfield.field.noise import OWN_STD_DB
from roomfield.field.posterior import Posterior, level_table_db, total_of
from roomfield.quantities import Kind
from roomfield.survey import Place

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
KINDS_OF_A_SCAN = (Kind.HIGHEST_HELD, Kind.AVERAGE)
HEARD_AT_DB, HEARD_STD_DB = -15.0, 3.0
"""A technology is heard if its part of the power is more than this, give or take (as in the inference)."""
BEARING_STD_DEG = 17.0
"""Of the hand and of waves that come round corners, 12 degrees each."""
_OFF_DB = -400.0


class Measurement(StrEnum):
    """What could be done next to learn something."""

    READ = "read"
    """A scan with everything as found."""
    SWITCH_OFF = "switch_off"
    """A scan with one device off."""
    SWITCH_AGAIN = "switch_again"
    """Scans with one device on, off, and on again, so that what drifts evenly meanwhile cancels."""
    TRANSMIT = "transmit"
    """A mean value while one device is made to transmit all the time."""
    BEARING = "bearing"
    """The axis of strongest pickup of a transmitter of unknown position."""
    SOUND = "sound"
    """Ten seconds of sound."""
    HOUR_LOG = "hour_log"
    NIGHT_LOG = "night_log"
    SECOND_METER = "second_meter"
    """A scan with another meter of the same tolerance."""
    REFERENCE = "reference"
    """The meter held to a source of known level."""


MINUTES = {
    Measurement.READ: 1.5, Measurement.SWITCH_OFF: 2.0, Measurement.SWITCH_AGAIN: 5.0,
    Measurement.TRANSMIT: 3.0, Measurement.BEARING: 3.0, Measurement.SOUND: 1.0,
    Measurement.HOUR_LOG: 6.0, Measurement.NIGHT_LOG: 10.0,
    Measurement.SECOND_METER: 5.0, Measurement.REFERENCE: 15.0,
}  # fmt: skip
"""The assessor's own time for each, walking and noting included (our judgement)."""
LOG_STD_DB, REFERENCE_STD_DB = {Measurement.HOUR_LOG: 1.4, Measurement.NIGHT_LOG: 1.0}, 1.5
"""What the highest value and mean of a log scatter about the model's; what a reference is off (our judgement)."""


@dataclass(frozen=True, eq=False)
class Foreseen:
    """One measurement and what it would show.

    Parameters
    ----------
    place_id : str
        Where; empty for what is done at no place.
    switch : str
        Which device is switched, or sought; empty for none.
    minutes : float
        The assessor's time for it.
    """

    measurement: Measurement
    place_id: str
    switch: str
    minutes: float
    outcome: PredictedObservation


class Foresight:
    """Outcomes at some places.

    Parameters
    ----------
    posterior : Posterior
        From `roomfield.field.infer`.
    places : sequence of Place
        Where something could be measured; those without a position are left out.
    """

    def __init__(self, posterior: Posterior, places: Sequence[Place]) -> None:
        self.posterior = posterior
        self.places = tuple(p for p in places if p.position is not None)
        self.points = np.array([p.position for p in self.places], dtype=np.float64).reshape(-1, 3)
        self.switches = switches_of(posterior)
        rows = posterior.forward.observed.levels
        self.meter = int(np.argmax(np.bincount(rows.meter))) if len(rows.meter) else 0

    @cached_property
    def scan_std_db(self) -> float:
        """Scatter of each of two kinds read in one scan [dB], so that their mean has that of one scan."""
        repeats = float(np.median(self.posterior.forward.noise.scan_std_db))
        return float(np.hypot(np.sqrt(2.0) * repeats, OWN_STD_DB))

    @cached_property
    def gains_db(self) -> Array:
        """Errors of the meter for each emitter [dB], shape (n_draws, n_emitters)."""
        return self._by_emitter(self.posterior.gain_db)

    @cached_property
    def _on_air_db(self) -> Array:
        """What each emitter makes at each place while it transmits [dB re 1 W/m²], (n_draws, n_emitters, n_places)."""
        return level_table_db(self.posterior, self.points, kind=Kind.PEAK)

    def _by_emitter(self, gains: Array) -> Array:
        return np.asarray(gains[:, self.posterior.forward.gain_index[self.meter]])

    def shown_db(self, kind: Kind, on: Mask, gains_db: Array, *, always: Sequence[int] = ()) -> Array:
        """What the meter would show at every place [dB re 1 W/m²], shape (n_draws, n_places).

        Parameters
        ----------
        on : ndarray of bool, shape (n_emitters,)
            Which emitters are on.
        gains_db : ndarray, shape (n_draws, n_emitters)
            Of the meter that is read.
        always : sequence of int
            Emitters that are made to transmit all the time.
        """
        level = self._table(kind) + gains_db[:, :, None]
        if always and not kind.instantaneous:
            level = level.copy()
            level[:, list(always)] -= self.posterior.duty_db[:, list(always), None]
        level = np.where(on[None, :, None], level, _OFF_DB)
        return total_of(self.posterior, level, self.posterior.x, kind, points=self.points).level_db

    def _table(self, kind: Kind) -> Array:
        if kind.instantaneous:
            return self._on_air_db
        return np.asarray(self._on_air_db + self.posterior.duty_db[:, :, None])

    def readings(self) -> Iterator[Foreseen]:
        """A scan as found at every place, by this meter and by another one."""
        every, count = self._on(), len(self.posterior.forward.gain_mean_db)
        yield from self._scans(Measurement.READ, "", every, self.gains_db)
        forward = self.posterior.forward
        drawn = np.random.default_rng([self.posterior.seed, 53]).standard_normal((len(self.posterior.x), count))
        other = self._by_emitter(forward.gain_mean_db + drawn @ forward.gain_factor.T)
        yield from self._scans(Measurement.SECOND_METER, "", every, other)

    def switchings(self, again: Collection[str] = ()) -> Iterator[Foreseen]:
        """A scan with each device off that can be switched, and a mean while it is made to transmit.

        Parameters
        ----------
        again : collection of str
            Places where it is scanned on, off and on again. Drift itself is not drawn: what is foreseen is three scans.
        """
        as_found = [*self._scans(Measurement.READ, "", self._on(), self.gains_db)]
        for name, members in self.switches.items():
            if not any(self.posterior.survey.emitters[m].switchable for m in members):
                continue
            off = self._scans(Measurement.SWITCH_OFF, name, self._on(without=members), self.gains_db)
            for on, one in zip(as_found, off, strict=True):
                three = PredictedObservation.together([on.outcome, one.outcome, on.outcome])
                yield _foreseen(Measurement.SWITCH_AGAIN, on.place_id, name, three) if on.place_id in again else one
            forced = self.shown_db(Kind.AVERAGE, self._on(), self.gains_db, always=members)
            for column, place in enumerate(self.places):
                outcome = PredictedObservation.of_levels(forced[:, column], self.scan_std_db)
                yield _foreseen(Measurement.TRANSMIT, place.id, name, outcome)

    def bearings(self) -> Iterator[Foreseen]:
        """The axis to each transmitter of unknown position, seen from every place."""
        for search in self.posterior.searches:
            name = self.posterior.survey.emitters[search.members[0]].group
            for place, point in zip(self.places, self.points, strict=True):
                away = self.posterior.positions_m[:, search.members[0]] - point
                axis = np.degrees(np.arctan2(away[:, 0], away[:, 1])) % 180.0
                outcome = PredictedObservation(axis[:, None], np.array([BEARING_STD_DEG]), np.array([180.0]))
                yield _foreseen(Measurement.BEARING, place.id, name, outcome)

    def sounds(self) -> Iterator[Foreseen]:
        """Which devices are heard at every place.

        Heard or not is taken as a value that runs from no to yes where the part of the power is about the threshold.
        """
        table = self._table(Kind.PEAK) + self.gains_db[:, :, None]
        power = 10.0 ** (table / 10.0)
        parts = np.stack([power[:, m].sum(axis=1) for m in self.switches.values()], axis=1) / power.sum(axis=1)[:, None]
        away = np.clip((10.0 * np.log10(parts) - HEARD_AT_DB) / HEARD_STD_DB, -2.0, 2.0)
        for column, place in enumerate(self.places):
            yield _foreseen(Measurement.SOUND, place.id, "", PredictedObservation.of_levels(away[:, :, column], 1.0))

    def logs(self, place_ids: Sequence[str]) -> Iterator[Foreseen]:
        """A log of an hour, and of a night, at some places."""
        for what, std_db in LOG_STD_DB.items():
            for one in self._scans(what, "", self._on(), self.gains_db):
                if one.place_id in place_ids:
                    yield replace(one, outcome=replace(one.outcome, std=np.full_like(one.outcome.std, std_db)))

    def reference(self) -> Foreseen:
        """The meter held to a source of known level, in each band that matters."""
        index = np.unique(self.posterior.forward.gain_index[self.meter])
        outcome = PredictedObservation.of_levels(self.posterior.gain_db[:, index], REFERENCE_STD_DB)
        return _foreseen(Measurement.REFERENCE, "", "", outcome)

    def _on(self, without: Sequence[int] = ()) -> Mask:
        on = np.ones(len(self.posterior.emitter_ids), dtype=np.bool_)
        on[list(without)] = False
        return on

    def _scans(self, what: Measurement, switch: str, on: Mask, gains_db: Array) -> Iterator[Foreseen]:
        shown = np.stack([self.shown_db(kind, on, gains_db) for kind in KINDS_OF_A_SCAN], axis=2)
        for column, place in enumerate(self.places):
            yield _foreseen(what, place.id, switch, PredictedObservation.of_levels(shown[:, column], self.scan_std_db))


def _foreseen(what: Measurement, place_id: str, switch: str, outcome: PredictedObservation) -> Foreseen:
    return Foreseen(what, place_id, switch, MINUTES[what], outcome)

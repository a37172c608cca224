"""Which emitters a meter received in a radio state, and what each did there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from roomfield.field.level_rows import LevelRows
from roomfield.field.priors import similar_kinds
from roomfield.survey import Activity, Emitter, Meter, Survey

ACTIVITIES = (None, *Activity)


class EmitterStates:
    """Which emitters a meter received in a radio state, and what each did; each answer is worked out once.

    Parameters
    ----------
    survey : Survey
        The record.
    """

    def __init__(self, survey: Survey) -> None:
        self.survey = survey
        self._on: dict[tuple[str, str, str], tuple[bool, ...]] = {}
        self._did: dict[tuple[str, str], tuple[Activity | None, ...]] = {}

    def on(self, visit_id: str, state_id: str, meter_id: str) -> tuple[bool, ...]:
        """Whether each emitter was on, and within the meter's band."""
        key = (visit_id, state_id, meter_id)
        if key not in self._on:
            meter, did = self.survey.meter(meter_id), self.activities(visit_id, state_id)
            self._on[key] = tuple(
                activity is not Activity.SILENT and receives(meter, emitter)
                for emitter, activity in zip(self.survey.emitters, did, strict=True)
            )
        return self._on[key]

    def activities(self, visit_id: str, state_id: str) -> tuple[Activity | None, ...]:
        """What each emitter did; None for as found."""
        key = (visit_id, state_id)
        if key not in self._did:
            state = self.survey.radio_state(visit_id, state_id)
            self._did[key] = tuple(state.activity_of(e.id, e.group) for e in self.survey.emitters)
        return self._did[key]


def receives(meter: Meter, emitter: Emitter) -> bool:
    """Whether an emitter's frequency, as far as it is known, lies in what a meter is known to receive.

    Of an emitter whose frequency nobody wrote down, a selective instrument's band holds what is usual for its kind.
    """
    low_hz, high_hz = meter.receives_hz
    if emitter.frequency_hz is not None:
        return low_hz <= emitter.frequency_hz <= high_hz
    kinds = similar_kinds(emitter) if meter.shows_part else ()
    return not kinds or any(kind.overlaps(low_hz, high_hz) for kind in kinds)


@dataclass(frozen=True)
class ActivityMode:
    """Something that an emitter did in some readings only.

    Parameters
    ----------
    emitter : int
        Its index.
    activity : Activity or None
        What it did; None for as found.
    """

    emitter: int
    activity: Activity | None


def with_modes(rows: LevelRows) -> tuple[LevelRows, tuple[ActivityMode, ...]]:
    """Activities as modes: what an emitter did in most of the readings in which it was on is its own."""
    emitters = rows.on.shape[1]
    mode = np.tile(np.arange(emitters), (len(rows), 1))
    modes: list[ActivityMode] = []
    for e in range(emitters):
        did = rows.mode[rows.on[:, e], e]
        usual = int(np.bincount(did, minlength=len(ACTIVITIES)).argmax())
        for other in sorted({*did.tolist()} - {usual}):
            mode[rows.on[:, e] & (rows.mode[:, e] == other), e] = emitters + len(modes)
            modes.append(ActivityMode(e, ACTIVITIES[other]))
    return replace(rows, mode=mode), tuple(modes)

"""Did it work? The second visit against the first and against the prediction.

A reduction is a ratio of two readings: the error that both share (the meter's gain) cancels, as far as both are of
the same mix of frequencies. What differs between the visits is named and widens the interval.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from roomfield.errors import InputError, TooEarlyError
from roomfield.instrument import combine, correction, gain_key
from roomfield.quantities import ErrorContribution, Kind
from roomfield.quantities.censoring import Censoring
from roomfield.quantities.level import COVERAGE, HALF_WIDTH, UncertainLevel, UncertainRatio, ratio
from roomfield.remedy.conditions import Condition, conditions
from roomfield.remedy.failure_causes import Note, NoteKind, causes_of, newly_heard
from roomfield.remedy.prediction import PlaceOutcome, Prediction
from roomfield.survey import Meter, Reading, Survey
from roomfield.survey.visit import RadioState

SURE = 0.95
"""'It worked' is said from this probability on."""
SOURCES_VARY_STD_DB = 1.0
"""Between two visits transmitters change their power and traffic by themselves (our judgement; spot readings vary
3 to 13 dB within a day at worst)."""


class VerifiedOutcome(StrEnum):
    """What can be said of one place."""

    WORKED = "worked"
    LOWER = "lower"
    UNDECIDED = "undecided"
    HIGHER = "higher"


class Agreement(StrEnum):
    """How the reduction compares with the prediction."""

    AS_PREDICTED = "as_predicted"
    LESS = "less_than_predicted"
    MORE = "more_than_predicted"
    NOT_PREDICTED = "not_predicted"


@dataclass(frozen=True)
class PlaceCheck:
    """First visit against second at one place.

    Parameters
    ----------
    before, after : UncertainLevel
        Levels of the two visits.
    reduction_db, low_db, high_db : float
        Reduction, before over after, with its interval [dB]; an end is infinite if a reading is only a bound.
    probability_lower : float
        That the level is lower than before.
    probability_met : float
        That the target is met now; nan without a target, or if it was not asked for here.
    outcome : Outcome
        Worked: lower than before and the target met, both with 95 %; where no target was asked for, lower with 95 %.
    agreement : Agreement
        Measured against predicted reduction.
    predicted_db : float
        Median of the predicted reduction [dB]; nan if there is none.
    """

    place_id: str
    kind: Kind
    before: UncertainLevel
    after: UncertainLevel
    reduction_db: float
    low_db: float
    high_db: float
    probability_lower: float
    probability_met: float
    outcome: VerifiedOutcome
    agreement: Agreement
    predicted_db: float = float("nan")

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        spans = {
            name: {"low": span.low_w_m2, "median": level.median_w_m2, "high": span.high_w_m2}
            for name, level in (("before_w_m2", self.before), ("after_w_m2", self.after))
            for span in (level.interval(COVERAGE),)
        }
        return {
            "place_id": self.place_id,
            "kind": self.kind.value,
            **spans,
            "reduction_db": self.reduction_db,
            "reduction_low_db": self.low_db,
            "reduction_high_db": self.high_db,
            "probability_lower": self.probability_lower,
            "probability_met": self.probability_met,
            "outcome": self.outcome.value,
            "agreement": self.agreement.value,
            "predicted_db": self.predicted_db,
        }


@dataclass(frozen=True)
class VerificationResult:
    """What the second visit says about the work.

    Parameters
    ----------
    checks : tuple of PlaceCheck
        One per place read on both visits.
    conditions : tuple of Condition
        Unequal conditions, with what each adds to the interval.
    unplanned : tuple of Note
        What changed that was not planned.
    suspected : tuple of Note
        Suggested causes where the reduction falls short; empty if it does not.
    done_action_ids : tuple of str
        What was carried out.
    asked_ids : tuple of str
        Places for which the target was asked; empty for all.
    """

    kind: Kind
    first_visit_id: str
    second_visit_id: str
    target_w_m2: float | None
    checks: tuple[PlaceCheck, ...]
    conditions: tuple[Condition, ...]
    unplanned: tuple[Note, ...]
    suspected: tuple[Note, ...]
    done_action_ids: tuple[str, ...]
    asked_ids: tuple[str, ...] = ()

    def held_to_target(self, place_id: str) -> bool:
        """True if there is a target and it was asked for at a place."""
        return self.target_w_m2 is not None and place_id in (self.asked_ids or (place_id,))

    @property
    def held_count(self) -> int:
        """Number of places checked against the target."""
        return sum(self.held_to_target(check.place_id) for check in self.checks)

    @property
    def surprises(self) -> tuple[str, ...]:
        """What changed that was not planned, in words."""
        return tuple(note.text for note in self.unplanned)

    @property
    def causes(self) -> tuple[str, ...]:
        """Suggested causes of a shortfall, in words."""
        return tuple(note.text for note in self.suspected)

    def count(self, outcome: VerifiedOutcome) -> int:
        """Number of places of which this can be said."""
        return sum(check.outcome is outcome for check in self.checks)

    @property
    def worked(self) -> bool:
        """True if it worked at every place checked."""
        return all(c.outcome is VerifiedOutcome.WORKED for c in self.checks)

    @property
    def statement(self) -> str:
        """In words."""
        counts = {o: self.count(o) for o in VerifiedOutcome}
        total = len(self.checks)
        if self.worked:
            return f"It worked at all {total} places checked."
        parts = (
            (counts[VerifiedOutcome.WORKED], "worked"),
            (counts[VerifiedOutcome.LOWER], "lower, but the target is not shown to be met"),
            (counts[VerifiedOutcome.UNDECIDED], "no difference can be shown"),
            (counts[VerifiedOutcome.HIGHER], "higher than before"),
        )
        return f"Of {total} places: " + "; ".join(f"{n} {text}" for n, text in parts if n) + "."

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return {
            "kind": self.kind.value,
            "first_visit_id": self.first_visit_id,
            "second_visit_id": self.second_visit_id,
            "target_w_m2": self.target_w_m2,
            "asked_ids": list(self.asked_ids),
            "coverage": COVERAGE,
            "worked": self.worked,
            "statement": self.statement,
            "checks": [c.to_dict() for c in self.checks],
            "conditions": [c.to_dict() for c in self.conditions],
            "surprises": list(self.surprises),
            "causes": list(self.causes),
            "done_action_ids": list(self.done_action_ids),
        }


def verify(
    survey: Survey,
    first_visit_id: str,
    second_visit_id: str,
    *,
    kind: Kind = Kind.PEAK,
    target_w_m2: float | None = None,
    prediction: Prediction | None = None,
    asked: Sequence[str] = (),
    confidence: float = SURE,
) -> VerificationResult:
    """Compare a follow-up with the visit before.

    Parameters
    ----------
    survey : Survey
        With both visits.
    first_visit_id, second_visit_id : str
        Visits before and after the work.
    kind : Kind
        Which readings.
    target_w_m2 : float, optional
        Level that was to be met [W/m²].
    prediction : Prediction, optional
        What had been predicted, from the first visit alone.
    asked : sequence of str
        Ids of the places for which the target was asked; all if empty.
    confidence : float
        Probability from which the target counts as met: the one that the plan was agreed with, 0 to 1.

    Raises
    ------
    UnknownNameError
        If there is no such visit.
    TooEarlyError
        If no place was read on both visits in this kind, with everything on.
    InputError
        If both visits are the same.
    """
    if first_visit_id == second_visit_id:
        raise InputError("a visit cannot be compared with itself.", mend="Name the visit before and the follow-up.")
    first, second = survey.visit(first_visit_id), survey.visit(second_visit_id)
    pairs = list(_pairs(survey, first_visit_id, second_visit_id, kind))
    if not pairs:
        raise TooEarlyError(
            f"no place was read on both visits ({kind.value}).",
            mend="Repeat the readings of the first visit at the same places.",
        )
    found = conditions(survey, first, second, [(b, a) for _, b, a in pairs])
    targets = {place: target_w_m2 if not asked or place in asked else None for place, _, _ in pairs}
    checks = tuple(
        _check(survey, place, b, a, found, (targets[place], confidence), prediction) for place, b, a in pairs
    )
    return VerificationResult(
        kind, first_visit_id, second_visit_id, target_w_m2, checks, found,
        tuple(_unplanned(survey, first_visit_id, second_visit_id, checks)),
        tuple(_suspected(survey, checks, prediction, found)), second.done_action_ids,
        tuple(asked),
    )  # fmt: skip


def _pairs(
    survey: Survey, first_id: str, second_id: str, kind: Kind
) -> Iterator[tuple[str, list[Reading], list[Reading]]]:
    """Readings of each place on both visits, of the state in which most was on, by the same meter if possible."""
    before, after = (_by_place(survey, v, kind) for v in (first_id, second_id))
    for place in survey.places:
        if place.id in before and place.id in after:
            common = {r.meter_id for r in before[place.id]} & {r.meter_id for r in after[place.id]}
            chosen = sorted(common)[0] if common else ""
            yield place.id, _of_meter(before[place.id], chosen), _of_meter(after[place.id], chosen)


def _of_meter(readings: list[Reading], meter_id: str) -> list[Reading]:
    wanted = meter_id or readings[0].meter_id
    return [r for r in readings if r.meter_id == wanted]


def _by_place(survey: Survey, visit_id: str, kind: Kind) -> dict[str, list[Reading]]:
    visit = survey.visit(visit_id)
    state = base_state(visit.radio_states)
    found: dict[str, list[Reading]] = {}
    for reading in survey.current_readings(visit_id):
        if reading.place_id and reading.kind.value == kind.value and state and reading.radio_state_id == state.id:
            found.setdefault(reading.place_id, []).append(reading)
    return found


def base_state(states: Sequence[RadioState]) -> RadioState | None:
    """The radio state in which the fewest switches were off."""
    return min(states, key=lambda s: len(s.off_groups)) if states else None


def _check(
    survey: Survey,
    place_id: str,
    before: list[Reading],
    after: list[Reading],
    found: Sequence[Condition],
    goal: tuple[float | None, float],
    prediction: Prediction | None,
) -> PlaceCheck:
    """One place; ``goal`` is the target [W/m²] and the probability from which it counts as met."""
    target_w_m2, confidence = goal
    meters = survey.meter(before[0].meter_id), survey.meter(after[0].meter_id)
    visits = survey.visit(before[0].visit_id), survey.visit(after[0].visit_id)
    old = combine(before, meters[0], on_date=visits[0].started_at).level
    new = combine(after, meters[1], on_date=visits[1].started_at).level
    expected = prediction.outcome(place_id) if prediction else None
    added = [
        ErrorContribution("sources_vary", SOURCES_VARY_STD_DB),
        mix_contribution(survey, meters[0], prediction, place_id),
    ]
    added += [ErrorContribution(c.name, c.std_db) for c in found if c.std_db > 0.0 and c.place_id in ("", place_id)]
    change = _ratio(new, old.shifted(0.0, *added))
    if change is None:
        low, high, lower, middle = -float("inf"), float("inf"), 0.0, float("nan")
    else:
        start, end = change.interval_db(COVERAGE)
        low, high, middle = -end, -start, -change.ratio_db
        lower = change.probability_below_db(0.0).low
    met = float("nan") if target_w_m2 is None else new.probability_below(target_w_m2).low
    return PlaceCheck(
        place_id, new.kind, old, new, middle, low, high, lower, met,
        _outcome(change, lower, target_w_m2 is None or met >= confidence), _agreement(change, expected),
        expected.reduction_db.median if expected else float("nan"),
    )  # fmt: skip


def _ratio(new: UncertainLevel, old: UncertainLevel) -> UncertainRatio | None:
    """The change, or None if both are only bounded on the same side."""
    try:
        return ratio(new, old)
    except InputError:
        return None


def mix_contribution(survey: Survey, meter: Meter, prediction: Prediction | None, place_id: str) -> ErrorContribution:
    """What does not cancel of the meter's gain because the mix of frequencies changed.

    Notes
    -----
    The gain error of a total is the power-weighted mean of those of its bands (own arithmetic):
    the change carries the sum over bands of (share after - share before) times the band's error. Without a
    prediction half of the power is taken to have changed to another band, if there are several.
    """
    bands: dict[str, float] = {}
    for emitter in survey.emitters:
        if emitter.frequency_hz:
            key = gain_key(meter.id, emitter.frequency_hz)
            bands[key] = correction(meter, emitter.frequency_hz).contribution.std_db
    shift = dict.fromkeys(bands, 0.0)
    shares = prediction.mix(place_id) if prediction else None
    if shares is None:
        moved = 0.5 if len(bands) > 1 else 0.0
        worst = max(bands.values(), default=0.0)
        return ErrorContribution("mix_of_frequencies", float(np.sqrt(2.0)) * moved * worst)
    for emitter_id, (before, after) in shares.items():
        frequency = survey.emitter(emitter_id).frequency_hz
        if frequency:
            shift[gain_key(meter.id, frequency)] += after - before
    return ErrorContribution("mix_of_frequencies", float(np.sqrt(sum((shift[k] * bands[k]) ** 2 for k in bands))))


def _outcome(change: UncertainRatio | None, lower: float, met: bool) -> VerifiedOutcome:
    if change is None:
        return VerifiedOutcome.UNDECIDED
    if lower >= SURE:
        return VerifiedOutcome.WORKED if met else VerifiedOutcome.LOWER
    if 1.0 - change.probability_below_db(0.0).high >= SURE:
        return VerifiedOutcome.HIGHER
    return VerifiedOutcome.UNDECIDED


def _agreement(change: UncertainRatio | None, expected: PlaceOutcome | None) -> Agreement:
    if expected is None or change is None:
        return Agreement.NOT_PREDICTED
    span = expected.reduction_db
    spread = (span.high - span.low) / (2.0 * HALF_WIDTH)
    off = -change.ratio_db - span.median
    reach = 1.96 * float(np.hypot(change.std_db, spread))
    if change.censoring is Censoring.BELOW and off < 0.0:
        return Agreement.AS_PREDICTED if off > -reach else Agreement.NOT_PREDICTED
    if off < -reach:
        return Agreement.LESS
    return Agreement.MORE if off > reach else Agreement.AS_PREDICTED


def _unplanned(survey: Survey, first_id: str, second_id: str, checks: Sequence[PlaceCheck]) -> Iterator[Note]:
    for check in checks:
        if check.outcome is VerifiedOutcome.HIGHER:
            yield Note(NoteKind.HIGHER, survey.place(check.place_id).name, rise_db=-check.reduction_db)
    yield from newly_heard(survey, first_id, second_id)


def _suspected(
    survey: Survey, checks: Sequence[PlaceCheck], prediction: Prediction | None, found: Sequence[Condition]
) -> tuple[Note, ...]:
    short = {c.place_id for c in checks if c.agreement is Agreement.LESS or c.outcome is VerifiedOutcome.HIGHER}
    if not short:
        return ()
    return tuple(causes_of(survey, short, {c.place_id for c in checks}, prediction, found))

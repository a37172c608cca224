"""Did it work: two visits compared, with what differed between them named and counted in."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from roomfield.errors import TooEarlyError
from roomfield.quantities import Kind, UncertainLevel
from roomfield.remedy.prediction import Prediction, predict
from roomfield.remedy.verification import COVERAGE, PlaceCheck, Verification, verify
from roomfield.survey import Survey
from roomfield.workbench.understand import can_be_modelled, posterior_of


@dataclass(frozen=True)
class PlaceChange:
    """One kind of level at one place, on the first visit and on the second.

    Parameters
    ----------
    before_w_m2, after_w_m2 : (float, float, float)
        Low end, median, high end of the 90 % interval [W/m²]; open ends are 0 or infinity.
    change_db : (float, float, float)
        After over before [dB]; open ends are infinite.
    outcome : str
        ``lower``, ``higher`` or ``open`` by whether the interval of the change holds zero.
    """

    place: str
    kind: str
    before_w_m2: tuple[float, float, float]
    after_w_m2: tuple[float, float, float]
    change_db: tuple[float, float, float]
    outcome: str


def changes(survey: Survey, first_visit: str, second_visit: str) -> tuple[PlaceChange, ...]:
    """Changes at every place read on both visits as found, in the same kind; asks no model of the dwelling.

    Raises
    ------
    InputError
        If both visits are the same.
    TooEarlyError
        If nothing was read on both visits.
    """
    found = []
    for kind in Kind:
        try:
            checks = verify(survey, first_visit, second_visit, kind=kind).checks
        except TooEarlyError:
            continue
        found += [_change(survey.place(check.place_id).name, check) for check in checks]
    if not found:
        raise TooEarlyError(
            "no place was read on both visits in the same kind.",
            mend="Repeat the readings of the first visit on the second one.",
        )
    order = {place.name: number for number, place in enumerate(survey.places)}
    return tuple(sorted(found, key=lambda change: order[change.place]))


def _change(place: str, check: PlaceCheck) -> PlaceChange:
    low, high = -check.high_db, -check.low_db
    outcome = "lower" if high < 0.0 else "higher" if low > 0.0 else "open"
    middle = 0.0 if check.reduction_db != check.reduction_db else -check.reduction_db
    return PlaceChange(place, check.kind.value, _ends(check.before), _ends(check.after), (low, middle, high), outcome)


def _ends(level: UncertainLevel) -> tuple[float, float, float]:
    span = level.interval(COVERAGE)
    return span.low_w_m2, level.median_w_m2, span.high_w_m2


@lru_cache(maxsize=16)
def verification_of(
    survey: Survey, first_visit: str, second_visit: str, kind: Kind = Kind.PEAK, target_w_m2: float | None = None
) -> Verification:
    """The second visit against the first, and against what had been predicted of the work done.

    Parameters
    ----------
    target_w_m2 : float, optional
        Level that was to be met [W/m²]; that of the agreed plan if left out.

    Raises
    ------
    InputError, TooEarlyError
        As `roomfield.remedy.verification.verify`.
    """
    plan = survey.adopted_plan
    target = target_w_m2 or (plan.target_w_m2 if plan and plan.target_kind == kind.value else None)
    prediction = _predicted(survey, first_visit, second_visit, kind, target)
    return verify(survey, first_visit, second_visit, kind=kind, target_w_m2=target, prediction=prediction)


def _predicted(
    survey: Survey, first_visit: str, second_visit: str, kind: Kind, target_w_m2: float | None
) -> Prediction | None:
    done = [a for a in survey.actions if a.id in survey.visit(second_visit).done_action_ids]
    if not done or not can_be_modelled(survey):
        return None
    return predict(posterior_of(survey, first_visit), done, kind=kind, target_w_m2=target_w_m2)

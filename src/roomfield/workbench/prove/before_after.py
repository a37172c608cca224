"""Did it work: two visits compared, with the prediction of the work, and what differed between them counted in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from roomfield.errors import TooEarlyError
from roomfield.quantities import Kind, UncertainLevel
from roomfield.quantities.level import COVERAGE
from roomfield.remedy.prediction import Prediction, predict
from roomfield.remedy.verification import SURE, PlaceCheck, VerificationResult, verify
from roomfield.show.phrase import Text, phrase
from roomfield.show.words import load_words
from roomfield.survey import Action, ActionKind, Period, Survey, period_of
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import can_be_modelled, posterior_of
from roomfield.workbench.model.measured_levels import tie_of
from roomfield.workbench.plan.outcomes import condition, note, statement
from roomfield.workbench.plan.target_places import asked_of

NAN = float("nan")


@dataclass(frozen=True)
class PlaceChange:
    """One kind of level at one place, on the first visit and on the second.

    Parameters
    ----------
    before_w_m2, after_w_m2 : (float, float, float)
        Low end, median, high end of the interval [W/m²]; open ends are 0 or infinity.
    change_db : (float, float, float)
        After over before [dB]; open ends are infinite.
    outcome : str
        ``lower``, ``higher`` or ``open`` by whether the interval of the change holds zero.
    predicted_db : float
        Median of the predicted change [dB]; nan if there is none.
    agreement : str
        Measured against predicted change, see `roomfield.remedy.verification.Agreement`.
    coverage : float
        Probability content of the intervals, 0 to 1.
    probability_met : float
        That the agreed target is met now; nan if there is none for this kind.
    """

    place: str
    kind: str
    before_w_m2: tuple[float, float, float]
    after_w_m2: tuple[float, float, float]
    change_db: tuple[float, float, float]
    outcome: str
    predicted_db: float = NAN
    agreement: str = ""
    probability_met: float = NAN
    coverage: float = COVERAGE


@dataclass(frozen=True)
class VisitComparison:
    """A follow-up against the visit before and against the prediction of what was done.

    Parameters
    ----------
    prediction : Prediction or None
        Of the work done, from the first visit alone; None without work or without a model.
    assumed : bool
        True if the follow-up names no work, so that the agreed plan is taken as done.
    """

    verification: VerificationResult
    prediction: Prediction | None
    assumed: bool


@dataclass(frozen=True)
class FollowUp:
    """A comparison as it is shown.

    Parameters
    ----------
    statement : str
        What came of it in one sentence.
    done : tuple of str
        What was done in between.
    coverage : float
        Probability content of the intervals, 0 to 1.
    conditions, surprises, causes : tuple of str
        What was not alike, what changed unplanned, what may be behind a shortfall.
    """

    rows: tuple[PlaceChange, ...]
    statement: str
    done: tuple[str, ...]
    conditions: tuple[str, ...]
    surprises: tuple[str, ...]
    causes: tuple[str, ...]
    coverage: float = COVERAGE


def changes(survey: Survey, first_visit: str, second_visit: str) -> tuple[PlaceChange, ...]:
    """Changes at every place read on both visits as found, in the same kind, against target and prediction.

    Raises
    ------
    InputError
        If both visits are the same.
    TooEarlyError
        If nothing was read on both visits.
    """
    found = [
        _change(survey.place(check.place_id).name, check)
        for one in comparisons(survey, first_visit, second_visit)
        for check in one.verification.checks
    ]
    order = {place.name: number for number, place in enumerate(survey.places)}
    return tuple(sorted(found, key=lambda change: order[change.place]))


@in_turn
def comparisons(survey: Survey, first_visit: str, second_visit: str) -> tuple[VisitComparison, ...]:
    """The comparison in each kind that was read on both visits, that of the agreed target first.

    Raises
    ------
    InputError
        If both visits are the same.
    TooEarlyError
        If nothing was read on both visits.
    """
    plan, found = survey.adopted_plan, []
    for kind in sorted(Kind, key=lambda k: plan is None or k.value != plan.target_kind):
        try:
            found.append(comparison_of(survey, first_visit, second_visit, kind))
        except TooEarlyError:
            continue
    if not found:
        raise TooEarlyError(
            "no place was read on both visits in the same kind.",
            mend="Repeat the readings of the first visit on the second one.",
        )
    return tuple(found)


def figures_words(survey: Survey, first_visit: str, second_visit: str, language: str = "en") -> str:
    """What the figures on the plan of a comparison are: which visits, in which kind.

    Raises
    ------
    InputError, TooEarlyError
        As `changes`.
    """
    words = load_words(language)
    used = dict.fromkeys(change.kind for change in changes(survey, first_visit, second_visit))
    return words.say(
        "plan_figures.change",
        kind=words.say(f"kind.{next(iter(used))}"),
        first=survey.visit(first_visit).started_at,
        second=survey.visit(second_visit).started_at,
    )


def follow_up(survey: Survey, first_visit: str, second_visit: str, language: str = "en") -> FollowUp:
    """Changes in every kind, and what is to be said of them.

    Raises
    ------
    InputError, TooEarlyError
        As `changes`.
    """
    words, first = load_words(language), comparisons(survey, first_visit, second_visit)[0]

    def said(texts: tuple[Text, ...]) -> tuple[str, ...]:
        return tuple(words.text(text) for text in texts)

    return FollowUp(
        changes(survey, first_visit, second_visit),
        words.text(statement(first.verification)),
        done_names(survey, second_visit),
        said(unequal(first)),
        said(tuple(note(one) for one in first.verification.unplanned)),
        said(tuple(note(one) for one in first.verification.suspected)),
    )


def unequal(found: VisitComparison) -> tuple[Text, ...]:
    """What was not alike, with what had to be taken for granted."""
    taken = (phrase("verification.assumed"),) if found.assumed else ()
    return (*taken, *(condition(one) for one in found.verification.conditions))


def _change(place: str, check: PlaceCheck) -> PlaceChange:
    low, high = -check.high_db, -check.low_db
    outcome = "lower" if high < 0.0 else "higher" if low > 0.0 else "open"
    middle = 0.0 if check.reduction_db != check.reduction_db else -check.reduction_db
    return PlaceChange(
        place, check.kind.value, _ends(check.before), _ends(check.after), (low, middle, high), outcome,
        -check.predicted_db, check.agreement.value, check.probability_met,
    )  # fmt: skip


def _ends(level: UncertainLevel) -> tuple[float, float, float]:
    span = level.interval(COVERAGE)
    return span.low_w_m2, level.median_w_m2, span.high_w_m2


def verification_of(
    survey: Survey, first_visit: str, second_visit: str, kind: Kind = Kind.PEAK, target_w_m2: float | None = None
) -> VerificationResult:
    """The second visit against the first, and against what had been predicted of the work done.

    Parameters
    ----------
    target_w_m2 : float, optional
        Level that was to be met, at every place [W/m²]; that of the agreed plan, where it was asked, if left out.

    Raises
    ------
    InputError, TooEarlyError
        As `roomfield.remedy.verification.verify`.
    """
    return comparison_of(survey, first_visit, second_visit, kind, target_w_m2).verification


@in_turn
@lru_cache(maxsize=16)
def comparison_of(
    survey: Survey, first_visit: str, second_visit: str, kind: Kind = Kind.PEAK, target_w_m2: float | None = None
) -> VisitComparison:
    """Like `verification_of`, with the prediction itself."""
    plan = survey.adopted_plan
    target = target_w_m2 or (plan.target_w_m2 if plan and plan.target_kind == kind.value else None)
    asked = asked_of(survey, plan) if target and target_w_m2 is None else ()
    verify(survey, first_visit, second_visit, kind=kind)
    done = done_actions(survey, second_visit)
    prediction = None
    if done and can_be_modelled(survey, first_visit):
        posterior = posterior_of(survey, first_visit)
        tied = tie_of(posterior, kind)
        prediction = predict(posterior, done, kind=kind, target_w_m2=target, asked=asked, tied=tied)
    found = verify(
        survey, first_visit, second_visit, kind=kind, target_w_m2=target, prediction=prediction, asked=asked,
        confidence=agreed_confidence(survey),
    )  # fmt: skip
    return VisitComparison(found, prediction, bool(done) and not survey.visit(second_visit).done_action_ids)


def agreed_confidence(survey: Survey) -> float:
    """Probability from which a target counts as met: what the plan was agreed with, else the usual one."""
    return survey.adopted_plan.confidence if survey.adopted_plan else SURE


def done_names(survey: Survey, visit_id: str) -> tuple[str, ...]:
    """What was done before a visit, by name; the agreed plan if the visit names nothing."""
    return tuple(action.name for action in survey.actions if action.id in _done_ids(survey, visit_id))


def _done_ids(survey: Survey, visit_id: str) -> tuple[str, ...]:
    named = survey.visit(visit_id).done_action_ids
    return named or (survey.adopted_plan.action_ids if survey.adopted_plan else ())


def done_actions(survey: Survey, visit_id: str) -> list[Action]:
    """The work as it stands at the hour of a visit's readings: a night schedule is off then, or has no part in it."""
    night = _by_night(survey, visit_id)
    actions = [a for a in survey.actions if a.id in _done_ids(survey, visit_id)]
    return [
        replace(a, kind=ActionKind.SWITCH_OFF) if a.kind is ActionKind.NIGHT_SCHEDULE else a
        for a in actions
        if night or a.kind is not ActionKind.NIGHT_SCHEDULE
    ]


def _by_night(survey: Survey, visit_id: str) -> bool:
    """Whether most readings of a visit were taken at night; where no time was noted, whether it began at night.

    The visit may have been entered long after its readings were taken.
    """
    noted = [r.period for r in survey.current_readings(visit_id) if r.period is not None]
    if not noted:
        return period_of(survey.visit(visit_id).started_at) is Period.NIGHT
    return 2 * noted.count(Period.NIGHT) > len(noted)

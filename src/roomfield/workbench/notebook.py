"""The job for a notebook: objects that show themselves, hand out data frames and write reports."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict, Unpack

from roomfield.demo.invented_survey import heard_demo_survey
from roomfield.extras import library
from roomfield.remedy.choice import Choice
from roomfield.remedy.prediction import Prediction
from roomfield.remedy.verification import VerificationResult
from roomfield.survey import Survey
from roomfield.workbench.assess.assessment import Assessment, Terms
from roomfield.workbench.assess.assessment import assess as assess_survey
from roomfield.workbench.model.joint_model import kind_named
from roomfield.workbench.plan import action_list
from roomfield.workbench.plan.next_measurement import Advice as Advice
from roomfield.workbench.plan.next_measurement import asked_question, measure_next_for
from roomfield.workbench.plan.plan_choice import PlanTerms as PlanTerms
from roomfield.workbench.plan.plan_choice import choice_of, prediction_of
from roomfield.workbench.plan.target_places import asked_places
from roomfield.workbench.prove.before_after import verification_of
from roomfield.workbench.prove.unplanned_changes import ChangedAnswer, what_changed_between
from roomfield.workbench.publish.plain_values import PlaceRow, place_rows, switch_row
from roomfield.workbench.publish.whole_report import Wishes, whole_report
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.visit_choice import visit_asked_or_before, visit_asked_or_first

if TYPE_CHECKING:
    from pandas import DataFrame

pandas = library("pandas", "science")
_SHOWN = ("place", "state", "kind", "low_w_m2", "median_w_m2", "high_w_m2", "outcome", "category")


@dataclass(frozen=True, repr=False)
class Findings:
    """What a visit's readings mean.

    Parameters
    ----------
    job : Job
        The survey.
    assessment : Assessment
        Levels, comparisons and differences.
    """

    job: Job
    assessment: Assessment

    @property
    def places(self) -> tuple[PlaceRow, ...]:
        """Levels as found with what they mean; densities in W/m²."""
        return place_rows(self.assessment)

    @property
    def all_states(self) -> tuple[PlaceRow, ...]:
        """Levels in every radio state."""
        return place_rows(self.assessment, all_states=True)

    @property
    def switches(self) -> tuple[dict[str, object], ...]:
        """Differences between radio states: what each switch contributes, with interval."""
        return tuple(switch_row(self.assessment, f) for f in self.assessment.switches)

    def to_frame(self) -> DataFrame:
        """Levels in every radio state as a data frame; densities in W/m²."""
        return pandas.DataFrame([row.to_dict() for row in self.all_states])

    def report(self, path: str | Path, *, language: str = "", short: bool = False) -> Path:
        """Write the report; the ending of the name says in which form.

        Parameters
        ----------
        path : str or Path
            Ends in .pdf, .html, .xlsx, .csv or .json.
        language : str
            ``en`` or ``de``; the survey's own if left out.
        short : bool
            True for the chapters that follow from the readings alone.
        """
        wishes = Wishes(self.assessment.table.visit.id, language, self.assessment.terms, short=short)
        return whole_report(self.job, path, wishes)

    def __repr__(self) -> str:
        visit, survey = self.assessment.table.visit, self.assessment.survey
        head = f"{survey.title}, visit {visit.id}: {len(self.assessment.table.levels)} levels"
        lines = [
            f"  {r.place}, {r.kind}: {r.median_w_m2 * 1e6:.3g} "
            f"[{r.low_w_m2 * 1e6:.3g}, {r.high_w_m2 * 1e6:.3g}] µW/m² {r.outcome or r.category}".rstrip()
            for r in self.places
        ]
        return "\n".join([head, *lines])

    def _repr_html_(self) -> str:
        head = "".join(f"<th>{escape(name)}</th>" for name in _SHOWN)
        body = "".join(
            "<tr>" + "".join(f"<td>{_cell(getattr(row, name))}</td>" for name in _SHOWN) + "</tr>"
            for row in self.places
        )
        return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _cell(value: object) -> str:
    return f"{value:.3g}" if isinstance(value, float) else escape(str(value))


def assess(
    survey: Job | Survey,
    visit_id: str | None = None,
    *,
    coverage: float = 0.95,
    rule: str = "three-way",
    user_limits: str = "",
) -> Findings:
    """Say what a visit's readings mean.

    Parameters
    ----------
    survey : Job or Survey
        From `roomfield.open`, or a survey of your own making.
    visit_id : str, optional
        The visit; the first one if left out.
    coverage : float
        Probability content of every interval, 0 to 1.
    rule : str
        Decision rule for legal limits.
    user_limits : str
        Path of a TOML file with limits of your own, held beside the law.

    Examples
    --------
    >>> import roomfield as rf
    >>> findings = rf.assess(rf.open_demo())
    >>> findings.places[0].kind
    'peak'
    """
    job = survey if isinstance(survey, Job) else Job(survey)
    found = assess_survey(job.survey, visit_id, terms=Terms(coverage, rule), user_limits=user_limits)
    return Findings(job, found)


def open_demo() -> Job:
    """The demo survey, in memory: invented home, invented meter, invented people, and what its recordings said.

    Examples
    --------
    >>> import roomfield as rf
    >>> rf.open_demo().survey.invented
    True
    """
    return Job(heard_demo_survey())


def _as_job(survey: Job | Survey) -> Job:
    return survey if isinstance(survey, Job) else Job(survey)


def predict(
    survey: Job | Survey,
    do: Sequence[str],
    *,
    target_w_m2: float | None = None,
    kind: str = "peak",
    visit_id: str = "",
    at: Sequence[str] = (),
) -> Prediction:
    """Say what a set of actions would bring at every place.

    Parameters
    ----------
    survey : Job or Survey
        With the actions on its list.
    do : sequence of str
        Ids of the actions that would be done.
    target_w_m2 : float, optional
        Level to be met [W/m²].
    kind : str
        ``peak``, ``highest_held`` or ``average``.
    visit_id : str
        The visit whose readings are used; the first one if empty.
    at : sequence of str
        Where the target is to hold, as in `plans`.

    Examples
    --------
    >>> import roomfield as rf
    >>> found = rf.predict(rf.open_demo(), ["corded_phone"], target_w_m2=1e-3)  # doctest: +SKIP
    >>> found.outcome("desk").limiting  # doctest: +SKIP
    """
    record = _as_job(survey).survey
    terms = PlanTerms(target_w_m2 or 0.0, kind_named(kind).value, place_ids=asked_places(record, at))
    return prediction_of(record, visit_asked_or_first(record, visit_id).id, tuple(do), terms)


def plans(
    survey: Job | Survey,
    target_w_m2: float,
    *,
    kind: str = "peak",
    confidence: float = 0.9,
    budget: float | None = None,
    visit_id: str = "",
    at: Sequence[str] = (),
) -> Choice:
    """Find the plans that no other beats in both cost and probability, exactly.

    Parameters
    ----------
    survey : Job or Survey
        With the actions on its list.
    target_w_m2 : float
        Level to be met [W/m²].
    kind : str
        ``peak``, ``highest_held`` or ``average``.
    confidence : float
        Probability with which it is to be met, 0 to 1.
    budget : float, optional
        Most that may be spent.
    visit_id : str
        The visit whose readings are used; the first one if empty.
    at : sequence of str
        Where the target is to hold: ``all``, ``sleeping``, ``long_stays`` (sleeping places among them), or names or
        ids of places. Empty means all.

    Examples
    --------
    >>> import roomfield as rf
    >>> beds = rf.plans(rf.open_demo(), 1e-3, at=["sleeping"])  # doctest: +SKIP
    >>> beds.statement  # doctest: +SKIP
    """
    record = _as_job(survey).survey
    terms = PlanTerms(target_w_m2, kind_named(kind).value, confidence, budget, asked_places(record, at))
    return choice_of(record, visit_asked_or_first(record, visit_id).id, terms)


class DecisionTerms(TypedDict, total=False):
    """What a decision is about and worth.

    Parameters
    ----------
    kind : str
        Of the level; the highest held if left out.
    confidence : float
        Probability with which the target is to be met.
    stake : float
        What the right decision is worth, in the actions' currency; for a plan, what follows from the confidence.
    client_rate : float
        What the client pays for a minute of measuring.
    at : sequence of str
        Where the target is to hold, as in `plans`.
    """

    kind: str
    confidence: float
    stake: float | None
    client_rate: float
    at: Sequence[str]


def measure_next(
    survey: Job | Survey,
    deciding: str = "open",
    *,
    target_w_m2: float | None = None,
    visit_id: str = "",
    language: str = "en",
    **terms: Unpack[DecisionTerms],
) -> Advice:
    """Say what to measure next for a decision: what avoids most expected regret per minute, or that it is enough.

    Parameters
    ----------
    survey : Job or Survey
        With readings, and for a plan with actions on its list.
    deciding : str
        ``plan`` (which actions), ``aim`` (whether the target is met as found), ``source`` (the largest part at the
        first place), ``whose`` (the client's own transmitters or others' there), or what is ``open`` in the record:
        the first of these that can be asked, where people sleep.
    target_w_m2 : float, optional
        Level to be met [W/m²]; the client's aim if left out.
    visit_id : str
        The visit whose readings are used; the first one if empty.
    language : str
        Of the sentences, such as ``en`` or ``de``.
    **terms
        See `DecisionTerms`.

    Examples
    --------
    >>> import roomfield as rf
    >>> rf.measure_next(rf.open_demo(), "source", at=["desk"]).sentence  # doctest: +SKIP
    """
    record = _as_job(survey).survey
    question = asked_question(record, deciding, target_w_m2, **terms)
    return measure_next_for(record, visit_asked_or_first(record, visit_id).id, question, language)


def add_action(job: Job, name: str, kind: str, **details: Any) -> Job:
    """Put an action on the survey's list; gives the survey with it, the new action last.

    Parameters
    ----------
    job : Job
        A survey in a record.
    name : str
        What it is called in the work order; empty with a ``measure`` of your own, which says it.
    kind : str
        ``switch_off``, ``night_schedule``, ``reduce_power``, ``wire_instead``, ``relocate_emitter``, ``move_place``,
        ``replace_device``, ``shield_surface``, ``close_opening`` or ``canopy``; empty likewise.
    **details
        As far as the kind needs them: fields of `roomfield.workbench.plan.action_list.NewAction` by name.

    Raises
    ------
    UnknownNameError
        If it names something that is not there.
    InputError
        If it lacks what it needs, a figure cannot be, or the survey lies in no record.

    Examples
    --------
    >>> import roomfield as rf
    >>> job = rf.open("roomfield.sqlite")  # doctest: +SKIP
    >>> job = rf.add_action(job, "Router off", "switch_off", transmitters=["Router"])  # doctest: +SKIP
    >>> job = rf.add_action(job, "", "", measure="mesh-wall", walls=["u_south"])  # doctest: +SKIP
    >>> rf.predict(job, [job.survey.actions[-1].id], target_w_m2=1e-3)  # doctest: +SKIP
    """
    given: dict[str, Any] = {key: tuple(value) if isinstance(value, list) else value for key, value in details.items()}
    action_list.put_action(job, action_list.NewAction(name, kind, **given))
    return job.again()


def agree(
    job: Job,
    action_ids: Sequence[str],
    *,
    target_w_m2: float,
    kind: str = "peak",
    confidence: float = 0.9,
    note: str = "",
    at: Sequence[str] = (),
) -> Job:
    """Write down the plan that the client agreed to; gives the survey with it.

    Parameters
    ----------
    job : Job
        A survey in a record.
    action_ids : sequence of str
        Ids of the actions agreed on.
    target_w_m2 : float
        Level to be met [W/m²].
    kind : str
        ``peak``, ``highest_held`` or ``average``.
    confidence : float
        Probability with which it is to be met, 0 to 1.
    note : str
        What else was said.
    at : sequence of str
        Where the target is to hold, as in `plans`.

    Examples
    --------
    >>> import tempfile, roomfield as rf
    >>> folder = tempfile.mkdtemp()
    >>> job = rf.begin(f"{folder}/a.sqlite", "Flat", starter="one-room-flat")
    >>> job = rf.add_action(job, "Canopy over the bed", "canopy", place="Bed", sheet_db=30.0)
    >>> rf.agree(job, [job.survey.actions[0].id], target_w_m2=1e-3).survey.adopted_plan.target_w_m2
    0.001
    """
    terms = PlanTerms(target_w_m2, kind_named(kind).value, confidence, place_ids=asked_places(job.survey, at))
    action_list.agree(job, action_ids, terms, note)
    return job.again()


def verify(
    survey: Job | Survey,
    second_visit: str,
    first_visit: str = "",
    *,
    kind: str = "",
    target_w_m2: float | None = None,
) -> VerificationResult:
    """Say whether it worked: a follow-up against a visit before and against the prediction of what was done.

    Parameters
    ----------
    survey : Job or Survey
        With both visits.
    second_visit, first_visit : str
        The follow-up, and the visit before; the last one before it if empty.
    kind : str
        ``peak``, ``highest_held`` or ``average``; that of the agreed plan if empty.
    target_w_m2 : float, optional
        Level that was to be met [W/m²]; that of the agreed plan if left out.

    Examples
    --------
    >>> import roomfield as rf
    >>> home = rf.open_demo()
    >>> rf.verify(home, home.survey.visits[-1].id).second_visit_id == home.survey.visits[-1].id
    True
    """
    record = _as_job(survey).survey
    plan = record.adopted_plan
    chosen = kind_named(kind or (plan.target_kind if plan else "peak"))
    before = visit_asked_or_before(record, first_visit, second_visit).id
    return verification_of(record, before, second_visit, chosen, target_w_m2)


def what_changed(
    survey: Job | Survey, second_visit: str, *, first_visit: str = "", language: str = "en"
) -> ChangedAnswer:
    """Say what changed between two visits beside the work: a new sender, one gone, work not as ordered, or only load.

    Parameters
    ----------
    survey : Job or Survey
        The survey with both visits.
    second_visit : str
        Id of the later visit.
    language : str
        Language of the sentences.
    first_visit : str
        The visit before; the last one before it if left out.

    Raises
    ------
    TooEarlyError
        If nothing was read alike on both visits.

    Examples
    --------
    >>> import roomfield as rf
    >>> rf.what_changed(rf.open_demo(), "follow-up").sentences  # doctest: +SKIP
    """
    record = _as_job(survey).survey
    before = visit_asked_or_before(record, first_visit, second_visit).id
    return what_changed_between(record, before, second_visit, language)

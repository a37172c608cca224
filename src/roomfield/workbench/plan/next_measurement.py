"""Which measurement to take next for the open decision, in money and minutes, and when to stop."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum

from roomfield.errors import TooEarlyError, UnknownNameError
from roomfield.field.foreseen import Foreseen, Foresight, Measurement
from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind
from roomfield.remedy.choice import asked_evaluator
from roomfield.remedy.open_decision import LEAST_STAKE, OpenDecision, aim_met, main_source, stake_of, which_plan, whose
from roomfield.remedy.value_of_information import NextMeasurement, Ranked, next_step
from roomfield.show.phrase import Phrase, phrase
from roomfield.show.words import Words, load_words
from roomfield.survey import Place, Survey
from roomfield.workbench.assess.place_use import is_for_sleeping
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import kind_named, placed, posterior_of
from roomfield.workbench.model.source_contributions import device_name
from roomfield.workbench.plan.on_again import places_to_read_again
from roomfield.workbench.plan.plan_choice import PlanTerms, candidates
from roomfield.workbench.plan.target_places import SLEEPING, asked_places

CLIENT_RATE = 1.5
"""What a client pays for a minute of measuring, if nothing is said [money/min] (our judgement)."""
SHOWN = 5
CLEAR = 1.0
"""What full knowledge is worth [money] where a decision counts as clear (our judgement)."""


class Deciding(StrEnum):
    """What is to be decided."""

    OPEN = "open"
    """What is open in the record: the plan, else the aim, else the main source."""
    PLAN = "plan"
    AIM = "aim"
    SOURCE = "source"
    WHOSE = "whose"
    """Whether the client's own transmitters or others' make the larger part."""


@dataclass(frozen=True)
class OpenQuestion:
    """A decision and what it is worth.

    Parameters
    ----------
    deciding : Deciding
        Which plan to carry out, whether the target is met as found, or which device is the main source.
    terms : PlanTerms
        Target, kind, confidence and places; for the main source and whose it is, the first of these places.
    stake : float or None
        What the right answer is worth to the client; for a plan, if left out, what follows from the confidence.
    client_rate : float
        What the client pays for a minute of measuring [money/min].
    """

    deciding: Deciding
    terms: PlanTerms
    stake: float | None = None
    client_rate: float = CLIENT_RATE


@dataclass(frozen=True)
class NextRow:
    """One candidate as it is told."""

    measurement: str
    place: str
    device: str
    minutes: float
    regret_avoided: float
    per_minute: float
    chance_changed: float
    sentence: str


@dataclass(frozen=True)
class Advice:
    """What to measure next.

    Parameters
    ----------
    sentence : str
        The answer: what to do next, or that enough was measured and why.
    now : str
        What would be decided as things stand, in words.
    stop : bool
        True if nothing more is worth its time.
    best : tuple of str
        What would be decided now: names of actions, of a device, or ``met`` or ``missed``.
    regret_left : float
        What full knowledge would be worth, in money.
    together : int
        How many of the rows must be taken for it to be worth their time.
    rows : tuple of NextRow
        The best candidates, the most worth per minute first.
    """

    sentence: str
    now: str
    stop: bool
    best: tuple[str, ...]
    regret_left: float
    together: int
    rows: tuple[NextRow, ...]

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return asdict(self)


def asked_question(
    survey: Survey,
    deciding: str,
    target_w_m2: float | None,
    *,
    at: Sequence[str] = (),
    kind: str = "highest_held",
    confidence: float = 0.9,
    stake: float | None = None,
    client_rate: float = CLIENT_RATE,
) -> OpenQuestion:
    """A question from the words of a door.

    Parameters
    ----------
    deciding : str
        ``open``, ``plan``, ``aim``, ``source`` or ``whose``. What is ``open``: which plan, if actions are listed
        and an aim or target is known; else whether that is met; else the main source. It is asked for where people
        sleep, unless places are named.
    target_w_m2 : float or None
        Left out: the client's aim in the record [W/m²].
    at : sequence of str
        Places, see `roomfield.workbench.plan.target_places`.

    Raises
    ------
    UnknownNameError
        If there is no such decision, kind or place.
    """
    if deciding not in set(Deciding):
        raise UnknownNameError("decision", deciding, [d.value for d in Deciding])
    if deciding == Deciding.OPEN:
        deciding, at = _open(survey, target_w_m2), at or _beds(survey)
    target = survey.assignment.aim_w_m2 if target_w_m2 is None else target_w_m2
    terms = PlanTerms(target or 0.0, kind_named(kind).value, confidence, None, asked_places(survey, at))
    return OpenQuestion(Deciding(deciding), terms, stake, client_rate)


def _open(survey: Survey, target_w_m2: float | None) -> str:
    if not (target_w_m2 or survey.assignment.aim_w_m2):
        return Deciding.SOURCE
    return Deciding.PLAN if survey.actions else Deciding.AIM


def _beds(survey: Survey) -> tuple[str, ...]:
    """Where people sleep, as `asked_places` has it, or everywhere where nobody does."""
    return (SLEEPING,) if any(is_for_sleeping(place) for place in placed(survey)) else ()


@in_turn
def measure_next_for(
    survey: Survey, visit_id: str, question: OpenQuestion, language: str = "en", posterior: Posterior | None = None
) -> Advice:
    """The measurement that avoids most expected regret per minute.

    A second meter is advised only if the record names one. A switch is to be read on, off and on again at places where
    what was read as found is old or drifted.

    Parameters
    ----------
    posterior : Posterior, optional
        Of the visit, if one is at hand that is not `posterior_of` it.

    Raises
    ------
    TooEarlyError
        If there is nothing to infer from, no target, or, for a plan, no action to choose from.
    InputError
        If the stake is not over 0.

    Notes
    -----
    Levels are those of the joint model by itself, not tied to the measured ones, so that what would be read and what
    is decided go together draw by draw.
    """
    posterior = posterior or posterior_of(survey, visit_id)
    decision = _decision(survey, visit_id, posterior, question)
    foresight, again = Foresight(posterior, placed(posterior.survey)), places_to_read_again(survey, visit_id)
    offered = [*_candidates(foresight, _asked(posterior, question), again)]
    kept = [one for one in offered if one.measurement is not Measurement.SECOND_METER or _owns_another(posterior)]
    found = next_step(decision, kept, client_rate=question.client_rate)
    return _told(found, _Names.of(posterior.survey, survey), question, load_words(language))


def _decision(survey: Survey, visit_id: str, posterior: Posterior, question: OpenQuestion) -> OpenDecision:
    terms, kind = question.terms, Kind(question.terms.kind)
    asked = _asked(posterior, question)
    if question.deciding in (Deciding.PLAN, Deciding.AIM) and not terms.target_w_m2 > 0.0:
        raise TooEarlyError("no target is known.", mend="Enter the client's aim, or give a target.")
    if question.deciding is Deciding.SOURCE:
        return main_source(posterior, asked[0], kind, stake=_stake(question))
    if question.deciding is Deciding.WHOSE:
        return whose(posterior, asked[0], kind, stake=_stake(question))
    if question.deciding is Deciding.AIM:
        return aim_met(posterior, asked, terms.target_w_m2, kind, stake=_stake(question))
    evaluator = asked_evaluator(posterior, candidates(survey, visit_id), kind=kind, places=asked)
    stake = stake_of(evaluator, terms.confidence) if question.stake is None else question.stake
    return which_plan(evaluator, terms.target_w_m2, stake=stake)


def _stake(question: OpenQuestion) -> float:
    return LEAST_STAKE if question.stake is None else question.stake


def _asked(posterior: Posterior, question: OpenQuestion) -> tuple[Place, ...]:
    chosen = question.terms.place_ids
    return tuple(p for p in placed(posterior.survey) if not chosen or p.id in chosen)


def _candidates(foresight: Foresight, asked: tuple[Place, ...], again: frozenset[str]) -> Iterator[Foreseen]:
    here = {p.id for p in asked}
    yield from foresight.readings()
    yield from (one for one in foresight.switchings(again) if one.place_id in here)
    yield from foresight.bearings()
    yield from (one for one in foresight.sounds() if one.place_id in here)
    yield from foresight.logs([*here])
    yield foresight.reference()


def _owns_another(posterior: Posterior) -> bool:
    """Whether the record names a meter beside the one that was mostly read."""
    return len(posterior.survey.meters) > 1


@dataclass(frozen=True)
class _Names:
    places: dict[str, str]
    devices: dict[str, str]
    actions: dict[str, str]

    @classmethod
    def of(cls, survey: Survey, whole: Survey) -> _Names:
        bands: dict[str, list[str]] = {}
        for emitter in survey.emitters:
            bands.setdefault(emitter.group, []).append(emitter.name)
        devices = {name: device_name(of) for name, of in bands.items()}
        return cls({p.id: p.name for p in survey.places}, devices, {a.id: a.name for a in whole.actions})


def _told(found: NextMeasurement, names: _Names, question: OpenQuestion, words: Words) -> Advice:
    counted = enumerate(found.ranked)
    worth = [one for n, one in counted if n < found.together or one.information.regret_avoided > 0.0][:SHOWN]
    rows = tuple(_row(one, names, question, words) for one in worth)
    now, best = _as_it_stands(found.decision.best, names, question)
    return Advice(
        words.text(_answer(found, rows, question)), words.text(now), found.stop, best, found.decision.regret_left,
        found.together, rows,
    )  # fmt: skip


def _as_it_stands(best: tuple[str, ...], names: _Names, question: OpenQuestion) -> tuple[Phrase, tuple[str, ...]]:
    """What would be decided now, in words and by name."""
    if question.deciding in (Deciding.AIM, Deciding.WHOSE):
        return phrase(f"next.now_{best[0]}"), best
    if question.deciding is Deciding.SOURCE:
        named = tuple(names.devices[name] for name in best)
        return phrase("next.now_source", device=named[0]), named
    named = tuple(names.actions[name] for name in best)
    return (phrase("next.now_plan", plan="; ".join(named)) if named else phrase("next.now_nothing")), named


def _row(one: Ranked, names: _Names, question: OpenQuestion, words: Words) -> NextRow:
    candidate, known = one.candidate, one.information
    place, device = names.places.get(candidate.place_id, ""), names.devices.get(candidate.switch, "")
    what = words.text(_action(candidate.measurement, place, device))
    chance = phrase(f"next.changes_{question.deciding.value}", chance=known.chance_changed)
    sentence = words.say("next.step", what=what, minutes=candidate.minutes, changes=words.text(chance))
    return NextRow(
        candidate.measurement.value, place, device, candidate.minutes, known.regret_avoided, one.per_minute,
        known.chance_changed, sentence,
    )  # fmt: skip


def _action(measurement: Measurement, place: str, device: str) -> Phrase:
    return phrase(f"next.do_{measurement.value}", place=place, device=device)


def _answer(found: NextMeasurement, rows: tuple[NextRow, ...], question: OpenQuestion) -> Phrase | str:
    if found.stop and found.decision.regret_left < CLEAR:
        return phrase("next.clear")
    if found.stop:
        return phrase("next.stop", left=found.decision.regret_left, rate=question.client_rate)
    if found.together > 1:
        return phrase("next.together", count=found.together, first=rows[0].sentence)
    return rows[0].sentence

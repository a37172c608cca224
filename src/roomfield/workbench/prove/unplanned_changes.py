"""What changed between two visits beside the work, in words: the same at every door."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import lru_cache

from roomfield.errors import InputError, TooEarlyError
from roomfield.remedy.visit_changes import ChangeCandidate, VisitChange, VisitChanges, changes_between
from roomfield.show.phrase import Phrase, phrase
from roomfield.show.words import load_words
from roomfield.survey import Survey
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import can_be_modelled, posterior_of
from roomfield.workbench.model.source_contributions import device_name
from roomfield.workbench.prove.before_after import done_actions


@dataclass(frozen=True)
class ChangedAnswer:
    """What changed, as it is told.

    Parameters
    ----------
    sentences : tuple of str
        What is told, most certain first; that nothing but load is needed; what may be behind it where it is open.
    changes : VisitChanges
        The odds behind them.
    """

    sentences: tuple[str, ...]
    changes: VisitChanges

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return {"sentences": self.sentences, **asdict(self.changes)}


def what_changed_between(survey: Survey, first_visit: str, second_visit: str, language: str = "en") -> ChangedAnswer:
    """What changed between two visits beside the work done.

    Raises
    ------
    InputError
        If both visits are the same.
    TooEarlyError
        If nothing was read alike on both visits, or the first cannot be modelled.
    UnknownNameError
        If there is no such visit.
    """
    words = load_words(language)
    found = _changes(survey, survey.visit(first_visit).id, survey.visit(second_visit).id)
    return ChangedAnswer(tuple(words.text(one) for one in changed_phrases(survey, found)), found)


def changed_texts(survey: Survey, first_visit: str, second_visit: str) -> tuple[Phrase, ...]:
    """The same as phrases; none where the question cannot be asked."""
    if not can_be_modelled(survey, first_visit):
        return ()
    try:
        return changed_phrases(survey, _changes(survey, first_visit, second_visit))
    except TooEarlyError:
        return ()


def told_changes(survey: Survey, first_visit: str, second_visit: str) -> tuple[Phrase, ...]:
    """Only what is told as changed; none where load alone will do, or nothing is certain."""
    if not can_be_modelled(survey, first_visit):
        return ()
    try:
        return tuple(_told(survey, one) for one in _changes(survey, first_visit, second_visit).told)
    except TooEarlyError:
        return ()


def what_changed_told(survey: Survey, first_visit: str, second_visit: str, language: str) -> tuple[str, ...]:
    """The same as sentences."""
    words = load_words(language)
    return tuple(words.text(one) for one in changed_texts(survey, first_visit, second_visit))


@in_turn
@lru_cache(maxsize=16)
def _changes(survey: Survey, first_visit: str, second_visit: str) -> VisitChanges:
    if first_visit == second_visit:
        raise InputError("a visit cannot be compared with itself.", mend="Name the visit before and the follow-up.")
    posterior = posterior_of(survey, first_visit)
    there = {e.id for e in (*posterior.survey.emitters, *posterior.outside_band)}
    before = set(survey.visit(first_visit).done_action_ids)
    done = [a for a in done_actions(survey, second_visit) if a.id not in before and there.issuperset(a.emitter_ids)]
    return changes_between(survey, posterior, first_visit, second_visit, done)


def changed_phrases(survey: Survey, found: VisitChanges) -> tuple[Phrase, ...]:
    """What changed, in the words of the catalogue."""
    if found.told:
        return tuple(_told(survey, one) for one in found.told)
    if found.open:
        return (phrase("changed.open", rows=found.rows), *(_told(survey, one) for one in found.open))
    return (phrase("changed.load", rows=found.rows, chance=found.load_only),)


def _told(survey: Survey, one: ChangeCandidate) -> Phrase:
    chance = one.probability
    if one.change is VisitChange.NEW_SENDER and one.outside:
        return phrase("changed.new_outside", direction=one.subject, chance=chance, there=one.there)
    if one.change is VisitChange.NEW_SENDER:
        room = next(room.name for room in survey.dwelling.rooms if room.id == one.subject)
        return phrase("changed.new_sender", room=room, chance=chance, there=one.there)
    if one.change is VisitChange.OTHER:
        return phrase("changed.unexplained", chance=chance)
    if one.change is VisitChange.PLACE:
        return phrase("changed.place", place=survey.place(one.subject).name, chance=chance)
    if one.change in (VisitChange.NOT_AS_ORDERED, VisitChange.BETTER):
        action = next(action.name for action in survey.actions if action.id == one.subject)
        return phrase(f"changed.{one.change.value}", action=action, chance=chance)
    emitter = survey.emitter(one.subject)
    device = device_name([e.name for e in survey.emitters if e.group == emitter.group])
    return phrase(f"changed.{one.change.value}", device=device, size=abs(one.size_db), chance=chance)

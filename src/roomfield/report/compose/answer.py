"""The answer in whole sentences: the places asked about, the other beds, the law, who makes it, what can be done."""

from __future__ import annotations

from collections.abc import Iterator

from roomfield.quantities.kind import Kind
from roomfield.report.document import ReportContent
from roomfield.show.evidence import ReferenceEntry
from roomfield.show.findings import Outcome, Verdict
from roomfield.show.shown_place import ShownPlace
from roomfield.show.words import Words
from roomfield.show.words.sentences import figures_sentence, place_sentence

MOST_ANSWERED = 2
"""Most places that get a sentence of their own on the first page."""
_NAMES = 4
_LONGEST = 56
_LEAST_WORD = 3


def lead(content: ReportContent, words: Words) -> tuple[str, ...]:
    """The sentences that the first page begins with, the answer to the client's question first."""
    answered = answered_places(content)
    sentences = [*(place_sentence(p, words) for p in answered), aim_sentence(content, words)]
    sentences += [law_sentence(content, words), *_cause(answered, words), *_plan(content, words)]
    return tuple(s for s in sentences if s)


def answered_places(content: ReportContent) -> tuple[ShownPlace, ...]:
    """Places that the client asked about by name, else those where people sleep, the highest level first."""
    named = [p for p in content.shown if _is_named(p.place.name, content.parties.question) and p.level]
    beds = [p for p in content.shown if p.place.sleeping and p.level]
    chosen = named or beds or [p for p in content.shown if p.level]
    return tuple(sorted(chosen, key=_height)[:MOST_ANSWERED])


def sorted_places(content: ReportContent) -> list[ShownPlace]:
    """Every place: those asked about, then where people sleep, then by level."""
    first = {p.place.id for p in answered_places(content)}
    return sorted(content.shown, key=lambda p: (p.place.id not in first, *_height(p)))


def _height(shown: ShownPlace) -> tuple[bool, float]:
    return not shown.place.sleeping, -(shown.level.level.high_w_m2 if shown.level else 0.0)


def _is_named(name: str, question: str) -> bool:
    """Whether every long word of a place's name stands in the question, or its last word does."""
    asked = question.casefold()
    parts = [w.strip("’'s,.") for w in name.casefold().replace("’", "'").split()]
    long = [w for w in parts if len(w) >= _LEAST_WORD]
    return bool(long) and long[-1] in asked


def aim_sentence(content: ReportContent, words: Words) -> str:
    """How all places that the guideline is for stand against the aim, and what the aim is."""
    if not content.guideline_id:
        return words.say("front.guide_none_chosen")
    entry = content.reference(content.guideline_id)
    label = words.text(entry.label) if entry else ""
    verdicts = [p.aim for p in content.shown if p.aim is not None and p.held_against_aim]
    if not verdicts:
        return words.say("front.guide_not_compared", label=label)
    named = {"limit": _aim_noun(content, words), "label": label, "standing": ""}
    above = "answer.one_above" if len(verdicts) == 1 else "answer.some_above"
    parts = _grouped(content, verdicts, words, above, named)
    if not parts:
        parts.append(words.say("answer.all_below", n=len(verdicts), **named))
    return " ".join(parts)


def _aim_noun(content: ReportContent, words: Words) -> str:
    """What the aim is: the client's own, the upper edge of a category, or the guideline's target."""
    aim = content.aim
    if aim is None:
        return words.say("aim.target")
    key = "chosen" if aim.chosen else "usual"
    if aim.category:
        return words.say(f"aim.{key}_category", value=aim.value_w_m2, category=aim.category)
    return words.say(f"aim.{key}", value=aim.value_w_m2)


def law_sentence(content: ReportContent, words: Words) -> str:
    """How the levels in the headline state stand against the law, with the margin that its verdict rests on."""
    entry = content.reference(content.law_id)
    compared = [(p, p.law) for p in content.shown if p.law and p.law.outcome is not Outcome.NOT_COMPARABLE]
    verdicts = [v for _, v in compared]
    if entry is not None and entry.installations_only and not verdicts:
        return words.say("front.installations_only")
    if entry is None or not verdicts:
        return words.say("front.law_none")
    named = {"label": words.text(entry.label), "limit": limit_noun(entry, words), "standing": ""}
    parts = _grouped(content, verdicts, words, "front.law_some_above", named)
    if not parts:
        parts.append(words.say("front.law_all_below", n=len(verdicts), **named))
        parts += _margin(verdicts, words)
    if entry.installations_only:
        parts.append(words.say("front.installations_only"))
    done = {p.place.id for p, _ in compared}
    left = [p.name for p in content.places if p.id not in done]
    if left:
        parts.append(words.say("front.not_compared", n=len(left), places=joined(left, words)))
    return " ".join(parts)


def _margin(verdicts: list[Verdict], words: Words) -> Iterator[str]:
    margins = [v.margin for v in verdicts]
    least = min((m for m in margins if m is not None), default=0.0)
    if None in margins or least < 2.0:
        return
    averaged = all(v.kind is Kind.AVERAGE for v in verdicts)
    yield words.say("front.law_margin" if averaged else "front.law_margin_bound", ratio=least)


def _grouped(
    content: ReportContent, verdicts: list[Verdict], words: Words, key: str, named: dict[str, str]
) -> list[str]:
    """Sentences for every outcome but a clear "below"; empty if all are clearly below."""
    groups = {o: [v for v in verdicts if v.outcome is o] for o in Outcome}

    def names(outcome: Outcome) -> str:
        return joined([content.place_name(v.place_id) for v in groups[outcome]], words)

    parts = []
    if above := groups[Outcome.ABOVE]:
        parts.append(words.say(key, n=len(above), total=len(verdicts), places=names(Outcome.ABOVE), **named))
    for outcome in (Outcome.LIKELY_ABOVE, Outcome.UNDECIDED, Outcome.LIKELY_BELOW):
        if groups[outcome]:
            start = "group" if parts else "group_first"
            parts.append(words.say(f"front.{start}_{outcome.value}", places=names(outcome), **named))
    if parts and groups[Outcome.BELOW]:
        parts.append(words.say("front.rest_below", n=len(groups[Outcome.BELOW])))
    return parts


def limit_noun(entry: ReferenceEntry | None, words: Words) -> str:
    """What an official limit is called: a recommendation is not called law."""
    return words.say(f"limit.{entry.standing.value if entry else 'law'}")


def _cause(answered: tuple[ShownPlace, ...], words: Words) -> Iterator[str]:
    """Who makes the largest part of the level at the first place that was answered."""
    for shown in answered[:1]:
        part = shown.largest
        if part is not None and part.share is not None and shown.level and shown.level.level.censoring == "none":
            low, high = part.share_low or 0.0, part.share_high or 1.0
            yield words.say(
                "answer.cause", place=shown.place.name, source=part.source, share=part.share, low=low, high=high
            )


def _plan(content: ReportContent, words: Words) -> Iterator[str]:
    """What the agreed plan costs, brings where it was asked for, and with what odds."""
    remedy = content.remedy
    if remedy is None:
        return
    costs = [(i.cost_low, i.cost_high) for i in remedy.items]
    low = sum(c for c, _ in costs if c is not None)
    high = sum(c for _, c in costs if c is not None)
    priced = all(c is not None for pair in costs for c in pair)
    cost = words.say("answer.cost" if priced else "answer.cost_partly", low=low, high=high, currency=remedy.currency)
    yield words.say("answer.plan", n=len(remedy.items), cost=cost, told=words.text(remedy.statement))


def short_name(name: str) -> str:
    """A name cut for the first page; the sections give it in full."""
    return name if len(name) <= _LONGEST else name[: _LONGEST - 1].rstrip() + "…"


def joined(names: list[str], words: Words) -> str:
    """Names in one line, long lists cut and counted."""
    listed = ", ".join(short_name(name) for name in names[:_NAMES])
    rest = len(names) - _NAMES
    return words.say("front.and_more", names=listed, n=rest) if rest > 0 else listed


def figures_of(content: ReportContent, words: Words) -> str:
    """What the figures on the plan are: kind, that they are levels and no readings, radio state, visit, coverage."""
    state = next((one for one in content.states if one.id == content.state_id), None)
    day = next((one.started_at for one in content.visits if state and one.id == state.visit_id), "")
    return figures_sentence(content.shown, content.state_name(content.state_id), day, words)

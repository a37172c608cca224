"""Sentences about levels and comparisons, with the numbers given and without judgement."""

from __future__ import annotations

from collections.abc import Iterable

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.show.findings import Level, Outcome, Shown, Verdict
from roomfield.show.shown_place import ShownPlace
from roomfield.show.words.message_catalogue import Words

LEAST_FACTOR = 2.0
"""Least factor to a bound that is written out."""
KIND_ORDER = (Kind.PEAK, Kind.HIGHEST_HELD, Kind.AVERAGE)
"""Order in which kinds are listed."""


def level_sentence(level: Level, words: Words) -> str:
    """A level with its range in words; censored levels as bounds.

    Parameters
    ----------
    level : Level
        Median and interval.
    words : Words
        Language.
    """
    key = {Censoring.BELOW: "below", Censoring.ABOVE: "above"}.get(level.censoring, "within")
    return words.say(f"level.{key}", median=level.median_w_m2, low=level.low_w_m2, high=level.high_w_m2)


def level_median(level: Level, words: Words) -> str:
    """The median in µW/m² without unit; censored levels with < or >."""
    if level.censoring is Censoring.BELOW:
        return f"< {words.numbers.micro(level.high_w_m2)}"
    if level.censoring is Censoring.ABOVE:
        return f"> {words.numbers.micro(level.low_w_m2)}"
    return words.numbers.micro(level.median_w_m2)


def level_value(level: Level) -> float:
    """The number that a level is written with [W/m²]: the median, or the bound that is known."""
    ends = {Censoring.BELOW: level.high_w_m2, Censoring.ABOVE: level.low_w_m2}
    return ends.get(level.censoring, level.median_w_m2)


def level_range(level: Level, words: Words) -> str:
    """The interval in µW/m² without unit; one-sided for censored levels."""
    if level.censoring is not Censoring.NONE:
        return level_median(level, words)
    return words.say("level.range", low=level.low_w_m2, high=level.high_w_m2)


def shown_text(shown: Shown | None, words: Words) -> str:
    """What the meter showed, in µW/m² without unit, with its own digits."""
    if shown is None:
        return words.say("document.nothing")
    sign = {Censoring.BELOW: "< ", Censoring.ABOVE: "> "}.get(shown.censoring, "")
    return sign + words.numbers.as_given(shown.value_w_m2 * 1e6)


def figures_sentence(shown: Iterable[ShownPlace], state: str, visit_day: str, words: Words) -> str:
    """What the figures on a plan are, so that nobody takes a level for what the meter showed; empty without a figure.

    Parameters
    ----------
    shown : iterable of ShownPlace
        The places of the plan.
    state : str
        Name of the radio state.
    visit_day : str
        Day of the visit, ISO 8601.
    words : Words
        Language.
    """
    levels = [one for one in shown if one.level is not None]
    if not levels:
        return ""
    used = {one.level.kind for one in levels if one.level is not None}
    kinds = ", ".join(words.say(f"kind.{kind.value}") for kind in KIND_ORDER if kind in used)
    return words.say("plan_figures.level", kinds=kinds, state=state, day=visit_day)


def outcome_word(outcome: Outcome, words: Words) -> str:
    """The outcome in one or two words."""
    return words.say(f"outcome.{outcome.value}")


def verdict_short(verdict: Verdict | None, words: Words) -> str:
    """Outcome with the factor to the bound where it is clear, with the probability where it is not.

    Parameters
    ----------
    verdict : Verdict or None
        None says that nothing was compared.
    words : Words
        Language.
    """
    if verdict is None:
        return words.say("outcome.none")
    word = outcome_word(verdict.outcome, words)
    if verdict.outcome is Outcome.NOT_COMPARABLE:
        return word
    margin, excess = verdict.margin, _excess(verdict)
    if verdict.outcome is Outcome.BELOW and margin is not None and margin >= LEAST_FACTOR:
        return words.say("verdict.times_below", outcome=word, ratio=margin)
    if verdict.outcome is Outcome.ABOVE and excess is not None and excess >= LEAST_FACTOR:
        return words.say("verdict.times_above", outcome=word, ratio=excess)
    return words.say("verdict.with_probability", outcome=word, probability=verdict.probability_below)


def _excess(verdict: Verdict) -> float | None:
    """Lower end of the compared level over the bound; None where a single service's part of it is not known."""
    level = verdict.compared
    if level is None or verdict.upper_bound_only or level.censoring is Censoring.BELOW:
        return None
    return level.low_w_m2 / verdict.bound_w_m2


def category_text(verdict: Verdict | None, words: Words) -> str:
    """The most probable category with its probability, or the guideline's target; empty if there is none."""
    if verdict is None:
        return ""
    found = verdict.category
    if found is None:
        return words.text(verdict.target)
    return words.say("verdict.category", category=found.name, chance=found.chance)


def place_sentence(shown: ShownPlace, words: Words) -> str:
    """One place in one sentence: its level, and how that stands against the aim; empty if nothing was read.

    Parameters
    ----------
    shown : ShownPlace
        The one answer about a place.
    words : Words
        Language.
    """
    if shown.level is None:
        return ""
    named = {"place": shown.place.name, "level": level_sentence(shown.level.level, words)}
    if shown.aim is None or shown.aim.outcome is Outcome.NOT_COMPARABLE:
        return words.say("answer.no_aim", **named)
    bound = shown.aim.bound_w_m2
    return words.say(f"answer.{shown.aim.outcome.value}", aim=bound, chance=shown.aim.probability_below, **named)

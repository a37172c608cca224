"""Sentences about levels and comparisons, with the numbers given and without judgement."""

from __future__ import annotations

from roomfield.show.findings import Level, Outcome, PlaceLevel, Shown, Verdict
from roomfield.show.words.catalogue import Words
from roomfield.survey.observation import Censoring, ReadingKind

KIND_ORDER = (ReadingKind.PEAK, ReadingKind.MAX_HOLD, ReadingKind.AVERAGE)
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
    key = {Censoring.BELOW_FLOOR: "below", Censoring.OVERLOAD: "above"}.get(level.censoring, "within")
    return words.say(f"level.{key}", median=level.median_w_m2, low=level.low_w_m2, high=level.high_w_m2)


def level_median(level: Level, words: Words) -> str:
    """The median in µW/m² without unit; censored levels with < or >."""
    if level.censoring is Censoring.BELOW_FLOOR:
        return f"< {words.numbers.micro(level.high_w_m2)}"
    if level.censoring is Censoring.OVERLOAD:
        return f"> {words.numbers.micro(level.low_w_m2)}"
    return words.numbers.micro(level.median_w_m2)


def level_range(level: Level, words: Words) -> str:
    """The interval in µW/m² without unit; one-sided for censored levels."""
    if level.censoring is not Censoring.NONE:
        return level_median(level, words)
    return words.say("level.range", low=level.low_w_m2, high=level.high_w_m2)


def shown_text(shown: Shown | None, words: Words) -> str:
    """What the meter showed, in µW/m² without unit, with its own digits."""
    if shown is None:
        return words.say("document.nothing")
    sign = {Censoring.BELOW_FLOOR: "< ", Censoring.OVERLOAD: "> "}.get(shown.censoring, "")
    return sign + words.numbers.as_given(shown.value_w_m2 * 1e6)


def outcome_word(outcome: Outcome, words: Words) -> str:
    """The outcome in one or two words."""
    return words.say(f"outcome.{outcome.value}")


def verdict_short(verdict: Verdict | None, level: Level | None, words: Words) -> str:
    """Outcome with the factor to the bound where it is clear, with the probability where it is not.

    Parameters
    ----------
    verdict : Verdict or None
        None says that nothing was compared.
    level : Level or None
        The level that was compared.
    words : Words
        Language.
    """
    if verdict is None:
        return words.say("outcome.none")
    word = outcome_word(verdict.outcome, words)
    if verdict.outcome is Outcome.NOT_COMPARABLE:
        return word
    ratio = _ratio(verdict, level)
    if verdict.outcome is Outcome.BELOW and ratio is not None and ratio >= 2:
        return words.say("verdict.times_below", outcome=word, ratio=ratio)
    if verdict.outcome is Outcome.ABOVE and verdict.upper_bound_only:
        return word  # the factor is the total's; a single service's share of it is not known
    if verdict.outcome is Outcome.ABOVE and ratio is not None and ratio <= 0.5:
        return words.say("verdict.times_above", outcome=word, ratio=1 / ratio)
    return words.say("verdict.with_probability", outcome=word, probability=verdict.probability_below)


def _ratio(verdict: Verdict, level: Level | None) -> float | None:
    """Bound over level; for a censored level the ratio that is certain."""
    if level is None:
        return None
    value = {Censoring.BELOW_FLOOR: level.high_w_m2, Censoring.OVERLOAD: level.low_w_m2}.get(
        level.censoring, level.median_w_m2
    )
    return verdict.bound_w_m2 / value if value > 0 else None


def leading_level(levels: tuple[PlaceLevel, ...], state_id: str) -> PlaceLevel | None:
    """The level that stands for a place: in the given state, peak before max-hold before average."""
    here = [lv for lv in levels if lv.state_id == state_id]
    return min(here, key=lambda lv: KIND_ORDER.index(lv.kind), default=None)

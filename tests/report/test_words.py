from __future__ import annotations

import re
import string
from dataclasses import replace
from decimal import ROUND_HALF_EVEN, Decimal
from importlib import resources
from pathlib import Path

import pytest
from babel import Locale
from babel.numbers import format_decimal
from hypothesis import given
from hypothesis import strategies as st

from roomfield.errors import UnknownNameError
from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.references.catalogue import mainstream_positions
from roomfield.references.cautions import cautions
from roomfield.references.guidelines import guideline_sets
from roomfield.show.evidence import ReferenceStanding
from roomfield.show.findings import Chance, Level, Outcome, Shown, StepGroup, Verdict
from roomfield.show.phrase import Told, phrase
from roomfield.show.words import LANGUAGES, Words, load_words
from roomfield.show.words.message_catalogue import lacking
from roomfield.show.words.numbers import GROUP, NBSP, numbers_for
from roomfield.show.words.sentences import (
    level_median,
    level_range,
    level_sentence,
    shown_text,
    verdict_short,
)
from roomfield.survey.observation import Orientation, Scan
from roomfield.survey.visit import VisitPurpose
from roomfield.workbench.publish.language_gaps import gaps

PACKAGE = Path(str(resources.files("roomfield")))
PLURAL = re.compile(r"\.(one|two|few|many|other)$")


def places(message: str) -> set[tuple[str, str]]:
    return {(name, spec or "") for _, name, spec, _ in string.Formatter().parse(message) if name is not None}


COMPLETE = ("en", "de", "fr")
"""Languages that are whole; others would lean on English, see `roomfield languages`."""
OWN_SPELLING = ("term", "caution_text", "position_text")
"""Tables of whole sentences, which no two languages spell alike."""


def test_a_third_language_comes_by_catalogue_alone() -> None:
    """French is whole, German's tables of reference data are there, and what stands in English still is named."""
    french, german = load_words("fr"), load_words("de")
    assert french.say("outcome.above") == "au-dessus"
    assert {lacking(language) for language in COMPLETE} == {()}
    assert {key for key in german.messages if key.split(".")[0] in TRANSLATED} <= set(french.messages)
    alike = [key for key, said in french.messages.items() if key.split(".")[0] in OWN_SPELLING and said in key]
    assert alike == []
    (found,) = gaps("fr")
    assert found.report == 1.0
    assert french.text(Told(UnknownNameError("place", "x", ["bed"]).what)) == "'x' n'existe pas (lieu)."


def test_every_catalogue_has_every_key() -> None:
    reference = {PLURAL.sub("", key) for key in load_words("en").messages}
    for language in COMPLETE:
        keys = {PLURAL.sub("", key) for key in load_words(language).messages}
        assert keys - {k for k in keys if k.split(".")[0] in TRANSLATED} == reference - {
            k for k in reference if k.split(".")[0] in TRANSLATED
        }, language


TRANSLATED = {"caution_topic", "caution_text", "position_text", "how_text", "term", "condition_text", "category_asks"}
"""Tables that translate reference data; English is the original there."""


@pytest.mark.parametrize("language", sorted(set(LANGUAGES) - {"en"}))
def test_places_and_their_kinds_of_number_agree(language: str) -> None:
    english, other = load_words("en").messages, load_words(language).messages
    for key, message in english.items():
        if key in other and not key.endswith(".one"):
            assert places(other[key]) == places(message), key


@pytest.mark.published("Unicode CLDR, plural rules (as carried by Babel)")
@pytest.mark.parametrize("language", COMPLETE)
def test_plural_keys_carry_every_form_of_the_language(language: str) -> None:
    messages = load_words(language).messages
    stems = {PLURAL.sub("", key) for key in messages if PLURAL.search(key)}
    assert stems
    plural = Locale.parse(language).plural_form
    tags = {str(plural(count)) for count in range(1000)} | {"other"}
    for stem in stems:
        assert {key.rsplit(".", 1)[1] for key in messages if PLURAL.sub("", key) == stem and key != stem} == tags


def used_keys() -> dict[str, Path]:
    """Every dotted key that stands in the source, with its variable parts in braces."""
    found = {}
    for file in [
        *(PACKAGE / "report").rglob("*.py"),
        *(PACKAGE / "show").rglob("*.py"),
        *(PACKAGE / "workbench").rglob("*.py"),
        *(PACKAGE / "cli").rglob("*.py"),
    ]:
        text = file.read_text(encoding="utf-8")
        for match in re.finditer(r"""f?["']([a-z_]+\.(?:[a-z_0-9.]|\{[^{}]*\})+)["']""", text):
            found[match.group(1)] = file
    return found


def as_pattern(key: str) -> re.Pattern[str]:
    return re.compile(re.sub(r"\\\{.*?\\\}", r"[\\w]+", re.escape(key)))


def test_every_key_that_the_code_says_is_in_the_catalogue(words: Words) -> None:
    stems = {PLURAL.sub("", key) for key in words.messages}
    checked = 0
    for file in [
        *(PACKAGE / "report").rglob("*.py"),
        *(PACKAGE / "show").rglob("*.py"),
        *(PACKAGE / "workbench").rglob("*.py"),
    ]:
        text = file.read_text(encoding="utf-8")
        for match in re.finditer(r"""(?:\.say|\bphrase)\(\s*f?"([^"]+)\"""", text):
            pattern = as_pattern(match.group(1))
            assert any(pattern.fullmatch(k) for k in stems), (match.group(1), file)
            checked += 1
    assert checked > 150


OPEN_ENDED = (
    "step",
    "part",
    "part_source",
    "distribution",
    "how",
    "orientation",
    "scan",
    "purpose",
    "caution_group",
    "open",
)
"""Groups whose members are named by the data."""


def test_no_message_stands_unused(english: Words) -> None:
    patterns = [as_pattern(key) for key in used_keys()]
    unused = [
        stem
        for stem in sorted({PLURAL.sub("", key) for key in english.messages})
        if stem.split(".")[0] not in (*TRANSLATED, *OPEN_ENDED) and not any(p.fullmatch(stem) for p in patterns)
    ]
    assert unused == []


@pytest.mark.calculated(
    "trade cautions table, row 'No safety verdict': do not say safe, dangerous, radiation-free, certified"
)
def test_no_message_gives_a_safety_verdict() -> None:
    banned = {
        "en": r"\b(safe|unsafe|dangerous|harmless|radiation-free|certified|healthy|toxic)\b",
        "fr": r"\b(sûr|sûre|sûrs|dangereux|dangereuse|inoffensif|inoffensive|sans danger|certifié|nocif|toxique)\b",
        "de": r"\b(unbedenklich|gefährlich|ungefährlich|strahlenfrei|zertifiziert|gesundheitsschädlich|giftig)\w*\b",
    }
    for language, pattern in banned.items():
        own = {k: m for k, m in load_words(language).messages.items() if k.split(".")[0] not in TRANSLATED}
        hits = [k for k, message in own.items() if re.search(pattern, message, re.IGNORECASE)]
        assert hits == []


def test_every_member_of_an_enumeration_has_its_words(words: Words) -> None:
    groups = {
        "outcome": Outcome, "kind": Kind, "kind_noun": Kind, "steps": StepGroup,
        "standing": ReferenceStanding, "limit": ReferenceStanding, "standing_sentence": ReferenceStanding,
        "orientation": Orientation, "scan": Scan, "purpose": VisitPurpose,
    }  # fmt: skip
    for group, members in groups.items():
        for member in members:
            assert words.has(f"{group}.{member.value}"), (group, member)


def test_a_message_with_a_place_left_empty_is_refused(english: Words) -> None:
    with pytest.raises(UnknownNameError, match=r"step\.night_schedule\.reason"):
        english.say("step.night_schedule.reason", place="Cot")


def test_cautions_and_positions_are_translated() -> None:
    german = load_words("de")
    for spoken in (german, load_words("fr")):
        for caution in cautions():
            assert spoken.has(f"caution_topic.{caution.topic}"), caution.topic
            assert spoken.has(f"caution_text.{caution.text}"), caution.text
        for position in mainstream_positions():
            assert spoken.has(f"position_text.{position.position}"), position.body
    assert german.translated("caution_topic", "a caution that nobody has translated") == (
        "a caution that nobody has translated"
    )


def test_categories_are_translated_with_their_spans() -> None:
    german, french = load_words("de"), load_words("fr")
    for chosen in guideline_sets(superseded=True):
        for service in chosen.services:
            for row in chosen.levels_for(None if service == "any" else service):
                assert german.has(f"term.{row.name}") and french.has(f"term.{row.name}"), row.name
    assert german.term("severe anomaly – extreme anomaly") == "stark auffällig – extrem auffällig"
    assert load_words("en").term("severe anomaly") == "severe anomaly"


def test_unknown_language_and_key_are_named() -> None:
    with pytest.raises(UnknownNameError, match="language named 'xx'"):
        load_words("xx")
    with pytest.raises(UnknownNameError, match=r"no\.such\.key"):
        load_words("en").say("no.such.key")


def test_region_falls_back_to_its_language() -> None:
    assert load_words("de-AT").language == "de"
    assert load_words("de_CH").language == "de"


def test_user_text_with_braces_is_not_a_template(english: Words) -> None:
    assert english.say("steps.expected", text="{level:power} {0}") == "Expected: {level:power} {0}"
    assert english.text("{place}") == "{place}"


def test_phrases_nest(english: Words) -> None:
    outer = phrase("steps.expected", text=phrase("how.memory"))
    assert english.text(outer) == "Expected: from memory"


@pytest.mark.published("ISO 80000-1:2009, 7.3.1 (from memory): groups of three digits from the decimal sign, small gap")
@pytest.mark.parametrize(
    ("value", "english", "german"),
    [
        (0.0, "0", "0"),
        (1234.0, "1234", "1234"),
        (12345.0, f"12{GROUP}345", f"12{GROUP}345"),
        (10_000_000.0, f"10{GROUP}000{GROUP}000", f"10{GROUP}000{GROUP}000"),
        (0.5, "0.5", "0,5"),
        (-7.25, "−7.25", "−7,25"),
    ],
)
def test_numbers_as_given(value: float, english: str, german: str) -> None:
    assert numbers_for("en").as_given(value) == english
    assert numbers_for("de").as_given(value) == german


@pytest.mark.calculated("trade cautions table, row 'Several dB tolerance': never more than two significant digits")
@given(st.floats(min_value=1e-12, max_value=1e3))
def test_levels_have_two_significant_digits(value_w_m2: float) -> None:
    text = numbers_for("en").micro(value_w_m2).replace(GROUP, "")
    micro = Decimal(value_w_m2 * 1e6)
    quantum = Decimal(1).scaleb(micro.adjusted() - 1)
    assert abs(Decimal(text) - micro) <= quantum * Decimal("0.5000001")
    assert len(text.replace(".", "").strip("0")) <= 2


@given(st.floats(min_value=-1e9, max_value=1e9), st.integers(min_value=0, max_value=4), st.sampled_from(COMPLETE))
def test_fixed_agrees_with_babel(value: float, decimals: int, language: str) -> None:
    ours = numbers_for(language).fixed(value, decimals).replace(GROUP, "").replace("−", "-")
    pattern = "0." + "0" * decimals if decimals else "0"
    exact = Decimal(value).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN)
    expected = format_decimal(exact, format=pattern, locale=language)
    assert ours == (expected[1:] if not exact else expected) if expected.startswith("-") else ours == expected


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.0, f"<{NBSP}1{NBSP}%"), (0.004, f"<{NBSP}1{NBSP}%"), (0.83, f"83{NBSP}%"), (0.9999, f">{NBSP}99{NBSP}%"),
     (1.0, f">{NBSP}99{NBSP}%")],
)  # fmt: skip
def test_no_probability_is_written_as_certain(share: float, text: str) -> None:
    assert numbers_for("en").percent(share) == text


def test_power_from_one_watt_on_is_also_given_in_watt() -> None:
    assert numbers_for("en").power(10.0) == f"10{GROUP}000{GROUP}000{NBSP}µW/m² (10{NBSP}W/m²)"
    assert numbers_for("en").power(0.5) == f"500{GROUP}000{NBSP}µW/m²"


@pytest.mark.parametrize(
    ("value", "text"),
    [(5e-6, "5 µs"), (0.01, "10 ms"), (1.25, "1.25 s"), (360, "6 min"), (1800, "30 min")],
)
def test_durations(value: float, text: str) -> None:
    assert numbers_for("en").duration(value) == text.replace(" ", NBSP)


def test_dates_follow_the_language() -> None:
    assert numbers_for("en").date("2026-03-02T10:00:00+01:00") == "2 March 2026"
    assert numbers_for("de").date("2026-03-02") == "2. März 2026"
    assert numbers_for("fr").date("2026-03-02") == "2 mars 2026"
    assert numbers_for("fr").moment("2026-08-02T10:05:59+02:00") == "2 août 2026, 10:05"
    assert numbers_for("de").date("last spring") == "last spring"
    assert numbers_for("en").iso_moment("2026-03-02T10:05:59+01:00") == "2026-03-02 10:05"


def level(censoring: Censoring = Censoring.NONE) -> Level:
    return Level(340e-6, 85e-6, 1360e-6, censoring)


def test_censored_levels_are_bounds_in_every_form(words: Words) -> None:
    below, above = level(Censoring.BELOW), level(Censoring.ABOVE)
    assert level_median(below, words) == "< 1400"
    assert level_median(above, words) == "> 85"
    assert level_range(below, words) == "< 1400"
    assert "340" not in level_sentence(below, words) + level_sentence(above, words)
    assert shown_text(Shown(0.01e-6, Censoring.BELOW), words).startswith("< 0")
    assert shown_text(Shown(2.5, Censoring.ABOVE), words) == f"> 2{GROUP}500{GROUP}000"
    assert shown_text(None, words) == "–"


def verdict(outcome: Outcome, below: tuple[float, float] = (0.99, 0.99), bound: float = 10.0, **more) -> Verdict:
    return Verdict("p", "s", Kind.PEAK, "r", outcome, bound, Chance(*below), compared=level(), **more)


def test_verdicts_name_the_factor_to_the_nearer_end_or_the_probability_with_both_ends(english: Words) -> None:
    """The level is 340 (85 to 1400) µW/m²: margins are counted from the end that is nearer to the bound."""
    assert verdict_short(verdict(Outcome.BELOW), english) == "below, at least 7400 times lower"
    above = verdict(Outcome.ABOVE, (0.001, 0.001), 10e-6)
    assert verdict_short(above, english) == "above, at least 8.5 times higher"
    assert verdict_short(replace(above, upper_bound_only=True), english) == f"above (<{NBSP}1{NBSP}% below)"
    open_ = verdict(Outcome.UNDECIDED, (0.018, 0.773), 400e-6)
    assert verdict_short(open_, english) == f"open (2 to 77{NBSP}% below)"
    assert verdict_short(None, english) == "not compared"
    assert verdict_short(verdict(Outcome.NOT_COMPARABLE), english) == "not comparable"


def test_factor_of_a_censored_level_is_the_certain_one(english: Words) -> None:
    floor = Level(1e-9, 0.0, 2e-6, Censoring.BELOW)
    below = replace(verdict(Outcome.BELOW, bound=20e-6), compared=floor)
    assert verdict_short(below, english) == "below, at least 10 times lower"
    over = Level(5.0, 2.0, 9.0, Censoring.ABOVE)
    above = replace(verdict(Outcome.ABOVE, (0.0, 0.0), 0.1), compared=over)
    assert verdict_short(above, english) == "above, at least 20 times higher"
    assert above.margin is None

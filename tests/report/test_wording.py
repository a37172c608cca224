"""No health claim in any sentence of ours, and a first page that can be read: length and reading age."""

from __future__ import annotations

import re

import pytest

from roomfield.report.compose import compose
from roomfield.report.compose.answer import lead
from roomfield.show.words import load_words
from roomfield.workbench.publish.answers import answer
from roomfield.workbench.record.demo_record import demo_job

HEALTH = {
    "en": re.compile(
        r"\b(health(y|ier|ily)|unhealthy|harmless|harmful|safe(r|ly|ty)?|unsafe|danger(ous)?|sick(ness)?|illness|symptom-free|"
        r"cure[sd]?|heals?|sleep (better|well)|good for you|no (health )?(risk|effect)|risk-free|tolerable|well-?being)\b",
        re.IGNORECASE,
    ),
    "de": re.compile(
        r"\b(gesund(e[rsnm]?|heitlich\w*)?|ungesund\w*|unbedenklich\w*|bedenklich\w*|schädlich\w*|unschädlich\w*|sicher (für|vor)|"
        r"gefährlich\w*|ungefährlich\w*|krank\w*mach\w*|heil(t|en)|besser schlafen|risikofrei|wohlbefinden|verträglich)\b",
        re.IGNORECASE,
    ),
}
"""Words by which a sentence would say that a level does people good or harm."""
ALLOWED = re.compile(
    r"nothing about health|no statement about health|not (shown to harm|proof of (harm|absence of harm))|established effects|"
    r"sensitive or ill people|proof of harm|absence of harm|nichts über Gesundheit|empfindliche oder kranke|"
    r"kein(e|en)? (Aussage zur Gesundheit|Schaden)|ärztlichen Rat|medical advice|device(s)? (of|for) (fire|smoke)",
    re.IGNORECASE,
)
QUOTED = ("caution_", "position_text", "how_text", "condition_text", "category_asks", "term", "front.neutral")
"""What others say, cautions on work, and the note that keeps harm and levels apart."""
VOWELS = re.compile(r"[aeiouyäöü]+", re.IGNORECASE)


def claims(language: str, sentence: str) -> list[str]:
    return [found.group() for found in HEALTH[language].finditer(ALLOWED.sub("", sentence))]


@pytest.mark.parametrize(
    ("language", "sentence"),
    [
        ("en", "The levels are now healthy."),
        ("en", "Your bed is safe again."),
        ("en", "You will sleep better at this level."),
        ("en", "This is harmless."),
        ("de", "Die Pegel sind jetzt gesund."),
        ("de", "Der Wert ist unbedenklich."),
        ("de", "Damit werden Sie besser schlafen."),
    ],
)
def test_the_check_sees_a_claim(language, sentence):
    """ "The levels are now healthy" passed the former check of the letter."""
    assert claims(language, sentence)


@pytest.mark.published("common practice, no source: a report measures and compares; it makes no statement about health")
@pytest.mark.parametrize("language", ["en", "de"])
def test_no_sentence_of_ours_claims_anything_about_health(language):
    messages = load_words(language).messages
    ours = {key: text for key, text in messages.items() if not key.startswith(QUOTED)}
    assert len(ours) > 700
    assert {key: found for key, text in ours.items() if (found := claims(language, text))} == {}


@pytest.fixture(scope="module")
def content(tmp_path_factory):
    return answer(demo_job(tmp_path_factory.mktemp("read")).survey, "", modelled=True)


def reading_age(text: str) -> float:
    """Flesch-Kincaid grade plus five years: 0.39 words per sentence + 11.8 syllables per word - 15.59."""
    sentences = [s for s in re.split(r"(?<=[.!?:;])\s", text) if re.search(r"[A-Za-z]{2}", s)]
    words = re.findall(r"[A-Za-zÄÖÜäöüß'’]+", text)
    syllables = sum(max(1, len(VOWELS.findall(word))) for word in words)
    return 0.39 * len(words) / len(sentences) + 11.8 * syllables / len(words) - 15.59 + 5.0


@pytest.mark.published("Kincaid et al. 1975, Navy RBR 8-75: grade level from words per sentence and syllables per word")
def test_the_formula_gives_what_it_is_known_for():
    assert reading_age("The cat sat on the mat.") == pytest.approx(5.0 - 1.45, abs=0.05)


def test_the_answer_can_be_read_at_fifteen_and_is_short(content):
    """Names of places, documents and devices count as the client's own words."""
    text = " ".join(lead(content, load_words("en")))
    for name in (*(p.name for p in content.places), "Building-biology guidelines for sleeping areas, 2015",
                 "Council Recommendation 1999/519/EC", "officially recommended limit"):  # fmt: skip
        text = text.replace(name, "it")
    assert reading_age(text) <= 15.0
    assert len(text.split()) <= 150


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_answer_comes_first_and_names_level_and_aim(content, language):
    words = load_words(language)
    first = lead(content, words)[0]
    assert first.startswith("Child's cot")
    assert words.numbers.power(content.aim.value_w_m2) in first
    sheet = compose(content, words)
    assert sheet.front.lead[0] == first

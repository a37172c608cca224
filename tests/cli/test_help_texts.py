"""Helps of commands and options in every language that has a catalogue."""

from __future__ import annotations

import json
import re

import pytest
import typer

from roomfield.cli.help_texts import HEADINGS
from roomfield.cli.main import app
from roomfield.show.words import LANGUAGES
from roomfield.show.words.told import help_catalogue

OTHERS = tuple(sorted(set(LANGUAGES) - {"en"}))
QUOTED = re.compile(r"'[^']*'")
NAMES = re.compile(
    r"--[a-z-]+|\b[a-z]+_[a-z_]+\b|\bROOMFIELD_[A-Z]+\b|\.(?:csv|xlsx|pdf|html|json|svg|tif|nc|age|txt)\b"
)
ALIKE = {"Options", "Arguments", "peak, highest_held or average."}


def english_helps() -> set[str]:
    """Every help of a command or an option, and what stands around them, in English."""
    command = typer.main.get_command(app)
    found = set(HEADINGS)
    for one in (command, *command.commands.values()):
        texts = (one.help, *(getattr(parameter, "help", "") for parameter in one.params))
        found |= {" ".join(text.split()) for text in texts if text}
    return found


@pytest.mark.parametrize("language", OTHERS)
def test_every_help_has_its_wording_and_no_wording_is_left_over(language):
    helps = english_helps()
    assert len(helps) > 300
    assert set(help_catalogue(language)) == helps


@pytest.mark.parametrize("language", OTHERS)
def test_what_is_typed_stays_as_it_is_typed(language):
    """Options, keys, endings and variables are the same in every language."""
    for english, wording in help_catalogue(language).items():
        left = set(NAMES.findall(english)) - set(NAMES.findall(wording))
        assert not left, (english, left)


@pytest.mark.parametrize("language", OTHERS)
def test_no_wording_is_the_english_one(language):
    same = {english for english, wording in help_catalogue(language).items() if english == wording}
    assert {one for one in same - ALIKE if re.search(r"\b(the|of|is|what|with|and|if)\b", one)} == set()


@pytest.mark.published("Lexique des règles typographiques en usage à l'Imprimerie nationale (from memory)")
def test_french_never_breaks_a_line_before_its_punctuation():
    assert [text for text in help_catalogue("fr").values() if re.search(r" [:;?!%»](?!\w)|« ", text)] == []


@pytest.mark.parametrize(
    ("language", "usage", "first"), [("de", "Aufruf: ", "Optionen"), ("fr", "Usage\u00a0: ", "Montrer")]
)
@pytest.mark.parametrize("form", ["before", "after", "variable"])
def test_a_help_is_shown_in_the_language_asked_for(say, monkeypatch, language, usage, first, form):
    words = ["map", "--help"]
    if form == "variable":
        monkeypatch.setenv("ROOMFIELD_LANGUAGE", language)
    else:
        words = ["--language", language, *words] if form == "before" else [*words, f"--language={language}"]
    said = say(*words)
    assert said.code == 0, said.err
    assert said.out.startswith(usage) and first in said.out
    assert not re.search(
        r"\b(the|of|if left out|required|default|Show this message)\b", re.sub(r"'[^']*'", "", said.out)
    )


def test_the_list_of_commands_is_shown_in_the_language(say):
    said = say("--language", "de", "--help")
    assert "Erste Schritte:" in said.out and "Den Bericht schreiben" in said.out


def test_the_bare_name_shows_the_help_line_by_line(say):
    said = say()
    assert said.code == 2
    assert len(said.err.splitlines()) > 50


def test_an_unknown_language_is_refused_in_words(say):
    said = say("--language", "xx", "map", "--help")
    assert said.code != 0 and "'xx'" in said.err


def test_the_share_of_helps_is_counted(say):
    rows = {one["language"]: one for one in json.loads(say("languages", "--json").out)}
    assert {rows[language]["helps"] for language in LANGUAGES} == {1.0}

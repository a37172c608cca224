"""What commands print, in every language that has a catalogue: no English sentence is left among the lines."""

from __future__ import annotations

import ast
import json
import re
import shlex
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import pytest

from roomfield.cli.terminal_language import begin, speak_as, terminal_language
from roomfield.cli.terminal_numbers import tell
from roomfield.show.words import LANGUAGES
from roomfield.show.words.told import terminal_catalogue, terminal_teller, told_catalogue

OTHERS = tuple(sorted(set(LANGUAGES) - {"en"}))
DOORS = Path(str(resources.files("roomfield"))) / "cli"
PRINTING = {"echo": (0,), "table": (0, 1), "grouped": (0, 1), "progress": (0,), "lines": (1,), "tell": (0,)}
"""Calls that print, with the places of what they print."""
ALIKE = {
    "x, y, z", "{} MHz", "{} mW", "±{} dB", "SHA-256 {}", "{}, {}", "{}, µW/m²", "{} {} µW/m²", "{}: {} µW/m² ({}, {} %)",
    "is stamped; the answer is kept", "can be stamped: send {} to an authority yourself", "source", "note", "stations", "pages", "messages", "EIRP", "median", "name", "x, y, z in m", "{} openings",
    "{}: {}, {}", 'roomfield night --log {} --shown "peak=2400 held=3010 average=109"',
}  # fmt: skip
"""What is spelt alike, or holds only values."""
ENGLISH = re.compile(
    r"\b(the|of|and|is|are|was|were|with|from|this|that|there|not|yet|nothing|readings?|walls?|doors|"
    r"switched|which|every|over|because|taken|column|headers|sheet|rows|below|above|share|makes|cost|agreed)\b"
)
"""Words that stand in English sentences and in none of the others."""
WAY = """
new Wohnung --language {language} --guideline building-biology-2015 --at 2027-03-02T09:00+01:00
plan --room "Salon 5 x 4" --room "Zimmer 4 x 3.5 north of Salon"
place Bett --position "Zimmer: 1.2 west, 0.8 south" --night 8
place Tisch --position "Salon: 0.8 east, 0.6 south" --day 6
transmitter Router --technology wifi_data --frequency 2450 --eirp 100 --position "Salon: 0.5 west, 2 north"
state "Router aus" --off Router
take-in m.csv
take-in m.csv --confirm
list
list places
list transmitters
list states
list readings
list visits
aim
visit
plan
assess --visit {visit}
action "Router aus in der Nacht" switch_off --transmitter Router
actions
predict --do "Router aus in der Nacht" --target 100
agree "Router aus in der Nacht" --target 100 --at sleeping
sheet form.pdf
remove state "Router aus" --visit {second}
"""
TABLE = "Ort;Funkzustand;Spitze [µW/m²];Mittelwert [µW/m²]\nBett;Wie vorgefunden;420;21\nBett;Router aus;14;0,8\n"


def test_a_survey_is_spoken_of_in_its_language_unless_another_is_asked_for(monkeypatch) -> None:
    for name in ("ROOMFIELD_LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(name, raising=False)
    begin("")
    assert terminal_language() == "en" and tell("There is no aim.") == "There is no aim."
    monkeypatch.setenv("LANG", "fr_CA.UTF-8")
    assert terminal_language() == "fr"
    speak_as("de-AT")
    assert terminal_language() == "de" and tell("  There is no aim.") == "  Es gibt kein Ziel."
    monkeypatch.setenv("ROOMFIELD_LANGUAGE", "en")
    assert terminal_language() == "en"
    begin("fr")
    assert terminal_language() == "fr"
    monkeypatch.setenv("ROOMFIELD_LANGUAGE", "xx")
    begin("")
    assert terminal_language() == "fr"
    monkeypatch.setenv("LANG", "C.UTF-8")
    assert terminal_language() == "en"
    begin("")


def _named(tree: ast.AST) -> dict[str, list[ast.expr]]:
    found: dict[str, list[ast.expr]] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign):
            for target in node.targets:
                if isinstance(target, ast.Name):
                    found.setdefault(target.id, []).append(node.value)
    return found


def _texts(node: ast.AST, named: dict[str, list[ast.expr]]) -> Iterator[str]:
    """The texts that an expression can be, with ``{}`` for every value."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.JoinedStr):
        yield "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
    elif isinstance(node, ast.IfExp):
        yield from _texts(node.body, named)
        yield from _texts(node.orelse, named)
    elif isinstance(node, ast.Tuple):
        for part in node.elts:
            yield from _texts(part, named)
    elif isinstance(node, ast.Name):
        for value in named.get(node.id, []):
            yield from _texts(value, {key: held for key, held in named.items() if key != node.id})


def printed() -> set[str]:
    """Every text that a command prints, one line each, with ``{}`` for every value."""
    found = set()
    for file in DOORS.glob("*.py"):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
                continue
            for place in PRINTING.get(node.func.id, ()):
                for text in _texts(node.args[place], _named(tree)) if place < len(node.args) else ():
                    found |= {line.strip() for line in text.split("\n")}
    return {text for text in found if re.search(r"[A-Za-z]{2}", text.replace("µW/m²", ""))}


@pytest.mark.parametrize("language", OTHERS)
def test_every_text_that_is_printed_is_in_the_catalogue(language: str) -> None:
    known = printed()
    assert len(known) > 150
    shapes = {
        re.sub(r"\{\w+\}", "{}", english) for english in (*terminal_catalogue(language), *told_catalogue(language))
    }
    patterns = [re.compile(".*".join(map(re.escape, text.split("{}")))) for text in known - ALIKE - shapes]
    # a text with an ending that may be left out stands in the catalogue once with and once without it
    unknown = [one.pattern for one in patterns if not any(one.fullmatch(shape) for shape in shapes)]
    assert unknown == []


def test_the_catalogues_name_the_same_lines_with_the_same_values() -> None:
    first, *rest = (terminal_catalogue(language) for language in OTHERS)
    for other in rest:
        assert other.keys() == first.keys()
    for language in OTHERS:
        for english, wording in terminal_catalogue(language).items():
            holes = [set(re.findall(r"\{(\w+)\}", text)) for text in (english, wording)]
            assert holes[0] == holes[1], (language, english)
            assert terminal_teller(language)(re.sub(r"\{\w+\}", "7", english)) == re.sub(r"\{\w+\}", "7", wording)


@pytest.mark.parametrize("language", OTHERS)
def test_the_way_to_the_plan_leaves_no_english_line(say, tmp_path, monkeypatch, language: str) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LC_ALL", f"{language}.UTF-8")
    (tmp_path / "m.csv").write_text(TABLE, "utf-8")
    visits, left = ["", ""], []
    for line in WAY.strip().splitlines():
        said = say(*shlex.split(line.format(language=language, visit=visits[0], second=visits[-1])))
        assert said.code == 0, (line, said.err)
        if line.split()[0] in ("new", "visit"):
            visits = [one["id"] for one in json.loads(say("list", "visits", "--json").out)]
        for shown in said.out.splitlines():
            bare = re.sub(r"'[^']*'|\S*[/\\_]\S*", "", shown)
            if ENGLISH.search(bare):
                left.append((line, shown))
    assert not left, "\n".join(map(str, left))
    refused = say("place", "Stuhl", "--room", "Keller")
    assert refused.code == 3 and not ENGLISH.search(re.sub(r"'[^']*'", "", refused.err)), refused.err

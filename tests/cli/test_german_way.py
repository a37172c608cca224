"""README's way typed in German: shares, map and plans as well, and no English line among what is printed."""

from __future__ import annotations

import json
import re
import shlex

import openpyxl
import pytest

from .test_terminal_language import ENGLISH

WAY = """
new "Wohnung, zweiter Stock" --client "A. Kundin" --guideline building-biology-2015 --language de --at 2027-03-02T09:00+01:00
plan zimmer.txt --storey "Zweiter Stock"
place Bett --position "Schlafzimmer: 1.2 west, 0.8 south" --night 8
place Schreibtisch --position "Wohnzimmer: 0.8 east, 0.6 south" --day 6
transmitter Router --technology wifi_data --frequency 2450 --eirp 100 --position "Wohnzimmer: 0.5 west, 2 north"
state "Router aus" --off Router
take-in messwerte.xlsx --sheet Messwerte
take-in messwerte.xlsx --sheet Messwerte --confirm
assess
shares --place bett
sources
map karte.svg --storey "zweiter stock"
next --for variance
next --for whose --at Bett
action "Router nachts aus" switch_off --transmitter Router
predict --do "router nachts aus" --target 100
agree "Router nachts aus" --target 100 --at sleeping
plans 100 --at sleeping
report gutachten.html
"""
ROOMS = "Wohnzimmer 5 x 4\nSchlafzimmer 4 x 3.5 north of Wohnzimmer\nwindow Schlafzimmer north 1 to 2.4\n"
ROWS = [
    ("Platz", "Funkzustand", "Spitze µW/m²", "Mittelwert µW/m²"),
    ("Bett", "Wie vorgefunden", 420, 21),
    ("Bett", "Router aus", 14, 0.8),
    ("Schreibtisch", "Wie vorgefunden", 5200, 260),
    ("Schreibtisch", "Router aus", 20, 1.1),
]


@pytest.fixture
def german(tmp_path, monkeypatch):
    """A folder of a German hand: computer, rooms and table of readings."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LC_ALL", "de_AT.UTF-8")
    monkeypatch.delenv("ROOMFIELD_LANGUAGE", raising=False)
    (tmp_path / "zimmer.txt").write_text(ROOMS, "utf-8")
    book = openpyxl.Workbook()
    book.active.title = "Messwerte"
    for row in ROWS:
        book.active.append(row)
    book.save(tmp_path / "messwerte.xlsx")
    return tmp_path


def english_in(shown: str) -> list[str]:
    """Lines with words that no German sentence has; what is quoted or a path is left out, and "was" is German as well."""
    bare = [(line, re.sub(r"'[^']*'|\S*[/\\_]\S*", "", line)) for line in shown.splitlines()]
    return [line for line, words in bare if set(ENGLISH.findall(words)) - {"was"}]


def test_from_new_to_the_report_in_german(say, german):
    shown, left = {}, []
    for line in WAY.strip().splitlines():
        said = say(*shlex.split(line))
        assert said.code == 0, f"{line}: {said.err}"
        shown[line.split()[0]] = said.out
        left += [(line, one) for one in english_in(said.out)]
    assert not left, "\n".join(map(str, left))
    assert "Router" in shown["shares"]
    assert "<svg" in (german / "karte.svg").read_text("utf-8")[:400]
    whole = (german / "gutachten.html").read_text("utf-8")
    assert '<html lang="de"' in whole and "Wohnung, zweiter Stock" in whole
    advice = json.loads(say("next", "--for", "whose", "--at", "Bett", "--json").out)
    assert advice["sentence"] and not english_in(advice["sentence"])
    beside = json.loads(say("--language", "en", "next", "--for", "whose", "--at", "Bett", "--json").out)
    assert advice.keys() == beside.keys()
    assert english_in(beside["sentence"])


def test_what_is_heard_is_told_in_json_in_german(say, german):
    import numpy as np
    import soundfile

    moment = np.arange(8 * 24_000) / 24_000
    bursts = (np.mod(moment, 0.01) < 416e-6) * 0.4 + 1e-3 * np.random.default_rng(3).standard_normal(len(moment))
    soundfile.write(german / "ton.wav", bursts, 24_000)
    told = json.loads(say("listen", "ton.wav", "--json").out)
    plain = json.loads(say("--language", "en", "listen", "ton.wav", "--json").out)
    assert told.keys() == plain.keys() and told["claimed"] == plain["claimed"]
    assert told["verdict"] != plain["verdict"] and not english_in(told["verdict"])
    for heard in told["technologies"]:
        assert not [one for item in heard["evidence"] for one in english_in(item["text"])]


def test_a_practice_home_tells_its_sentences_in_json_in_german(say, german):
    told = json.loads(say("practice", "--seed", "7", "--json").out)
    assert told["sentences"][0].startswith("Übungswohnung 7, erfunden.")
    assert json.loads(say("practice", "--seed", "7", "--language", "en", "--json").out)["seed"] == told["seed"]

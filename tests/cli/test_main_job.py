"""The whole job from the command line: survey, meter, transmitters, states, readings, findings, report, package."""

from __future__ import annotations

import json

import pytest

TABLE = """place;radio state;peak [µW/m²];average [µW/m²]
Bed;As found;1.250,5;42,0
Bed;Router off;120;4,1
Bed;Base off;1.180;40
Bed;All off;35;0,9
Desk;As found;>2500000;12,5
Desk;Router off;0,9;<0,03
Küche;As found;15,25;1,5
"""


@pytest.fixture
def flat(say, work_in_copy):
    """A record with one meter, two transmitters and four radio states."""
    folder = work_in_copy(lambda: enter_flat(say))
    (folder / "readings.csv").write_text(TABLE, encoding="utf-8")
    return folder


def enter_flat(say):
    for words in (
        ("new", "Flat", "--client", "A. Client", "--guideline", "building-biology-2015"),
        ("meter", "--name", "Hand meter", "--serial", "17", "--tolerance", 6, "--due", "2030-01-01"),
        ("transmitter", "Router", "--technology", "wifi_data", "--frequency", 2450),
        ("transmitter", "Telephone base", "--technology", "dect", "--frequency", 1890),
        ("state", "Router off", "--off", "Router"),
        ("state", "Base off", "--off", "Telephone base"),
        ("state", "All off", "--off", "Router", "--off", "Telephone base"),
    ):
        said = say(*words)
        assert said.code == 0, said.err


def findings(say, record: str) -> dict:
    plain = json.loads(say("assess", "--record", record, "--all-states", "--json").out)
    plain.pop("survey")
    return plain


def test_from_a_table_to_the_same_findings_elsewhere(say, flat):
    shown = say("take-in", "readings.csv")
    assert "column 3" in shown.out
    assert say("assess").code == 6
    taken = say("take-in", "readings.csv", "--make-places", "--confirm", "--json")
    assert taken.code == 0, taken.err
    assert json.loads(taken.out)["readings"] == 14
    here = findings(say, "roomfield.sqlite")
    peak = {(r["place"], r["state"]): r for r in here["places"] if r["kind"] == "peak"}
    bed = next(r for (place, _), r in peak.items() if place == "Bed")
    assert bed["low_w_m2"] < 1250.5e-6 < bed["high_w_m2"]
    assert next(r for (place, _), r in peak.items() if place == "Desk")["censoring"] == "overload"
    router = next(c for c in here["contributions"] if c["source"] == "Router" and c["kind"] == "peak")
    assert router["pairs"] == 2
    assert not router["includes_zero"]

    for name in ("report.pdf", "report.html", "report.xlsx", "report.csv", "report.json"):
        assert say("report", name, "--short").code == 0
        assert (flat / name).stat().st_size > 500
    packed = json.loads(say("pack", "flat.zip", "--json").out)
    assert say("unpack", "flat.zip", "--record", "elsewhere.sqlite").code == 0
    assert findings(say, "elsewhere.sqlite") == here
    again = json.loads(say("pack", "again.zip", "--record", "elsewhere.sqlite", "--json").out)
    assert again["content_sha256"] == packed["content_sha256"]
    page = (flat / "report.html").read_text(encoding="utf-8")
    assert packed["sha256"] in "".join(page.split())  # the report prints it in groups


def test_a_table_is_taken_in_once(say, flat):
    assert say("take-in", "readings.csv", "--make-places", "--confirm").code == 0
    twice = say("take-in", "readings.csv", "--confirm")
    assert twice.code == 3
    assert "taken in before" in twice.err
    assert say("take-in", "readings.csv", "--confirm", "--again").code == 0
    assert {r["kind"] for r in findings(say, "roomfield.sqlite")["places"]} == {"peak", "average"}


def test_a_faulty_row_keeps_everything_out(say, flat):
    (flat / "bad.csv").write_text(TABLE + "Bed;No such state;1;1\nBed;As found;-4;x\n", encoding="utf-8")
    said = say("take-in", "bad.csv", "--make-places", "--confirm")
    assert said.code == 3
    assert "line 9, radio state: 'No such state'" in said.err
    assert "line 10" in said.err
    assert say("assess").code == 6


def test_an_empty_table_is_no_visit(say, flat):
    (flat / "head.csv").write_text("place;peak [µW/m²]\n", encoding="utf-8")
    said = say("take-in", "head.csv", "--confirm")
    assert (said.code, "holds no reading" in said.err) == (3, True)


def test_with_two_visits_one_must_be_named(say, flat):
    made = json.loads(say("visit", "--conditions", "rain", "--json").out)["visit"]
    said = say("take-in", "readings.csv", "--make-places", "--confirm")
    assert (said.code, "2 visits" in said.err, made in said.err) == (3, True, True)
    assert say("take-in", "readings.csv", "--make-places", "--confirm", "--visit", made).code == 0
    assert say("assess").code == 6
    assert json.loads(say("assess", "--visit", made, "--json").out)["visit"] == made


def test_amendments_change_findings_and_stand_in_the_report(say, flat):
    say("take-in", "readings.csv", "--make-places", "--confirm")
    say("report", "before.json", "--short")
    table = json.loads((flat / "before.json").read_text(encoding="utf-8"))
    text = json.dumps(table)
    before = findings(say, "roomfield.sqlite")
    reading = next(w for w in _ids(table) if w.endswith("-peak"))
    assert say("amend", reading, "value", "990", "--reason", "misread", "--by", "A. Assessor").code == 0
    after = findings(say, "roomfield.sqlite")
    assert after != before
    say("report", "after.html", "--short")
    page = (flat / "after.html").read_text(encoding="utf-8")
    assert "misread" in page
    assert "misread" not in text
    assert say("withdraw", reading, "--reason", "wrong meter", "--by", "A. Assessor").code == 0
    left = {(r["place"], r["state"], r["kind"]) for r in findings(say, "roomfield.sqlite")["places"]}
    assert len(left) == len(after["places"]) - 1


def _ids(table: object) -> list[str]:
    if isinstance(table, dict):
        return [w for v in table.values() for w in _ids(v)]
    if isinstance(table, list):
        return [w for v in table for w in _ids(v)]
    return [table] if isinstance(table, str) else []


def test_tables_fit_eighty_columns(say, demo_record):
    for words in (("assess",), ("assess", "--all-states")):
        wide = [line for line in say(*words, "--record", demo_record).out.splitlines() if len(line) > 80]
        assert [line for line in wide if not line.startswith("Guideline:")] == []


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("meter", "--tolerance", "-6"), "tolerance"),
        (("meter", "--floor", "0"), "floor"),
        (("meter", "--low", "9000", "--high", "6000"), "band"),
        (("meter", "--due", "soon"), "no date"),
        (("transmitter", "Router"), "already"),
        (("transmitter", ""), "needs a name"),
        (("transmitter", "X", "--technology", "foo"), "no technology named 'foo'"),
        (("transmitter", "X", "--control", "me"), "no control named 'me'"),
        (("transmitter", "X", "--frequency", "1e30"), "frequency"),
        (("state", "X", "--off", "nope"), "no transmitter or switch named 'nope'"),
        (("state", "", "--off", "Router"), "needs a name"),
    ],
)
def test_what_cannot_be_entered(say, flat, words, part):
    said = say(*words)
    assert said.code == 3
    assert part in said.err
    assert len(said.err.strip().splitlines()) == 1


def test_names_to_give_are_listed(say):
    plain = json.loads(say("references", "--json").out)
    assert plain["jurisdiction"]["EU"] == "European Union"
    assert "three-way" in plain["decision rule"]
    assert "dect" in plain["technology"]

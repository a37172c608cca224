"""README's way from nothing to the report, typed without the browser: plan, positions, readings, shares, map, plans."""

from __future__ import annotations

import json
import shlex

import openpyxl

WAY = """
new "Flat, second floor" --client "A. Client" --guideline building-biology-2015 --at 2027-03-02T09:00+01:00
plan rooms.txt --storey "Second floor"
place Bed --position "Bedroom: 1.2 west, 0.8 south" --night 8
place Desk --position "Living room: 0.8 east, 0.6 south" --day 6
transmitter Router --technology wifi_data --frequency 2450 --eirp 100 --position "Living room: 0.5 west, 2 north"
state "Router off" --off Router
take-in readings.xlsx --sheet Readings
take-in readings.xlsx --sheet Readings --confirm
assess
shares --place bed
sources
map map.svg --storey "second floor"
next --for variance
action "Router off at night" switch_off --transmitter Router
predict --do "router off at night" --target 100
agree "Router off at night" --target 100 --at sleeping
plans 100 --at sleeping
report report.html
"""
ROOMS = "Living room 5 x 4\nBedroom 4 x 3.5 north of Living room\nwindow Bedroom north 1 to 2.4\n"
OWN = """
schema = "roomfield-limits/1"

[[set]]
id = "house-rule"
title = "Agreed house rule"
document = "Agreement between tenant and owner"
edition = "1 March 2027"
clause = "2"

[[set.level]]
f_low_mhz = 10
f_high_mhz = 30000
quantity = "electric_field"
coefficient = 6
averaging_min = 6
"""
ROWS = [
    ("place", "state", "peak µW/m²", "average µW/m²"),
    ("Bed", "As found", 420, 21),
    ("Bed", "Router off", 14, 0.8),
    ("Desk", "As found", 5200, 260),
    ("Desk", "Router off", 20, 1.1),
]


def test_from_new_to_the_report(say, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rooms.txt").write_text(ROOMS, "utf-8")
    book = openpyxl.Workbook()
    book.active.title = "Notes"
    sheet = book.create_sheet("Readings")
    for row in ROWS:
        sheet.append(row)
    book.save(tmp_path / "readings.xlsx")
    shown = {}
    for line in WAY.strip().splitlines():
        said = say(*shlex.split(line))
        assert said.code == 0, f"{line}: {said.err}"
        shown[line.split()[0]] = said.out
    assert "Router" in shown["shares"]
    for verb in ("assess", "shares", "sources", "next"):
        rows = [line.rstrip() for line in shown[verb].splitlines() if line.startswith("  ")]
        assert max(map(len, rows)) <= 80, shown[verb]
    assert "<svg" in (tmp_path / "map.svg").read_text("utf-8")[:400]
    assert "Flat, second floor" in (tmp_path / "report.html").read_text("utf-8")
    assert len(json.loads(say("list", "readings", "--json").out)) == 8


def test_sheets_that_are_not_read_are_named(say, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    book = openpyxl.Workbook()
    book.active.title = "First"
    for row in ROWS:
        book.active.append(row)
    book.create_sheet("Second")
    book.save(tmp_path / "r.xlsx")
    assert "not read: Second" in say("take-in", "r.xlsx").out
    assert "no sheet named 'Third'" in say("take-in", "r.xlsx", "--sheet", "Third").err


def test_levels_are_amended_in_the_unit_of_the_trade(say, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    say("new", "Flat")
    (tmp_path / "r.csv").write_text("place;peak [µW/m²]\nBed;120\n", "utf-8")
    assert say("take-in", "r.csv", "--make-places", "--confirm").code == 0
    (reading,) = json.loads(say("list", "readings", "--json").out)
    for typed, held in (("1300", 1.3e-3), ("2 mW/m²", 2e-3), ("0,5 µW/m²", 5e-7)):
        said = say("amend", reading["id"], "value", typed, "--reason", "misread", "--by", "A")
        assert said.code == 0, said.err
        assert "µW/m²" in said.out
        assert json.loads(say("show", "reading", reading["id"], "--json").out)["value_w_m2"] == held
    assert "is no level" in say("amend", reading["id"], "value", "much", "--reason", "m", "--by", "A").err


def test_limits_of_ones_own_stand_beside_the_law(say, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    say("new", "Flat")
    (tmp_path / "r.csv").write_text("place;average [µW/m²]\nBed;120\n", "utf-8")
    say("take-in", "r.csv", "--make-places", "--confirm")
    (tmp_path / "own.toml").write_text(OWN, "utf-8")
    law = json.loads(say("assess", "--json").out)["law"]
    both = json.loads(say("assess", "--limits", "own.toml", "--json").out)
    assert both["law"] == law
    (own,) = both["own_limits"]
    assert own["id"] != law["id"] and own["comparisons"][0]["reference"] == own["id"]
    shown = say("assess", "--limits", "own.toml").out
    assert "Beside the law" in shown
    say("report", "own.json", "--limits", "own.toml", "--short")
    document = json.loads((tmp_path / "own.json").read_text("utf-8"))["content"]
    told = {v["reference_id"] for v in document["verdicts"]}
    assert {law["id"], own["id"]} <= told
    assert document["law_id"] == law["id"]

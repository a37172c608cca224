"""A plan, positions, and everything of the record by name: listed, shown, changed, taken out."""

from __future__ import annotations

import json

import pytest

from roomfield.cli.mending_calls import CALLS


@pytest.fixture
def home(say, work_in_copy):
    """A survey with a plan by size and side, one place and one transmitter."""
    return work_in_copy(lambda: enter_home(say))


def enter_home(say):
    for words in (
        ("new", "Flat", "--address", "Road 1", "--question", "Why?", "--language", "de", "--at", "2026-11-02T10:00"),
        ("plan", "--room", "Living room 5 x 4", "--room", "Bedroom 4 x 3 north of Living room"),
        ("place", "Bed", "--position", "Bedroom: 1.2 west, 0.8 south", "--night", 8),
        ("transmitter", "Router", "--technology", "wifi_data", "--frequency", 2450, "--eirp", 100, "--duty", 5,
         "--position", "Living room: 1 east, 0.5 north, 1.5 up"),
        ("state", "Router off", "--off", "Router"),
    ):  # fmt: skip
        said = say(*words)
        assert said.code == 0, said.err


def plain(say, *words):
    said = say(*words, "--json")
    assert said.code == 0, said.err
    return json.loads(said.out)


def test_positions_are_counted_from_two_walls(say, home):
    (bed,) = plain(say, "list", "places")
    assert bed["position"] == [1.2, 4.8, 0.5]
    assert (bed["kind"], bed["night_hours"]) == ("bed", 8.0)
    router = plain(say, "show", "transmitter", "router")
    assert router["position"] == [4.0, 3.5, 1.5]
    assert (router["eirp_w"], router["duty"]) == (0.1, 0.05)


def test_assignment_and_moment_come_with_new(say, home):
    assert plain(say, "list", "visits")[0]["started_at"] == "2026-11-02T10:00"
    order = plain(say, "assignment")
    assert (order["address"], order["question"], order["language"]) == ("Road 1", "Why?", "de")
    assert plain(say, "assignment", "--client", "B. Client")["client"] == "B. Client"
    assert say("assignment", "--language", "xx").code == 3


def test_changes_go_by_name_and_refuse_what_cannot_be(say, home):
    assert (
        plain(say, "change", "place", "bed", "name=Double bed", "position=Bedroom: 1 east, 1 north")["name"]
        == "Double bed"
    )
    assert plain(say, "show", "place", "Double bed")["position"] == [3.0, 6.0, 0.5]
    assert plain(say, "change", "visit", "visit-1", "started=2026-11-03T09:00+01:00")["started_at"].startswith(
        "2026-11-03"
    )
    for words, told in (
        (("change", "place", "Bed 2", "name=X"), "Choose one of: Double bed"),
        (("change", "place", "Double bed", "colour=red"), "no field named 'colour'"),
        (("change", "place", "Double bed", "position=Bedroom: 9 west"), "outside the room"),
        (("change", "place", "Double bed", "position=Bedroom: 1 west, 1 east"), "both west and east"),
        (("change", "transmitter", "Router", "eirp=much"), "no number"),
        (("change", "visit", "visit-1", "started=yesterday"), "no date"),
        (("change", "reading", "x", "a=b"), "amend"),
    ):
        said = say("--language", "en", *words)
        assert said.code == 3
        assert told in said.err


def test_a_switch_keeps_its_tests_when_it_gets_another_name(say, home):
    changed = plain(say, "change", "transmitter", "Router", "switch=plug")
    assert changed["switch_group"] == "plug"
    states = {s["name"]: s["off_groups"] for s in plain(say, "list", "states")}
    assert states["Router off"] == ["plug"]


def test_only_what_nothing_needs_is_taken_out(say, home):
    assert "radio state 'Router off'" in say("remove", "transmitter", "Router").err
    assert say("remove", "state", "Router off").code == 0
    assert say("remove", "transmitter", "Router").code == 0
    (home / "r.csv").write_text("place;state;peak [µW/m²]\nBed;As found;120\n", "utf-8")
    assert say("take-in", "r.csv", "--confirm").code == 0
    assert "1 observation" in say("remove", "place", "Bed").err
    assert "1 observation" in say("remove", "visit", "visit-1").err
    assert say("remove", "room", "Living room").code == 0
    assert [r["name"] for r in plain(say, "list", "rooms")] == ["Bedroom"]


def test_ids_are_whole_in_a_pipe(say, home):
    long = "A survey whose title is far too long for the columns of any terminal that people use today"
    say("new", long, "--record", "other.sqlite")
    said = say("list", "--record", "other.sqlite")
    assert "…" not in said.out
    assert said.out.count("\n") == 1
    assert long in said.out.split("\t")[1]


def test_a_second_plan_is_asked_about_and_replaces(say, home):
    again = ("plan", "--room", "Hall 2 x 2")
    assert "--replace" in say(*again).err
    assert say(*again, "--storey", "Attic", "--floor", 3).code == 0
    assert len(plain(say, "list", "storeys")) == 2
    assert say(*again, "--replace").code == 0
    assert [r["name"] for r in plain(say, "list", "rooms")] == ["Hall"]
    assert plain(say, "show", "place", "Bed")["room_id"] == ""


def test_templates_and_files_come_in(say, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    say("new", "Flat")
    assert say("plan", "--template", "castle").code == 3
    assert say("plan", "--template", "one-room-flat").code == 0
    assert len(plain(say, "list", "rooms")) == 3
    assert all(p["position"] for p in plain(say, "list", "places"))
    square = [[0, 0], [4, 0], [4, 3], [0, 3], [0, 0]]
    feature = {
        "type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [square]},
        "properties": {"name": "Bath"},
    }
    (tmp_path / "p.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    assert "--coordinates metres" in say("plan", "p.geojson").err
    assert say("plan", "p.geojson", "--coordinates", "metres", "--replace").code == 0
    assert [r["name"] for r in plain(say, "list", "rooms")] == ["Bath"]
    assert say("plan", "absent.dxf").code == 3
    assert say("plan", "p.geojson", "--template", "blank").code == 3


def test_refusals_name_the_call(say, home):
    said = say("shares")
    assert "-> roomfield take-in" in said.err
    for call in CALLS.values():
        assert call.startswith("roomfield ")


def test_version_and_help_with_units(say):
    assert say("--version").out.strip()[0].isdigit()
    assert "'Level 1=peak[uW/m2]'" in " ".join(say("take-in", "--help").out.split())
    assert "--show-completion" in say("--help").out


def test_levels_by_band_from_a_second_instrument(say, home):
    (home / "bands.csv").write_text("From [MHz];To [MHz];Average [V/m]\n925;960;0,02\n", encoding="utf-8")
    shown = plain(say, "take-spectrum", "bands.csv")
    assert not shown["confirmed"] and shown["questions"] == []
    words = (
        "take-spectrum",
        "bands.csv",
        "--at",
        "Bed",
        "--state",
        "as found",
        "--axes",
        3,
        "--accuracy",
        1.5,
        "--confirm",
    )
    refused = say("take-spectrum", "bands.csv", "--confirm")
    assert refused.code and "--at" in refused.err and "Ort" in refused.err
    (stored,) = plain(say, *words)["bands"]
    assert (stored["name"], stored["kind"]) == ("Analyser, 900 DL", "average")
    told = say("assess").out
    assert "Nach Bändern" in told and "Analyser, 900 DL" in told
    assert plain(say, "assess")["bands"][0]["share_of_limit"]["high"] < 1.0
    assert say(*words).code


def test_a_trace_needs_its_bandwidth_and_may_lie_below_zero(say, home):
    rows = "\n".join(f"{f},-60" for f in range(920, 966))
    (home / "trace.csv").write_text(f"Frequency [MHz],Max hold [dBm]\n{rows}", encoding="utf-8")
    (home / "af.csv").write_text("frequency [MHz],gain [dBi]\n800,2\n1000,2\n", encoding="utf-8")
    words = ("take-spectrum", "trace.csv", "--at", "Bed", "--state", "as found", "--antenna", "af.csv", "--confirm")
    assert "--rbw" in say(*words).err
    (stored,) = plain(say, *words, "--rbw", "1MHz", "--floor", -80)["bands"]
    assert stored["kind"] == "highest_held" and stored["value_w_m2"] > 0.0

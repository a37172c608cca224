"""The meter from the command line: figures, certificate, zones, accessories, checks with their chart, what is due."""

from __future__ import annotations

import json

import pytest


@pytest.fixture
def flat(say, work_in_copy):
    return work_in_copy(lambda: enter_flat(say))


def enter_flat(say):
    assert say("new", "Flat").code == 0
    assert say("transmitter", "Base", "--technology", "dect", "--frequency", 1890).code == 0


def standing(say, *words) -> dict:
    said = say("meter", *words, "--json")
    assert said.code == 0, said.err
    return json.loads(said.out)


def test_no_figure_is_assumed_in_silence(say, flat):
    found = standing(say)
    assert set(found["not_stated"]) == {f["name"] for f in found["figures"]}
    assert "not stated" in say("meter").out
    entered = standing(say, "--tolerance", 4, "--low", 700, "--high", 5500, "--floor", 0.04, "--overload", 900000,
                       "--repeatability", 0.7, "--response", 9, "--averaging", 0.6, "--body", 0.35, "--axes", 1)  # fmt: skip
    assert entered["not_stated"] == []
    assert entered["total_std_db"] < found["total_std_db"]
    by = {f["name"]: f["value"] for f in entered["figures"]}
    assert by["response_s"] == pytest.approx(9e-6) and by["overload_w_m2"] == pytest.approx(0.9)


def test_certificate_zones_and_accessory(say, flat):
    standing(say, "--tolerance", 4, "--low", 700, "--high", 5500)
    found = standing(say, "--row", "2450 0.3 0.9", "--row", "900 -0.4 0.8", "--zone", "300 700 7")
    assert [p["frequency_hz"] for p in found["meter"]["calibration"]] == [9e8, 2.45e9]
    assert found["curve"][0]["frequency_hz"] == pytest.approx(3e8)
    again = standing(say, "--row", "900 -0.5 0.8")
    assert [p["correction_db"] for p in again["meter"]["calibration"]] == [-0.5, 0.3]
    said = say("accessory", "20 dB pad", "--id", "pad", "--row", "1000 -20 0.4", "--json")
    assert json.loads(said.out)["meter"]["accessories"][0]["id"] == "pad"


def test_checks_make_a_control_chart_and_a_drift_is_told(say, flat):
    for day in range(1, 11):
        assert say("meter-check", "comb source", 0.25 * day, "--at", f"2026-03-{day:02d}").code == 0
    assert "the meter drifts" in say("meter").out
    assert standing(say)["chart"]["drifting"] is True
    said = say("meter-check", "self-test", "--battery", "3 of 4", "--at", "2026-03-20")
    assert "passed, battery 3 of 4" in said.out


def test_a_check_may_read_too_little(say, flat):
    assert say("meter-check", "comb source", "-0.8", "--at", "2026-03-01").code == 0
    assert [c["deviation_db"] for c in standing(say)["meter"]["checks"]] == [-0.8]
    assert say("meter-check", "comb source", "--nonsense").code != 0


@pytest.mark.parametrize(
    ("day", "words"), [("2027-01-10", "in 31 days. Send it soon."), ("2027-03-01", "overdue since")]
)
def test_when_the_calibration_is_due(say, flat, day, words):
    standing(say, "--due", "2027-02-10")
    assert words in say("meter", "--on", day).out


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("meter", "--row", "900 x 1"), "not 3 numbers"),
        (("meter", "--zone", "700 300 6"), "lower end"),
        (("meter", "--zone", "300 700 6", "--zone", "600 800 6"), "overlap"),
        (("accessory", "pad", "--row", "1000 -20 0.4", "--kind", "cushion"), "cushion"),
        (("meter-check", "", "0.2"), "needs a name"),
        (("meter-check", "source", "0.2", "--at", "soon"), "soon"),
        (("state", "call", "--doing", "Base=shouting"), "shouting"),
        (("state", "call", "--doing", "Nobody=in_use"), "Nobody"),
        (("state", "call", "--off", "Base", "--doing", "Base=in_use"), "is off and yet"),
        (("visit", "--at", "2026-05-02T21:30+02:00", "--until", "2026-05-02T20:00+02:00"), "ends at"),
        (("visit", "--at", "tomorrow"), "tomorrow"),
    ],
)
def test_what_cannot_be_entered(say, flat, words, part):
    said = say(*words)
    assert said.code == 3, said.err
    assert part in said.err
    assert len(said.err.strip().splitlines()) == 1


def test_a_state_says_what_transmitters_do_and_a_visit_when_it_was(say, flat):
    assert json.loads(say("state", "Call", "--doing", "Base=in_use", "--json").out)["doing"]
    made = json.loads(say("visit", "--at", "2026-05-02T21:30+02:00", "--json").out)
    assert made["started_at"] == "2026-05-02T21:30+02:00"


def test_a_person_s_day(say, flat):
    """Whereabouts by the clock; what is no stay is refused in one sentence."""
    for words, part in (
        (("person", "Ann", "--stay", "Bed=night"), "is no stay"),
        (("person", "Ann", "--stay", "Attic=8-9"), "Attic"),
    ):
        said = say(*words)
        assert said.code == 3 and part in said.err
    made = say("person", "Ann", "--stay", "=8-17:30", "--json")
    assert json.loads(made.out)["hours"] == 9.5


def test_a_new_survey_in_the_record_keeps_the_meter_of_the_last(say, flat):
    """Figures are asked for once and remembered."""
    standing(say, "--name", "Hand meter", "--tolerance", 4, "--row", "900 -0.4 0.8")
    made = say("new", "House", "--json")
    assert made.code == 0, made.err
    survey_id = json.loads(made.out)["survey"]
    again = standing(say, "--survey", survey_id)
    assert again["meter"]["name"] == "Hand meter" and again["meter"]["calibration"]

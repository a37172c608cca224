"""What cannot be is said: impossible rows, off above on, meters that exclude each other, night and day."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from roomfield.exposure.decision import Decision
from roomfield.quantities import Kind
from roomfield.show.words import load_words
from roomfield.survey import (
    Accessory,
    AccessoryKind,
    AccessoryPoint,
    Activity,
    Assignment,
    BandZone,
    Censoring,
    Emitter,
    LogRecord,
    Meter,
    Period,
    Place,
    PlaceKind,
    RadioState,
    Reading,
    SelfTest,
    StateActivity,
    Survey,
    Visit,
    out_of_order,
)
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.assess.doubts import DoubtKind
from roomfield.workbench.assess.log_doubts import log_doubts, logged_levels
from roomfield.workbench.publish.contents.method import method_paragraphs
from roomfield.workbench.publish.contents.report_basis import meter_entries
from roomfield.workbench.publish.contents.unsettled import doubt_texts, unsettled

PEAK, HELD, AVERAGE = Kind.PEAK, Kind.HIGHEST_HELD, Kind.AVERAGE
METER = Meter("m1", "First meter", band_low_hz=6e8, band_high_hz=6e9, tolerance_db=5.0, repeatability_db=1.0,
              floor_w_m2=2e-8, overload_w_m2=1.5, response_s=1e-5)  # fmt: skip
STATES = (
    RadioState("on", "As found"),
    RadioState("off", "Router off", ("router",)),
    RadioState("call", "In a call", activities=(StateActivity("base", Activity.IN_USE),)),
    RadioState("base-off", "Base off", ("base",)),
)
EMITTERS = (Emitter("router", "Router", "wifi_data", 2.45e9), Emitter("base", "Base", "dect", 1.89e9))


def survey(*rows, meters=(METER,), emitters=EMITTERS, **more) -> Survey:
    readings = []
    for n, row in enumerate(rows):
        place, state, kind, value = row[:4]
        extra = row[4] if len(row) > 4 else {}
        base = Reading(f"r{n}", "v", "m1", state, kind, value * 1e-6, place)
        readings.append(replace(base, **extra))
    visit = Visit("v", "2026-02-03T14:00:00+01:00", "A. B.", radio_states=STATES)
    places = (Place("bed", "Bed", PlaceKind.BED), Place("desk", "Desk", PlaceKind.DESK))
    assignment = Assignment(jurisdiction="EU", guideline="building-biology-2015")
    return Survey("s", "t", "2026-02-03", assignment, places=places, meters=meters, visits=(visit,),
                  emitters=emitters, readings=tuple(readings), **more)  # fmt: skip


def told(found) -> list[str]:
    return [d.kind.value for d in found.doubts]


@pytest.mark.published("common practice, no source: average <= peak <= highest held")
@pytest.mark.parametrize(
    ("values", "wrong"),
    [
        ({AVERAGE: 5, PEAK: 50, HELD: 80}, False),
        ({AVERAGE: 5, PEAK: 50, HELD: 50}, False),
        ({AVERAGE: 90, PEAK: 50, HELD: 80}, True),
        ({AVERAGE: 5, PEAK: 100, HELD: 80}, True),
        ({AVERAGE: 60, PEAK: 50}, True),
    ],
)
def test_an_impossible_row_is_told_and_a_right_one_is_not(values, wrong):
    found = assess(survey(*[("bed", "on", kind, v) for kind, v in values.items()]))
    assert ("out_of_order" in told(found)) is wrong
    sentences = [load_words(lang).text(t) for lang in ("en", "de") for t in doubt_texts(found)]
    assert all("Bed" in s for s in sentences) and len(sentences) == (2 * len(found.doubts))


def test_a_bound_is_taken_for_what_it_says():
    clipped = dict(censoring=Censoring.ABOVE)
    rows = survey(("bed", "on", AVERAGE, 2e6), ("bed", "on", PEAK, 1.5e6, clipped)).readings
    assert out_of_order(rows) == ()


def test_a_quieter_second_scan_makes_no_row_impossible():
    later = dict(replicate=1)
    rows = survey(("bed", "on", AVERAGE, 40), ("bed", "on", PEAK, 100), ("bed", "on", PEAK, 30, later)).readings
    assert out_of_order(rows) == ()
    assert out_of_order(survey(("bed", "on", AVERAGE, 40, later), ("bed", "on", PEAK, 30)).readings)


def test_held_maxima_alone_get_the_full_verdict():
    found = assess(survey(("bed", "on", HELD, 400.0), ("bed", "off", HELD, 20.0)))
    (first, _) = found.precaution
    assert first.results[0].level.kind is HELD
    assert found.law[0].is_upper_bound and found.law[0].verdict.decision is Decision.BELOW
    assert [p.first.kind for p in found.leading_switches] == [HELD]


def test_guidelines_take_the_highest_held_if_it_was_read():
    found = assess(survey(("bed", "on", PEAK, 100), ("bed", "on", HELD, 180), ("bed", "on", AVERAGE, 9)))
    (one,) = found.precaution
    assert one.results[0].level.kind is HELD
    slipped = assess(survey(("bed", "on", PEAK, 1000), ("bed", "on", HELD, 180)))
    assert slipped.precaution[0].results[0].level.kind is PEAK
    assert "out_of_order" in told(slipped)


def test_more_with_less_switched_on_is_told():
    found = assess(survey(("bed", "on", PEAK, 100), ("bed", "off", PEAK, 1200)))
    assert "off_above_on" in told(found)
    alike = assess(survey(("bed", "on", PEAK, 100), ("bed", "off", PEAK, 110)))
    assert "off_above_on" not in told(alike)


def test_an_on_off_test_that_shows_nothing_says_that_the_device_may_have_been_silent():
    idle = assess(survey(("bed", "on", PEAK, 100), ("bed", "off", PEAK, 98)))
    texts = [load_words("en").text(t) for t in unsettled(idle)]
    assert any("may have been silent" in t and "Make it transmit" in t for t in texts)
    calling = assess(survey(("bed", "call", PEAK, 100), ("bed", "base-off", PEAK, 98)))
    texts = [load_words("en").text(t) for t in unsettled(calling)]
    assert any("although it was in use" in t for t in texts)


def test_a_state_in_a_call_is_never_pooled_with_idle_readings():
    rows = [("bed", "on", PEAK, 100), ("bed", "call", PEAK, 900), ("bed", "base-off", PEAK, 90)]
    found = assess(survey(*rows))
    base = [p for p in found.pooled if p.first.group == "base"]
    assert {p.first.activity for p in base} == {None, Activity.IN_USE}
    assert found.table.base_state.id == "on"
    by = {p.first.activity: p.contribution.nominal_w_m2 for p in base}
    assert by[Activity.IN_USE] > 20 * by[None]
    with_call = assess(survey(("bed", "call", PEAK, 900), ("bed", "off", PEAK, 90)))
    assert with_call.pooled == ()  # the router went off and the call ended: two things differ


def test_night_and_day_are_two_findings_and_the_night_counts_at_a_bed():
    at = lambda clock: dict(taken_at=f"2026-02-03T{clock}:00+01:00", replicate=int(clock[:2]))  # noqa: E731
    found = assess(survey(("bed", "on", PEAK, 40, at("14:00")), ("bed", "on", PEAK, 900, at("23:30")),
                          ("bed", "on", PEAK, 35, at("15:00"))))  # fmt: skip
    (night,), (day,) = found.table.levels, found.table.other_times
    alone = assess(survey(("bed", "on", PEAK, 900))).table.levels[0]
    assert (night.period, day.period) == (Period.NIGHT, Period.DAY)
    assert night.combined.level.level_db == pytest.approx(alone.combined.level.level_db)
    assert night.combined.level.level_db - day.combined.level.level_db > 12.0
    assert told(found) == []
    turned = assess(survey(("bed", "on", PEAK, 900, at("14:00")), ("bed", "on", PEAK, 40, at("23:30"))))
    assert turned.table.levels[0].period is Period.NIGHT
    assert "day_above_night" in told(turned)
    desk = assess(survey(("desk", "on", PEAK, 900, at("14:00")), ("desk", "on", PEAK, 40, at("23:30"))))
    assert desk.table.levels[0].period is Period.DAY


def test_two_meters_that_exclude_each_other_are_told():
    second = replace(METER, id="m2", name="Second meter", tolerance_db=3.0)
    other = dict(meter_id="m2")
    far = assess(survey(("bed", "on", PEAK, 10), ("bed", "on", PEAK, 4000, other), meters=(METER, second)))
    near = assess(survey(("bed", "on", PEAK, 10), ("bed", "on", PEAK, 25, other), meters=(METER, second)))
    assert "meters_disagree" in told(far) and "meters_disagree" not in told(near)


def test_a_transmitter_outside_the_band_is_told_and_has_no_part_in_quotients():
    mast = Emitter("fm", "Broadcast mast", "", 98e6, switch_group="router", switchable=True)
    found = assess(survey(("bed", "on", AVERAGE, 100), ("bed", "off", AVERAGE, 10), emitters=(mast, EMITTERS[1])))
    assert "outside_band" in told(found)
    assert found.quotients == ()
    assert "Broadcast mast" in load_words("en").text(doubt_texts(found)[-1])
    unstated = replace(METER, band_low_hz=None, band_high_hz=None)
    assert "outside_band" not in told(assess(survey(("bed", "on", AVERAGE, 100), emitters=(mast,), meters=(unstated,))))


def test_every_doubt_has_its_sentence_in_both_languages():
    for language in ("en", "de"):
        words = load_words(language)
        assert all(words.has(f"doubt.{kind.value}") for kind in DoubtKind)


def logged(found, kind: str, low: float, high: float):
    record = LogRecord("l1", "v", "m1", "on", Kind(kind), "a" * 64, "", "bed", "2026-02-03T20:00:00+01:00")
    series = SimpleNamespace(unit=SimpleNamespace(name="W/m2"), kind=kind, minimum=low * 1e-6, maximum=high * 1e-6)
    return log_doubts(found.table, (logged_levels(found.survey, record, series),))


@pytest.mark.published("common practice, no source: no average is above the highest value logged at its place")
def test_a_log_and_a_spot_reading_that_cannot_both_be_right_are_told():
    found = assess(survey(("bed", "on", AVERAGE, 5000), ("bed", "on", HELD, 9000), ("desk", "on", AVERAGE, 5000)))
    assert [(d.kind, d.place_id, d.kind_first) for d in logged(found, "average", 2, 10)] == [
        (DoubtKind.LOG_DISAGREES, "bed", AVERAGE)
    ]
    assert logged(found, "average", 2, 4000) == ()
    quiet = assess(survey(("bed", "on", HELD, 3)))
    assert [d.kind_first for d in logged(quiet, "average", 900, 4000)] == [HELD]
    assert logged(quiet, "highest_held", 2, 4000) == ()
    assert logged_levels(found.survey, LogRecord("l", "v", "m1", "on", AVERAGE, "a"), SimpleNamespace(
        unit=SimpleNamespace(name="V/m"), kind="average", minimum=1.0, maximum=2.0)) is None  # fmt: skip


def test_two_meters_at_one_place_make_one_level_and_the_report_says_how_it_was_held():
    second = replace(METER, id="m2", name="Second meter", tolerance_db=2.0)
    found = assess(survey(("bed", "on", PEAK, 10, dict(watched_s=5.0)), ("bed", "on", PEAK, 25, dict(meter_id="m2")),
                          meters=(METER, second)))  # fmt: skip
    (one,) = found.across_meters
    assert one.meter_ids == ("m1", "m2") and 15e-6 < one.level.median_w_m2 < 33e-6
    for language in ("en", "de"):
        texts = [load_words(language).text(t) for t in method_paragraphs(found)]
        assert any("1 " in t and "2 " in t for t in texts[:1])
        assert any("Bed" in t and "µW/m²" in t for t in texts)


def test_the_report_s_instrument_page_knows_zones_accessories_and_the_last_self_test():
    meter = replace(
        METER, zones=(BandZone(3e8, 6e8, 7.0),), self_tests=(SelfTest("2026-02-01", True, "3 of 4"), SelfTest("2026-03-01")),
        accessories=(Accessory("pad", "20 dB pad", AccessoryKind.ATTENUATOR, (AccessoryPoint(1e9, -20.0),)),),
    )  # fmt: skip
    (entry,) = meter_entries(survey(("bed", "on", PEAK, 10), meters=(meter,)), "2026-02-03")
    assert entry.receives_hz == (3e8, 6e9)
    for language, part in (("en", "passed; battery 3 of 4"), ("de", "bestanden; Batterie 3 of 4")):
        told = [load_words(language).text(t) for t in entry.remarks]
        assert len(told) == 3 and part in told[-1] and "20 dB pad" in told[1] and "7" in told[0]

"""Everybody's day from readings and whereabouts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roomfield.demo.invented_survey import demo_survey
from roomfield.quantities import Kind
from roomfield.survey import Meter, Period, Person, Place, PlaceKind, RadioState, Reading, Stay, Survey, Visit
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.assess.day_exposure import day_exposures

METER = Meter("m", "meter", tolerance_db=4.0, repeatability_db=0.8, floor_w_m2=2e-8, overload_w_m2=1.5)


def home(*people: Person) -> Survey:
    rows = (("bed", Kind.AVERAGE, 20e-6, "23:30"), ("bed", Kind.AVERAGE, 200e-6, "14:00"),
            ("bed", Kind.HIGHEST_HELD, 900e-6, "23:30"), ("bed", Kind.HIGHEST_HELD, 40e-6, "14:00"),
            ("desk", Kind.AVERAGE, 100e-6, "14:10"))  # fmt: skip
    readings = tuple(
        Reading(f"r{n}", "v", "m", "on", kind, value, place, taken_at=f"2026-02-03T{at}:00+01:00", replicate=n)
        for n, (place, kind, value, at) in enumerate(rows)
    )
    visit = Visit("v", "2026-02-03T14:00:00+01:00", "A. B.", radio_states=(RadioState("on", "As found"),))
    places = (Place("bed", "Bed", PlaceKind.BED, night_hours=8.0), Place("desk", "Desk", PlaceKind.DESK))
    return Survey(
        "s", "t", "2026-02-03", places=places, meters=(METER,), visits=(visit,), readings=readings, people=people
    )


def test_the_night_is_weighed_with_what_was_read_at_night():
    ann = Person("ann", "Ann", (Stay("bed", 22.0, 6.0), Stay("desk", 8.0, 12.0), Stay("", 13.0, 17.0)))
    (day,) = day_exposures(assess(home(ann)))
    assert day.entered and day.hours_covered == 12.0
    expected = (8 * 20e-6 + 4 * 100e-6) / 12 * 10**0.24  # half of what one axis misses of an average is added
    span = day.mean.interval(0.95)
    assert span.low_w_m2 < expected < span.high_w_m2
    assert 0.6 * expected < day.mean.median_w_m2 < 1.7 * expected
    assert day.night_place_ids == ("bed",)
    assert day.highest_at_night.median_w_m2 == pytest.approx(900e-6 * 10**0.07, rel=0.03)


def test_a_stay_over_the_edge_of_the_night_is_cut():
    bob = Person("bob", "Bob", (Stay("bed", 20.0, 7.0),))
    (day,) = day_exposures(assess(home(bob)))
    assert {(p.period, p.hours) for p in day.parts} == {(Period.NIGHT, 8.0), (Period.DAY, 3.0)}


def test_without_anybody_the_usual_hours_of_a_place_stand_in():
    (day,) = day_exposures(assess(home()))
    assert not day.entered and day.person.name == "Bed" and day.hours_covered == 8.0
    assert [d for d in day_exposures(assess(demo_survey())) if d.mean is None] == []


def test_a_stay_at_a_place_that_is_not_there_is_a_fault():
    gone = replace(home(), people=(Person("x", "X", (Stay("attic", 8.0, 9.0),)),))
    assert any("attic" in fault for fault in gone.faults())

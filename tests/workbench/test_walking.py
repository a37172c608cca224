"""The walk: what an entry becomes, what is remarked, what is taken back."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomfield.errors import InputError
from roomfield.quantities import Kind, UncertainLevel
from roomfield.survey import Assignment, Censoring, Orientation
from roomfield.workbench.record import survey_list
from roomfield.workbench.record.editing import started_survey, with_meter, with_radio_state
from roomfield.workbench.record.field_entry import UNDONE, Entry, MeterUnit, Value, enter, readings_of, undo, worth_of
from roomfield.workbench.record.plan_document import plan_of, with_plan

PEAK, AVERAGE = Kind.PEAK, Kind.AVERAGE


@pytest.fixture
def records(tmp_path):
    with survey_list.open_records(str(tmp_path / "r.sqlite")) as opened:
        yield opened


@pytest.fixture
def survey_id(records):
    return survey_list.keep_new(records, started_survey("x", Assignment(assessor="A. B."), "one-room-flat"))


def entry(number, *values, state="as-found", place="place-1", unit=MeterUnit.MICRO):
    return Entry(f"entry-{number}", "visit-1", "meter-1", state, tuple(values), unit, place)


@pytest.mark.published("SI prefixes (BIPM, SI Brochure, 9th edition, table 7)")
@pytest.mark.parametrize(("unit", "factor"), [(MeterUnit.NANO, 1e-9), (MeterUnit.MICRO, 1e-6), (MeterUnit.MILLI, 1e-3)])
def test_units_are_brought_to_watts_per_square_metre(unit, factor):
    survey = started_survey("x", Assignment(), "one-room-flat")
    (reading,) = readings_of(survey, entry(1, Value(2.5, PEAK), unit=unit))
    assert reading.value_w_m2 == pytest.approx(2.5 * factor, rel=1e-12)


@given(st.floats(1e-3, 1e9))
def test_any_level_that_can_be_shown_is_kept_as_typed(number):
    survey = started_survey("x", Assignment(), "one-room-flat")
    (reading,) = readings_of(survey, entry(1, Value(number, PEAK)))
    assert reading.value_w_m2 == pytest.approx(number * 1e-6, rel=1e-12)


@pytest.mark.parametrize("number", [0.0, -1.0, math.nan, math.inf, None, 1e12])
def test_what_no_display_shows_is_refused(number):
    survey = started_survey("x", Assignment(), "one-room-flat")
    with pytest.raises(InputError):
        readings_of(survey, entry(1, Value(number, PEAK)))


def test_a_censored_key_stands_for_the_meters_own_bound():
    survey = started_survey("x", Assignment(), "one-room-flat")
    survey = with_meter(survey, replace(survey.meters[0], floor_w_m2=2e-8, overload_w_m2=1.5))
    low, high = readings_of(survey, entry(1, Value(None, PEAK, Censoring.BELOW), Value(None, PEAK, Censoring.ABOVE)))
    assert (low.value_w_m2, high.value_w_m2) == (survey.meters[0].floor_w_m2, survey.meters[0].overload_w_m2)
    assert worth_of(low, survey.meters[0]).low_w_m2 == 0.0
    assert math.isinf(worth_of(high, survey.meters[0]).high_w_m2)


def test_an_overload_key_needs_a_meter_whose_overload_value_is_known():
    survey = started_survey("x", Assignment(), "one-room-flat")
    with pytest.raises(InputError, match="overload value is not stated"):
        readings_of(survey, entry(1, Value(None, PEAK, Censoring.ABOVE)))
    (high,) = readings_of(survey, entry(1, Value(1e6, PEAK, Censoring.ABOVE)))
    assert high.value_w_m2 == pytest.approx(1.0)


@pytest.mark.published(
    "JCGM 100:2008, 4.3.7: half-width a has standard deviation a over root 3, so ±6 dB alone spans a factor 4 each way"
)
def test_the_instant_interval_is_wider_than_the_tolerance_alone():
    survey = started_survey("x", Assignment(), "one-room-flat")
    (reading,) = readings_of(survey, entry(1, Value(100.0, PEAK)))
    worth = worth_of(reading, survey.meters[0])
    assert worth.low_w_m2 < 100e-6 / 3.0
    assert worth.high_w_m2 > 100e-6 * 3.0
    assert isinstance(UncertainLevel.from_density(Kind.PEAK, worth.low_w_m2), UncertainLevel)


def test_the_same_entry_sent_twice_is_kept_once(records, survey_id):
    for _ in range(2):
        enter(
            records,
            survey_id,
            Entry(
                "e1",
                "visit-1",
                "meter-1",
                "as-found",
                (Value(5.0, PEAK),),
                place_id="place-1",
                taken_at="2026-03-14T10:00:00+01:00",
            ),
        )
    assert len(survey_list.opened(records, survey_id).survey.readings) == 1


def test_values_of_one_go_share_a_scan_and_the_next_go_is_another(records, survey_id):
    enter(
        records,
        survey_id,
        entry(1, Value(5.0, PEAK, orientation=Orientation.X), Value(6.0, PEAK, orientation=Orientation.Y)),
    )
    enter(records, survey_id, entry(2, Value(7.0, PEAK)))
    assert [r.replicate for r in survey_list.opened(records, survey_id).survey.readings] == [0, 0, 1]


def test_taking_back_withdraws_with_reason_and_name_and_keeps_what_was_observed(records, survey_id):
    taken = enter(records, survey_id, entry(1, Value(5.0, PEAK)))
    ids = tuple(w.reading.id for w in taken.worth)
    assert undo(records, survey_id, ids) == 1
    assert undo(records, survey_id, ids) == 0
    survey = survey_list.opened(records, survey_id).survey
    assert (len(survey.readings), survey.current_readings()) == (1, ())
    assert (survey.amendments[0].reason, survey.amendments[0].by) == (UNDONE, "A. B.")


def remarks(records, survey_id, *entries):
    for one in entries[:-1]:
        enter(records, survey_id, one)
    return [r.words for r in enter(records, survey_id, entries[-1]).remarks]


@pytest.mark.published("common practice, no source: a mean cannot exceed the largest value of what it is the mean of")
def test_an_average_above_the_peak_is_remarked(records, survey_id):
    assert any(
        "cannot exceed" in w
        for w in remarks(records, survey_id, entry(1, Value(10.0, PEAK)), entry(2, Value(20.0, AVERAGE)))
    )


def test_a_reading_like_its_neighbour_is_not_remarked(records, survey_id):
    assert remarks(records, survey_id, entry(1, Value(10.0, PEAK)), entry(2, Value(25.0, PEAK))) == []


def test_a_thousandfold_is_remarked_but_another_kind_is_never_compared(records, survey_id):
    assert any(
        "what you measured" in w
        for w in remarks(records, survey_id, entry(1, Value(10.0, PEAK)), entry(2, Value(1e4, PEAK)))
    )
    assert remarks(records, survey_id, entry(3, Value(0.02, AVERAGE))) == []


def test_more_with_less_switched_on_is_remarked(records, survey_id):
    def router(survey):
        from dataclasses import replace

        from roomfield.survey import Emitter

        sheet = replace(plan_of(survey), emitters=(Emitter("router", "Router", switchable=True),))
        return with_radio_state(with_plan(survey, sheet), "visit-1", "Router off", ("router",))

    survey_list.revise(records, survey_id, router)
    off = survey_list.opened(records, survey_id).survey.visits[0].radio_states[1].id
    found = remarks(records, survey_id, entry(1, Value(10.0, PEAK)), entry(2, Value(500.0, PEAK), state=off))
    assert any("less switched on" in w for w in found)


def test_an_entry_without_point_or_values_is_refused():
    survey = started_survey("x", Assignment(), "one-room-flat")
    with pytest.raises(InputError, match="point"):
        readings_of(survey, entry(1, Value(1.0, PEAK), place=""))
    with pytest.raises(InputError, match="0 values"):
        readings_of(survey, entry(1))

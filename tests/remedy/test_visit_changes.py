"""What changed between two visits: nothing told of load alone, a sender that came or went is named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.errors import TooEarlyError
from roomfield.field.inference import infer
from roomfield.field.propagation import unit_density
from roomfield.quantities import Kind
from roomfield.remedy.repeated_scans import repeated_scans
from roomfield.remedy.visit_changes import VisitChange, changes_between
from roomfield.survey import AntennaPattern, HeardTechnology, Recording, Visit


@pytest.fixture(scope="module")
def first():
    survey = replace(demo_survey(), visits=(FIRST,), actions=(), adopted_plan=None)
    survey = replace(survey, readings=tuple(r for r in survey.readings if r.visit_id == FIRST.id))
    return survey, infer(survey, visit_id=FIRST.id)


def again(survey, factor, *, seed: int = 11):
    """The same visit once more: scans scatter by 1.3 dB each, and readings change by a factor of their own."""
    rng = np.random.default_rng(seed)
    scans = {
        key: rng.normal(0.0, 1.3) for key in dict.fromkeys((r.place_id, r.radio_state_id) for r in survey.readings)
    }
    second = replace(FIRST, id="second", started_at="2026-06-14T09:10:00+02:00", done_action_ids=())
    made = tuple(
        replace(
            r, id=f"again-{r.id}", visit_id="second",
            value_w_m2=r.value_w_m2 * factor(r) * 10.0 ** ((scans[r.place_id, r.radio_state_id] + rng.normal(0, 0.5)) / 10.0),
        )
        for r in survey.readings
    )  # fmt: skip
    return replace(survey, visits=(FIRST, second), readings=(*survey.readings, *made))


def told(first, factor, **others):
    survey, posterior = first
    return changes_between(replace(again(survey, factor), **others), posterior, FIRST.id, "second", ())


def test_nothing_is_told_where_only_load_and_scatter_differ(first):
    survey, posterior = first
    for seed in (1, 2, 3):
        both = again(survey, lambda reading: 1.0, seed=seed)
        found = changes_between(both, posterior, FIRST.id, "second", ())
        assert found.told == () and found.load_only > 0.6


def test_the_rows_are_what_one_meter_showed_twice(first):
    survey, posterior = first
    rows = repeated_scans(again(survey, lambda reading: 10.0), posterior, FIRST.id, "second")
    assert abs(float(np.mean(rows.change_db)) - 10.0) < 1.0
    assert np.all(np.linalg.eigvalsh(rows.scatter) > 0.0)


def test_a_new_sender_is_found_in_its_room(first):
    """Half a milliwatt beside the sofa, by the field that the ray model gives it."""
    survey, posterior = first
    sofa = survey.place("sofa").position
    at = np.array([[sofa[0] + 0.8, sofa[1], sofa[2]]])
    points = np.array([p.position for p in survey.places])
    unit = unit_density(posterior.scene, at, np.array([2.4e9]), (AntennaPattern.ISOTROPIC,), points)[:, 0]
    added = dict(zip((p.id for p in survey.places), 0.05 * unit, strict=True))
    share = {Kind.PEAK: 1.6, Kind.HIGHEST_HELD: 1.6, Kind.AVERAGE: 0.3}
    found = told(first, lambda r: 1.0 + share[r.kind] * added[r.place_id] / r.value_w_m2)
    room = survey.place("sofa").room_id
    likely = {(c.change, c.subject) for c in (*found.told, *found.open)}
    assert (VisitChange.NEW_SENDER, room) in likely or found.told[0].change is VisitChange.NEW_SENDER
    assert found.load_only < 0.05


def test_a_new_sender_that_goes_off_with_all_of_ones_own_is_still_a_new_sender(first):
    """Whoever pulls all plugs pulls that of a device nobody wrote down too: no change there, a large one with all on."""
    survey, posterior = first
    switchable = {e.group for e in posterior.survey.emitters if e.switchable}
    silent = {s.id for s in FIRST.radio_states if switchable <= {*s.off_groups}}
    assert silent
    rows = repeated_scans(again(survey, lambda _: 1.0), posterior, FIRST.id, "second")
    read_so = {r.place_id for r in survey.readings if r.radio_state_id in silent}
    assert {rows.places[n].id for n in rows.place[rows.own_off]} == read_so & {p.id for p in rows.places}
    sofa = survey.place("sofa").position
    points = np.array([p.position for p in survey.places])
    at = np.array([[sofa[0] + 0.8, sofa[1], sofa[2]]])
    unit = unit_density(posterior.scene, at, np.array([2.4e9]), (AntennaPattern.ISOTROPIC,), points)[:, 0]
    added = dict(zip((p.id for p in survey.places), 0.05 * unit, strict=True))
    share = {Kind.PEAK: 1.6, Kind.HIGHEST_HELD: 1.6, Kind.AVERAGE: 0.3}
    found = told(
        first,
        lambda r: 1.0 + (r.radio_state_id not in silent) * share[r.kind] * added[r.place_id] / r.value_w_m2,
    )
    assert found.told[0].change is VisitChange.NEW_SENDER


def test_what_was_heard_on_one_visit_only_speaks_for_a_new_sender(first):

    def recorded(visit, name):
        return Recording(
            f"rec-{visit}", visit, "demo-meter", "as_found", "0" * 64, "sofa", heard=(HeardTechnology(name, 0.95),)
        )

    quiet = told(first, lambda r: 1.0, recordings=(recorded(FIRST.id, "wifi"), recorded("second", "wifi")))
    more = told(first, lambda r: 1.0, recordings=(recorded(FIRST.id, "wifi"), recorded("second", "tetra")))
    assert more.newly_heard == ("tetra",) and quiet.newly_heard == ()
    assert quiet.load_only > more.load_only


def test_visits_without_a_reading_in_common_cannot_be_compared(first):
    survey, posterior = first
    empty = replace(
        survey, visits=(FIRST, Visit("second", "2026-06-14T09:10:00+02:00", "x", radio_states=FIRST.radio_states))
    )
    with pytest.raises(TooEarlyError, match="read alike on both"):
        changes_between(empty, posterior, FIRST.id, "second", ())

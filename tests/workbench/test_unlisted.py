"""Readings that no listed transmitter can make are given to one that is not on the list."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roomfield.quantities import Kind
from roomfield.survey import (
    Assignment,
    Censoring,
    Dwelling,
    Emitter,
    Meter,
    Place,
    RadioState,
    Reading,
    Storey,
    Survey,
    Visit,
)
from roomfield.workbench.model.joint_model import can_be_modelled, emitter_names, posterior_of
from roomfield.workbench.model.model_fit import doubts_at, fit_at
from roomfield.workbench.model.source_contributions import shares_at_places
from roomfield.workbench.model.unlisted_source import UNLISTED_ID, with_unlisted
from roomfield.workbench.publish.contents.model_answers import map_grids
from roomfield.workbench.publish.contents.plan_figures import plan_storeys

ROUTER = np.array([6.0, 2.0, 1.0])
EIRP_W, BACKGROUND_W_M2 = 0.1, 60e-6
SPOTS = [(1, 1), (2, 4), (5, 2.5), (7, 4), (4, 3), (8, 1), (0.5, 5), (7, 2)]


def reading(place: Place, state: str, density_w_m2: float) -> Reading:
    return Reading(f"{place.id}-{state}", "v1", "m1", state, Kind.PEAK, density_w_m2, place.id)


@pytest.fixture(scope="module")
def survey() -> Survey:
    places = tuple(Place(f"p{i}", f"Place {i}", position=(x, y, 1.0)) for i, (x, y) in enumerate(SPOTS))
    square_m2 = [4.0 * np.pi * float(np.sum((np.array(p.position) - ROUTER) ** 2)) for p in places]
    on = [reading(p, "on", EIRP_W / area + BACKGROUND_W_M2) for p, area in zip(places, square_m2, strict=True)]
    off = [reading(p, "off", BACKGROUND_W_M2) for p in places[::2]]
    states = (RadioState("on", "As found"), RadioState("off", "Router off", ("router",)))
    return Survey(
        id="open", title="An invented open floor", created_at="2026-03-01T08:00:00+01:00", invented=True,
        places=places, meters=(Meter("m1", "invented meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5),), readings=(*on, *off),
        visits=(Visit("v1", "2026-03-02T10:00:00+01:00", "A. Sessor", radio_states=states),),
        emitters=(Emitter("router", "Router", "wifi_data", 2.45e9, switchable=True),),
    )  # fmt: skip


@pytest.mark.published("ITU-R P.525-4, equation for the power flux-density of a point source: s = p / (4 pi d^2)")
def test_what_is_left_with_all_off_is_not_given_to_those_listed(survey: Survey):
    posterior = posterior_of(survey)
    assert posterior.emitter_ids == ("router", UNLISTED_ID)
    found = shares_at_places(posterior, Kind.PEAK)
    shares = {(p.place_id, s.share.name): s.share.share for p in found for s in p.shares}
    near, far = "p7", "p6"
    assert shares[near, "router"].low > 0.75
    truth = BACKGROUND_W_M2 / (BACKGROUND_W_M2 + EIRP_W / (4.0 * np.pi * (5.5**2 + 3.0**2)))
    assert shares[far, UNLISTED_ID].low < truth < shares[far, UNLISTED_ID].high
    best = posterior.searches[0].best
    assert np.hypot(*(best - ROUTER)[:2]) < 1.5


def test_only_what_was_read_with_all_off_calls_for_it(survey: Survey):
    off = [r for r in survey.readings if r.radio_state_id == "off"]
    rest = tuple(r for r in survey.readings if r.radio_state_id == "on")
    assert with_unlisted(replace(survey, readings=rest), "v1").emitters == survey.emitters
    quiet = tuple(replace(r, censoring=Censoring.BELOW) for r in off)
    assert with_unlisted(replace(survey, readings=rest + quiet), "v1").emitters == survey.emitters
    assert with_unlisted(replace(survey, emitters=()), "v1").emitters == ()
    mast = Emitter("mast", "Mast", outdoor=True)
    assert with_unlisted(replace(survey, emitters=(*survey.emitters, mast)), "v1").emitters == (
        *survey.emitters,
        mast,
    )


def test_what_no_meter_receives_or_nobody_placed_does_not_hide_it(survey: Survey):
    """A mast at 98 MHz is never off, but the meter does not receive it; a place off the plan calls for nothing."""
    meter = replace(survey.meters[0], band_low_hz=4e8, band_high_hz=6e9)
    fm = Emitter("fm", "FM mast", "", 98e6, outdoor=True)
    heard = replace(survey, meters=(meter,), emitters=(*survey.emitters, fm))
    assert with_unlisted(heard, "v1").emitters[-1].id == UNLISTED_ID
    assert posterior_of(heard).emitter_ids == ("router", UNLISTED_ID)
    nowhere = replace(survey, places=tuple(replace(p, position=None) for p in survey.places))
    assert with_unlisted(nowhere, "v1").emitters == survey.emitters
    assert can_be_modelled(heard) and not can_be_modelled(nowhere)
    assert not can_be_modelled(replace(survey, meters=(meter,), emitters=(fm,)))


def test_what_stays_out_of_the_model_is_told(survey: Survey):
    fm = Emitter("fm", "FM mast", "", 98e6, outdoor=True)
    meter = replace(survey.meters[0], band_low_hz=4e8, band_high_hz=6e9)
    places = (replace(survey.places[0], position=None), *survey.places[1:])
    doubtful = replace(survey, meters=(meter,), emitters=(*survey.emitters, fm), places=places)
    told = " ".join(doubts_at(doubtful))
    assert "FM mast" in told and "p0" in told
    assert {m.place_id for m in fit_at(doubtful).misfits} == {p.id for p in places[1:]}
    assert doubts_at(survey) == ()


def test_it_has_a_name_in_the_language_of_the_survey_and_an_id_of_its_own(survey: Survey):
    german = replace(survey, assignment=Assignment(language="de"))
    assert with_unlisted(german, "v1").emitters[-1].name == "Nicht aufgeführte Sender"
    assert emitter_names(survey)[UNLISTED_ID] == "Transmitters not on the list"
    taken = replace(survey, emitters=(replace(survey.emitters[0], id=UNLISTED_ID, switch_group="router"),))
    ids = [e.id for e in with_unlisted(taken, "v1").emitters]
    assert len(set(ids)) == len(ids) == 2


def test_a_survey_of_points_alone_has_a_plan_and_a_map(survey: Survey):
    mast = Emitter("mast", "Mast", "lte_fdd", 8e8, position=(300.0, 40.0, 30.0), outdoor=True)
    bare = Dwelling(storeys=(Storey("ground", "Ground storey", 0.0, 2.5, ()),))
    home = replace(survey, dwelling=bare, emitters=(*survey.emitters, mast))
    (drawn,) = plan_storeys(home, home.places)
    assert [p.position for p in drawn.places] == [(x, y) for x, y in SPOTS]
    elsewhere = replace(home, places=tuple(replace(p, position=(*p.position[:2], 4.0)) for p in home.places))
    assert plan_storeys(elsewhere, home.places)[0].places == ()
    (mapped,) = map_grids(posterior_of(home), plan_storeys(home, home.places))
    assert (mapped.x_m[0], mapped.x_m[-1]) == pytest.approx((-0.5, 9.0), abs=0.5)
    strongest = np.unravel_index(np.nanargmax(np.array(mapped.level_db)), np.shape(mapped.level_db))
    assert np.hypot(mapped.x_m[strongest[1]] - ROUTER[0], mapped.y_m[strongest[0]] - ROUTER[1]) < 1.5

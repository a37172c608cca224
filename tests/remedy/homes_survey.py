"""A surveyed home of one room and a half, its readings made by the propagation model with known powers."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np

from roomfield.field.hand_scan import scan_gain
from roomfield.field.propagation import unit_density
from roomfield.field.scene import Scene
from roomfield.quantities.kind import Kind
from roomfield.survey import (
    AntennaPattern,
    Emitter,
    Meter,
    Place,
    RadioState,
    Reading,
    Survey,
    Visit,
    VisitPurpose,
)

_SPEC = importlib.util.spec_from_file_location("field_homes", Path(__file__).parents[1] / "field" / "homes.py")
homes = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(homes)

DIPOLE = AntennaPattern.VERTICAL_DIPOLE
EMITTERS = (
    Emitter("router", "router", "wifi", 2.45e9, (1.0, 3.0, 1.0), eirp_w=0.1, duty=0.1, pattern=DIPOLE, switchable=True),
    Emitter("base", "cordless base", "dect", 1.89e9, (4.2, 3.5, 1.0), eirp_w=0.2, duty=0.04, pattern=DIPOLE,
            switchable=True),
    Emitter("mast", "mast", "lte", 1.8e9, (-15.0, -120.0, 14.0), outdoor=True, eirp_w=800.0, duty=0.5),
)  # fmt: skip
PLACES = (
    Place("bed", "bed", position=(1.8, 1.0, 0.8), night_hours=8.0),
    Place("desk", "desk", position=(4.1, 1.0, 1.1), day_hours=6.0),
    Place("sofa", "sofa", position=(2.0, 2.6, 0.8), day_hours=3.0),
    Place("door", "by the door", position=(4.0, 2.5, 1.2)),
)
ALL_ON, QUIET = RadioState("on", "all on"), RadioState("quiet", "own off", ("router", "base"))
METER = Meter("m", "meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5)


def true_levels(places=PLACES, emitters=EMITTERS, shields=(), scene=None) -> np.ndarray:
    """Largest values in the scans while transmitting, shape (places, emitters) [W/m²]."""
    scene = (scene or Scene.from_dwelling(homes.box_home())).with_shields(shields)
    frequencies = [e.frequency_hz for e in emitters]
    unit = unit_density(
        scene, [e.position for e in emitters], frequencies, [e.pattern for e in emitters], [p.position for p in places]
    )
    return unit * [e.eirp_w for e in emitters] * 10 ** (scan_gain(np.array(frequencies), 2.0).median_db / 10)


def readings(levels: np.ndarray, visit: str, *, rng=None, gain_db=(0.0, 0.0, 0.0), meter="m", vary_db=1.0):
    """Peaks of one visit in both radio states."""
    rng = rng or np.random.default_rng(0)
    found = []
    seen = levels * 10 ** ((np.array(gain_db) + vary_db * rng.normal(size=levels.shape[1])) / 10)
    for state, on in (("on", [1, 1, 1]), ("quiet", [0, 0, 1])):
        for place, row in zip(PLACES, seen, strict=True):
            value = float((row * on).sum() * 10 ** (rng.normal(0, 1.0) / 10))
            found.append(Reading(f"{visit}-{state}-{place.id}", visit, meter, state, Kind.PEAK, value, place.id))
    return tuple(found)


def survey(found=(), *, second=(), started="2026-03-02T10:00:00+00:00", again="2026-03-16T11:00:00+00:00") -> Survey:
    """The record: one visit, or two."""
    visits = [Visit("v1", started, "a", radio_states=(ALL_ON, QUIET))]
    if second:
        visits.append(Visit("v2", again, "a", VisitPurpose.FOLLOW_UP, radio_states=(ALL_ON, QUIET)))
    plain = tuple(replace(e, eirp_w=None, duty=None) for e in EMITTERS)
    return Survey("s", "home", "2026-03-01", dwelling=homes.box_home(), places=PLACES, emitters=plain, meters=(METER,),
                  visits=tuple(visits), readings=(*found, *second))  # fmt: skip

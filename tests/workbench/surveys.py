"""Surveys made for tests: simulated meters with known truth, and small visits typed in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from roomfield.quantities.kind import Kind
from roomfield.survey import (
    Assignment,
    Censoring,
    Control,
    Emitter,
    Meter,
    Place,
    PlaceKind,
    RadioState,
    Reading,
    Survey,
    Visit,
)

STATES = (
    RadioState("as_found", "As found"),
    RadioState("router_off", "Router off", ("router",)),
    RadioState("base_off", "Base off", ("base",)),
    RadioState("own_off", "All own off", ("router", "base")),
)
EMITTERS = (
    Emitter("router", "Router", "wifi_data", 2.45e9, switchable=True, control=Control.CLIENT),
    Emitter("base", "Telephone base", "dect", 1.89e9, switchable=True, control=Control.CLIENT),
)


def visit(identifier: str = "v1", states: tuple[RadioState, ...] = STATES, day: str = "2026-03-01") -> Visit:
    return Visit(identifier, f"{day}T09:00:00+01:00", "A. Assessor", radio_states=states)


def typed(rows: Iterable[tuple[str, str, Kind, float] | tuple[str, str, Kind, float, Censoring]], **more) -> Survey:
    """A visit with readings as (place, radio state, kind, W/m²[, censoring])."""
    listed = [tuple(row) for row in rows]
    places = tuple(
        Place(name, name.title(), kind=PlaceKind.BED if "bed" in name else PlaceKind.DESK)
        for name in dict.fromkeys(r[0] for r in listed)
    )
    readings = tuple(
        Reading(f"r{n}", "v1", "m1", state, kind, value, place_id=place, censoring=rest[0] if rest else Censoring.NONE)
        for n, (place, state, kind, value, *rest) in enumerate(listed)
    )
    order = Assignment(**{k: more.pop(k) for k in ("jurisdiction", "guideline", "language") if k in more})
    plain = dict(
        emitters=EMITTERS,
        meters=(
            Meter("m1", "Invented meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5),
        ),
        visits=(visit(),),
        places=places,
        readings=readings,
    )
    return Survey("s1", "Invented room", "2026-03-01T09:00:00+01:00", order, **(plain | more))


def many_meters(count: int, true_w_m2: Mapping[tuple[str, Kind], float], seed: int, **order) -> Survey:
    """One place for each of many meters, whose errors are drawn as makers and the budget state them.

    Parameters
    ----------
    true_w_m2 : mapping
        True level by radio state and kind, the same at every place.
    """
    rng = np.random.default_rng(seed)
    meters, places, readings = [], [], []
    for n in range(count):
        meters.append(
            Meter(
                f"m{n}",
                f"Invented meter {n}",
                tolerance_db=6.0,
                repeatability_db=1.0,
                floor_w_m2=1e-8,
                overload_w_m2=2.5,
            )
        )
        places.append(Place(f"p{n}", f"Place {n}"))
        gain_db = rng.uniform(-6.0, 6.0)
        for state in dict.fromkeys(s for s, _ in true_w_m2):
            scan_db = rng.normal(0.0, 1.0)
            for kind in (k for s, k in true_w_m2 if s == state):
                missed_db = rng.uniform(0.0, 4.8 if kind is Kind.AVERAGE else 1.4)
                own_db = rng.uniform(-1.0, 1.0) + rng.uniform(-0.05, 0.05)
                shown = true_w_m2[state, kind] * 10.0 ** (-(gain_db + scan_db + own_db + missed_db) / 10.0)
                readings.append(
                    Reading(f"r{n}-{state}-{kind}", "v1", f"m{n}", state, kind, float(shown), place_id=f"p{n}")
                )
    return Survey("s1", "Simulated meters", "2026-03-01T09:00:00+01:00", Assignment(**order), emitters=EMITTERS,
                  places=tuple(places), meters=tuple(meters), visits=(visit(),), readings=tuple(readings))  # fmt: skip

"""Small surveys for tests of the joint inference."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from roomfield.quantities.kind import Kind
from roomfield.survey import (
    Bearing,
    Censoring,
    Dwelling,
    Emitter,
    Layer,
    Meter,
    Opening,
    OpeningKind,
    Place,
    RadioState,
    Reading,
    Slab,
    Storey,
    Survey,
    Visit,
    Wall,
)

PEAK, HIGHEST_HELD, AVERAGE = Kind.PEAK, Kind.HIGHEST_HELD, Kind.AVERAGE
OUTLINE = ((0.0, 0.0), (8.0, 0.0), (8.0, 6.0), (0.0, 6.0))


def flat() -> Dwelling:
    """Four rooms of brick and board, 8 m by 6 m, with windows south and a door each."""
    brick, board = (Layer("brick", 0.2),), (Layer("plasterboard", 0.025),)
    window = Opening("south_window", OpeningKind.WINDOW, 1.0, 3.0, 0.9, 2.1, (Layer("glass", 0.008),))
    door = Opening("door", OpeningKind.DOOR, 1.0, 1.9, 0.0, 2.0, (Layer("wood", 0.04),))

    def wall(name, a, b, layers, openings=(), exterior=True):
        return Wall(name, "g", a, b, 0.0, 2.5, layers, exterior, openings)

    return Dwelling(
        storeys=(Storey("g", "ground", 0.0, 2.5, OUTLINE),),
        walls=(
            wall("south", (0.0, 0.0), (8.0, 0.0), brick, (window,)),
            wall("east", (8.0, 0.0), (8.0, 6.0), brick),
            wall("north", (8.0, 6.0), (0.0, 6.0), brick),
            wall("west", (0.0, 6.0), (0.0, 0.0), brick),
            wall("across", (0.0, 3.0), (8.0, 3.0), board, (door,), False),
            wall("along", (4.0, 0.0), (4.0, 6.0), brick, (door,), False),
        ),
        slabs=(
            Slab("floor", 0.0, (Layer("concrete", 0.18),), (OUTLINE,)),
            Slab("ceiling", 2.5, (Layer("concrete", 0.18),), (OUTLINE,)),
        ),
    )


def emitter(name: str, position=(1.0, 1.0, 1.0), **more) -> Emitter:
    known = {"technology": "wifi_beacon", "frequency_hz": 2.45e9, "switchable": True, **more}
    return Emitter(name, name, position=position, **known)


def survey(
    emitters: Sequence[Emitter],
    points: Sequence[Sequence[float]],
    values: dict[tuple[str, Kind], Sequence[float]],
    *,
    dwelling: Dwelling | None = None,
    meter: Meter | None = None,
    censor: Sequence[Censoring] | None = None,
    bearings: Sequence[Bearing] = (),
) -> Survey:
    """A survey with one visit: ``values`` holds a reading [W/m²] per point for each (state, kind).

    States are ``all`` and ``off:GROUP`` for every switch group.
    """
    groups = sorted({e.group for e in emitters})
    states = (RadioState("all", "all"), *(RadioState(f"off:{g}", g, (g,)) for g in groups))
    places = tuple(Place(f"p{i}", f"p{i}", storey_id="g", position=tuple(p)) for i, p in enumerate(points))
    used = meter or Meter("m", "meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5)
    readings = tuple(
        Reading(f"r-{state}-{kind.value}-{i}", "v", used.id, state, kind, float(v), f"p{i}",
                censoring=censor[i] if censor else Censoring.NONE)
        for (state, kind), column in values.items() for i, v in enumerate(column)
    )  # fmt: skip
    return Survey(
        "s", "test", "2026-01-01T00:00:00+00:00", dwelling=dwelling or Dwelling(), places=places,
        emitters=tuple(emitters), meters=(used,), readings=readings, bearings=tuple(bearings),
        visits=(Visit("v", "2026-01-01T10:00:00+00:00", "tester", radio_states=states),),
    )  # fmt: skip


def density(level_db: object) -> np.ndarray:
    return 10.0 ** (np.asarray(level_db, dtype=float) / 10.0)

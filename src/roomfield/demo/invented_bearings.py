"""Simulated bearings in the invented house: on which axis the antenna picked up most and least."""

from __future__ import annotations

import numpy as np

from roomfield.demo.truth import METER_ERROR_DB, Truth
from roomfield.field.propagation import paths
from roomfield.field.scene import Scene
from roomfield.survey import Bearing, Meter, Point3, Visit

STD_DEG = 12.0
STATE = "own_off"
POINTS: tuple[tuple[str, Point3], ...] = (
    ("child-door", (5.4, 3.2, 4.0)),
    ("child-middle", (6.6, 2.2, 4.0)),
    ("child-window", (6.4, 0.8, 4.0)),
    ("parents-middle", (2.2, 1.8, 4.0)),
    ("study-middle", (6.4, 5.6, 4.0)),
    ("kitchen-middle", (6.6, 2.2, 1.3)),
)


def simulated_bearings(truth: Truth, visit: Visit, meter: Meter, seed: int) -> tuple[Bearing, ...]:
    """Bearings at a few points with all own radios off.

    Parameters
    ----------
    truth : Truth
        The true field.
    visit : Visit
        With a radio state named ``own_off``.
    seed : int
        Of the random errors.

    Notes
    -----
    A figure-of-eight antenna turned in the horizontal plane picks up ``a' M a``, with M the sum over paths of
    power times d d': its axes of strongest and weakest pickup are the eigenvectors of the horizontal part.
    """
    rng = np.random.default_rng(seed)
    off = next(s.off_groups for s in visit.radio_states if s.id == STATE)
    on = [e for e in truth.emitters if e.group not in off and e.position is not None]
    found = paths(
        Scene.from_dwelling(truth.dwelling),
        [e.position or (0.0, 0.0, 0.0) for e in on],
        [e.frequency_hz or 0.0 for e in on],
        [e.pattern for e in on],
        [at for _, at in POINTS],
    )
    power = np.array([(e.eirp_w or 0.0) * (e.duty or 0.0) for e in on])
    bearings = []
    for row, (name, at) in enumerate(POINTS):
        matrix = np.einsum("k,kij->ij", power, found.arrival[row])[:2, :2]
        values, vectors = np.linalg.eigh(matrix)
        axes = np.rad2deg(np.arctan2(vectors[0], vectors[1])) + rng.normal(0.0, STD_DEG, 2)
        shown = values * 10.0 ** ((METER_ERROR_DB + rng.normal(0.0, 1.0)) / 10.0)
        bearings.append(
            Bearing(
                f"bearing-{name}",
                visit.id,
                meter.id,
                STATE,
                at,
                round(float(axes[1]) % 180.0),
                round(float(axes[0]) % 180.0),
                STD_DEG,
                float(f"{shown[1]:.3g}"),
                float(f"{max(shown[0], meter.figures.floor_w_m2):.3g}"),
                taken_at=visit.started_at,
            )
        )
    return tuple(bearings)

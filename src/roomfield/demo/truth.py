"""What is true of the invented house: powers, positions and the meter's hidden error. Nobody measured it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.demo.invented_dwelling import demo_dwelling, demo_places
from roomfield.field.propagation import unit_density
from roomfield.field.scene import Scene
from roomfield.survey import AntennaPattern, Control, Dwelling, Emitter, FittedShield, Place, Standing

Array = NDArray[np.float64]

METER_ERROR_DB = 2.3
"""Hidden gain error of the invented meter [dB]; the survey knows only its tolerance."""

_MAST = (-300.0, -410.0, 30.0)
_HIDDEN = (7.9, 0.5, 3.0)
_ROUTER = (0.5, 0.6, 0.9)
_TRUE_POWERS: tuple[tuple[str, float, float], ...] = (
    ("router_24", 0.08, 0.10),
    ("router_5", 0.20, 0.06),
    ("cordless", 0.25, 0.037),
    ("smart_meter", 0.025, 0.001),
    ("hidden", 0.1, 0.40),
    ("mast_800", 500.0, 0.45),
    ("mast_1800", 800.0, 0.40),
    ("mast_3500", 1500.0, 0.20),
)


def known_emitters() -> tuple[Emitter, ...]:
    """The transmitters as the invented assessor knows them: powers from data sheets and catalogues.

    One transmitter is only suspected, because something is left when all own radios are off;
    where it stands is unknown.
    """
    home = {"pattern": AntennaPattern.VERTICAL_DIPOLE, "control": Control.CLIENT, "switchable": True}
    mast = {"position": _MAST, "outdoor": True, "switch_group": "mast", "control": Control.OPERATOR}
    router = {"position": _ROUTER, "switch_group": "router", **home}
    rows: tuple[tuple[str, str, str, float, float, float, dict[str, Any]], ...] = (
        ("router_24", "Router, 2.4 GHz", "wifi_data", 2.45e9, 0.1, 0.1, router),
        ("router_5", "Router, 5 GHz", "wifi_data", 5.5e9, 0.2, 0.1, router),
        (
            "cordless",
            "Cordless telephone base",
            "dect",
            1.89e9,
            0.25,
            0.04,
            {"position": (4.8, 4.5, 3.6), **home},
        ),
        (
            "smart_meter",
            "Electricity meter",
            "smart_meter",
            868.3e6,
            0.025,
            0.001,
            {"position": (8.1, 6.9, 1.5), "control": Control.UTILITY},
        ),
        (
            "hidden",
            "Unknown transmitter",
            "",
            2.45e9,
            0.1,
            0.1,
            {"control": Control.UNKNOWN, "standing": Standing.SUSPECTED},
        ),
        ("mast_800", "Mast, 800 MHz", "lte_fdd", 800e6, 500.0, 0.5, mast),
        ("mast_1800", "Mast, 1800 MHz", "lte_fdd", 1.8e9, 500.0, 0.5, mast),
        ("mast_3500", "Mast, 3500 MHz", "nr_tdd", 3.5e9, 1000.0, 0.3, mast),
    )
    return tuple(
        Emitter(name, title, technology, hz, eirp_w=eirp_w, duty=duty, **more)
        for name, title, technology, hz, eirp_w, duty, more in rows
    )


def true_emitters() -> tuple[Emitter, ...]:
    """The same transmitters with their true powers, duties and positions."""
    powers = {name: (eirp_w, duty) for name, eirp_w, duty in _TRUE_POWERS}
    return tuple(
        replace(e, eirp_w=powers[e.id][0], duty=powers[e.id][1], position=e.position or _HIDDEN)
        for e in known_emitters()
    )


@dataclass(frozen=True)
class Truth:
    """The invented house at one time.

    Parameters
    ----------
    emitters : tuple of Emitter
        With true power, duty and position.
    places : tuple of Place
        Where readings are taken.
    density_w_m2 : ndarray, shape (places, emitters)
        True local mean of each emitter while on air [W/m²].
    """

    dwelling: Dwelling
    emitters: tuple[Emitter, ...]
    places: tuple[Place, ...]
    density_w_m2: Array


def truth(emitters: tuple[Emitter, ...] | None = None, shields: tuple[tuple[str, FittedShield], ...] = ()) -> Truth:
    """The true field, as found or after work was done.

    Parameters
    ----------
    emitters : tuple of Emitter, optional
        What transmits; all of `true_emitters` if left out.
    shields : tuple of (str, FittedShield)
        Shields put up, by surface.
    """
    present = true_emitters() if emitters is None else emitters
    dwelling, places = demo_dwelling(), demo_places()
    scene = Scene.from_dwelling(dwelling).with_shields(shields)
    gain = unit_density(
        scene,
        [e.position or _HIDDEN for e in present],
        [e.frequency_hz or 0.0 for e in present],
        [e.pattern for e in present],
        [p.position or (0.0, 0.0, 0.0) for p in places],
    )
    return Truth(dwelling, present, places, gain * np.array([e.eirp_w or 0.0 for e in present]))

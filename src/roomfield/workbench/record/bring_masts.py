"""Masts around a home, from a file of open data that the user brings, onto the plan as transmitters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from roomfield.errors import InputError, RangeError, TooEarlyError
from roomfield.exchange.masts import Mast, read_masts
from roomfield.exchange.names import plain
from roomfield.references.technologies import technologies
from roomfield.survey import Control, Emitter, Standing, Survey
from roomfield.survey.dwelling import Point2, Point3
from roomfield.workbench.record.editing import new_id
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.setting_up import revised

USUAL_HEIGHT_M = 25.0
"""Of an antenna above ground if the file does not say (common practice, no source)."""
EIRP_STD_DB = 3.0
"""Of a power that a register states: what is on air is mostly less (our judgement)."""


@dataclass(frozen=True)
class HomeOnEarth:
    """Where the middle of the plan lies; used for the way to the masts and not kept.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        WGS 84 [deg].
    north_deg : float or None
        True north, degrees clockwise from plan north; that of the plan if None.
    """

    latitude_deg: float
    longitude_deg: float
    north_deg: float | None = None


@dataclass(frozen=True)
class BroughtMast:
    """A mast that came onto the plan.

    Parameters
    ----------
    name : str
        Of the transmitter.
    distance_m, azimuth_deg : float
        From the middle of the plan [m], and degrees clockwise from true north.
    known : bool
        True if the survey had a transmitter of this name already; it is left as it is.
    """

    name: str
    distance_m: float
    azimuth_deg: float
    known: bool

    def to_dict(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)


def home_from_text(text: str, north_deg: float | None = None) -> HomeOnEarth:
    """A home from ``latitude, longitude`` in degrees.

    Parameters
    ----------
    text : str
        Such as ``47.1234, 9.4321``.
    north_deg : float, optional
        True north, degrees clockwise from plan north.

    Raises
    ------
    InputError
        If it is no pair of numbers.
    RangeError
        If they lie outside the globe.
    """
    parts = text.replace(";", ",").split(",")
    try:
        latitude, longitude = (float(part) for part in parts)
    except ValueError:
        raise InputError(
            f"{text[:60]!r} is no latitude and longitude.", where="home", mend="Write it as 47.1234, 9.4321."
        ) from None
    for name, value, most in (("latitude", latitude, 85.0), ("longitude", longitude, 180.0)):
        if not -most <= value <= most:
            raise RangeError(name, value, (-most, most), "degrees", where="home", mend="Write latitude first.")
    return HomeOnEarth(latitude, longitude, north_deg)


def bring_masts(
    job: Job, path: str | Path, home: HomeOnEarth, *, within_m: float = 1500.0, layer: str = ""
) -> tuple[BroughtMast, ...]:
    """Put the masts of a file onto the plan, nearest first; those that are there already by name are left.

    Parameters
    ----------
    job : Job
        A survey in a record, with a plan.
    path : str or Path
        GeoJSON, GPX, GeoPackage, or a table with latitude and longitude.
    home : HomeOnEarth
        Where the middle of the plan lies.
    within_m : float
        Masts farther away are left out [m], 1 to 20,000.
    layer : str
        Of a GeoPackage; the first one if empty.

    Raises
    ------
    TooEarlyError
        If there is no plan yet.
    InputError
        If true north is not known, no mast lies within, or more than 200 do.
    """
    if not 1.0 <= within_m <= 20_000.0:
        raise RangeError("distance", within_m, (1.0, 20_000.0), "m", mend="Masts beyond 20 km are not brought.")
    survey = job.survey
    middle, north = _middle(survey), _north(survey, home)
    placed = sorted(((math.hypot(*_offset(m, home)), m) for m in read_masts(Path(path), layer)), key=lambda one: one[0])
    near = [mast for distance, mast in placed if distance <= within_m]
    if not 1 <= len(near) <= 200:
        said = "no mast lies" if not near else f"{len(near)} masts lie"
        raise InputError(f"{said} within {within_m:g} m.", where=Path(path).name, mend="Choose another distance.")
    names = _names(near)
    known = {plain(emitter.name) for emitter in survey.emitters}
    made = tuple(
        _emitter(mast, name, _position(mast, home, middle, north))
        for mast, name in zip(near, names, strict=True)
        if plain(name) not in known
    )
    revised(
        job, lambda one: replace(one, emitters=(*one.emitters, *made), dwelling=replace(one.dwelling, north_deg=north))
    )
    return tuple(_told(mast, name, home, plain(name) in known) for mast, name in zip(near, names, strict=True))


def _middle(survey: Survey) -> Point2:
    corners = [corner for storey in survey.dwelling.storeys for corner in storey.outline]
    corners += [corner for room in survey.dwelling.rooms for corner in room.outline]
    if not corners:
        raise TooEarlyError("there is no plan yet.", where=survey.title, mend="Bring one first: roomfield plan.")
    xs, ys = zip(*corners, strict=True)
    return (min(xs) + max(xs)) / 2.0, (min(ys) + max(ys)) / 2.0


def _north(survey: Survey, home: HomeOnEarth) -> float:
    north = survey.dwelling.north_deg if home.north_deg is None else home.north_deg
    if north is None:
        raise InputError(
            "where true north lies on the plan is not known.",
            where=survey.title,
            mend="Give it in degrees clockwise from the plan's north: --north 30.",
        )
    return north % 360.0


def _offset(mast: Mast, home: HomeOnEarth) -> Point2:
    return mast.offset_m(home.latitude_deg, home.longitude_deg)


def _position(mast: Mast, home: HomeOnEarth, middle: Point2, north_deg: float) -> Point3:
    """On the plan: a direction at an angle from true north lies at that angle plus ``north_deg`` from plan north."""
    east, north = _offset(mast, home)
    turn = math.radians(north_deg)
    x = east * math.cos(turn) + north * math.sin(turn)
    y = north * math.cos(turn) - east * math.sin(turn)
    height = USUAL_HEIGHT_M if mast.height_m is None else mast.height_m
    return round(middle[0] + x, 1), round(middle[1] + y, 1), height


def _names(masts: Sequence[Mast]) -> tuple[str, ...]:
    """A name for each, told apart by the frequency or a number where the file repeats one."""
    wanted = []
    for mast in masts:
        parts = [
            mast.name or "Mast",
            mast.operator,
            "" if mast.frequency_hz is None else f"{mast.frequency_hz / 1e6:g} MHz",
        ]
        wanted.append(" ".join(" ".join(part for part in parts if part).split())[:100])
    seen: dict[str, int] = {}
    found = []
    for name in wanted:
        seen[name] = seen.get(name, 0) + 1
        found.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return tuple(found)


def _emitter(mast: Mast, name: str, position: Point3) -> Emitter:
    said = {plain(word): one.name for one in technologies() for word in (one.name, one.title)}
    technology = said.get(plain(mast.technology), "")
    notes = [
        f"service as written: {mast.technology}" if mast.technology and not technology else "",
        f"antenna height not stated, {USUAL_HEIGHT_M:g} m taken" if mast.height_m is None else "",
    ]
    return Emitter(
        new_id("source"),
        name,
        technology,
        mast.frequency_hz,
        position,
        outdoor=True,
        eirp_w=mast.eirp_w,
        eirp_std_db=EIRP_STD_DB if mast.eirp_w else 6.0,
        control=Control.OPERATOR,
        standing=Standing.KNOWN,
        note="; ".join(note for note in notes if note),
    )


def _told(mast: Mast, name: str, home: HomeOnEarth, known: bool) -> BroughtMast:
    east, north = _offset(mast, home)
    return BroughtMast(
        name, round(math.hypot(east, north), 1), round(math.degrees(math.atan2(east, north)) % 360.0, 1), known
    )

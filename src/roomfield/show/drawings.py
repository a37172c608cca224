"""Plan and map as values that the figures draw; axes: +x east on the plan, +y plan north [m]."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.show.phrase import Text

Point = tuple[float, float]


@dataclass(frozen=True)
class PlanOpening:
    """A window, door or gap, as the stretch of wall that it takes.

    Parameters
    ----------
    kind : str
        ``window``, ``door`` or ``gap``.
    """

    start: Point
    end: Point
    kind: str = "window"


@dataclass(frozen=True)
class PlanWall:
    """A wall's centre line [m].

    Parameters
    ----------
    thickness_m : float
        Total thickness [m].
    shielded : bool
        True if a shield is fitted or planned on it.
    """

    start: Point
    end: Point
    thickness_m: float = 0.12
    exterior: bool = False
    shielded: bool = False
    openings: tuple[PlanOpening, ...] = ()


@dataclass(frozen=True)
class PlanRoom:
    """A room's outline [m] and name."""

    name: str
    outline: tuple[Point, ...]


@dataclass(frozen=True)
class PlanPlace:
    """A place on the plan.

    Parameters
    ----------
    number : int
        Number of the place in the report's tables.
    label : str
        Short value under the number, for example ``340 µW/m²``; may be empty.
    level_db : float or None
        Level that the disc is coloured by [dB re 1 µW/m²]; None for paper.
    """

    number: int
    name: str
    position: Point
    sleeping: bool = False
    label: str = ""
    level_db: float | None = None


@dataclass(frozen=True)
class PlanEmitter:
    """An emitter on the plan.

    Parameters
    ----------
    position : Point or None
        None for one that is only known by direction.
    bearing_deg : float or None
        Direction to a far emitter, degrees clockwise from plan north.
    known : bool
        False if it is only suspected or was located by inference.
    region : tuple of Point
        Outline of the credible region [m]; empty if none.
    """

    letter: str
    name: str
    position: Point | None = None
    bearing_deg: float | None = None
    bearing_std_deg: float | None = None
    known: bool = True
    region: tuple[Point, ...] = ()


@dataclass(frozen=True)
class PlanStorey:
    """One storey as drawn.

    Parameters
    ----------
    north_deg : float or None
        True north, degrees clockwise from plan north; None if not known.
    """

    name: str
    outline: tuple[Point, ...] = ()
    rooms: tuple[PlanRoom, ...] = ()
    walls: tuple[PlanWall, ...] = ()
    furniture: tuple[tuple[Point, Point], ...] = ()
    places: tuple[PlanPlace, ...] = ()
    emitters: tuple[PlanEmitter, ...] = ()
    north_deg: float | None = None


@dataclass(frozen=True)
class WallCrossing:
    """A wall, opening or slab on the way to a place.

    Parameters
    ----------
    at : (float, float)
        Where it is crossed [m].
    name : Text
        What it is called.
    loss_db : float
        What it takes at that angle [dB].
    """

    at: Point
    name: Text
    loss_db: float


@dataclass(frozen=True)
class ReachingWay:
    """One way by which a level comes about.

    Parameters
    ----------
    source : str
        Name of the device.
    through : Text
        By what most of it comes in.
    share : float
        Of the level at the place, 0 to 1.
    points : tuple of (float, float)
        From the source to the place [m].
    crossings : tuple of WallCrossing
        In the order of the way.
    """

    source: str
    through: Text
    share: float
    points: tuple[Point, ...]
    crossings: tuple[WallCrossing, ...] = ()


@dataclass(frozen=True)
class PlaceWays:
    """What reaches one place, the largest way first."""

    place_id: str
    ways: tuple[ReachingWay, ...]


@dataclass(frozen=True)
class LevelGrid:
    """A map of levels over one storey.

    Parameters
    ----------
    storey : PlanStorey
        The plan under the map.
    x_m, y_m : tuple of float
        Grid coordinates, rising [m].
    level_db : tuple of rows
        Median level [dB re 1 µW/m²], one row per y, one value per x; NaN outside the dwelling.
    std_db : tuple of rows
        Standard deviation [dB]; empty if not stated.
    hatch_above_db : float
        Where the standard deviation exceeds this, the map is hatched [dB].
    step_db : float
        Distance of the contour lines [dB].
    title : str
        What is mapped, for example kind and radio state.
    """

    storey: PlanStorey
    x_m: tuple[float, ...]
    y_m: tuple[float, ...]
    level_db: tuple[tuple[float, ...], ...]
    std_db: tuple[tuple[float, ...], ...] = ()
    hatch_above_db: float = 6.0
    step_db: float = 5.0
    title: str = ""
    note: str = ""

"""The dwelling: storeys, rooms, walls with openings, slabs and furniture.

Axes: +x east on the plan, +y plan north, +z up [m]; z = 0 is the ground-storey floor.
Bearings are degrees clockwise from plan north.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

Point2 = tuple[float, float]
Point3 = tuple[float, float, float]


@dataclass(frozen=True)
class Layer:
    """One homogeneous layer of a wall, slab or opening.

    Parameters
    ----------
    material : str
        Key of the materials table, for example ``brick`` or ``glass``; ``air`` for nothing.
    thickness_m : float
        Thickness [m].
    """

    material: str
    thickness_m: float


class OpeningKind(StrEnum):
    """What closes a hole in a wall."""

    WINDOW = "window"
    DOOR = "door"
    GAP = "gap"


@dataclass(frozen=True)
class Opening:
    """A window, door or gap in a wall.

    Parameters
    ----------
    start_m, end_m : float
        Distance along the wall from its start [m].
    sill_m, head_m : float
        Absolute heights of the lower and upper edge [m].
    layers : tuple of Layer
        Build-up; empty for an open gap.
    """

    id: str
    kind: OpeningKind
    start_m: float
    end_m: float
    sill_m: float
    head_m: float
    layers: tuple[Layer, ...] = ()


class ShieldPart(StrEnum):
    """Which part of a surface a shield covers."""

    MASONRY = "masonry"
    OPENINGS = "openings"
    WHOLE = "whole"


@dataclass(frozen=True)
class ShieldSheet:
    """A shield material, known by its measured attenuation over frequency.

    Parameters
    ----------
    name : str
        What the client calls it.
    attenuation : tuple of (float, float)
        Pairs of frequency [Hz] and attenuation of power density [dB], rising in frequency.
    standard : str
        Method of measurement, for example ``IEEE 299``; empty if the maker names none.
    std_db : float
        Standard uncertainty of the attenuation [dB].
    conductive : bool
        True if the sheet is electrically conductive and so needs earthing.
    """

    name: str
    attenuation: tuple[tuple[float, float], ...]
    standard: str = ""
    std_db: float = 3.0
    conductive: bool = True


@dataclass(frozen=True)
class FittedShield:
    """A shield already in place on a surface.

    Parameters
    ----------
    part : ShieldPart
        Masonry only, openings only, or both.
    opening_ids : tuple of str
        The openings covered when ``part`` includes openings; empty means all of them.
    coverage : float
        Share of the area that is truly covered, 0 to 1 (gaps and missing overlap lower it).
    """

    sheet: ShieldSheet
    part: ShieldPart = ShieldPart.WHOLE
    opening_ids: tuple[str, ...] = ()
    coverage: float = 1.0


@dataclass(frozen=True)
class Wall:
    """A straight wall on its centre line.

    Parameters
    ----------
    start, end : (float, float)
        Ends of the centre line [m].
    base_m, top_m : float
        Heights of the lower and upper edge [m].
    layers : tuple of Layer
        Build-up from the left of start->end to the right.
    exterior : bool
        True if one side is outdoors.
    """

    id: str
    storey_id: str
    start: Point2
    end: Point2
    base_m: float
    top_m: float
    layers: tuple[Layer, ...]
    exterior: bool = False
    openings: tuple[Opening, ...] = ()
    shields: tuple[FittedShield, ...] = ()


@dataclass(frozen=True)
class Slab:
    """A horizontal plate: floor, ceiling or roof; holes are simply not covered by an outline.

    Parameters
    ----------
    height_m : float
        Height of the middle of the plate [m].
    outlines : tuple of polygons
        Each polygon is a tuple of (x, y) [m].
    """

    id: str
    height_m: float
    layers: tuple[Layer, ...]
    outlines: tuple[tuple[Point2, ...], ...]
    shields: tuple[FittedShield, ...] = ()


@dataclass(frozen=True)
class FurnitureBox:
    """A closed box of thin panels, for example a fridge or a wardrobe.

    Parameters
    ----------
    low, high : (float, float, float)
        Opposite corners [m].
    panel : Layer
        Material and thickness of each panel.
    """

    id: str
    name: str
    low: Point3
    high: Point3
    panel: Layer


@dataclass(frozen=True)
class Storey:
    """A level of the dwelling.

    Parameters
    ----------
    floor_m, ceiling_m : float
        Heights of floor and ceiling [m].
    outline : tuple of (float, float)
        Outline on the exterior walls' centre lines [m].
    """

    id: str
    name: str
    floor_m: float
    ceiling_m: float
    outline: tuple[Point2, ...]


@dataclass(frozen=True)
class Room:
    """A room: its outline on wall centre lines [m]."""

    id: str
    name: str
    storey_id: str
    outline: tuple[Point2, ...]


@dataclass(frozen=True)
class PlanImage:
    """A photo, image or PDF page under the plan, scaled by two points.

    Parameters
    ----------
    media_sha256 : str
        Content hash of the image.
    origin : (float, float)
        Plan position of the image's lower left corner [m].
    metres_per_pixel : float
        Scale [m].
    rotation_deg : float
        Counter-clockwise rotation about the origin [deg].
    """

    storey_id: str
    media_sha256: str
    origin: Point2
    metres_per_pixel: float
    rotation_deg: float = 0.0


@dataclass(frozen=True)
class Dwelling:
    """Everything that is built, as far as it is known; any part may be empty.

    Parameters
    ----------
    north_deg : float or None
        True north, degrees clockwise from plan north; None if not known.
    """

    storeys: tuple[Storey, ...] = ()
    rooms: tuple[Room, ...] = ()
    walls: tuple[Wall, ...] = ()
    slabs: tuple[Slab, ...] = ()
    furniture: tuple[FurnitureBox, ...] = ()
    plan_images: tuple[PlanImage, ...] = ()
    north_deg: float | None = None

"""Actions against exposure as data: what could be done, to what, at what cost."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from roomfield.survey.dwelling import Point3, ShieldPart, ShieldSheet


class ActionKind(StrEnum):
    """What is done."""

    SWITCH_OFF = "switch_off"
    NIGHT_SCHEDULE = "night_schedule"
    REDUCE_POWER = "reduce_power"
    WIRE_INSTEAD = "wire_instead"
    RELOCATE_EMITTER = "relocate_emitter"
    MOVE_PLACE = "move_place"
    REPLACE_DEVICE = "replace_device"
    SHIELD_SURFACE = "shield_surface"
    CLOSE_OPENING = "close_opening"
    CANOPY = "canopy"


@dataclass(frozen=True)
class SurfaceRef:
    """A wall or slab, or chosen parts of it.

    Parameters
    ----------
    surface_id : str
        Wall or slab.
    part : ShieldPart
        Masonry only, openings only, or both.
    opening_ids : tuple of str
        Chosen openings; empty means all of the surface's openings.
    """

    surface_id: str
    part: ShieldPart = ShieldPart.WHOLE
    opening_ids: tuple[str, ...] = ()


@dataclass(frozen=True)
class CostRange:
    """Cost from low to high in one currency, work included.

    Parameters
    ----------
    stated : bool
        False if nobody has said what it costs; low and high are then 0 and are not told as free.
    """

    low: float
    high: float
    currency: str = "EUR"
    stated: bool = True


@dataclass(frozen=True)
class Action:
    """One thing that could be done.

    Parameters
    ----------
    emitter_ids : tuple of str
        Emitters acted on (switch, schedule, power, wire, relocate, replace).
    place_id : str
        Place moved, or place under a canopy.
    position : (float, float, float) or None
        New position of the emitter or place [m].
    room_id : str
        For "anywhere in this room" instead of ``position``.
    reduction_db : float
        Intended reduction of radiated power [dB] (reduce power, replace device).
    off_hours : tuple of (float, float)
        Local hours from and to, for a night schedule [h].
    surfaces : tuple of SurfaceRef
        Surfaces to shield or openings to close.
    sheet : ShieldSheet or None
        The shield material.
    coverage : float
        Share of the area that will truly be covered, 0 to 1.
    excludes : tuple of str
        Ids of actions that cannot be done together with this one.
    """

    id: str
    name: str
    kind: ActionKind
    emitter_ids: tuple[str, ...] = ()
    place_id: str = ""
    position: Point3 | None = None
    room_id: str = ""
    reduction_db: float = 0.0
    off_hours: tuple[float, float] | None = None
    surfaces: tuple[SurfaceRef, ...] = ()
    sheet: ShieldSheet | None = None
    coverage: float = 1.0
    cost: CostRange = CostRange(0.0, 0.0, stated=False)
    excludes: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class AdoptedPlan:
    """The actions the client agreed to, in order of work.

    Parameters
    ----------
    target_w_m2 : float
        Level that is to be met [W/m²].
    confidence : float
        Probability with which it is to be met, 0 to 1.
    place_ids : tuple of str
        Places for which the target was asked; empty for all.
    """

    action_ids: tuple[str, ...]
    target_w_m2: float
    target_kind: str
    confidence: float
    adopted_at: str
    note: str = ""
    place_ids: tuple[str, ...] = ()

"""Work in its order, with quantities and cautions: inner sources first, then outer, then measure again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from roomfield.field.posterior import Posterior
from roomfield.field.scene import Scene
from roomfield.references.cautions import SafetyCaution, cautions
from roomfield.remedy.effects import is_covered
from roomfield.survey.action import Action, ActionKind
from roomfield.survey.dwelling import ShieldPart

LAP_SHARE = 0.10
"""Material for overlaps at joints and edges, over the net area (common practice, no source)."""


class WorkStage(StrEnum):
    """Stage of the work."""

    INNER_SOURCES = "inner_sources"
    PLACES = "places"
    OUTER_SOURCES = "outer_sources"
    MEASURE_AGAIN = "measure_again"


_STEP = {
    ActionKind.SWITCH_OFF: WorkStage.INNER_SOURCES,
    ActionKind.NIGHT_SCHEDULE: WorkStage.INNER_SOURCES,
    ActionKind.REDUCE_POWER: WorkStage.INNER_SOURCES,
    ActionKind.WIRE_INSTEAD: WorkStage.INNER_SOURCES,
    ActionKind.RELOCATE_EMITTER: WorkStage.INNER_SOURCES,
    ActionKind.REPLACE_DEVICE: WorkStage.INNER_SOURCES,
    ActionKind.MOVE_PLACE: WorkStage.PLACES,
    ActionKind.CLOSE_OPENING: WorkStage.OUTER_SOURCES,
    ActionKind.SHIELD_SURFACE: WorkStage.OUTER_SOURCES,
    ActionKind.CANOPY: WorkStage.OUTER_SOURCES,
}
_SILENCING = (
    ("electrical", "Switching off circuits"),
    ("never", "Do not disable"),
    ("electrical", "No work on mains"),
)
_SHIELDING = (
    ("electrical", "Bonding of shielding"),
    ("electrical", "Shock from a shield"),
    ("emergency", "Shielding can block emergency calls"),
    ("emergency", "Phones work harder"),
    ("never", "Do not disable"),
    ("medical", "Active implants"),
    ("fire", "Materials"),
    ("never", "Utility meters"),
    ("legal", "Rented homes"),
    ("legal", "Insurance"),
)
CAUTION_KEYS: dict[ActionKind, tuple[tuple[str, str], ...]] = {
    ActionKind.SWITCH_OFF: _SILENCING,
    ActionKind.NIGHT_SCHEDULE: _SILENCING,
    ActionKind.REDUCE_POWER: (("never", "Do not disable"),),
    ActionKind.WIRE_INSTEAD: (
        ("electrical", "No work on mains"),
        ("never", "Do not disable"),
        ("legal", "Rented homes"),
    ),
    ActionKind.RELOCATE_EMITTER: (("electrical", "No work on mains"), ("never", "Utility meters")),
    ActionKind.MOVE_PLACE: (),
    ActionKind.REPLACE_DEVICE: (("never", "Do not disable"), ("never", "Utility meters")),
    ActionKind.SHIELD_SURFACE: _SHIELDING,
    ActionKind.CLOSE_OPENING: (("fire", "Materials"), ("legal", "Rented homes")),
    ActionKind.CANOPY: tuple(k for k in _SHIELDING if k[0] != "legal"),
}
"""Group and topic of the cautions that go with each kind of action, keys of `roomfield.references.cautions`."""


@dataclass(frozen=True)
class WorkStep:
    """One action as a line of a work order.

    Parameters
    ----------
    area_m2 : float or None
        Net area to be covered [m²].
    material_m2 : float or None
        The same with overlaps [m²].
    edge_m : float or None
        Length of the outer edges to be joined or sealed [m].
    caution_keys : tuple of (str, str)
        Group and topic of each caution.
    """

    action: Action
    step: WorkStage
    area_m2: float | None = None
    material_m2: float | None = None
    edge_m: float | None = None
    caution_keys: tuple[tuple[str, str], ...] = ()

    @property
    def cautions(self) -> tuple[SafetyCaution, ...]:
        """The cautions themselves."""
        return tuple(_caution(*key) for key in self.caution_keys)

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return {
            "action_id": self.action.id,
            "name": self.action.name,
            "kind": self.action.kind.value,
            "step": self.step.value,
            "area_m2": self.area_m2,
            "material_m2": self.material_m2,
            "edge_m": self.edge_m,
            "cost_low": self.action.cost.low,
            "cost_high": self.action.cost.high,
            "currency": self.action.cost.currency,
            "cautions": [{"group": c.group, "topic": c.topic, "text": c.text} for c in self.cautions],
        }


def work_order(posterior: Posterior, actions: Sequence[Action]) -> tuple[WorkStep, ...]:
    """Actions in the order of the work, with quantities and cautions.

    Parameters
    ----------
    posterior : Posterior
        Knows the dwelling and who controls each emitter.
    actions : sequence of Action
        What will be done.
    """
    steps = [_work_step(posterior.scene, action) for action in actions]
    rank = list(WorkStage)
    return tuple(sorted(steps, key=lambda s: rank.index(s.step)))


def _work_step(scene: Scene, action: Action) -> WorkStep:
    keys = CAUTION_KEYS[action.kind]
    if action.sheet is not None and not action.sheet.conductive:
        keys = tuple(k for k in keys if k not in _SHIELDING[:2])
    area, edge = covered_area(scene, action)
    if area == 0.0:
        return WorkStep(action, _STEP[action.kind], caution_keys=keys)
    return WorkStep(
        action, _STEP[action.kind], round(area, 2), round(area * (1.0 + LAP_SHARE), 2), round(edge, 1), keys
    )


def covered_area(scene: Scene, action: Action) -> tuple[float, float]:
    """Net area [m²] of what an action covers, and the length of its edges [m]."""
    area = edge = 0.0
    for surface in action.surfaces:
        plates = [p for p in scene.shapes.plates if p.surface_id == surface.surface_id]
        holes = [p for p in plates if p.opening_id]
        for plate in plates:
            if not is_covered(surface, plate.opening_id, action.kind):
                continue
            own = plate.area_m2 if plate.opening_id else plate.area_m2 - sum(h.area_m2 for h in holes)
            around = 2.0 * (plate.high[0] - plate.low[0] + plate.high[1] - plate.low[1])
            if not plate.opening_id and surface.part is ShieldPart.MASONRY:
                around += sum(2.0 * (h.high[0] - h.low[0] + h.high[1] - h.low[1]) for h in holes)
            area, edge = area + own, edge + around
    return area, edge


def _caution(group: str, topic: str) -> SafetyCaution:
    return next(c for c in cautions(group) if c.topic == topic)

"""The level over a storey, with how sure it is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError, UnknownNameError
from roomfield.field.design import HEIGHT_M, measure_next, storey_points
from roomfield.field.posterior import Posterior, levels_at
from roomfield.field.scene import Scene
from roomfield.field.threads import on_one_thread
from roomfield.quantities import Kind
from roomfield.survey import Point2, Point3, RadioState, Storey, Survey

Array = NDArray[np.float64]
DRAWS = 100
CHUNK = 2400
MARGIN_M = 1.0


@dataclass(frozen=True)
class LevelMap:
    """Levels on a regular grid; cells outside the storey are NaN.

    Parameters
    ----------
    storey_id : str
        Which storey.
    kind : Kind
        Which question.
    x_m, y_m : ndarray, shape (nx,), (ny,)
        Cell centres [m].
    z_m : float
        Height of the map [m].
    mean_db, std_db : ndarray, shape (ny, nx)
        Mean and standard deviation of the level [dB re 1 W/m²].
    probability_over_bound : ndarray, shape (ny, nx), or None
        That the level is over ``bound_w_m2`` [1].
    bound_w_m2 : float or None
        The bound [W/m²].
    where_next : (float, float, float) or None
        Where on this storey a reading would narrow the map most [m].
    """

    storey_id: str
    kind: Kind
    x_m: Array
    y_m: Array
    z_m: float
    mean_db: Array
    std_db: Array
    probability_over_bound: Array | None
    bound_w_m2: float | None
    where_next: Point3 | None

    @property
    def step_m(self) -> float:
        """Edge of a cell [m]."""
        return float(self.x_m[1] - self.x_m[0]) if len(self.x_m) > 1 else 1.0


@on_one_thread
def level_map(
    posterior: Posterior,
    storey_id: str,
    *,
    step_m: float = 0.25,
    kind: Kind,
    bound_w_m2: float | None = None,
    state: str | RadioState | None = None,
    scene: Scene | None = None,
    with_next: bool = True,
) -> LevelMap:
    """Map of one storey at the height of a seated head.

    Parameters
    ----------
    posterior : Posterior
        From `infer`.
    storey_id : str
        A storey; without an outline the map reaches a metre around what was read.
    step_m : float
        Edge of a cell [m].
    kind : Kind
        Peak, highest held or average.
    bound_w_m2 : float, optional
        Also give the probability of exceeding this [W/m²].
    state, scene : optional
        As in `levels_at`.
    with_next : bool
        False to leave open where the next reading would teach most.

    Raises
    ------
    UnknownNameError
        If there is no such storey.
    InputError
        If there is nothing to reach around, or the step is not possible.
    """
    storey = _storey(posterior, storey_id)
    if not 0.0 < step_m <= 5.0:
        raise InputError(f"a step of {step_m:g} m is not possible.", mend="Choose 0.05 to 5 m.")
    points, (x, y), inside = storey_points(storey, step_m)
    mean, std, over = (np.full(inside.shape, np.nan) for _ in range(3))
    columns = [_column(posterior, points[i : i + CHUNK], kind, bound_w_m2, state, scene)
               for i in range(0, len(points), CHUNK)]  # fmt: skip
    for table, k in ((mean, 0), (std, 1), (over, 2)):
        table[inside] = np.concatenate([c[k] for c in columns]) if columns else []
    coarse = storey_points(storey, max(1.0, step_m))[0] if with_next else np.zeros((0, 3))
    following = measure_next(posterior, candidates=coarse, places=coarse, kind=kind, count=1) if len(coarse) else ()
    return LevelMap(storey_id, kind, x, y, storey.floor_m + HEIGHT_M, mean, std,
                    None if bound_w_m2 is None else over, bound_w_m2,
                    following[0].position if following else None)  # fmt: skip


def _column(
    posterior: Posterior, points: Array, kind: Kind, bound_w_m2: float | None,
    state: str | RadioState | None, scene: Scene | None,
) -> tuple[Array, Array, Array]:  # fmt: skip
    drawn = levels_at(posterior, points, kind=kind, state=state, scene=scene, draws=DRAWS)
    level = drawn.level_db
    over = drawn.probability_over(bound_w_m2) if bound_w_m2 is not None else np.zeros(len(points))
    return level.mean(axis=0), level.std(axis=0), over


def _storey(posterior: Posterior, storey_id: str) -> Storey:
    storeys = {s.id: s for s in posterior.survey.dwelling.storeys}
    if storey_id not in storeys:
        raise UnknownNameError("storey", storey_id, storeys)
    storey = storeys[storey_id]
    return storey if len(storey.outline) >= 3 else replace(storey, outline=_around_what_was_read(posterior.survey))


def _around_what_was_read(survey: Survey) -> tuple[Point2, ...]:
    """A rectangle a step wider than the places and readings that have a position."""
    known = [p.position for p in survey.places] + [r.position for r in survey.readings]
    plan = np.array([position[:2] for position in known if position is not None]).reshape(-1, 2)
    if not len(plan):
        raise InputError("the storey has no outline and nothing that was read has a position.", mend="Draw it.")
    (x0, y0), (x1, y1) = (plan.min(axis=0) - MARGIN_M).tolist(), (plan.max(axis=0) + MARGIN_M).tolist()
    return (x0, y0), (x1, y0), (x1, y1), (x0, y1)

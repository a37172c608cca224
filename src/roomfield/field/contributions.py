"""Who makes the level at a place: by switch, which a person can act on, and by band below it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.errors import TooEarlyError
from roomfield.field.posterior import LevelDraws, Posterior, levels_at
from roomfield.field.ranges import Range
from roomfield.field.scene import Scene
from roomfield.field.switching_bounds import honest_odds, switching_bounds
from roomfield.quantities import Kind
from roomfield.quantities.level import COVERAGE
from roomfield.survey import Place, RadioState

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Share:
    """Part of the emitters on one switch, or of one emitter, in the level at a place.

    Parameters
    ----------
    name : str
        The switch, or the emitter's id.
    emitter_ids : tuple of str
        All on that switch.
    share : Range
        Part of the total [1].
    level_w_m2 : Range
        What it makes alone, as a local mean: while on air for a peak or held maximum, over time for an average [W/m²].
    probability_largest : float
        That nothing else contributes more, within what switching at the place allows [1].
    contradicted : bool
        True if the joint answer is at odds with what switching at the place showed.
    bands : tuple of Share
        The emitters on the switch one by one, if there are several; these can often not be told apart.
    """

    name: str
    emitter_ids: tuple[str, ...]
    share: Range
    level_w_m2: Range
    probability_largest: float
    contradicted: bool = False
    bands: tuple[Share, ...] = ()


def contributions(
    posterior: Posterior,
    place: Place | ArrayLike,
    *,
    kind: Kind = Kind.PEAK,
    state: str | RadioState | None = None,
    scene: Scene | None = None,
    coverage: float = COVERAGE,
) -> tuple[Share, ...]:
    """Shares at one place, the most probable largest first.

    Parameters
    ----------
    posterior : Posterior
        From `infer`.
    place : Place or array_like, shape (3,)
        Where.
    kind : Kind
        Peak and highest held: while all transmit. Average: weighted with the duty.
    coverage : float
        Of the intervals [1].

    Raises
    ------
    TooEarlyError
        If the place has no position.
    """
    point = _position(place)
    drawn = levels_at(posterior, point[None], kind=kind, state=state, scene=scene)
    as_found = state is None and scene is None
    return shares_at(posterior, drawn, 0, point if as_found else None, coverage)


def contributions_at(
    posterior: Posterior, places: Sequence[Place], *, kind: Kind = Kind.PEAK, coverage: float = COVERAGE
) -> tuple[tuple[Share, ...], ...]:
    """Shares at several places with everything on, see `contributions`."""
    points = np.array([_position(place) for place in places])
    drawn = levels_at(posterior, points, kind=kind)
    return tuple(shares_at(posterior, drawn, n, point, coverage) for n, point in enumerate(points))


def shares_at(
    posterior: Posterior, drawn: LevelDraws, column: int, point: Array | None, coverage: float = COVERAGE
) -> tuple[Share, ...]:
    """Shares at one point of draws of levels, the most probable largest first.

    Parameters
    ----------
    column : int
        Of the point among the draws.
    point : ndarray, shape (3,) or None
        Where [m], to look for switching there; None if things are not as they were read.
    """
    switches = switches_of(posterior)
    table = drawn.by_emitter_w_m2[:, :, column]
    total = np.maximum(table.sum(axis=1), 1e-300)
    levels = np.stack([table[:, members].sum(axis=1) for members in switches.values()], axis=1)
    largest = np.bincount(np.argmax(levels, axis=1), minlength=len(switches)) / len(levels)
    tested = None if point is None else switching_bounds(posterior, point, list(switches.values()), drawn.kind)
    odds, contradicted = honest_odds(largest.tolist(), tested)
    within, alone = Range.of_each(levels / total[:, None], coverage), Range.of_each(levels, coverage)
    bands = _bands(drawn.emitter_ids, table, total, coverage) if len(switches) < table.shape[1] else ()
    found = []
    for k, (name, members) in enumerate(switches.items()):
        ids = tuple(drawn.emitter_ids[m] for m in members)
        own = tuple(bands[m] for m in members) if len(members) > 1 else ()
        found.append(Share(name, ids, within[k], alone[k], odds[k], contradicted, own))
    return tuple(sorted(found, key=lambda s: (-s.probability_largest, -s.share.median)))


def switches_of(posterior: Posterior) -> dict[str, list[int]]:
    """Switches and the indices of the emitters on them."""
    members: dict[str, list[int]] = {}
    for k, emitter in enumerate(posterior.survey.emitters):
        members.setdefault(emitter.group, []).append(k)
    return members


def _bands(names: tuple[str, ...], table: Array, total: Array, coverage: float) -> tuple[Share, ...]:
    """Shares of the emitters one by one."""
    largest = np.mean(table >= table.max(axis=1, keepdims=True), axis=0).tolist()
    within, alone = Range.of_each(table / total[:, None], coverage), Range.of_each(table, coverage)
    return tuple(Share(name, (name,), within[k], alone[k], largest[k]) for k, name in enumerate(names))


def _position(place: Place | ArrayLike) -> Array:
    if not isinstance(place, Place):
        return np.asarray(place, dtype=np.float64).reshape(3)
    if place.position is None:
        raise TooEarlyError(
            f"place {place.id!r} has no position, so nothing can be said of its sources.",
            mend="Put it on the plan first.",
        )
    return np.asarray(place.position, dtype=np.float64)

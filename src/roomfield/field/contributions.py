"""Who makes the level at a place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.errors import TooEarlyError
from roomfield.field.posterior import LevelDraws, Posterior, levels_at
from roomfield.field.scene import Scene
from roomfield.quantities import Kind
from roomfield.survey import Place, RadioState

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Share:
    """Part of one emitter, or of the emitters on one switch, in the level at a place.

    Parameters
    ----------
    emitter_ids : tuple of str
        One emitter, or all on one switch.
    name : str
        The emitter's id or the switch.
    share, share_low, share_high : float
        Median part of the total and its interval [1].
    level_w_m2, level_low_w_m2, level_high_w_m2 : float
        Median and interval of what it makes alone, as a local mean [W/m²].
    probability_largest : float
        That nothing else contributes more [1].
    """

    emitter_ids: tuple[str, ...]
    name: str
    share: float
    share_low: float
    share_high: float
    level_w_m2: float
    level_low_w_m2: float
    level_high_w_m2: float
    probability_largest: float


def contributions(
    posterior: Posterior,
    place: Place | ArrayLike,
    *,
    kind: Kind = Kind.PEAK,
    state: str | RadioState | None = None,
    scene: Scene | None = None,
    by_switch: bool = False,
    coverage: float = 0.9,
) -> tuple[Share, ...]:
    """Shares at one place, largest first.

    Parameters
    ----------
    posterior : Posterior
        From `infer`.
    place : Place or array_like, shape (3,)
        Where.
    kind : Kind
        Peak and highest held: while all transmit. Average: weighted with the duty.
    by_switch : bool
        True to put emitters with one switch together; bands of one device can often not be told apart.
    coverage : float
        Of the intervals [1].

    Raises
    ------
    TooEarlyError
        If the place has no position.
    """
    point = _position(place)
    drawn = levels_at(posterior, point[None], kind=kind, state=state, scene=scene)
    names, table = grouped(posterior, drawn, by_switch=by_switch)
    return shares_of(names, table[:, :, 0], coverage)


def grouped(
    posterior: Posterior, drawn: LevelDraws, *, by_switch: bool
) -> tuple[tuple[tuple[str, tuple[str, ...]], ...], Array]:
    """Names with their emitters, and their levels, shape (n_draws, n_names, n_points) [W/m²]."""
    members: dict[str, list[int]] = {}
    for k, emitter in enumerate(posterior.survey.emitters):
        members.setdefault(emitter.group if by_switch else emitter.id, []).append(k)
    names = tuple((n, tuple(drawn.emitter_ids[i] for i in index)) for n, index in members.items())
    table = np.stack([drawn.by_emitter_w_m2[:, index].sum(axis=1) for index in members.values()], axis=1)
    return names, table


def shares_of(names: tuple[tuple[str, tuple[str, ...]], ...], table: Array, coverage: float) -> tuple[Share, ...]:
    """Shares from draws at one point, largest probability of being the largest first.

    Parameters
    ----------
    table : ndarray, shape (n_draws, n_names)
        Levels [W/m²].
    """
    tail = (1.0 - coverage) / 2.0
    part = np.quantile(table / table.sum(axis=1, keepdims=True), [tail, 0.5, 1.0 - tail], axis=0)
    level = np.quantile(table, [tail, 0.5, 1.0 - tail], axis=0)
    largest = np.bincount(np.argmax(table, axis=1), minlength=table.shape[1]) / len(table)
    found = [
        Share(
            ids, name, float(part[1, k]), float(part[0, k]), float(part[2, k]), float(level[1, k]),
            float(level[0, k]), float(level[2, k]), float(largest[k]),
        )
        for k, (name, ids) in enumerate(names)
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda s: (-s.probability_largest, -s.share)))


def _position(place: Place | ArrayLike) -> Array:
    if not isinstance(place, Place):
        return np.asarray(place, dtype=np.float64).reshape(3)
    if place.position is None:
        raise TooEarlyError(
            f"place {place.id!r} has no position, so nothing can be said of its sources.",
            mend="Put it on the plan first.",
        )
    return np.asarray(place.position, dtype=np.float64)

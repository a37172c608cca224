"""Absolute answers tied to what the meter showed: predicted level = measured level x predicted ratio.

The model gives ratios (another place, another state, after a change) far better than absolute levels, and a reader
who sees one number on the page and another in the prediction trusts neither. So a prediction starts from the
measured level, with its whole uncertainty, and takes from the model only by how much it changes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.field.posterior import Posterior, levels_at
from roomfield.quantities import Censoring, Kind, UncertainLevel, require_kind
from roomfield.quantities.level import joint_draws_w_m2
from roomfield.survey import RadioState

Array = NDArray[np.float64]
_STREAM = 31


@dataclass(frozen=True, eq=False)
class Tie:
    """Factors that carry the model's draws to the measured levels.

    Parameters
    ----------
    by_place : mapping of str to ndarray, shape (n_draws,)
        Measured level over the model's at each place that was read [1].
    common : ndarray, shape (n_draws,)
        What these have in common, for places that were not read [1].
    """

    by_place: Mapping[str, Array]
    common: Array

    def with_more(self, other: Tie) -> Tie:
        """The same with places that only the other ties, read in another kind of instantaneous power."""
        by_place = {**other.by_place, **self.by_place}
        return _tie_of(by_place, len(self.common))

    def factors(self, place_ids: Sequence[str]) -> Array:
        """Factors at places, shape (n_draws, n_places)."""
        return np.stack([self.by_place.get(name, self.common) for name in place_ids], axis=1)


def tie(
    posterior: Posterior,
    measured: Mapping[str, UncertainLevel],
    *,
    kind: Kind,
    state: str | RadioState | None = None,
) -> Tie:
    """Factors from the model's levels to the measured ones.

    Parameters
    ----------
    posterior : Posterior
        From `infer`.
    measured : mapping of str to UncertainLevel
        Levels of places by id, of one kind in one radio state. Places without position, and those of which only a
        bound is known, tie nothing.
    kind : Kind
        Of the measured levels.
    state : str or RadioState, optional
        Radio state in which they were read; left out: nothing was off.

    Raises
    ------
    KindMismatchError
        If a level is of another kind.
    """
    column = {p.id: n for n, p in enumerate(p for p in posterior.survey.places if p.position is not None)}
    for level in measured.values():
        require_kind(level.kind, kind, "a level to which the model is tied")
    used = {name: level for name, level in measured.items() if level.censoring is Censoring.NONE and name in column}
    count = len(posterior.x)
    if not used:
        return Tie({}, np.ones(count))
    points = [p.position for p in posterior.survey.places if p.position is not None]
    model = levels_at(posterior, points, kind=kind, state=state).density_w_m2[:, [column[name] for name in used]]
    factor = joint_draws_w_m2(list(used.values()), count, np.random.default_rng([posterior.seed, _STREAM])) / model
    return _tie_of(dict(zip(used, factor.T, strict=True)), count)


def _tie_of(by_place: Mapping[str, Array], count: int) -> Tie:
    if not by_place:
        return Tie({}, np.ones(count))
    return Tie(by_place, np.exp(np.mean(np.log(np.stack(list(by_place.values()))), axis=0)))


def measured_times_ratio(measured: UncertainLevel, base_w_m2: Array, wanted_w_m2: Array, *, seed: int = 0) -> Array:
    """Draws of a level that was not measured from one that was [W/m²].

    Parameters
    ----------
    measured : UncertainLevel
        What was measured.
    base_w_m2 : ndarray, shape (n_draws,)
        The model's draws of the same (place, state, kind) [W/m²].
    wanted_w_m2 : ndarray, shape (n_draws,) or (n_draws, m)
        The model's draws of what is asked: another state, another place, after a change [W/m²].
    seed : int
        Of the draws of the measured level's error.

    Notes
    -----
    Of a bound the answer is a bound on the same side.
    """
    drawn = joint_draws_w_m2([measured], len(base_w_m2), np.random.default_rng([seed, _STREAM]))[:, 0] / base_w_m2
    return np.asarray((wanted_w_m2.T * drawn).T)

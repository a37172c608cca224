"""What switching alone says of the largest contributor at a place, without the model of the dwelling.

A place read with everything on and again with one switch off needs no propagation, no power and no gain error to
tell that switch's part: it is one less the ratio of the two readings. The joint answer rests on more, but it is
never told as sure against such a test.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.field.noise import OWN_STD_DB
from roomfield.field.observation_arrays import AVERAGE_ROW
from roomfield.field.posterior import SAME_SPOT_M, Posterior
from roomfield.quantities import Kind

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
MAXIMA_STD_DB = 1.0
"""The largest spot of a mix is not where the largest spot of a part is (our judgement)."""
EVIDENCE_FACTOR = 5.0
"""An answer's odds may exceed what the test alone allows by this factor, for it rests on more (our judgement)."""
DRAWS = 2000


@dataclass(frozen=True)
class LargestBounds:
    """Bounds of the probability that a switch is the largest contributor, from switching alone."""

    low: float
    high: float

    def holds(self, probability: float) -> float:
        """A probability drawn into what the test allows."""
        least = 1.0 - min(EVIDENCE_FACTOR * (1.0 - self.low), 1.0)
        return min(max(probability, least), min(EVIDENCE_FACTOR * self.high, 1.0))


class _Read(NamedTuple):
    """Readings of one kind by one meter in one state at one site: mean level [dB], its variance, who was on."""

    level_db: float
    variance: float
    on: Mask


def switching_bounds(
    posterior: Posterior, point: ArrayLike, groups: Sequence[Sequence[int]], kind: Kind
) -> tuple[LargestBounds, ...] | None:
    """Bounds for each switch at a place where switches were tried; None if none was.

    Parameters
    ----------
    point : array_like, shape (3,)
        Where [m].
    groups : sequence of sequence of int
        Indices of the emitters on each switch.
    kind : Kind
        Averages are tested by averages, peaks and held maxima by either of these.
    """
    read = _readings_at(posterior, point, kind)
    base = max(read, key=lambda r: int(r.on.sum()), default=None)
    if base is None or not base.on.all():
        return None
    rng = np.random.default_rng([posterior.seed, 41])
    shown = base.level_db + np.sqrt(base.variance) * rng.standard_normal(DRAWS)
    parts = np.full((len(groups), DRAWS), np.nan)
    for g, members in enumerate(groups):
        alone = np.ones(len(base.on), dtype=np.bool_)
        alone[list(members)] = False
        off = [r for r in read if np.array_equal(r.on, alone)]
        if off:
            level = np.mean([r.level_db for r in off])
            std = np.sqrt(np.mean([r.variance for r in off]) / len(off))
            left = level + std * rng.standard_normal(DRAWS)
            parts[g] = 1.0 - np.minimum(10.0 ** ((left - shown) / 10.0), 1.0)
    return None if np.all(np.isnan(parts)) else _bounds(parts)


def _readings_at(posterior: Posterior, point: ArrayLike, kind: Kind) -> list[_Read]:
    """Values of scans at a place while every emitter that was on did as found, through no filter."""
    observed, noise = posterior.forward.observed, posterior.forward.noise
    rows = observed.levels
    near = np.linalg.norm(observed.sites - np.asarray(point), axis=1) < SAME_SPOT_M
    average = rows.kind == AVERAGE_ROW
    usual = np.all((rows.mode == np.arange(rows.mode.shape[1])) & (rows.front_db == 0.0), axis=1)
    chosen = near[rows.site] & usual & (rows.censor == 0) & (rows.edge_m > 0.0) & (average == (kind is Kind.AVERAGE))
    found: list[_Read] = []
    states = {(int(rows.meter[i]), rows.on[i].tobytes()) for i in np.flatnonzero(chosen)}
    most_read = max((m for m, _ in states), key=lambda m: sum(k == m for k, _ in states), default=-1)
    for meter, on in sorted(states):
        here = [i for i in np.flatnonzero(chosen) if rows.meter[i] == meter and rows.on[i].tobytes() == on]
        if meter != most_read:
            continue
        scans = len({int(rows.scan[i]) for i in here})
        maxima = 0.0 if kind is Kind.AVERAGE else MAXIMA_STD_DB**2
        own = OWN_STD_DB**2 + float(np.mean(rows.record_db2[here]))
        variance = (float(noise.scan_std_db[rows.scan[here]].max()) ** 2 + maxima) / scans + own / len(here)
        found.append(_Read(float(np.mean(rows.value_db[here])), variance, rows.on[here[0]]))
    return found


def _bounds(parts: Array) -> tuple[LargestBounds, ...]:
    """Bounds from draws of the tested switches' parts, shape (groups, draws), NaN for those not tested."""
    tested = ~np.isnan(parts[:, 0])
    rest = np.maximum(1.0 - np.nansum(parts, axis=0), 0.0)
    untested = int(np.count_nonzero(~tested))
    found = []
    for g in range(len(parts)):
        others = np.max(np.delete(parts, g, axis=0)[np.delete(tested, g)], axis=0, initial=0.0)
        if tested[g]:
            sure = parts[g] > np.maximum(others, rest if untested else 0.0)
            possible = parts[g] > np.maximum(others, rest / untested if untested else 0.0)
        else:
            possible = rest > others
            sure = possible & (untested == 1)
        found.append(LargestBounds(float(np.mean(sure)), float(np.mean(possible))))
    return tuple(found)


def honest_odds(
    probabilities: Sequence[float], bounds: Sequence[LargestBounds] | None
) -> tuple[tuple[float, ...], bool]:
    """Probabilities of being the largest within what switching allows, adding up to 1, and whether it changed them.

    Parameters
    ----------
    probabilities : sequence of float
        Of the joint answer, one per switch.
    bounds : sequence of LargestBounds or None
        From `switching_bounds`.
    """
    given = np.asarray(probabilities, dtype=np.float64)
    if bounds is None:
        return tuple(given.tolist()), False
    held = np.array([b.holds(p) for b, p in zip(bounds, given, strict=True)])
    bound = np.abs(held - given) > 1e-9
    if not bound.any():
        return tuple(given.tolist()), False
    free, left = held[~bound].sum(), 1.0 - held[bound].sum()
    if left > 0.0:
        held[~bound] = held[~bound] * left / free if free > 0.0 else left / max(np.count_nonzero(~bound), 1)
    held = held / held.sum()
    return tuple(held.tolist()), bool(np.max(np.abs(held - given)) > 0.1)

"""Covariance and evidence of links by compiled code, for many sets of scales; `links` says the same in NumPy."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from roomfield.field.links import (
    EMITTER_LEVEL_STD_DB,
    EXPONENT_EMITTER_STD,
    EXPONENT_STD,
    LEVEL_STD_DB,
    LOSS_PER_VARIANCE,
    PATTERN_STD_DB,
    TWIN_CORRELATION,
    WALL_STD_DB,
    Centre,
    Hyper,
    PointLinks,
    aside_mean,
    centred_aside,
    centred_walls,
    centred_ways,
    directions,
    expected_exponent,
    log_distance,
    prior_mean,
    stretch_overlap,
    way_overlap,
)
from roomfield.field.point_kernels import Laws, Pairs, fill, log_evidences

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
_NO_LAWS = Laws(0.0, 0.0, 0.0, 0.0)


class PairSums:
    """What two sets of links have in common whatever the scales, computed once.

    Parameters
    ----------
    left, right : Links
        With the same emitters.
    centre : Centre
        Pivot of the linear terms.
    """

    def __init__(self, left: PointLinks, right: PointLinks, centre: Centre) -> None:
        self.left, self.right, self.centre = left, right, centre
        same = (left.emitter[:, None] == right.emitter[None, :]).astype(np.float64)
        constant = LEVEL_STD_DB**2 + EMITTER_LEVEL_STD_DB**2 * same
        count = 1 + int(max(left.emitter.max(), right.emitter.max()))
        apart, parts = np.zeros((count, count)), np.zeros((0, len(left), len(right)))
        self.laws = _NO_LAWS
        if left.positions is not None and right.positions is not None:
            self.laws = Laws(expected_exponent(left), EXPONENT_STD**2, EXPONENT_EMITTER_STD**2, TWIN_CORRELATION)
            apart = cdist(left.positions, right.positions)
            constant = constant + PATTERN_STD_DB**2 * same * (directions(left) @ directions(right).T)
            beside = centred_aside(left, centre) @ centred_aside(right, centre).T
            parts = np.array([way_overlap(left, right), stretch_overlap(left, right), beside])
        if left.walls is not None and right.walls is not None:
            constant = constant + WALL_STD_DB**2 * centred_walls(left, centre) @ centred_walls(right, centre).T
        distance = cdist(left.points, right.points)
        self.pairs = Pairs(np.ascontiguousarray(constant), parts, distance, left.emitter, right.emitter, apart)

    def covariance(self, hyper: Hyper) -> Array:
        """Covariance without noise [dB²], shape (n_left, n_right).

        Parameters
        ----------
        hyper : Hyper
            The scales.
        """
        used, coefficients = self._used([hyper])
        pairs = self.pairs._replace(parts=self.pairs.parts[used])
        out = np.empty((len(self.left), len(self.right)))
        rise = _rise(self.left, hyper, self.centre), _rise(self.right, hyper, self.centre)
        fill(out, pairs, rise, _scales([hyper])[0], coefficients[0], self.laws, False)
        return out

    def log_evidences(self, hypers: Sequence[Hyper], level_db: Array) -> Array:
        """Log density of readings at the left links, which must be the right ones too, for each set of scales.

        Parameters
        ----------
        hypers : sequence of Hyper
            The scales, all of one structure.
        level_db : ndarray, shape (n,)
            Readings [dB].
        """
        used, coefficients = self._used(hypers)
        pairs = self.pairs._replace(parts=self.pairs.parts[used])
        known = self.left.positions is not None
        squared = np.sum(self.left.offsets**2, axis=1) if known else np.zeros(0)
        base = prior_mean(
            PointLinks(self.left.points, self.left.emitter, None, self.left.walls), hypers[0], self.centre
        )
        if known:
            base = base + aside_mean(self.left, hypers[0], self.centre)
        losses = LOSS_PER_VARIANCE * np.column_stack([centred_ways(self.left, self.centre), np.zeros(len(base))]).T
        pivot = self.centre.log_distance
        return np.asarray(
            log_evidences(
                pairs, losses[used], level_db - base, squared, pivot, _scales(hypers), coefficients, self.laws
            )
        )

    def _used(self, hypers: Sequence[Hyper]) -> tuple[Indices, Array]:
        """Which parts are not zero for all scales, and their factors."""
        table = np.array([[h.obstacle_db2_per_m, h.partition_db2_per_m, h.aside_db**2] for h in hypers])
        used = np.flatnonzero(table.any(axis=0)) if len(self.pairs.parts) else np.zeros(0, dtype=np.int64)
        return used, np.ascontiguousarray(table[:, used])


def _rise(links: PointLinks, hyper: Hyper, centre: Centre) -> Array:
    if links.positions is None:
        return np.zeros(len(links))
    return log_distance(links, hyper.near_m) - centre.log_distance


def _scales(hypers: Sequence[Hyper]) -> Array:
    return np.array([[h.length_m, h.shadow_db, h.clutter_db, h.noise_db, h.near_m] for h in hypers])

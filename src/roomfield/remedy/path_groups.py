"""Paths gathered into groups on which every action works alike, so that a plan is a product."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.field.path_list import PathList

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BIN_DB = 1.0
"""Paths whose factors differ by less than about this are one group; its factor is their power-weighted mean."""
NEGLIGIBLE = 1e-3
"""A group is left out if it stays under this share of its cell after every choice of actions."""


@dataclass(frozen=True, eq=False)
class PathGroups:
    """Groups of paths of all cells; a cell is ``place * n_emitters + emitter``, powers are shares of the cell.

    Parameters
    ----------
    cell, entry : ndarray of int, shape (g,)
        Cell and plate of entry.
    share : ndarray, shape (g,)
        Share of the cell's power before any action.
    factor : ndarray, shape (actions, g)
        What each action multiplies it by.
    edge_cell, edge_entry, edge_share, edge_way, solid, hole, solid_factor, hole_factor : ndarray
        The same for edges, see `roomfield.field.path_list.PathList`.
    entry_names : tuple of str
        Names of the plates of entry.
    """

    cell: IntArray
    entry: IntArray
    share: Array
    factor: Array
    edge_cell: IntArray
    edge_entry: IntArray
    edge_share: Array
    edge_way: Array
    solid: Array
    hole: Array
    solid_factor: Array
    hole_factor: Array
    entry_names: tuple[str, ...]


def gather(paths: PathList, points_per_place: int, emitters: int, cells: int) -> PathGroups:
    """Gather paths to several points of each place into groups.

    Parameters
    ----------
    paths : PathList
        Paths to ``points_per_place`` points of each place, place by place.
    emitters, cells : int
        Number of emitters, and of places times emitters.
    """
    cell = paths.cell // emitters // points_per_place * emitters + paths.cell % emitters
    edge_cell = paths.edge_cell // emitters // points_per_place * emitters + paths.edge_cell % emitters
    edge_base = paths.edge_power * (paths.solid - paths.hole) ** 2
    whole = np.bincount(cell, paths.power, cells) + np.bincount(edge_cell, edge_base, cells)
    whole = np.maximum(whole, 1e-30)
    share = paths.power / whole[cell]
    least = np.bincount(cell, share * np.minimum(paths.factor, 1.0).prod(axis=1), cells)
    cell, entry, share, factor = _merged(cell, paths.entry, share, paths.factor)
    most = share * np.maximum(factor, 1.0).prod(axis=1)
    keep = (most > NEGLIGIBLE * least[cell] / 30.0) & (share * np.maximum(factor, 1.0).max(axis=1, initial=1.0) > 0.0)
    strength = paths.edge_power / whole[edge_cell]
    worst = strength * np.maximum(paths.edge_factor, 1.0).prod(axis=1)
    kept = worst > NEGLIGIBLE * least[edge_cell] / 30.0
    return PathGroups(
        cell[keep], entry[keep], share[keep], np.ascontiguousarray(factor[keep].T),
        edge_cell[kept], paths.edge_entry[kept], strength[kept], np.ascontiguousarray(paths.edge_factor[kept].T),
        paths.solid[kept], paths.hole[kept], np.ascontiguousarray(paths.solid_factor[kept].T),
        np.ascontiguousarray(paths.hole_factor[kept].T), paths.entry_names,
    )  # fmt: skip


def of_cell(groups: PathGroups, cell: int) -> PathGroups:
    """The groups of one cell, which becomes cell 0."""
    g, e = groups.cell == cell, groups.edge_cell == cell
    return PathGroups(
        groups.cell[g] * 0, groups.entry[g], groups.share[g], groups.factor[:, g],
        groups.edge_cell[e] * 0, groups.edge_entry[e], groups.edge_share[e], groups.edge_way[:, e],
        groups.solid[e], groups.hole[e], groups.solid_factor[:, e], groups.hole_factor[:, e], groups.entry_names,
    )  # fmt: skip


def joined(pieces: Sequence[PathGroups]) -> PathGroups:
    """Groups of one cell each as groups of as many cells, in order."""

    def line(arrays: list[Array], axis: int = 0) -> Array:
        return np.ascontiguousarray(np.concatenate(arrays, axis=axis))

    count = np.arange(len(pieces), dtype=np.int64)
    return PathGroups(
        np.repeat(count, [len(p.cell) for p in pieces]),
        np.concatenate([p.entry for p in pieces]), line([p.share for p in pieces]),
        line([p.factor for p in pieces], 1), np.repeat(count, [len(p.edge_cell) for p in pieces]),
        np.concatenate([p.edge_entry for p in pieces]), line([p.edge_share for p in pieces]),
        line([p.edge_way for p in pieces], 1), line([p.solid for p in pieces]), line([p.hole for p in pieces]),
        line([p.solid_factor for p in pieces], 1), line([p.hole_factor for p in pieces], 1), pieces[0].entry_names,
    )  # fmt: skip


def _merged(cell: IntArray, entry: IntArray, share: Array, factor: Array) -> tuple[IntArray, IntArray, Array, Array]:
    """Paths of one cell, one way in and much the same factors become one."""
    level = np.round(10.0 * np.log10(np.maximum(factor, 1e-12)) / BIN_DB).astype(np.int64)
    keys = np.column_stack([cell, entry, level])
    unique, index = np.unique(keys, axis=0, return_inverse=True)
    index = index.reshape(-1)
    total = np.bincount(index, share, len(unique)).astype(np.float64)
    safe = np.maximum(total, 1e-300)
    mean = np.empty((len(unique), factor.shape[1]))
    for column, values in enumerate(factor.T):
        mean[:, column] = np.bincount(index, share * values, len(unique)) / safe
    return unique[:, 0], unique[:, 1], total, mean

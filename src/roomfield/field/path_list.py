"""Every path between emitters and points, with what each of several changes of the scene would do to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.constants import SPEED_OF_LIGHT_M_S
from roomfield.field import path_list_kernels
from roomfield.field.propagation import side_images, wave_codes
from roomfield.field.scene import Scene
from roomfield.survey.emitter import AntennaPattern, Polarisation

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
FAINTEST = 1e-5
"""A path is left out if it is this much weaker than what has been found so far, before and after every change."""


@dataclass(frozen=True, eq=False)
class PathList:
    """Paths of all emitters to all points; a path's power after changes is a product.

    Parameters
    ----------
    cell : ndarray of int, shape (p,)
        ``point * n_emitters + emitter`` of each path.
    power : ndarray, shape (p,)
        Power density per watt as the scene stands [1/m²].
    factor : ndarray, shape (p, changes)
        What each change alone multiplies it by.
    entry : ndarray of int, shape (p,)
        Plate by which it comes in, as in `roomfield.field.propagation.Paths`.
    edge_cell, edge_entry : ndarray of int, shape (q,)
        The same for what edges throw.
    edge_power : ndarray, shape (q,)
        Power if the plate were opaque and the opening nothing [1/m²].
    edge_factor : ndarray, shape (q, changes)
        What each change does to the way before and after the edge.
    solid, hole : ndarray, shape (q,)
        Amplitudes that plate and opening pass; the power is weighed with their squared difference.
    solid_factor, hole_factor : ndarray, shape (q, changes)
        What each change multiplies these amplitudes by.
    entry_names : tuple of str
        Names of the plates; the last is empty.
    """

    cell: IntArray
    power: Array
    factor: Array
    entry: IntArray
    edge_cell: IntArray
    edge_power: Array
    edge_factor: Array
    edge_entry: IntArray
    solid: Array
    hole: Array
    solid_factor: Array
    hole_factor: Array
    entry_names: tuple[str, ...]


def list_paths(
    scene: Scene,
    changed: Sequence[Scene],
    positions: ArrayLike,
    frequencies_hz: ArrayLike,
    patterns: Sequence[AntennaPattern],
    polarisations: Sequence[Polarisation],
    points: ArrayLike,
    *,
    order: int = 3,
) -> PathList:
    """List the paths and the effect of each change.

    Parameters
    ----------
    scene : Scene
        As it stands.
    changed : sequence of Scene
        Scenes of the same shape with other build-ups, one per change.
    positions, points : array_like, shape (m, 3) and (n, 3)
        Emitters and points [m].

    Returns
    -------
    PathList
    """
    emitters = np.asarray(positions, dtype=np.float64).reshape(-1, 3)
    places = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    frequencies = np.asarray(frequencies_hz, dtype=np.float64)
    unique, waves = wave_codes(frequencies, patterns, polarisations)
    tables = np.stack([_kernel_tables(s, unique) for s in (scene, *changed)])
    touched = _touched(scene, changed)
    m, c = len(emitters), len(changed)
    found: list[list[Array]] = []
    lost: list[list[Array]] = []
    for k in range(m):
        side, _ = side_images(scene, emitters[k : k + 1], order)
        wave = (int(waves[k, 0]), SPEED_OF_LIGHT_M_S / frequencies[k], int(waves[k, 1]), int(waves[k, 2]))
        rows, edges = path_list_kernels.list_from(scene.arrays, tables, touched, side, places, wave, FAINTEST, order)
        for table, into in ((rows, found), (edges, lost)):
            table[:, 0] = table[:, 0] * m + k
            into.append(table)
    paths, edges = np.concatenate([*found, np.zeros((0, 3 + c))]), np.concatenate([*lost, np.zeros((0, 5 + 3 * c))])
    return PathList(
        paths[:, 0].astype(np.int64), paths[:, 1], paths[:, 3:], paths[:, 2].astype(np.int64),
        edges[:, 0].astype(np.int64), edges[:, 1], edges[:, 5 : 5 + c], edges[:, 2].astype(np.int64),
        edges[:, 3], edges[:, 4], edges[:, 5 + c : 5 + 2 * c], edges[:, 5 + 2 * c :], (*scene.names, ""),
    )  # fmt: skip


def _kernel_tables(scene: Scene, frequencies_hz: Array) -> Array:
    return np.ascontiguousarray(scene.tables(frequencies_hz.tolist()).transpose(0, 1, 3, 2))


def _touched(scene: Scene, changed: Sequence[Scene]) -> NDArray[np.bool_]:
    base = scene.build_ups
    table = np.zeros((len(changed), len(base)), dtype=np.bool_)
    for row, other in zip(table, changed, strict=True):
        row[:] = [a != b for a, b in zip(base, other.build_ups, strict=True)]
    return table

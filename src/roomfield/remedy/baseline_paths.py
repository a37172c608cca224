"""What stays the same from one question about a posterior to the next: levels and paths of what did not move.

A plan that moves one thing leaves the levels and paths of everything else as they were, so that only its own row or
column of the tables is worked out anew; with that a question is answered while the hand still drags.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from roomfield.field.geometry import Cover
from roomfield.field.hand_scan import cube_points
from roomfield.field.path_list import list_paths
from roomfield.field.posterior import LevelDraws, Posterior, level_table_db, total_of
from roomfield.field.scene import Scene
from roomfield.quantities import Kind
from roomfield.remedy.naming import Way, ways_of
from roomfield.remedy.path_groups import PathGroups, gather, joined, of_cell
from roomfield.survey.dwelling import Layer, Point3

Array = NDArray[np.float64]
Builds = tuple[tuple[tuple[tuple[Layer, ...], tuple[Cover, ...]], ...], ...]
Cell = tuple[int, tuple[float, ...], tuple[float, ...]]
MOST_CELLS, MOST_CHANGES = 6000, 6
POINTS_PER_PLACE = 8


class Groundwork:
    """Levels and paths for one posterior, each worked out once.

    Parameters
    ----------
    posterior : Posterior
        From `roomfield.field.infer`.
    """

    def __init__(self, posterior: Posterior) -> None:
        self.posterior = posterior
        self._tables: dict[tuple[Kind, bytes], Array] = {}
        self._cells: dict[Builds, dict[Cell, PathGroups]] = {}

    @cached_property
    def ways(self) -> dict[str, Way]:
        """What every wall, slab and opening is called, by its id."""
        return ways_of(self.posterior.survey.dwelling)

    def levels(self, kind: Kind, usual: Array, points: Array, moved: Mapping[str, Point3]) -> LevelDraws:
        """Levels at points with some emitters moved.

        Parameters
        ----------
        usual, points : ndarray, shape (n, 3)
            Where the places stand, and where they would [m].
        moved : mapping
            New positions of emitters [m].
        """
        posterior = self.posterior
        table = self._usual(kind, usual)
        rows = self._rows(moved)
        columns = np.flatnonzero((points != usual).any(axis=1)).tolist()
        if rows or columns:
            table = table.copy()
        if rows:
            table[:, rows] = level_table_db(posterior, points, kind=kind, emitter_positions=moved, rows=rows)
        if columns:
            new = level_table_db(posterior, points, kind=kind, emitter_positions=moved, columns=columns)
            table[:, :, columns] = new
        return total_of(posterior, table, posterior.x, kind, points=points, moved=tuple(moved))

    def _usual(self, kind: Kind, points: Array) -> Array:
        key = (kind, points.tobytes())
        if key not in self._tables:
            self._tables[key] = level_table_db(self.posterior, points, kind=kind)
        return self._tables[key]

    def _rows(self, moved: Mapping[str, Point3]) -> list[int]:
        """Emitters that move, with those sought together with one of them."""
        rows = {self.posterior.emitter_ids.index(name) for name in moved}
        for search in self.posterior.searches:
            if rows & {*search.members}:
                rows |= {*search.members}
        return sorted(rows)

    def groups(self, changed: Sequence[Scene], positions: Array, points: Array) -> PathGroups:
        """Paths of all emitters to all places, and what each change makes of them.

        Parameters
        ----------
        changed : sequence of Scene
            The scene after each change.
        positions, points : ndarray, shape (k, 3) and (n, 3)
            Emitters and places [m].
        """
        cells = self._of_changes(tuple(tuple((p.layers, p.covers) for p in s.shapes.plates) for s in changed))
        where, whence = [tuple(p) for p in points.tolist()], [tuple(p) for p in positions.tolist()]
        for row, position in enumerate(whence):
            missing = sorted({n for n, point in enumerate(where) if (row, position, point) not in cells})
            if missing:
                found = self._traced(changed, row, positions[row : row + 1], points[missing])
                for cell, n in enumerate(missing):
                    cells[row, position, where[n]] = of_cell(found, cell)
        return joined([cells[row, at, to] for to in where for row, at in enumerate(whence)])

    def _of_changes(self, builds: Builds) -> dict[Cell, PathGroups]:
        if builds not in self._cells and len(self._cells) >= MOST_CHANGES:
            self._cells.pop(next(iter(self._cells)))
        cells = self._cells.setdefault(builds, {})
        if len(cells) > MOST_CELLS:
            cells.clear()
        return cells

    def _traced(self, changed: Sequence[Scene], row: int, position: Array, points: Array) -> PathGroups:
        one = self.posterior.radiators.take([row])
        paths = list_paths(
            self.posterior.scene, changed, position, one.frequencies_hz, one.patterns, one.polarisations,
            cube_points(points).reshape(-1, 3),
        )  # fmt: skip
        return gather(paths, POINTS_PER_PLACE, 1, len(points))

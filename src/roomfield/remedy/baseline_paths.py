"""What stays the same from one question about a home to the next: levels and paths of what did not move.

A plan that moves one thing leaves the levels and paths of everything else as they were, so that only its own row or
column of the tables is worked out anew; with that a question is answered while the hand still drags. Paths hang on no
reading, so that they stay when one more comes in.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable, Mapping, Sequence
from functools import cached_property
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from roomfield.field.hand_scan import cube_points
from roomfield.field.path_list import list_paths
from roomfield.field.posterior import LevelDraws, Posterior, level_table_db, total_of
from roomfield.field.scene import Scene
from roomfield.quantities import Kind
from roomfield.remedy.naming import Way, ways_of
from roomfield.remedy.path_groups import PathGroups, gather, joined, of_cell
from roomfield.survey.dwelling import Point3

Array = NDArray[np.float64]
MOST_CELLS, MOST_CHANGES = 6000, 6
"""Pairs of emitter and place kept for one set of changes, and sets of changes."""
POINTS_PER_PLACE = 8


class KnownPaths:
    """Paths of pairs of emitter and place by what they hang on; changes not asked for longest are forgotten first."""

    def __init__(self) -> None:
        self._cells: OrderedDict[Hashable, dict[Hashable, PathGroups]] = OrderedDict()
        self._turn = Lock()

    def of(self, question: Hashable) -> dict[Hashable, PathGroups]:
        """What is known for one scene and set of changes."""
        with self._turn:
            return dict(self._cells.get(question, {}))

    def keep(self, question: Hashable, fresh: dict[Hashable, PathGroups]) -> None:
        """Add what was found."""
        with self._turn:
            cells = self._cells.setdefault(question, {})
            self._cells.move_to_end(question)
            if len(cells) > MOST_CELLS:
                cells.clear()
            cells.update(fresh)
            while len(self._cells) > MOST_CHANGES:
                self._cells.popitem(last=False)


KNOWN_PATHS = KnownPaths()


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
        scene, waves = self.posterior.scene, self.posterior.radiators
        builds = tuple(tuple((p.layers, p.covers) for p in s.shapes.plates) for s in changed)
        question = (scene.content, scene.names, builds)
        cells = KNOWN_PATHS.of(question)
        fresh: dict[Hashable, PathGroups] = {}
        where = [tuple(p) for p in points.tolist()]
        wave = zip(waves.frequencies_hz.tolist(), waves.patterns, waves.polarisations, strict=True)
        whence = [(tuple(p), *w) for p, w in zip(positions.tolist(), wave, strict=True)]
        for row, emitter in enumerate(whence):
            missing = sorted({n for n, point in enumerate(where) if (emitter, point) not in cells})
            if missing:
                found = self._traced(changed, row, positions[row : row + 1], points[missing])
                fresh.update({(emitter, where[n]): of_cell(found, cell) for cell, n in enumerate(missing)})
                cells.update(fresh)
        KNOWN_PATHS.keep(question, fresh)
        return joined([cells[emitter, point] for point in where for emitter in whence])

    def _traced(self, changed: Sequence[Scene], row: int, position: Array, points: Array) -> PathGroups:
        one = self.posterior.radiators.take([row])
        paths = list_paths(
            self.posterior.scene, changed, position, one.frequencies_hz, one.patterns, one.polarisations,
            cube_points(points).reshape(-1, 3),
        )  # fmt: skip
        return gather(paths, POINTS_PER_PLACE, 1, len(points))

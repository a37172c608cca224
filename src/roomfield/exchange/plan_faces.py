"""Walls drawn as two lines, one for each face: the centre line between them, and the thickness."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.survey.dwelling import Point2

THINNEST_M, THICKEST_M = 0.04, 0.65
MOST_LINES = 6000
_PARALLEL = math.cos(math.radians(1.0))
_SHORTEST_OVERLAP_M = 0.15
_SAME_DISTANCE_M = 0.03
_CORNER_M = 0.8

Line = tuple[Point2, Point2]


@dataclass(frozen=True)
class FacedWall:
    """A wall between two faces: its centre line and thickness [m]."""

    start: Point2
    end: Point2
    thickness_m: float


@dataclass(frozen=True)
class _Frame:
    """Another line as seen along one line: distance to the side, and where it begins and ends."""

    offset_m: float
    low_m: float
    high_m: float


def pair_faces(lines: Sequence[Line]) -> tuple[list[FacedWall], list[Line]]:
    """Walls between parallel lines that lie as far apart as a wall is thick, and the lines left over.

    Parameters
    ----------
    lines : sequence of ((x, y), (x, y))
        Faces [m].
    """
    left = sorted(lines, key=lambda line: math.dist(*line), reverse=True)
    ends = np.array(left, dtype=np.float64).reshape(-1, 4)
    free = np.ones(len(left), dtype=bool)
    walls: list[FacedWall] = []
    alone: list[Line] = []
    for i, line in enumerate(left):
        if not free[i]:
            continue
        free[i] = False
        partners = _partners(ends, i, free)
        for j, frame in partners:
            free[j] = False
            walls.append(_between(line, frame))
        if not partners:
            alone.append(line)
    return walls, alone


def _partners(ends: NDArray[np.float64], i: int, free: NDArray[np.bool_]) -> list[tuple[int, _Frame]]:
    """Free lines that face line ``i`` at the smallest distance at which any does."""
    origin, along = ends[i, :2], ends[i, 2:] - ends[i, :2]
    length = float(np.hypot(*along))
    along = along / length
    across = np.array([-along[1], along[0]])
    spans = ends[:, 2:] - ends[:, :2]
    lengths = np.hypot(spans[:, 0], spans[:, 1])
    parallel = np.abs(spans @ along) >= _PARALLEL * lengths
    first, last = (ends[:, :2] - origin) @ along, (ends[:, 2:] - origin) @ along
    low, high = np.minimum(first, last), np.maximum(first, last)
    offset = ((ends[:, :2] - origin) @ across + (ends[:, 2:] - origin) @ across) / 2
    overlap = np.minimum(high, length) - np.maximum(low, 0.0)
    near = (np.abs(offset) >= THINNEST_M) & (np.abs(offset) <= THICKEST_M)
    fits = free & parallel & near & (overlap >= np.maximum(_SHORTEST_OVERLAP_M, 0.5 * lengths))
    if not fits.any():
        return []
    nearest = offset[fits][np.argmin(np.abs(offset[fits]))]
    chosen = np.flatnonzero(fits & (np.abs(offset - nearest) <= _SAME_DISTANCE_M))
    return [(int(j), _Frame(float(offset[j]), float(low[j]), float(high[j]))) for j in chosen]


def _between(line: Line, frame: _Frame) -> FacedWall:
    length = math.dist(*line)
    low_m = frame.low_m / 2 if abs(frame.low_m) <= _CORNER_M else max(frame.low_m, 0.0)
    high_m = (frame.high_m + length) / 2 if abs(frame.high_m - length) <= _CORNER_M else min(frame.high_m, length)
    (x0, y0), (x1, y1) = line
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    side = frame.offset_m / 2

    def at(distance_m: float) -> Point2:
        return (round(x0 + ux * distance_m - uy * side, 4), round(y0 + uy * distance_m + ux * side, 4))

    return FacedWall(at(low_m), at(high_m), round(abs(frame.offset_m), 4))

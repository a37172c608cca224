"""Images of a point in the planes of a scene, compiled."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True)
def build_images(frame, source, order):
    """Images of a point in all sequences of planes up to an order; entry 0 is the point itself.

    Returns positions (n, 3), (plane, parent, order) of each, its signed distance from its plane, and the normals
    of all its planes as the unfolded ray meets them (n, order, 3).
    """
    planes = frame.shape[0]
    total, layer = 1, 1
    for k in range(order):
        layer *= planes if k == 0 else max(planes - 1, 0)
        total += layer
    place = np.empty((total, 3))
    chain = np.full((total, 3), -1, np.int64)
    side = np.zeros(total)
    faces = np.zeros((total, max(order, 1), 3))
    place[0], chain[0, 2] = source, 0
    count, start = 1, 0
    for k in range(order):
        stop = count
        for i in range(start, stop):
            for p in range(planes):
                h = -frame[p, 3]
                for axis in range(3):
                    h += frame[p, axis] * place[i, axis]
                if p == chain[i, 0] or abs(h) < 1e-6:
                    continue
                for axis in range(3):
                    place[count, axis] = place[i, axis] - 2.0 * h * frame[p, axis]
                chain[count, 0], chain[count, 1], chain[count, 2] = p, i, k + 1
                side[count] = -h
                turn_faces(frame, p, faces[i], faces[count], k)
                count += 1
        start = stop
    return place[:count], chain[:count], side[:count], faces[:count]


@njit(cache=True)
def turn_faces(frame, plane, before, after, count) -> None:
    """Normals of a sequence after one more mirror: the mirror's own first, the others mirrored."""
    for axis in range(3):
        after[0, axis] = frame[plane, axis]
    for i in range(count):
        along = 0.0
        for axis in range(3):
            along += before[i, axis] * frame[plane, axis]
        for axis in range(3):
            after[i + 1, axis] = before[i, axis] - 2.0 * along * frame[plane, axis]

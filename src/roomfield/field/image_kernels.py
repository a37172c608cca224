"""Images of a point in the planes of a scene, compiled."""

from __future__ import annotations

import numpy as np

from roomfield.kernel_cache import inner, kernel


@kernel()
def build_images(frame, source, order, walls, rank, most):
    """Images of a point in all sequences of planes up to an order; entry 0 is the point itself.

    Planes from ``walls`` on are faces of boxes: mirrors in sequences of one or two with no other face in them,
    because they are small. In sequences of k planes only those walls stand whose ``rank`` is under ``most[k - 1]``.

    Returns positions (n, 3), (plane, parent, order) of each, and where it stands seen from its plane: signed
    distance, across and up, shape (3, n). Those of one order whose last mirror is the same plane stand together.
    """
    planes = frame.shape[0]
    total = room_for(most, order, planes - walls)
    place, chain, side = np.empty((total, 3)), np.empty((total, 3), np.int64), np.zeros((3, total))
    for axis in range(3):
        place[0, axis], chain[0, axis] = source[axis], axis // 2 - 1
    count, start = np.int64(1), np.int64(0)
    for k in range(order):
        stop = count
        for p in range(planes):
            if p < walls and rank[p] >= most[k]:
                continue
            for i in range(start, stop):
                h = mirrored(frame, p, place, i, count)
                if p == chain[i, 0] or abs(h) < 1e-6 or not may_follow(chain, i, k, p, walls, rank, most):
                    continue
                chain[count, 0], chain[count, 1], chain[count, 2] = p, i, k + 1
                side[0, count], side[1, count], side[2, count] = -h, 0.0, 0.0
                for axis in range(3):
                    side[1, count] += frame[p, 4 + axis] * place[count, axis]
                    side[2, count] += frame[p, 7 + axis] * place[count, axis]
                count += 1
        start = stop
    return place[:count], chain[:count], side[:, :count]


@inner()
def room_for(most, order, faces):
    """Number of images at most, and one row in which the next is tried."""
    total = 2 + faces
    for k in range(order):
        layer = most[k]
        for _ in range(k):
            layer *= max(most[k] - 1, 0)
        total += layer
    return total + (2 * faces * most[1] if order > 1 else 0)


@inner()
def mirrored(frame, p, place, i, into):
    """Write the image of an image in a plane; returns its signed distance from the plane."""
    h = -frame[p, 3]
    for axis in range(3):
        h += frame[p, axis] * place[i, axis]
    for axis in range(3):
        place[into, axis] = place[i, axis] - 2.0 * h * frame[p, axis]
    return h


@inner()
def may_follow(chain, i, k, plane, walls, rank, most):
    """False if a face would be in a sequence that is too long for it, or a wall in one too long for its rank."""
    if k == 0:
        return True
    last = chain[i, 0]
    if k == 1:
        return rank[last] < most[1] and (plane < walls or last < walls)
    first = chain[chain[i, 1], 0]
    return plane < walls and first < walls and last < walls and rank[first] < most[2] and rank[last] < most[2]

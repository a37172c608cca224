"""Images of a point in the planes of a scene, compiled."""

from __future__ import annotations

import numpy as np

from roomfield.kernel_cache import inner, kernel


@kernel()
def build_images(frame, source, order, walls):
    """Images of a point in all sequences of planes up to an order; entry 0 is the point itself.

    Planes from ``walls`` on are faces of boxes: mirrors in sequences of one or two with no other face in them,
    because they are small.

    Returns positions (n, 3), (plane, parent, order) of each, and where it stands seen from its plane: signed
    distance, across and up, shape (3, n). Those of one order whose last mirror is the same plane stand together.
    """
    planes = frame.shape[0]
    total, layer = 1, 1
    for k in range(order):
        layer *= walls if k == 0 else max(walls - 1, 0)
        total += layer
    total += (planes - walls) * (1 + 2 * walls)
    place, chain, side = np.empty((total, 3)), np.empty((total, 3), np.int64), np.zeros((3, total))
    for axis in range(3):
        place[0, axis], chain[0, axis] = source[axis], axis // 2 - 1
    count, start = np.int64(1), np.int64(0)
    for k in range(order):
        stop = count
        for p in range(planes):
            for i in range(start, stop):
                h = -frame[p, 3]
                for axis in range(3):
                    h += frame[p, axis] * place[i, axis]
                if p == chain[i, 0] or abs(h) < 1e-6 or not may_follow(chain, i, k, p, walls):
                    continue
                for axis in range(3):
                    place[count, axis] = place[i, axis] - 2.0 * h * frame[p, axis]
                chain[count, 0], chain[count, 1], chain[count, 2] = p, i, k + 1
                side[0, count] = -h
                for axis in range(3):
                    side[1, count] += frame[p, 4 + axis] * place[count, axis]
                    side[2, count] += frame[p, 7 + axis] * place[count, axis]
                count += 1
        start = stop
    return place[:count], chain[:count], side[:, :count]


@inner()
def may_follow(chain, i, k, plane, walls):
    """False if a face would be in a sequence that is too long for it."""
    if plane >= walls:
        return k == 0 or (k == 1 and chain[i, 0] < walls)
    return k < 2 or (chain[chain[i, 1], 0] < walls and chain[i, 0] < walls)

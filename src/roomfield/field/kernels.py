"""Compiled inner loops of the image method; `tests/oracles/reference_paths.py` says the same slowly in plain NumPy.

Side A is the end whose images are built, side B the other. Paths work both ways, so whichever side has fewer
points is A. Along a path every plate that is crossed or mirrors is noted as a hit: which build-up, which column
of its table (0 transmission, 2 reflection at the front, 4 at the back), cosine of incidence, share that is TE
for vertical polarisation, and how far along from A. All waves of one point then share the geometry.
"""

from __future__ import annotations

import math

import numpy as np

from roomfield.field.edge_kernels import INNER, edge_angles, edge_point, edge_power
from roomfield.kernel_cache import inner, kernel

_TINY = 1e-9
_MOST_HITS = 96
_NONE, _ZERO, _ONE, _TWO = np.int64(-1), np.int64(0), np.int64(1), np.int64(2)
"""Plain numbers would make the compiler build a function again for each of them."""


@inner(forceinline=True, **INNER)
def plate_at(frame, rect, outline, plane, x, y, z):
    """Index of the plate at a point of a plane, -1 if there is none."""
    u = frame[plane, 4] * x + frame[plane, 5] * y + frame[plane, 6] * z
    v = frame[plane, 7] * x + frame[plane, 8] * y + frame[plane, 9] * z
    for k in range(int(frame[plane, 10]), int(frame[plane, 11])):
        if u < rect[k, 0] or u > rect[k, 2] or v < rect[k, 1] or v > rect[k, 3]:
            continue
        n = int(rect[k, 5])
        if n == 0 or in_outline(outline, int(rect[k, 4]), n, u, v):
            return k
    return -1


@inner(**INNER)
def in_outline(outline, first, n, u, v):
    """Even-odd rule for a point in an outline."""
    inside = False
    j = first + n - 1
    for i in range(first, first + n):
        vi, vj = outline[i, 1], outline[j, 1]
        if (vi > v) != (vj > v) and u < (outline[j, 0] - outline[i, 0]) * (v - vi) / (vj - vi) + outline[i, 0]:
            inside = not inside
        j = i
    return inside


@inner(forceinline=True, **INNER)
def height(frame, p, x, y, z):
    """Signed distance of a point from a plane."""
    return frame[p, 0] * x + frame[p, 1] * y + frame[p, 2] * z - frame[p, 3]


@inner(forceinline=True, **INNER)
def te_share(dx, dy, dz, nx, ny, nz, cosine):
    """Share of a vertically polarised wave's power that is TE at a plate."""
    level, slope = 1.0 - dz * dz, 1.0 - cosine * cosine
    if level < 1e-12 or slope < 1e-12:
        return 0.5
    across = dx * ny - dy * nx
    return min(across * across / (level * slope), 1.0)


@inner(forceinline=True, **INNER)
def note_hit(which, how, count, stack, column, cosine, share, along):
    """Write one hit; returns the new number of hits."""
    if count < _MOST_HITS:
        which[count, 0], which[count, 1] = stack, column
        how[count, 0], how[count, 1], how[count, 2] = cosine, share, along
        return count + 1
    return count


@inner(forceinline=True, **INNER)
def cross_segment(g, vertex, i, skip_a, skip_b, which, how, count):
    """Note every plate and box between ``vertex[i]`` and the next; returns the number of hits."""
    frame, plates = g.frame, g.exterior.shape[0]
    walls = frame.shape[0] - (g.rect.shape[0] - plates)
    ax, ay, az = vertex[i, 0], vertex[i, 1], vertex[i, 2]
    dx, dy, dz = vertex[i + 1, 0] - ax, vertex[i + 1, 1] - ay, vertex[i + 1, 2] - az
    length = math.sqrt(dx * dx + dy * dy + dz * dz)
    if length < _TINY:
        return count
    ex, ey, ez = dx / length, dy / length, dz / length
    for p in range(walls):
        if p == skip_a or p == skip_b:
            continue
        nx, ny, nz = frame[p, 0], frame[p, 1], frame[p, 2]
        ha = nx * ax + ny * ay + nz * az - frame[p, 3]
        rise = nx * dx + ny * dy + nz * dz
        if ha * (ha + rise) >= 0.0:
            continue
        t = -ha / rise
        k = plate_at(frame, g.rect, g.outline, p, ax + t * dx, ay + t * dy, az + t * dz)
        if k >= 0:
            cosine = min(abs(rise) / length, 1.0)
            count = note_hit(which, how, count, k, _ZERO, cosine, te_share(ex, ey, ez, nx, ny, nz, cosine), i + t)
    for b in range(g.box.shape[0]):
        count = cross_box(g.box, plates, b, (ax, ay, az), (dx, dy, dz), length, i, which, how, count)
    return count


@inner(forceinline=True, **INNER)
def cross_box(box, plates, b, a, d, length, i, which, how, count):
    """Note the panels of a box that a segment goes through; returns the number of hits."""
    t0, t1, axis0, axis1 = -1e30, 1e30, 0, 0
    for axis in range(3):
        slope = d[axis] if abs(d[axis]) > 1e-12 else 1e-12
        near, far = (box[b, axis] - a[axis]) / slope, (box[b, 3 + axis] - a[axis]) / slope
        if near > far:
            near, far = far, near
        if near > t0:
            t0, axis0 = near, axis
        if far < t1:
            t1, axis1 = far, axis
        if t0 >= t1 or t1 <= _TINY or t0 >= 1.0 - _TINY:
            return count
    ex, ey, ez = d[0] / length, d[1] / length, d[2] / length
    for t, axis in ((t0, axis0), (t1, axis1)):
        if _TINY < t < 1.0 - _TINY:
            nx = 1.0 if axis == 0 else 0.0
            ny = 1.0 if axis == 1 else 0.0
            nz = 1.0 if axis == 2 else 0.0
            cosine = min(abs(d[axis]) / length, 1.0)
            share = te_share(ex, ey, ez, nx, ny, nz, cosine)
            count = note_hit(which, how, count, plates + b, _ZERO, cosine, share, i + t)
    return count


@inner()
def seen_from_planes(frame, b):
    """Where a point stands seen from each plane: signed distance, across and up; shape (planes, 3)."""
    stand = np.empty((frame.shape[0], 3))
    for p in range(frame.shape[0]):
        stand[p, 0] = height(frame, p, b[0], b[1], b[2])
        stand[p, 1] = frame[p, 4] * b[0] + frame[p, 5] * b[1] + frame[p, 6] * b[2]
        stand[p, 2] = frame[p, 7] * b[0] + frame[p, 8] * b[1] + frame[p, 9] * b[2]
    return stand


@inner(**INNER)
def mark_reached(frame, runs, side, heights, reached) -> None:
    """Mark the images seen through what is built on their own plane; without branches, so that it is vectorised."""
    for k in range(runs.shape[0]):
        first, last, p = runs[k, 0], runs[k, 1], runs[k, 2]
        if p < 0:
            reached[first:last] = True
            continue
        ht, across, up = heights[p, 0], heights[p, 1], heights[p, 2]
        u0, v0, u1, v1 = frame[p, 12], frame[p, 13], frame[p, 14], frame[p, 15]
        for q in range(first, last):
            h = side[0, q]
            t = ht / (ht - h)
            u, v = across + t * (side[1, q] - across), up + t * (side[2, q] - up)
            reached[q] = (h * ht < 0.0) & (u >= u0) & (u <= u1) & (v >= v0) & (v <= v1)


@inner(forceinline=True, **INNER)
def unfold(g, place, chain, side, q, order, b, vertex, planes, which, how):
    """Corners of the path of one image to a point, its mirrors noted as hits; -1 if it misses a plate."""
    frame, last = g.frame, order + 1
    vertex[last, 0], vertex[last, 1], vertex[last, 2] = b[0], b[1], b[2]
    walk = q
    for level in range(order, 0, -1):
        p, hi = chain[walk, 0], side[0, walk]
        x, y, z = vertex[level + 1, 0], vertex[level + 1, 1], vertex[level + 1, 2]
        ht = height(frame, p, x, y, z)
        if hi * ht >= 0.0:
            return -1
        t = ht / (ht - hi)
        x, y, z = x + t * (place[walk, 0] - x), y + t * (place[walk, 1] - y), z + t * (place[walk, 2] - z)
        u = frame[p, 4] * x + frame[p, 5] * y + frame[p, 6] * z
        v = frame[p, 7] * x + frame[p, 8] * y + frame[p, 9] * z
        if u < frame[p, 12] or u > frame[p, 14] or v < frame[p, 13] or v > frame[p, 15]:
            return -1
        vertex[level, 0], vertex[level, 1], vertex[level, 2], planes[level] = x, y, z, p
        walk = chain[walk, 1]
    vertex[0, 0], vertex[0, 1], vertex[0, 2] = place[0, 0], place[0, 1], place[0, 2]
    return note_mirrors(g, order, vertex, planes, which, how)


@inner(**INNER)
def note_mirrors(g, order, vertex, planes, which, how):
    """Note the plates at the corners of a path; returns how many, -1 if one is missed."""
    frame, count = g.frame, _ZERO
    for level in range(order, 0, -1):
        p, x, y, z = planes[level], vertex[level, 0], vertex[level, 1], vertex[level, 2]
        k = plate_at(frame, g.rect, g.outline, p, x, y, z)
        if k < 0:
            return -1
        dx, dy, dz = x - vertex[level + 1, 0], y - vertex[level + 1, 1], z - vertex[level + 1, 2]
        length = max(math.sqrt(dx * dx + dy * dy + dz * dz), _TINY)
        nx, ny, nz = frame[p, 0], frame[p, 1], frame[p, 2]
        rise = (nx * dx + ny * dy + nz * dz) / length
        cosine = min(abs(rise), 1.0)
        share = te_share(dx / length, dy / length, dz / length, nx, ny, nz, cosine)
        column = _TWO if rise < 0.0 else _TWO + _TWO
        count = note_hit(which, how, count, g.stack[k], column, cosine, share, float(level))
    return count


@inner(forceinline=True, **INNER)
def optics(tables, f, stack, column, cosine, share):
    """Interpolated power factor of a build-up at frequency ``f``."""
    steps = tables.shape[2] - 1
    place = cosine * steps
    i = min(int(place), steps - 1)
    w = place - i
    te = tables[f, stack, i, column] * (1.0 - w) + tables[f, stack, i + 1, column] * w
    tm = tables[f, stack, i, column + 1] * (1.0 - w) + tables[f, stack, i + 1, column + 1] * w
    return te * share + tm * (1.0 - share)


@inner(forceinline=True, **INNER)
def turned_share(share, polarisation):
    """TE share for polarisation 0 vertical, 1 horizontal, 2 both alike."""
    if polarisation == 0:
        return share
    return 1.0 - share if polarisation == 1 else 0.5


@inner(forceinline=True, **INNER)
def losses(tables, f, which, how, first, last, polarisation):
    """Product of the power factors of some hits."""
    factor = 1.0
    for h in range(first, last):
        share = turned_share(how[h, 1], polarisation)
        factor *= optics(tables, f, which[h, 0], which[h, 1], how[h, 0], share)
    return factor


@inner(forceinline=True, **INNER)
def gain(pattern, vertex, i):
    """Gain relative to the maximum along ``vertex[i]`` to the next; 0 isotropic, 1 half-wave dipole."""
    if pattern == 0:
        return 1.0
    dx, dy = vertex[i + 1, 0] - vertex[i, 0], vertex[i + 1, 1] - vertex[i, 1]
    dz = vertex[i + 1, 2] - vertex[i, 2]
    flat = dx * dx + dy * dy
    whole = flat + dz * dz
    if flat < 1e-9 * whole or whole < _TINY * _TINY:
        return 0.0
    c = math.cos(0.5 * math.pi * dz / math.sqrt(whole))
    return c * c * whole / flat


@inner(**INNER)
def note_path(exterior, power, a_emits, vertex, last, which, how, count, into) -> None:
    """Add one path to the summary: arrival tensor, mean direction, and the plate by which it came in."""
    arrival, mean, entry = into
    end, near = (last, last - 1) if a_emits else (0, 1)
    length = 0.0
    for i in range(3):
        length += (vertex[near, i] - vertex[end, i]) ** 2
    length = max(math.sqrt(length), _TINY)
    for i in range(3):
        di = (vertex[near, i] - vertex[end, i]) / length
        mean[i] += power * di
        for j in range(3):
            arrival[i, j] += power * di * (vertex[near, j] - vertex[end, j]) / length
    chosen, best = entry.shape[0] - 1, -1.0
    for h in range(count):
        k = which[h, 0]
        if which[h, 1] != 0 or k >= exterior.shape[0]:
            continue
        along = how[h, 2] if a_emits else last - how[h, 2]
        along += 100.0 * exterior[k]
        if along > best:
            chosen, best = k, along
    entry[chosen] += power


@inner(**INNER)
def image_paths(g, tables, images, b, waves, settings, scratch, total, orders, into) -> None:
    """Add the power of all image paths between A's point and ``b``, for each of A's waves."""
    place, chain, side, runs = images
    exterior = g.exterior
    threshold, a_emits, summary = settings
    vertex, planes, which, how, heights, level, reached = scratch
    mark_reached(g.frame, runs, side, heights, reached)
    for q in range(chain.shape[0]):
        if not reached[q]:
            continue
        order = chain[q, 2]
        mirrors = unfold(g, place, chain, side, q, order, b, vertex, planes, which, how)
        if mirrors < 0:
            continue
        dx, dy, dz = b[0] - place[q, 0], b[1] - place[q, 1], b[2] - place[q, 2]
        spread = 1.0 / (4.0 * math.pi * max(dx * dx + dy * dy + dz * dz, 1e-4))
        for w in range(waves.shape[0]):
            level[w] = spread
        alive = dim(tables, which, how, _ZERO, mirrors, waves, threshold, total, level)
        count = mirrors
        for i in range(order + 1):
            if not alive:
                break
            first = count
            skip_a, skip_b = planes[i] if i > 0 else _NONE, planes[i + 1] if i < order else _NONE
            count = cross_segment(g, vertex, i, skip_a, skip_b, which, how, first)
            alive = dim(tables, which, how, first, count, waves, threshold, total, level)
        if alive:
            for w in range(waves.shape[0]):
                power = level[w] * gain(waves[w, 1], vertex, _ZERO if a_emits else order)
                add_path(
                    exterior,
                    power,
                    w,
                    order,
                    order + 1,
                    count,
                    a_emits,
                    summary,
                    vertex,
                    which,
                    how,
                    total,
                    orders,
                    into,
                )


@inner(forceinline=True, **INNER)
def dim(tables, which, how, first, last, waves, threshold, total, level):
    """Weaken each wave by some which, how, to nought if it no longer matters; False if none is left."""
    alive = False
    for w in range(waves.shape[0]):
        if level[w] > 0.0:
            level[w] *= losses(tables, waves[w, 0], which, how, first, last, waves[w, 2])
            if level[w] > threshold * total[w]:
                alive = True
            else:
                level[w] = 0.0
    return alive


@inner(forceinline=True, **INNER)
def add_path(
    exterior, power, w, column, last, count, a_emits, summary, vertex, which, how, total, orders, into
) -> None:
    """Add one path to the sums of wave ``w``."""
    total[w] += power
    orders[w, column] += power
    orders[w, -1] = max(orders[w, -1], power)
    if summary and power > 0.0:
        arrival, mean, entry = into
        note_path(exterior, power, a_emits, vertex, last, which, how, count, (arrival[w], mean[w], entry[w]))


@inner(**INNER)
def edge_paths(g, tables, a, b, waves, wavelengths, settings, scratch, total, orders, into) -> None:
    """Add what single edges throw from a to b into their shadow, for each of A's waves."""
    frame, exterior = g.frame, g.exterior
    threshold, a_emits, summary = settings
    vertex, _, which, how, _, _, _ = scratch
    for e in range(g.edge_length.shape[0]):
        la, lb = edge_point(g, e, a, b, vertex)
        if la <= 1e-5 or lb <= 1e-5:
            continue
        half, other, sine2, na, nb, along = edge_angles(g, e, vertex, la, lb)
        if half < 0.0:
            continue
        p, solid, hole = g.edge_plane[e], g.edge_solid[e], g.edge_hole[e]
        cosine = min(0.5 * (abs(na) + abs(nb)), 1.0)
        share = 0.5 * (leg_share(frame, p, vertex, _ZERO, la, na) + leg_share(frame, p, vertex, _ONE, lb, nb))
        count, start = _NONE, _ZERO
        for w in range(waves.shape[0]):
            reach = 2.0 * math.sqrt(2.0 * la * lb * sine2 / ((la + lb) * wavelengths[w]))
            f, polarisation = waves[w, 0], waves[w, 2]
            contrast = edge_contrast(tables, f, solid, hole, cosine, turned_share(share, polarisation))
            thrown = edge_power(reach * half, reach * other, turned_share(along, polarisation))
            power = thrown * contrast / (4.0 * math.pi * (la + lb) ** 2)
            if power <= threshold * total[w]:
                continue
            if count < 0:
                count = cross_segment(g, vertex, _ZERO, p, _NONE, which, how, _ZERO)
                start = count
                count = note_hit(which, how, count, hole if hole >= 0 else solid, _ZERO, 0.0, 0.0, 1.0)
                count = cross_segment(g, vertex, _ONE, p, _NONE, which, how, count)
            power *= losses(tables, f, which, how, _ZERO, start, polarisation)
            power *= losses(tables, f, which, how, start + 1, count, polarisation)
            power *= gain(waves[w, 1], vertex, _ZERO if a_emits else _ONE)
            column = orders.shape[1] - 2
            add_path(exterior, power, w, column, _TWO, count, a_emits, summary, vertex, which, how, total, orders, into)


@inner(forceinline=True, **INNER)
def leg_share(frame, p, vertex, i, length, cosine):
    """TE share at a plane of a vertically polarised wave on the way from ``vertex[i]`` to the next."""
    dx, dy, dz = vertex[i + 1, 0] - vertex[i, 0], vertex[i + 1, 1] - vertex[i, 1], vertex[i + 1, 2] - vertex[i, 2]
    nx, ny, nz = frame[p, 0], frame[p, 1], frame[p, 2]
    return te_share(dx / length, dy / length, dz / length, nx, ny, nz, min(abs(cosine), 1.0))


@inner(forceinline=True, **INNER)
def edge_contrast(tables, f, solid, hole, cosine, share):
    """Squared difference of the amplitudes that plate and opening let through."""
    t = math.sqrt(optics(tables, f, solid, _ZERO, cosine, share))
    t -= math.sqrt(optics(tables, f, hole, _ZERO, cosine, share)) if hole >= 0 else 1.0
    return t * t


@inner()
def one_point(g, tables, a_side, b, j, emitters, settings, sums) -> None:
    """Fill one row: power between all points of A and the point ``b`` of B, whose index is ``j``."""
    a_points, place, chain, side, runs, spans = a_side
    waves, wavelengths = emitters
    threshold, a_emits, with_edges, summary, order = settings
    power, orders, arrival, mean, entry = sums
    heights, reached = seen_from_planes(g.frame, b), np.zeros(chain.shape[0], np.bool_)
    which, how = np.zeros((_MOST_HITS, 2), np.int64), np.zeros((_MOST_HITS, 3))
    scratch = (
        np.empty((order + 3, 3)),
        np.full(order + 3, -1, np.int64),
        which,
        how,
        heights,
        np.zeros(len(waves)),
        reached,
    )
    some = (threshold, a_emits, summary)
    for i in range(a_points.shape[0]):
        lo, hi, c0, c1 = spans[i, 0], spans[i, 1], spans[i, 4], spans[i, 5]
        w0, w1 = (c0, c1) if a_emits else (j, j + 1)
        r0, r1 = (c0, c1) if summary else (0, 0)
        images = (place[lo:hi], chain[lo:hi], side[:, lo:hi], runs[spans[i, 2] : spans[i, 3]])
        row, into = orders[j, c0:c1], (arrival[j, r0:r1], mean[j, r0:r1], entry[j, r0:r1])
        total = power[j, c0:c1]
        image_paths(g, tables, images, b, waves[w0:w1], some, scratch, total, row, into)
        if with_edges:
            edge_paths(g, tables, a_points[i], b, waves[w0:w1], wavelengths[w0:w1], some, scratch, total, row, into)


@kernel(nogil=True)
def all_pairs(g, tables, a_side, b_points, emitters, settings, sums, first, last) -> None:
    """Fill the sums for all points of A and those of B from ``first`` to before ``last``.

    ``a_side`` is (points, image positions, chains, sides, runs of equal planes, and for each point the first and
    last image, run and column), ``emitters`` (frequency index, pattern, polarisation of each; wavelengths),
    ``settings`` (threshold, A emits, with edges, with summary, order), ``sums`` (power (n_b, columns), by order
    (then edges, then the strongest path), arrival, mean direction, entry).
    """
    for j in range(first, last):
        one_point(g, tables, a_side, b_points[j], j, emitters, settings, sums)

"""Compiled inner loops of the image method; every formula has a plain twin in `reference_paths`.

Conventions: side A is the end whose images are built, side B the other. Paths work both ways, so whichever end
has fewer points is A. Power is relative to an isotropic radiator in free space: 1 / (4 pi r^2) times losses.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit, prange

_TINY = 1e-9
_MOST_CROSSED = 64


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True, inline="always")
def plate_at(g, plane, u, v):
    """Index of the plate at a place of a plane, -1 if there is none."""
    for k in range(g.first[plane], g.last[plane]):
        if u < g.low[k, 0] or u > g.high[k, 0] or v < g.low[k, 1] or v > g.high[k, 1]:
            continue
        n = g.outline_count[k]
        if n == 0 or in_outline(g, g.outline_first[k], n, u, v):
            return k
    return -1


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def in_outline(g, first, n, u, v):
    """Even-odd rule for a point in an outline."""
    inside = False
    j = first + n - 1
    for i in range(first, first + n):
        vi, vj = g.outline[i, 1], g.outline[j, 1]
        if (vi > v) != (vj > v):
            if u < (g.outline[j, 0] - g.outline[i, 0]) * (v - vi) / (vj - vi) + g.outline[i, 0]:
                inside = not inside
        j = i
    return inside


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True, inline="always")
def height(g, plane, x, y, z):
    """Signed distance of a point from a plane."""
    n = g.normal
    return n[plane, 0] * x + n[plane, 1] * y + n[plane, 2] * z - g.offset[plane]


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True, inline="always")
def te_share(dx, dy, dz, nx, ny, nz, cosine, polarisation):
    """Share of a wave's power that is TE at a plate; polarisation 0 vertical, 1 horizontal, 2 both alike."""
    if polarisation == 2:
        return 0.5
    level = 1.0 - dz * dz
    slope = 1.0 - cosine * cosine
    if level < 1e-12 or slope < 1e-12:
        return 0.5
    across = dx * ny - dy * nx
    share = min(across * across / (level * slope), 1.0)
    return share if polarisation == 0 else 1.0 - share


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True, inline="always")
def optics(table, stack, column, cosine, share):
    """Interpolated power factor of a plate; column 0 transmission, 2 front, 4 back."""
    steps = table.shape[1] - 1
    place = cosine * steps
    i = min(int(place), steps - 1)
    w = place - i
    te = table[stack, i, column] * (1.0 - w) + table[stack, i + 1, column] * w
    tm = table[stack, i, column + 1] * (1.0 - w) + table[stack, i + 1, column + 1] * w
    return te * share + tm * (1.0 - share)


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def crossing_loss(g, table, a, b, skip_a, skip_b, polarisation, least, crossed, count):
    """Product of the transmissions between two points; plates crossed are noted with their number.

    Returns the factor and the new number of noted plates; a factor under ``least`` is given back as 0.
    """
    dx, dy, dz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    length = math.sqrt(dx * dx + dy * dy + dz * dz)
    if length < _TINY:
        return 1.0, count
    ex, ey, ez = dx / length, dy / length, dz / length
    factor = 1.0
    for p in range(g.normal.shape[0]):
        if p == skip_a or p == skip_b:
            continue
        ha = height(g, p, a[0], a[1], a[2])
        hb = height(g, p, b[0], b[1], b[2])
        if ha * hb >= 0.0:
            continue
        t = ha / (ha - hb)
        x, y, z = a[0] + t * dx, a[1] + t * dy, a[2] + t * dz
        u = g.across[p, 0] * x + g.across[p, 1] * y + g.across[p, 2] * z
        v = g.up[p, 0] * x + g.up[p, 1] * y + g.up[p, 2] * z
        k = plate_at(g, p, u, v)
        if k < 0:
            continue
        nx, ny, nz = g.normal[p, 0], g.normal[p, 1], g.normal[p, 2]
        cosine = min(abs(ex * nx + ey * ny + ez * nz), 1.0)
        share = te_share(ex, ey, ez, nx, ny, nz, cosine, polarisation)
        factor *= optics(table, k, 0, cosine, share)
        if count < _MOST_CROSSED:
            crossed[count] = k
            count += 1
        if factor < least:
            return 0.0, count
    if g.box_low.shape[0] > 0:
        factor *= box_loss(g, table, a, dx, dy, dz, length, polarisation)
    return (0.0 if factor < least else factor), count


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def box_loss(g, table, a, dx, dy, dz, length, polarisation):
    """Product of the transmissions through the panels of boxes along a segment."""
    factor = 1.0
    plates = g.low.shape[0]
    d = (dx, dy, dz)
    for b in range(g.box_low.shape[0]):
        t0, t1, axis0, axis1 = -1e30, 1e30, 0, 0
        for i in range(3):
            if abs(d[i]) < 1e-15:
                if a[i] < g.box_low[b, i] or a[i] > g.box_high[b, i]:
                    t0, t1 = 1.0, 0.0
                    break
                continue
            near = (g.box_low[b, i] - a[i]) / d[i]
            far = (g.box_high[b, i] - a[i]) / d[i]
            if near > far:
                near, far = far, near
            if near > t0:
                t0, axis0 = near, i
            if far < t1:
                t1, axis1 = far, i
        if t0 >= t1 or t1 <= 1e-9 or t0 >= 1.0 - 1e-9:
            continue
        if t0 > 1e-9:
            factor *= face_loss(table, plates + b, axis0, dx, dy, dz, length, polarisation)
        if t1 < 1.0 - 1e-9:
            factor *= face_loss(table, plates + b, axis1, dx, dy, dz, length, polarisation)
    return factor


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def face_loss(table, stack, axis, dx, dy, dz, length, polarisation):
    """Transmission of one panel of a box."""
    nx, ny, nz = (1.0 if axis == 0 else 0.0), (1.0 if axis == 1 else 0.0), (1.0 if axis == 2 else 0.0)
    ex, ey, ez = dx / length, dy / length, dz / length
    cosine = min(abs(ex * nx + ey * ny + ez * nz), 1.0)
    return optics(table, stack, 0, cosine, te_share(ex, ey, ez, nx, ny, nz, cosine, polarisation))


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def build_images(g, source, order):
    """Images of a point in all sequences of planes up to an order.

    Returns image positions (n, 3), plane, parent and order of each, its signed distance from its plane, and the
    normals of all its planes as the unfolded ray meets them (n, order, 3); entry 0 is the point itself.
    """
    planes = g.normal.shape[0]
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
                h = height(g, p, place[i, 0], place[i, 1], place[i, 2])
                if p == chain[i, 0] or abs(h) < 1e-6:
                    continue
                for axis in range(3):
                    place[count, axis] = place[i, axis] - 2.0 * h * g.normal[p, axis]
                chain[count, 0], chain[count, 1], chain[count, 2] = p, i, k + 1
                side[count] = -h
                turn_faces(g, p, faces[i], faces[count], k)
                count += 1
        start = stop
    return place[:count], chain[:count], side[:count], faces[:count]


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def turn_faces(g, plane, before, after, count):
    """Normals of a sequence after one more mirror: the mirror's own first, the others mirrored."""
    for axis in range(3):
        after[0, axis] = g.normal[plane, axis]
    for i in range(count):
        along = 0.0
        for axis in range(3):
            along += before[i, axis] * g.normal[plane, axis]
        for axis in range(3):
            after[i + 1, axis] = before[i, axis] - 2.0 * along * g.normal[plane, axis]


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True, inline="always")
def most_mirrored(brightest, faces, chain, q, order, dx, dy, dz, length):
    """Upper bound of the product of reflections of a sequence, from the angles alone."""
    steps = brightest.shape[1] - 1
    bound = 1.0
    walk = q
    for i in range(order):
        cosine = abs(faces[q, i, 0] * dx + faces[q, i, 1] * dy + faces[q, i, 2] * dz) / length
        bound *= brightest[chain[walk, 0], min(int(cosine * steps), steps)]
        walk = chain[walk, 1]
    return bound


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def unfold(g, place, chain, side, which, order, b, vertex, plates):
    """Corners of the path of one image to a point; False if a reflection misses its plate.

    ``vertex[0]`` is the image root, ``vertex[order + 1]`` the point; ``plates[i]`` belongs to ``vertex[i]``.
    """
    x, y, z = b[0], b[1], b[2]
    vertex[order + 1, 0], vertex[order + 1, 1], vertex[order + 1, 2] = x, y, z
    q = which
    for level in range(order, 0, -1):
        p, hi = chain[q, 0], side[q]
        ht = height(g, p, x, y, z)
        if hi * ht >= 0.0:
            return False
        t = ht / (ht - hi)
        x += t * (place[q, 0] - x)
        y += t * (place[q, 1] - y)
        z += t * (place[q, 2] - z)
        u = g.across[p, 0] * x + g.across[p, 1] * y + g.across[p, 2] * z
        v = g.up[p, 0] * x + g.up[p, 1] * y + g.up[p, 2] * z
        k = plate_at(g, p, u, v)
        if k < 0:
            return False
        vertex[level, 0], vertex[level, 1], vertex[level, 2] = x, y, z
        plates[level] = k
        q = chain[q, 1]
    vertex[0, 0], vertex[0, 1], vertex[0, 2] = place[0, 0], place[0, 1], place[0, 2]
    return True


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def mirror_loss(g, table, vertex, plates, plane_of, order, polarisation):
    """Product of the reflections of a path."""
    factor = 1.0
    for level in range(1, order + 1):
        dx = vertex[level, 0] - vertex[level - 1, 0]
        dy = vertex[level, 1] - vertex[level - 1, 1]
        dz = vertex[level, 2] - vertex[level - 1, 2]
        length = math.sqrt(dx * dx + dy * dy + dz * dz)
        if length < _TINY:
            return 0.0
        p = plane_of[level]
        nx, ny, nz = g.normal[p, 0], g.normal[p, 1], g.normal[p, 2]
        dx, dy, dz = dx / length, dy / length, dz / length
        cosine = dx * nx + dy * ny + dz * nz
        column = 2 if cosine < 0.0 else 4
        cosine = min(abs(cosine), 1.0)
        share = te_share(dx, dy, dz, nx, ny, nz, cosine, polarisation)
        factor *= optics(table, plates[level], column, cosine, share)
    return factor


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True, inline="always")
def gain(pattern, dz):
    """Gain relative to the maximum for a direction's vertical part; 0 isotropic, 1 half-wave dipole."""
    if pattern == 0:
        return 1.0
    level = 1.0 - dz * dz
    if level < 1e-9:
        return 0.0
    c = math.cos(0.5 * math.pi * dz)
    return c * c / level


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True, inline="always")
def edge_power(x):
    """Power behind a straight edge relative to free space, for a Fresnel argument of nought or more."""
    f = (1.0 + 0.926 * x) / (2.0 + 1.792 * x + 3.104 * x * x)
    h = 1.0 / (2.0 + 4.142 * x + 3.492 * x * x + 6.670 * x * x * x)
    return 0.5 * (f * f + h * h)


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def edge_point(g, e, a, b, out):
    """Point of an edge on the shortest way between two points; gives the two legs, or -1 if it misses."""
    sa, sb, ra, rb = 0.0, 0.0, 0.0, 0.0
    for i in range(3):
        sa += (a[i] - g.edge_start[e, i]) * g.edge_direction[e, i]
        sb += (b[i] - g.edge_start[e, i]) * g.edge_direction[e, i]
    for i in range(3):
        foot = g.edge_start[e, i]
        u = a[i] - foot - sa * g.edge_direction[e, i]
        w = b[i] - foot - sb * g.edge_direction[e, i]
        ra += u * u
        rb += w * w
    ra, rb = math.sqrt(ra), math.sqrt(rb)
    if ra < 1e-6 or rb < 1e-6:
        return -1.0, -1.0
    s = (sa * rb + sb * ra) / (ra + rb)
    if s < 0.0 or s > g.edge_length[e]:
        return -1.0, -1.0
    for i in range(3):
        out[i] = g.edge_start[e, i] + s * g.edge_direction[e, i]
    return math.hypot(ra, sa - s), math.hypot(rb, sb - s)


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def edge_factor(g, table, e, a, b, q, la, lb, wavelength, polarisation):
    """Power that the edge throws from a to b, relative to free space over both legs."""
    p = g.edge_plane[e]
    n0, n1, n2 = g.normal[p, 0], g.normal[p, 1], g.normal[p, 2]
    i0, i1, i2 = g.edge_into[e, 0], g.edge_into[e, 1], g.edge_into[e, 2]
    ax, ay, az = (q[0] - a[0]) / la, (q[1] - a[1]) / la, (q[2] - a[2]) / la
    bx, by, bz = (b[0] - q[0]) / lb, (b[1] - q[1]) / lb, (b[2] - q[2]) / lb
    na, nb = -(ax * n0 + ay * n1 + az * n2), bx * n0 + by * n1 + bz * n2
    wa, wb = -(ax * i0 + ay * i1 + az * i2), bx * i0 + by * i1 + bz * i2
    angle_a = math.atan2(na, wa) % (2.0 * math.pi)
    angle_b = math.atan2(nb, wb) % (2.0 * math.pi)
    sine2 = max(na * na + wa * wa, 1e-12)
    reach = 2.0 * math.sqrt(2.0 * la * lb * sine2 / ((la + lb) * wavelength))
    if abs(angle_a - angle_b) < math.pi:
        return 0.0
    past = edge_power(reach * abs(math.cos(0.5 * (angle_a - angle_b))))
    cosine = min(0.5 * (abs(na) + abs(nb)), 1.0)
    share = te_share(ax, ay, az, n0, n1, n2, min(abs(na), 1.0), polarisation)
    solid, hole = g.edge_solid[e], g.edge_hole[e]
    t = math.sqrt(optics(table, solid, 0, cosine, share))
    if hole >= 0:
        t -= math.sqrt(optics(table, hole, 0, cosine, share))
    else:
        t -= 1.0
    return past * t * t


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def note_path(g, power, a_is_emitter, vertex, last, crossed, count, arrival, mean, entry):
    """Add one path to the summary: arrival direction tensor and sum, and the plate by which it came in."""
    end, near = (last, last - 1) if a_is_emitter else (0, 1)
    dx = vertex[near, 0] - vertex[end, 0]
    dy = vertex[near, 1] - vertex[end, 1]
    dz = vertex[near, 2] - vertex[end, 2]
    length = max(math.sqrt(dx * dx + dy * dy + dz * dz), _TINY)
    d = (dx / length, dy / length, dz / length)
    for i in range(3):
        mean[i] += power * d[i]
        for j in range(3):
            arrival[i, j] += power * d[i] * d[j]
    chosen = entry.shape[0] - 1
    for c in range(count):
        k = crossed[c] if a_is_emitter else crossed[count - 1 - c]
        if g.exterior[k] == 1:
            chosen = k
    if chosen == entry.shape[0] - 1 and count > 0:
        chosen = crossed[count - 1] if a_is_emitter else crossed[0]
    entry[chosen] += power


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def pair_power(g, tables, images, a, b, wave, settings, scratch, sums):
    """Power of all paths between one point of A and one of B.

    ``tables`` is (optics, brightest reflection of each plane), ``wave`` is (frequency index, wavelength, pattern, polarisation), ``settings`` (threshold, A emits, edges,
    summary), ``scratch`` (vertices, plates, planes, crossed, heights of b), ``sums`` (by order, then edges,
    then the strongest single path; arrival; mean; entry).
    """
    place, chain, side, faces = images
    which, wavelength, pattern, polarisation = wave
    threshold, a_is_emitter, with_edges, summary = settings
    vertex, plates, planes, crossed, heights = scratch
    orders, arrival, mean, entry = sums
    table, brightest = tables[0][which], tables[1][which]
    total = 0.0
    for q in range(chain.shape[0]):
        order = chain[q, 2]
        if order > 0 and side[q] * heights[chain[q, 0]] >= 0.0:
            continue
        dx, dy, dz = b[0] - place[q, 0], b[1] - place[q, 1], b[2] - place[q, 2]
        length2 = max(dx * dx + dy * dy + dz * dz, 1e-4)
        spread = 1.0 / (4.0 * math.pi * length2)
        bound = most_mirrored(brightest, faces, chain, q, order, dx, dy, dz, math.sqrt(length2))
        if bound * spread <= threshold * total:
            continue
        if not unfold(g, place, chain, side, q, order, b, vertex, plates):
            continue
        walk = q
        for i in range(order, 0, -1):
            planes[i] = chain[walk, 0]
            walk = chain[walk, 1]
        power = mirror_loss(g, table, vertex, plates, planes, order, polarisation) * spread
        if pattern != 0:
            i = 1 if a_is_emitter else order + 1
            ex = vertex[i, 0] - vertex[i - 1, 0]
            ey = vertex[i, 1] - vertex[i - 1, 1]
            ez = vertex[i, 2] - vertex[i - 1, 2]
            power *= gain(pattern, ez / max(math.sqrt(ex * ex + ey * ey + ez * ez), _TINY))
        if power <= threshold * total:
            continue
        count = 0
        least = threshold * total / power
        for i in range(order + 1):
            skip_a = planes[i] if i > 0 else -1
            skip_b = planes[i + 1] if i < order else -1
            loss, count = crossing_loss(
                g, table, vertex[i], vertex[i + 1], skip_a, skip_b, polarisation, least, crossed, count
            )
            power *= loss
            if power <= 0.0:
                break
        if power <= 0.0:
            continue
        total += power
        orders[order] += power
        orders[-1] = max(orders[-1], power)
        if summary:
            note_path(g, power, a_is_emitter, vertex, order + 1, crossed, count, arrival, mean, entry)
    if with_edges:
        total += edges_power(g, table, a, b, wave, settings, scratch, sums, total)
    return total


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def edges_power(g, table, a, b, wave, settings, scratch, sums, before):
    """Power thrown by single edges from a to b."""
    which, wavelength, pattern, polarisation = wave
    threshold, a_is_emitter, with_edges, summary = settings
    vertex, plates, planes, crossed, heights = scratch
    orders, arrival, mean, entry = sums
    total = 0.0
    for e in range(g.edge_length.shape[0]):
        la, lb = edge_point(g, e, a, b, vertex[1])
        if la <= 1e-6 or lb <= 1e-6:
            continue
        for i in range(3):
            vertex[0, i], vertex[2, i] = a[i], b[i]
        power = edge_factor(g, table, e, a, b, vertex[1], la, lb, wavelength, polarisation)
        power /= 4.0 * math.pi * (la + lb) ** 2
        if pattern != 0:
            dz = (vertex[1, 2] - a[2]) / la if a_is_emitter else (vertex[1, 2] - b[2]) / lb
            power *= gain(pattern, dz)
        if power <= threshold * (before + total):
            continue
        least = threshold * (before + total) / power
        p = g.edge_plane[e]
        loss, count = crossing_loss(g, table, a, vertex[1], p, -1, polarisation, least, crossed, 0)
        if loss <= 0.0:
            continue
        if count < _MOST_CROSSED:
            crossed[count] = g.edge_hole[e] if g.edge_hole[e] >= 0 else g.edge_solid[e]
            count += 1
        onward, count = crossing_loss(g, table, vertex[1], b, p, -1, polarisation, least, crossed, count)
        power *= loss * onward
        if power <= 0.0:
            continue
        total += power
        orders[-2] += power
        orders[-1] = max(orders[-1], power)
        if summary:
            note_path(g, power, a_is_emitter, vertex, 2, crossed, count, arrival, mean, entry)
    return total


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True)
def one_point(g, tables, a_points, a_images, b, j, waves, wavelengths, settings, sums, power):
    """Fill one row: power between all points of A and the point ``b`` of B, whose index is ``j``."""
    threshold, a_is_emitter, with_edges, summary, order = settings
    place, chain, side, faces, start = a_images
    orders, arrival, mean, entry = sums
    heights = np.empty(g.normal.shape[0])
    for p in range(g.normal.shape[0]):
        heights[p] = height(g, p, b[0], b[1], b[2])
    scratch = (
        np.empty((order + 3, 3)),
        np.zeros(order + 3, np.int64),
        np.full(order + 3, -1, np.int64),
        np.zeros(_MOST_CROSSED, np.int64),
        heights,
    )
    none = (np.zeros((3, 3)), np.zeros(3), np.zeros(1))
    some = (threshold, a_is_emitter, with_edges, summary)
    for i in range(a_points.shape[0]):
        m = i if a_is_emitter else j
        lo, hi = start[i, 0], start[i, 1]
        images = (place[lo:hi], chain[lo:hi], side[lo:hi], faces[lo:hi])
        wave = (waves[m, 0], wavelengths[m], waves[m, 1], waves[m, 2])
        if summary:
            into = (orders[j, i], arrival[j, i], mean[j, i], entry[j, i])
        else:
            into = (orders[j, i], none[0], none[1], none[2])
        power[j, i] = pair_power(g, tables, images, a_points[i], b, wave, some, scratch, into)


@njit(cache=True, fastmath=True, error_model="numpy", forceinline=True, parallel=True)
def all_pairs(g, tables, a_points, a_images, b_points, waves, wavelengths, settings, sums):
    """Power between all points of A and B, shape (n_b, n_a); the summary arrays are filled on the way.

    ``waves`` (m, 3) holds frequency index, pattern and polarisation of each emitter.
    """
    power = np.zeros((b_points.shape[0], a_points.shape[0]))
    for j in prange(b_points.shape[0]):
        one_point(
            g, tables, a_points, a_images, b_points[j], np.int64(j), waves, wavelengths, settings, sums, power
        )
    return power

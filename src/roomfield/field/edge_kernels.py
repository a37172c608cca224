"""Compiled pieces of what a single edge throws: its point, its angles, its power."""

from __future__ import annotations

import math

import numpy as np

from roomfield.kernel_cache import inner, kernel

INNER = {"fastmath": True, "error_model": "numpy", "_nrt": False}
"""For arithmetic on numbers and on arrays that stand already: free of checks and of memory management."""
_FIRST, _SECOND = np.int64(0), np.int64(1)
"""Legs; plain numbers would make the compiler build a function for each."""


@inner(forceinline=True, **INNER)
def edge_power(x, y, along):
    """Power behind the edge of a half-plane relative to free space, for Fresnel arguments of nought or more.

    ``x`` belongs to the edge of the incident wave's shadow, ``y`` to that of its reflection; the share ``along`` of
    the field lies along the edge and takes their difference, the rest their sum (Sommerfeld's half-plane).
    """
    f, h = fresnel_parts(x)
    g, k = fresnel_parts(y)
    soft = (f - g) * (f - g) + (h - k) * (h - k)
    hard = (f + g) * (f + g) + (h + k) * (h + k)
    return 0.5 * (along * soft + (1.0 - along) * hard)


@kernel(forceinline=True, **INNER)
def fresnel_parts(x):
    """Auxiliary functions f and g of the Fresnel integrals, by rational functions within 4e-4 (our own fit)."""
    f = (1.0 + 0.89841 * x + 0.2614 * x * x) / (2.0 + x * (1.85612 + x * (3.04821 + math.pi * 0.2614 * x)))
    g = (1.0 + 1.04443 * x) / (2.0 + x * (6.03543 + x * (9.87716 + x * (5.00107 + math.pi**2 * 1.04443 * x))))
    return f, g


@inner(forceinline=True, **INNER)
def edge_point(g, e, a, b, vertex):
    """Put the point of an edge on the shortest way between two points in ``vertex[1]``.

    Returns the two legs, or -1 if the way misses the edge.
    """
    sa, sb, ra, rb = 0.0, 0.0, 0.0, 0.0
    for i in range(3):
        da, db = a[i] - g.edge_start[e, i], b[i] - g.edge_start[e, i]
        sa += da * g.edge_direction[e, i]
        sb += db * g.edge_direction[e, i]
        ra += da * da
        rb += db * db
    ra, rb = math.sqrt(max(ra - sa * sa, 0.0)), math.sqrt(max(rb - sb * sb, 0.0))
    if ra < 1e-5 or rb < 1e-5:
        return -1.0, -1.0
    s = (sa * rb + sb * ra) / (ra + rb)
    if s < 0.0 or s > g.edge_length[e]:
        return -1.0, -1.0
    for i in range(3):
        vertex[0, i], vertex[2, i] = a[i], b[i]
        vertex[1, i] = g.edge_start[e, i] + s * g.edge_direction[e, i]
    return math.hypot(ra, sa - s), math.hypot(rb, sb - s)


@inner(forceinline=True, **INNER)
def edge_angles(g, e, vertex, la, lb):
    """Cosines of half the difference and of half the sum of both angles round the edge, sine² of the way with it,
    cosines with the plate (a, b), and the share of vertical polarisation along the edge, the mean of both legs.

    The first is negative if the far end is not in the shadow.
    """
    p = g.edge_plane[e]
    na, nb, wa, wb = 0.0, 0.0, 0.0, 0.0
    for i in range(3):
        da, db = (vertex[0, i] - vertex[1, i]) / la, (vertex[2, i] - vertex[1, i]) / lb
        na += da * g.frame[p, i]
        nb += db * g.frame[p, i]
        wa += da * g.edge_into[e, i]
        wb += db * g.edge_into[e, i]
    turn_a, turn_b = math.atan2(na, wa) % (2.0 * math.pi), math.atan2(nb, wb) % (2.0 * math.pi)
    angle = abs(turn_a - turn_b)
    half = -math.cos(0.5 * angle) if angle >= math.pi else -1.0
    sine2 = max(na * na + wa * wa, 1e-12)
    along = 0.5 * (share_along(g, e, vertex, _FIRST, la) + share_along(g, e, vertex, _SECOND, lb))
    return half, abs(math.cos(0.5 * (turn_a + turn_b))), sine2, na, nb, along


@inner(forceinline=True, **INNER)
def share_along(g, e, vertex, i, length):
    """Share of a vertically polarised wave on the way from ``vertex[i]`` to the next that lies along the edge."""
    rise, up = (vertex[i + 1, 2] - vertex[i, 2]) / length, g.edge_direction[e, 2]
    way = 0.0
    for k in range(3):
        way += (vertex[i + 1, k] - vertex[i, k]) / length * g.edge_direction[e, k]
    level, sine2 = 1.0 - rise * rise, max(1.0 - way * way, 1e-12)
    return min((up - rise * way) ** 2 / (level * sine2), 1.0) if level > 1e-12 else 0.5

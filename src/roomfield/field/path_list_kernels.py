"""Compiled listing of paths; see `roomfield.field.path_list`."""

from __future__ import annotations

import math

import numpy as np

from roomfield.field.edge_kernels import edge_angles, edge_point, edge_power
from roomfield.field.kernels import (
    cross_segment,
    gain,
    leg_share,
    mark_reached,
    note_hit,
    optics,
    seen_from_planes,
    turned_share,
    unfold,
)
from roomfield.kernel_cache import inner, kernel

_MOST_HITS = 96
_NONE, _ZERO, _ONE = np.int64(-1), np.int64(0), np.int64(1)
"""Plain numbers would make the compiler build a function again for each of them."""


@inner()
def factor_of(tables, touched, change, f, which, how, first, last, polarisation):
    """What a change multiplies some hits by."""
    factor = 1.0
    for h in range(first, last):
        stack, column = which[h, 0], which[h, 1]
        if touched[change, stack]:
            share = turned_share(how[h, 1], polarisation)
            before = optics(tables[0], f, stack, column, how[h, 0], share)
            factor *= optics(tables[change + 1], f, stack, column, how[h, 0], share) / max(before, 1e-30)
    return factor


@inner()
def plain(tables, f, which, how, first, last, polarisation):
    """Product of the power factors of some hits in the scene as it stands."""
    factor = 1.0
    for h in range(first, last):
        share = turned_share(how[h, 1], polarisation)
        factor *= optics(tables[0], f, which[h, 0], which[h, 1], how[h, 0], share)
    return factor


@inner()
def way_in(exterior, which, how, count):
    """Plate by which a path from A came in: the last exterior one, else the last one, else none."""
    chosen, best = exterior.shape[0], -1.0
    for h in range(count):
        k = which[h, 0]
        if which[h, 1] != 0 or k >= exterior.shape[0]:
            continue
        along = how[h, 2] + 100.0 * exterior[k]
        if along > best:
            chosen, best = k, along
    return chosen


@inner()
def grown(table, count):
    """A table with room for one more row."""
    if count < table.shape[0]:
        return table
    larger = np.zeros((2 * table.shape[0], table.shape[1]))
    for i in range(count):
        for j in range(table.shape[1]):
            larger[i, j] = table[i, j]
    return larger


@kernel()
def list_from(g, tables, touched, side, points, wave, faintest, order):
    """Paths and edges from one emitter to all points, one row each."""
    changes = touched.shape[0]
    rows, n_rows = np.zeros((256, 3 + changes)), _ZERO
    edges, n_edges = np.zeros((256, 5 + 3 * changes)), _ZERO
    which, how = np.zeros((_MOST_HITS, 2), np.int64), np.zeros((_MOST_HITS, 3))
    vertex, planes = np.empty((order + 3, 3)), np.full(order + 3, -1, np.int64)
    for j in range(points.shape[0]):
        heights = seen_from_planes(g.frame, points[j])
        least = np.zeros(changes + 1)
        rows, n_rows = list_images(
            g, tables, touched, side, points[j], j, wave, faintest, heights, vertex, planes, which, how,
            rows, n_rows, least,
        )  # fmt: skip
        edges, n_edges = list_edges(
            g, tables, touched, side[0][0], points[j], j, wave, faintest, vertex, which, how, edges, n_edges, least
        )
    return rows[:n_rows], edges[:n_edges]


@inner()
def list_images(
    g, tables, touched, side, b, j, wave, faintest, heights, vertex, planes, which, how, rows, n_rows, least
):
    """Add the image paths to one point."""
    _, place, chain, whole, runs, _ = side
    sides = whole[:, 0 : chain.shape[0]]
    f, _, pattern, polarisation = wave
    reached = np.zeros(chain.shape[0], np.bool_)
    mark_reached(g.frame, runs, sides, heights, reached)
    for q in range(chain.shape[0]):
        if not reached[q]:
            continue
        order = chain[q, 2]
        count = unfold(g, place, chain, sides, q, order, b, vertex, planes, which, how)
        if count < 0:
            continue
        for i in range(order + 1):
            skip_a, skip_b = planes[i] if i > 0 else _NONE, planes[i + 1] if i < order else _NONE
            count = cross_segment(g, vertex, i, skip_a, skip_b, which, how, count)
        dx, dy, dz = b[0] - place[q, 0], b[1] - place[q, 1], b[2] - place[q, 2]
        power = gain(pattern, vertex, _ZERO) / (4.0 * math.pi * max(dx * dx + dy * dy + dz * dz, 1e-4))
        power *= plain(tables, f, which, how, _ZERO, count, polarisation)
        rows = grown(rows, n_rows)
        matters = power > faintest * least[0]
        least[0] += power
        for c in range(touched.shape[0]):
            factor = factor_of(tables, touched, c, f, which, how, _ZERO, count, polarisation)
            rows[n_rows, 3 + c] = factor
            matters = matters or power * factor > faintest * least[c + 1]
            least[c + 1] += power * factor
        if matters:
            rows[n_rows, 0], rows[n_rows, 1] = j, power
            rows[n_rows, 2] = way_in(g.exterior, which, how, count)
            n_rows += 1
    return rows, n_rows


@inner()
def list_edges(g, tables, touched, a, b, j, wave, faintest, vertex, which, how, edges, n_edges, least):
    """Add what single edges throw to one point."""
    f, wavelength, pattern, polarisation = wave
    changes = touched.shape[0]
    bound = least[0]
    for c in range(changes):
        bound = min(bound, least[c + 1])
    for e in range(g.edge_length.shape[0]):
        la, lb = edge_point(g, e, a, b, vertex)
        if la <= 1e-5 or lb <= 1e-5:
            continue
        half, other, sine2, na, nb, along = edge_angles(g, e, vertex, la, lb)
        if half < 0.0:
            continue
        reach = 2.0 * math.sqrt(2.0 * la * lb * sine2 / ((la + lb) * wavelength))
        power = edge_power(reach * half, reach * other, turned_share(along, polarisation))
        power *= gain(pattern, vertex, _ZERO) / (4.0 * math.pi * (la + lb) ** 2)
        p, solid, hole = g.edge_plane[e], g.edge_solid[e], g.edge_hole[e]
        count = cross_segment(g, vertex, _ZERO, p, _NONE, which, how, _ZERO)
        start = count
        entry = hole if hole >= 0 else solid
        count = note_hit(which, how, count, entry, _ZERO, 0.0, 0.0, 1.0)
        count = cross_segment(g, vertex, _ONE, p, _NONE, which, how, count)
        power *= plain(tables, f, which, how, _ZERO, start, polarisation)
        power *= plain(tables, f, which, how, start + 1, count, polarisation)
        if power <= faintest * bound:
            continue
        cosine = min(0.5 * (abs(na) + abs(nb)), 1.0)
        share = 0.5 * (leg_share(g.frame, p, vertex, _ZERO, la, na) + leg_share(g.frame, p, vertex, _ONE, lb, nb))
        share = turned_share(share, polarisation)
        edges = grown(edges, n_edges)
        row = edges[n_edges]
        row[0], row[1], row[2] = j, power, way_in(g.exterior, which, how, count)
        row[3] = math.sqrt(optics(tables[0], f, solid, _ZERO, cosine, share))
        row[4] = math.sqrt(optics(tables[0], f, hole, _ZERO, cosine, share)) if hole >= 0 else 1.0
        for c in range(changes):
            way = factor_of(tables, touched, c, f, which, how, _ZERO, start, polarisation)
            row[5 + c] = way * factor_of(tables, touched, c, f, which, how, start + 1, count, polarisation)
            row[5 + changes + c] = amplitude_factor(tables, touched, c, f, solid, cosine, share)
            row[5 + 2 * changes + c] = (
                amplitude_factor(tables, touched, c, f, hole, cosine, share) if hole >= 0 else 1.0
            )
        n_edges += 1
    return edges, n_edges


@inner()
def amplitude_factor(tables, touched, change, f, stack, cosine, share):
    """What a change multiplies the amplitude by that a plate passes."""
    if not touched[change, stack]:
        return 1.0
    before = optics(tables[0], f, stack, _ZERO, cosine, share)
    return math.sqrt(optics(tables[change + 1], f, stack, _ZERO, cosine, share) / max(before, 1e-30))

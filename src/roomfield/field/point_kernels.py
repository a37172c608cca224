"""Compiled sums for levels from points alone; `links.LinkCovariance` says the same in NumPy."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from roomfield.kernel_cache import kernel

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
FAR = 9
"""Beyond so many correlation lengths a term counts as nothing."""
PER_LENGTH = 64
"""Entries of the table of the exponential per correlation length."""


class Pairs(NamedTuple):
    """What of the covariance between two sets of links does not depend on the scales.

    Parameters
    ----------
    constant : ndarray, shape (n, p)
        Parts of fixed size [dB²].
    parts : ndarray, shape (q, n, p)
        Parts that one scale each multiplies.
    distance : ndarray, shape (n, p)
        Between the points [m].
    left, right : ndarray of int, shape (n,), (p,)
        Emitter of each link.
    apart : ndarray, shape (m, m)
        Between the emitters [m].
    """

    constant: Array
    parts: Array
    distance: Array
    left: Indices
    right: Indices
    apart: Array


class Laws(NamedTuple):
    """Fixed sizes of the law of distance and of twins.

    Parameters
    ----------
    exponent_mean : float
        Expected exponent.
    common_variance, own_variance : float
        Of the exponent, shared by all emitters and of each.
    twin : float
        Correlation of two emitters at one place.
    """

    exponent_mean: float
    common_variance: float
    own_variance: float
    twin: float


@kernel(error_model="numpy", fastmath=True)
def fill(out, pairs, rise, scale, coefficient, laws, lower):
    """Covariance without noise; ``rise`` is the pair of centred log distances, ``scale`` length, shadow, clutter."""
    slope_left, slope_right = rise
    n, p = out.shape
    m = pairs.apart.shape[0]
    ends = np.empty((m, m))
    for i in range(m):
        for j in range(m):
            ends[i, j] = laws.twin * math.exp(-pairs.apart[i, j] / scale[0])
        ends[i, i] = 1.0
    shadow, clutter = scale[1] * scale[1], scale[2] * scale[2]
    for i in range(n):
        for j in range(i + 1 if lower else p):
            total = pairs.constant[i, j]
            for k in range(len(coefficient)):
                total += coefficient[k] * pairs.parts[k, i, j]
            a, b = pairs.left[i], pairs.right[j]
            total += math.exp(-pairs.distance[i, j] / scale[0]) * (clutter + shadow * ends[a, b])
            variance = laws.common_variance
            if a == b:
                variance += laws.own_variance
            out[i, j] = total + variance * slope_left[i] * slope_right[j]


@kernel(error_model="numpy", fastmath=True)
def factored(matrix):
    """Lower Cholesky factor of a matrix of which the lower half is given, in place; rows are walked in order."""
    n = matrix.shape[0]
    for i in range(n):
        for j in range(i + 1):
            left = matrix[i, j]
            for k in range(j):
                left -= matrix[i, k] * matrix[j, k]
            matrix[i, j] = math.sqrt(max(left, 1e-12)) if i == j else left / matrix[j, j]
    return matrix


@kernel(error_model="numpy", fastmath=True)
def lower_solved(factor, right):
    """Solution of ``factor @ x = right`` for a lower factor, shapes (n, n), (n, p).

    No library routine: for these sizes its threads cost more than they bring where cores are shared (measured).
    """
    out = right.copy()
    n, p = out.shape
    for i in range(n):
        for k in range(i):
            share = factor[i, k]
            for j in range(p):
                out[i, j] -= share * out[k, j]
        for j in range(p):
            out[i, j] /= factor[i, i]
    return out


@kernel(error_model="numpy")
def mixture_quantile(means, stds, weights, probability, start, steps, accuracy):
    """Quantile of each column's mixture of normal distributions: Newton steps, halving where they leave the bounds."""
    count, places = means.shape
    out = np.empty(places)
    for p in range(places):
        low, high = means[0, p] - 9.0 * stds[0, p], means[0, p] + 9.0 * stds[0, p]
        for s in range(count):
            low = min(low, means[s, p] - 9.0 * stds[s, p])
            high = max(high, means[s, p] + 9.0 * stds[s, p])
        level = start[p]
        for _ in range(steps):
            excess, density = -probability, 1e-12
            for s in range(count):
                z = (level - means[s, p]) / stds[s, p]
                excess += weights[s] * 0.5 * math.erfc(-z * math.sqrt(0.5))
                density += weights[s] * math.exp(-0.5 * z * z) / (stds[s, p] * math.sqrt(2.0 * math.pi))
            if abs(excess) < accuracy:
                break
            if excess < 0.0:
                low = level
            else:
                high = level
            level -= excess / density
            if not low < level < high:
                level = 0.5 * (low + high)
        out[p] = level
    return out


@kernel(error_model="numpy")
def log_evidences(pairs, losses, above, squared, pivot, scales, coefficients, laws):
    """Log density of the readings for each row of scales: length, shadow, clutter, noise, near.

    ``above`` is readings minus what is expected of them whatever the scales, shape (n,); ``losses`` is what the
    coefficient of each part takes from the expected level, shape (q, n).
    """
    n = len(above)
    out = np.empty(len(scales))
    matrix, rise, left = np.zeros((n, n)), np.zeros(n), np.empty(n)
    for s in range(len(scales)):
        for i in range(len(squared)):
            rise[i] = -5.0 * math.log10(squared[i] + scales[s, 4] ** 2) - pivot
        fill(matrix, pairs, (rise, rise), scales[s], coefficients[s], laws, True)
        for i in range(n):
            matrix[i, i] += scales[s, 3] ** 2
        factor = factored(matrix)
        total = -0.5 * n * math.log(2.0 * math.pi)
        for i in range(n):
            white = above[i] - laws.exponent_mean * rise[i]
            for k in range(len(losses)):
                white += coefficients[s, k] * losses[k, i]
            for k in range(i):
                white -= factor[i, k] * left[k]
            left[i] = white / factor[i, i]
            total -= 0.5 * left[i] ** 2 + math.log(factor[i, i])
        out[s] = total
    return out


@kernel(error_model="numpy", fastmath=True)
def decay_table():
    """Values of exp(-x) at steps of 1 / PER_LENGTH; straight lines between them are right to 1e-4."""
    return np.exp(-np.arange(FAR * PER_LENGTH + 2) / PER_LENGTH)


@kernel(error_model="numpy", fastmath=True)
def way_pair(left, right, weights, scale, table):
    """Mean of exp(-|p - q| / L) over the nodes of two ways, shapes (k, 3); ``scale`` is PER_LENGTH / L."""
    total = 0.0
    for a in range(len(weights)):
        inner = 0.0
        for b in range(len(weights)):
            x, y, z = left[a, 0] - right[b, 0], left[a, 1] - right[b, 1], left[a, 2] - right[b, 2]
            at = math.sqrt(x * x + y * y + z * z) * scale
            if at < FAR * PER_LENGTH:
                entry = int(at)
                inner += weights[b] * (table[entry] + (at - entry) * (table[entry + 1] - table[entry]))
        total += weights[a] * inner
    return total


@kernel(error_model="numpy")
def double_integral(left, right, weights, length_m):
    """`way_pair` for all pairs of two bundles of ways; shapes (n, k, 3), (p, k, 3), (k,)."""
    out = np.empty((left.shape[0], right.shape[0]))
    table = decay_table()
    for i in range(left.shape[0]):
        for j in range(right.shape[0]):
            out[i, j] = way_pair(left[i], right[j], weights, PER_LENGTH / length_m, table)
    return out


@kernel(error_model="numpy")
def own_integral(ways, weights, length_m):
    """`way_pair` of every way with itself, shape (n,)."""
    out = np.empty(len(ways))
    table = decay_table()
    for i in range(len(ways)):
        out[i] = way_pair(ways[i], ways[i], weights, PER_LENGTH / length_m, table)
    return out


@kernel(error_model="numpy", fastmath=True)
def centre_slopes(squared, near_m, out):
    """Log distances of every cell to every reading, about their mean over the readings."""
    cells, n = squared.shape
    for c in range(cells):
        middle = 0.0
        for i in range(n):
            out[c, i] = -5.0 * math.log10(squared[c, i] + near_m * near_m)
            middle += out[c, i] / n
        for i in range(n):
            out[c, i] -= middle


@kernel(error_model="numpy", fastmath=True)
def slope_evidences(squared, levels, factors, near_m, exponent_mean, exponent_variance):
    """Log evidence of each cell as the emitter's place, summed over scales; ``squared`` has shape (c, n) [m²].

    ``factors`` holds inverses of the Cholesky factors (s, n, n); the exponent is integrated out.
    """
    cells, n = squared.shape
    out = np.full(cells, -1e300)
    slope = np.empty((cells, n))
    white = np.empty(n)
    for s in range(len(factors)):
        factor = factors[s]
        if s == 0 or near_m[s] != near_m[s - 1]:
            centre_slopes(squared, near_m[s], slope)
        log_det = 0.0
        for i in range(n):
            log_det += math.log(factor[i, i])
            white[i] = 0.0
            for k in range(i + 1):
                white[i] += factor[i, k] * levels[k]
        for c in range(cells):
            gain, along, square = 1.0, 0.0, 0.0
            for i in range(n):
                steep = 0.0
                for k in range(i + 1):
                    steep += factor[i, k] * slope[c, k]
                rest = white[i] - exponent_mean * steep
                gain += exponent_variance * steep * steep
                along += steep * rest
                square += rest * rest
            square -= exponent_variance * along * along / gain
            value = log_det - 0.5 * square - 0.5 * math.log(gain)
            top = max(out[c], value)
            out[c] = top + math.log(math.exp(out[c] - top) + math.exp(value - top))
    return out

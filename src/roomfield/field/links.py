"""Covariance of levels between links, a link being a point and the emitter received there.

What is not predicted in detail is described as a sum of parts, each with a physical reason:

* the level that an emitter makes at 1 m, alike for emitters of one survey;
* the exponent of distance (log-distance law; range as in the coefficients of ITU-R P.1238);
* clutter about the point, alike for every emitter heard there;
* shadowing about the point, alike only for emitters that stand close together (both ends of a link decorrelate);
* losses collected along the way through a field of obstacles: links that pass the same obstacle share it, and the
  more the losses scatter the more is lost on average;
* walls along the plan's axes, drawn nowhere: links that cross the same stretch of an axis share their loss;
* the emitter's own row and column: a corridor or a line of sight that is left at some cost;
* the emitter's own pattern: a slow change with direction;
* counted walls, each material with its own loss.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from roomfield.field.point_kernels import double_integral, own_integral

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

LEVEL_STD_DB = 40.0
"""Vague: nothing is assumed about the absolute level [dB]."""
EMITTER_LEVEL_STD_DB = 5.0
"""Emitters of one survey differ by this [dB] (same class of device, other mounting; our judgement)."""
EXPONENT_MEAN = 2.7
"""Middle of the power-loss coefficients N = 20 to 38 (10 n) of ITU-R P.1238-10, table 2."""
EXPONENT_STD, EXPONENT_EMITTER_STD = 0.5, 0.25
"""The table's range as about two standard deviations; half of that between emitters of one building (our judgement)."""
OPEN_EXPONENT_MEAN = 2.2
"""Expected exponent where obstacles cost something of their own: between free space (2) and offices without line of
sight (2.46 in ITU-R P.1238-11, site-general model)."""
PATTERN_STD_DB = 2.0
"""A near-omnidirectional antenna beside furniture and walls departs by this (our judgement)."""
WALL_MEAN_DB, WALL_STD_DB = 3.5, 2.0
"""Loss of one light to heavy inner wall (COST 231 multi-wall: 3.4 dB light, 6.9 dB heavy; from memory)."""
LOSS_PER_VARIANCE = WALL_MEAN_DB / (WALL_MEAN_DB**2 + WALL_STD_DB**2)
"""Walls met at random: mean of their summed loss over its variance, E[L] / E[L²] (compound Poisson process) [1/dB].

With 3 dB²/m it makes 0.65 dB/m; the linear attenuation model of COST 231 has 0.62 dB/m on one floor (from memory)."""
OBSTACLE_LENGTH_M = 1.5
"""Correlation length of the field of obstacles: half a room (our judgement)."""
ASIDE_M = 2.0
"""Half a corridor with its wall: so far aside of the emitter's row or column the loss is there (our judgement)."""
ASIDE_MEAN_DB = 1.5
"""Leaving the row or the column costs rather than gains: half a light wall (our judgement)."""
TWIN_CORRELATION = 0.8
"""Shadowing of two emitters at one position in different bands (our judgement)."""
_NODES, _WEIGHTS = (
    0.5 * (np.polynomial.legendre.leggauss(8)[0] + 1.0),
    0.5 * np.polynomial.legendre.leggauss(8)[1],
)


@dataclass(frozen=True)
class PointLinks:
    """Links between points and emitters.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Points [m].
    emitter : ndarray of int, shape (n,)
        Index of the emitter of each link.
    positions : ndarray, shape (m, 3), or None
        Emitters [m]; None if not known: then distance plays no part.
    walls : ndarray, shape (n, w), or None
        Number of walls of each material on the straight line.
    """

    points: Array
    emitter: Indices
    positions: Array | None = None
    walls: Array | None = None

    def __len__(self) -> int:
        return len(self.points)

    @property
    def offsets(self) -> Array:
        """Vectors from the emitter to the point, shape (n, 3) [m]."""
        if self.positions is None:
            return np.zeros_like(self.points)
        return np.asarray(self.points - self.positions[self.emitter])

    def take(self, index: Indices) -> PointLinks:
        """Some of the links."""
        walls = None if self.walls is None else self.walls[index]
        return PointLinks(self.points[index], self.emitter[index], self.positions, walls)


@dataclass(frozen=True)
class Hyper:
    """Scales that the data decide on, within their priors.

    Parameters
    ----------
    length_m : float
        Correlation length of clutter and shadowing [m].
    shadow_db, clutter_db : float
        Standard deviation of both [dB].
    noise_db : float
        Standard deviation of one reading about the local mean [dB].
    near_m : float
        Distance within which the level stops rising [m].
    obstacle_db2_per_m : float
        Variance that the way through obstacles adds [dB²/m].
    partition_db2_per_m : float
        Variance that walls across an axis of the plan add along it [dB²/m].
    aside_db : float
        Standard deviation of what leaving the emitter's row or column costs [dB].
    """

    length_m: float
    shadow_db: float
    clutter_db: float
    noise_db: float
    near_m: float
    obstacle_db2_per_m: float
    partition_db2_per_m: float = 0.0
    aside_db: float = 0.0


@dataclass(frozen=True)
class Centre:
    """Where the linear terms pivot, so that level and slope are not entangled.

    Parameters
    ----------
    level_db : float
        Middle of the readings [dB].
    log_distance : float
        Middle of -10 log10 of the distance [dB].
    walls : ndarray or None
        Mean wall counts.
    aside : ndarray or None
        Mean of `aside`.
    ways : ndarray or None
        Mean of `ways` [m].
    """

    level_db: float
    log_distance: float
    walls: Array | None
    aside: Array | None = None
    ways: Array | None = None


def centre_of(links: PointLinks, level_db: Array) -> Centre:
    """Pivot of the linear terms.

    Parameters
    ----------
    links : Links
        The measured links.
    level_db : ndarray, shape (n,)
        Their levels [dB].
    """
    middle, beside, lengths = 0.0, None, None
    if links.positions is not None:
        middle = float(np.mean(log_distance(links, 1.0)))
        beside, lengths = aside(links).mean(axis=0), ways(links).mean(axis=0)
    walls = None if links.walls is None else links.walls.mean(axis=0)
    return Centre(float(np.mean(level_db)), middle, walls, beside, lengths)


def aside(links: PointLinks) -> Array:
    """How far each point is out of the emitter's column and row, 0 to 1, shape (n, 2).

    Parameters
    ----------
    links : Links
        With known emitters.
    """
    return np.asarray(1.0 - np.exp(-np.abs(links.offsets[:, :2]) / ASIDE_M))


def centred_aside(links: PointLinks, centre: Centre) -> Array:
    """`aside` about its mean over the readings."""
    beside = aside(links)
    return np.asarray(beside if centre.aside is None else beside - centre.aside)


def ways(links: PointLinks) -> Array:
    """Length of the straight way from the emitter, and of its two steps along the axes, shape (n, 2) [m].

    Parameters
    ----------
    links : Links
        With known emitters.
    """
    return np.column_stack([_lengths(links), np.abs(links.offsets[:, :2]).sum(axis=1)])


def centred_ways(links: PointLinks, centre: Centre) -> Array:
    """`ways` about their mean over the readings; 0 where walls are counted, which then carry the loss themselves."""
    if links.positions is None or links.walls is not None:
        return np.zeros((len(links), 2))
    lengths = ways(links)
    return np.asarray(lengths if centre.ways is None else lengths - centre.ways)


def expected_exponent(links: PointLinks) -> float:
    """Exponent of distance before any reading: lower where undrawn obstacles are expected to cost something."""
    return EXPONENT_MEAN if links.walls is not None else OPEN_EXPONENT_MEAN


def stretch_overlap(left: PointLinks, right: PointLinks) -> Array:
    """Length of the axes' stretches that both links cross, summed over x and y [m], shape (n_left, n_right)."""
    total = np.zeros((len(left), len(right)))
    a, b = left.points - left.offsets, right.points - right.offsets
    for axis in (0, 1):
        low_a, high_a = np.sort([a[:, axis], left.points[:, axis]], axis=0)
        low_b, high_b = np.sort([b[:, axis], right.points[:, axis]], axis=0)
        high = np.minimum(high_a[:, None], high_b[None, :])
        total += np.maximum(high - np.maximum(low_a[:, None], low_b[None, :]), 0.0)
    return total


def prior_mean(links: PointLinks, hyper: Hyper, centre: Centre) -> Array:
    """Expected level before any reading [dB], shape (n,)."""
    mean = np.full(len(links), centre.level_db)
    if links.positions is not None:
        mean += expected_exponent(links) * (log_distance(links, hyper.near_m) - centre.log_distance)
        mean += aside_mean(links, hyper, centre)
        rates = np.array([hyper.obstacle_db2_per_m, hyper.partition_db2_per_m])
        mean -= LOSS_PER_VARIANCE * centred_ways(links, centre) @ rates
    if links.walls is not None:
        mean -= WALL_MEAN_DB * centred_walls(links, centre).sum(axis=1)
    return mean


def aside_mean(links: PointLinks, hyper: Hyper, centre: Centre) -> Array | float:
    """Expected part of the level for points out of the emitter's row and column [dB]; 0 without that structure."""
    return -ASIDE_MEAN_DB * centred_aside(links, centre).sum(axis=1) if hyper.aside_db > 0.0 else 0.0


def centred_walls(links: PointLinks, centre: Centre) -> Array:
    """Wall counts about their mean over the readings, shape (n, w)."""
    walls = np.zeros((len(links), 0)) if links.walls is None else links.walls
    return np.asarray(walls if centre.walls is None else walls - centre.walls)


def log_distance(links: PointLinks, near_m: float) -> Array:
    """-10 log10 of the distance, flattened within ``near_m`` [dB], shape (n,)."""
    squared = np.sum(links.offsets**2, axis=1)
    return np.asarray(-5.0 * np.log10(squared + near_m**2))


class LinkCovariance:
    """Covariance between two sets of links; what does not depend on the scales is computed once.

    Parameters
    ----------
    left, right : Links
        With the same emitters.
    levels : bool
        False to leave out what all links of an emitter have in common.
    """

    def __init__(self, left: PointLinks, right: PointLinks, *, levels: bool = True) -> None:
        self.left, self.right = left, right
        self.level_variances = (LEVEL_STD_DB**2, EMITTER_LEVEL_STD_DB**2) if levels else (0.0, 0.0)
        self.distance = cdist(left.points, right.points)
        self.same = (left.emitter[:, None] == right.emitter[None, :]).astype(np.float64)
        if left.positions is not None and right.positions is not None:
            apart = cdist(left.positions, right.positions)
            self.apart = apart[np.ix_(left.emitter, right.emitter)]
            self.way = way_overlap(left, right)
            self.pattern = directions(left) @ directions(right).T
            self.stretch = stretch_overlap(left, right)

    def __call__(self, hyper: Hyper, centre: Centre) -> Array:
        """Covariance without noise [dB²], shape (n_left, n_right)."""
        near = np.exp(-self.distance / hyper.length_m)
        overall, own = self.level_variances
        total = overall + own * self.same + hyper.clutter_db**2 * near
        if self.left.positions is None:
            return np.asarray(total + hyper.shadow_db**2 * near * self.same + self._walls(centre))
        ends = np.where(self.same > 0.0, 1.0, TWIN_CORRELATION * np.exp(-self.apart / hyper.length_m))
        total += hyper.shadow_db**2 * near * ends
        total += self._distance_law(hyper, centre)
        total += PATTERN_STD_DB**2 * self.same * self.pattern
        total += hyper.obstacle_db2_per_m * self.way + hyper.partition_db2_per_m * self.stretch
        beside = centred_aside(self.left, centre) @ centred_aside(self.right, centre).T
        total += hyper.aside_db**2 * beside
        return np.asarray(total + self._walls(centre))

    def _distance_law(self, hyper: Hyper, centre: Centre) -> Array:
        a = log_distance(self.left, hyper.near_m) - centre.log_distance
        b = log_distance(self.right, hyper.near_m) - centre.log_distance
        return np.asarray(np.outer(a, b) * (EXPONENT_STD**2 + EXPONENT_EMITTER_STD**2 * self.same))

    def _walls(self, centre: Centre) -> Array | float:
        if self.left.walls is None or self.right.walls is None:
            return 0.0
        left, right = centred_walls(self.left, centre), centred_walls(self.right, centre)
        return np.asarray(WALL_STD_DB**2 * left @ right.T)


class LinkVariance:
    """Diagonal of `LinkCovariance` of links with themselves.

    Parameters
    ----------
    links : Links
        The links.
    levels : bool
        False to leave out what all links of an emitter have in common.
    """

    def __init__(self, links: PointLinks, *, levels: bool = True) -> None:
        self.links = links
        self.level_variance = LEVEL_STD_DB**2 + EMITTER_LEVEL_STD_DB**2 if levels else 0.0
        self.way = _way_variance(links) if links.positions is not None else np.zeros(len(links))

    def __call__(self, hyper: Hyper, centre: Centre) -> Array:
        """Variance without noise [dB²], shape (n,)."""
        constant = self.level_variance + hyper.clutter_db**2 + hyper.shadow_db**2
        total = np.full(len(self.links), constant)
        if self.links.positions is not None:
            slope = log_distance(self.links, hyper.near_m) - centre.log_distance
            total += slope**2 * (EXPONENT_STD**2 + EXPONENT_EMITTER_STD**2)
            total += PATTERN_STD_DB**2 * np.sum(directions(self.links) ** 2, axis=1)
            total += hyper.obstacle_db2_per_m * self.way
            total += hyper.partition_db2_per_m * np.abs(self.links.offsets[:, :2]).sum(axis=1)
            total += hyper.aside_db**2 * np.sum(centred_aside(self.links, centre) ** 2, axis=1)
        if self.links.walls is not None:
            total += WALL_STD_DB**2 * np.sum(centred_walls(self.links, centre) ** 2, axis=1)
        return total


def directions(links: PointLinks) -> Array:
    """Horizontal unit vectors from emitter to point, shorter within half a metre, shape (n, 2)."""
    offsets = links.offsets[:, :2]
    return np.asarray(offsets / np.sqrt(np.sum(offsets**2, axis=1) + 0.25)[:, None])


def way_overlap(left: PointLinks, right: PointLinks) -> Array:
    """Covariance of losses collected along two ways through a random field, per dB²/m.

    Parameters
    ----------
    left, right : Links
        With known emitters.

    Returns
    -------
    ndarray, shape (n_left, n_right)
        Double line integral of exp(-|p - q| / L) / (2 L) over both ways [m]; about the length for a way with
        itself (network shadowing model of Agrawal and Patwari, IEEE Trans. Wireless Commun. 8(10), 2009).
    """
    mean = double_integral(_way_nodes(left), _way_nodes(right), _WEIGHTS, OBSTACLE_LENGTH_M)
    lengths = _lengths(left)[:, None] * _lengths(right)[None, :]
    return np.asarray(mean * lengths / (2.0 * OBSTACLE_LENGTH_M))


def _way_variance(links: PointLinks) -> Array:
    mean = own_integral(_way_nodes(links), _WEIGHTS, OBSTACLE_LENGTH_M)
    return np.asarray(mean * _lengths(links) ** 2 / (2.0 * OBSTACLE_LENGTH_M))


def _way_nodes(links: PointLinks) -> Array:
    start = links.points - links.offsets
    return np.asarray(start[:, None, :] + _NODES[None, :, None] * links.offsets[:, None, :])


def _lengths(links: PointLinks) -> Array:
    return np.asarray(np.linalg.norm(links.offsets, axis=1))

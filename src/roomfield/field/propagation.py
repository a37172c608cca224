"""Power density anywhere in a dwelling per watt radiated: the local mean as a power sum of paths.

Image method: specular reflections up to an order, transmission of every plate on the way (ITU-R P.2040-3),
single diffraction at edges of openings (ITU-R P.526 knife edge in its Fresnel form, weighed with the contrast
between the plate and what fills the opening).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TypeVar, cast

import numpy as np
from numba import config
from numpy.typing import ArrayLike, NDArray

from roomfield.constants import SPEED_OF_LIGHT_M_S
from roomfield.errors import InputError
from roomfield.field import kernels
from roomfield.field.image_kernels import build_images
from roomfield.field.known_paths import KNOWN, content_of
from roomfield.field.scene import Scene
from roomfield.survey.emitter import AntennaPattern, Polarisation

Array = NDArray[np.float64]
THRESHOLD = 3e-4
"""A path is left out if it adds less than this share of what has been summed so far."""
MOST_IN_TWO, MOST_IN_THREE = 140, 40
"""In sequences of two and of three mirrors only the walls that look largest from the emitter stand, so many at most:
some 20,000 and 60,000 images. Homes have fewer walls; a plan of thousands would have images without number."""
LEAST_PER_THREAD, PARTS_PER_THREAD = 8, 4
_T = TypeVar("_T")
_PATTERNS = {AntennaPattern.ISOTROPIC: 0, AntennaPattern.VERTICAL_DIPOLE: 1}
_POLARISATIONS = {Polarisation.VERTICAL: 0, Polarisation.HORIZONTAL: 1, Polarisation.UNKNOWN: 2}


@dataclass(frozen=True)
class Paths:
    """What arrives at each point from each emitter, per watt EIRP.

    Parameters
    ----------
    density : ndarray, shape (n, m)
        Power density [1/m²].
    by_order : ndarray, shape (n, m, order + 2)
        The same by number of reflections; the last column is what edges throw.
    arrival : ndarray, shape (n, m, 3, 3)
        Sum of density times d dᵀ over paths, d the unit vector towards where the wave comes from; an antenna with
        a figure-of-eight pattern along the unit vector ``a`` picks up ``aᵀ arrival a``.
    mean_direction : ndarray, shape (n, m, 3)
        Sum of density times d.
    strongest : ndarray, shape (n, m)
        Power density of the strongest single path [1/m²].
    entry : ndarray, shape (n, m, n_plates + 1)
        The same by the plate through which it came in: the last exterior plate crossed, else the last plate
        crossed; the last column is what crossed none.
    entry_names : tuple of str
        Names of the plates.
    """

    density: Array
    by_order: Array
    arrival: Array
    mean_direction: Array
    entry: Array
    strongest: Array
    entry_names: tuple[str, ...]

    @property
    def vertical_share(self) -> Array:
        """Share of the power that a vertical single-axis antenna picks up if all emit vertically, (n, m)."""
        with np.errstate(invalid="ignore", divide="ignore"):
            share = 1.0 - self.arrival[..., 2, 2] / self.density
        return np.nan_to_num(share, nan=1.0)

    @property
    def rice_factor(self) -> Array:
        """Strongest path over all others, (n, m); at most 1e6."""
        rest = np.maximum(self.density - self.strongest, self.density * 1e-6)
        return np.where(self.density > 0.0, self.strongest / np.where(rest > 0.0, rest, 1.0), 0.0)


def unit_density(
    scene: Scene,
    positions: ArrayLike,
    frequencies_hz: ArrayLike,
    pattern: AntennaPattern | Sequence[AntennaPattern],
    points: ArrayLike,
    *,
    polarisation: Polarisation | Sequence[Polarisation] = Polarisation.VERTICAL,
    order: int = 3,
    diffraction: bool = True,
) -> Array:
    """Power density per watt EIRP, as the power sum of all paths.

    Parameters
    ----------
    scene : Scene
        The dwelling.
    positions : array_like, shape (m, 3)
        Emitters [m].
    frequencies_hz : array_like, shape (m,)
        Frequencies [Hz].
    pattern, polarisation
        One for all, or one per emitter.
    points : array_like, shape (n, 3)
        Where the density is wanted [m].
    order : int
        Highest number of reflections, 0 to 3.
    diffraction : bool
        True to add what single edges throw.

    Returns
    -------
    ndarray, shape (n, m)
        Power density [1/m²]; free space gives 1 / (4 pi r²) (ITU-R P.525-4).
    """
    call = _Call(scene, positions, frequencies_hz, pattern, points, polarisation)
    return call.known(_density, order, diffraction)


def arrivals(
    scene: Scene,
    positions: ArrayLike,
    frequencies_hz: ArrayLike,
    pattern: AntennaPattern | Sequence[AntennaPattern],
    points: ArrayLike,
    *,
    polarisation: Polarisation | Sequence[Polarisation] = Polarisation.VERTICAL,
    order: int = 3,
    diffraction: bool = True,
) -> tuple[Array, Array]:
    """Density and arrival tensor of `Paths` alone, shapes (n, m) and (n, m, 3, 3); parameters as in `unit_density`."""
    call = _Call(scene, positions, frequencies_hz, pattern, points, polarisation)
    both = call.known(_density_and_arrival, order, diffraction)
    return both[..., 0], both[..., 1:].reshape(*both.shape[:2], 3, 3)


def paths(
    scene: Scene,
    positions: ArrayLike,
    frequencies_hz: ArrayLike,
    pattern: AntennaPattern | Sequence[AntennaPattern],
    points: ArrayLike,
    *,
    polarisation: Polarisation | Sequence[Polarisation] = Polarisation.VERTICAL,
    order: int = 3,
    diffraction: bool = True,
) -> Paths:
    """Like `unit_density`, with directions of arrival and the ways in; parameters as there."""
    call = _Call(scene, positions, frequencies_hz, pattern, points, polarisation)
    return call.run(order, diffraction, summary=True)


def grid_density(
    scene: Scene,
    positions: ArrayLike,
    frequencies_hz: ArrayLike,
    pattern: AntennaPattern | Sequence[AntennaPattern],
    axes: tuple[ArrayLike, ArrayLike, float],
    *,
    polarisation: Polarisation | Sequence[Polarisation] = Polarisation.VERTICAL,
    order: int = 3,
    diffraction: bool = True,
) -> Array:
    """Power density per watt EIRP on a level grid, for maps.

    Direct and once reflected paths and edges are computed in every cell; what comes after two or three reflections
    varies slowly, and is computed in every second or third cell of both directions and interpolated.

    Parameters
    ----------
    axes : (array_like, array_like, float)
        x and y of the cell centres, evenly spaced, and the height [m].

    Returns
    -------
    ndarray, shape (ny, nx, m)
        Power density [1/m²]; other parameters as `unit_density`.
    """
    x, y = (np.asarray(axis, dtype=np.float64) for axis in axes[:2])
    waves = (scene, positions, frequencies_hz, pattern)
    first = _Call(*waves, _level_points(x, y, axes[2]), polarisation)
    density = first.known(_density, min(order, 1), diffraction).reshape(len(y), len(x), -1)
    for late in range(2, order + 1):
        xs, ys = _every(x, late), _every(y, late)
        rest = _Call(*waves, _level_points(x[xs], y[ys], axes[2]), polarisation)
        part = rest.known(_last_order, late, False).reshape(len(ys), len(xs), -1)
        density = density + _stretched(_stretched(part, ys, len(y), 0), xs, len(x), 1)
    return np.asarray(density)


def _level_points(x: Array, y: Array, height_m: float) -> Array:
    xx, yy = np.meshgrid(x, y)
    return np.stack([xx.ravel(), yy.ravel(), np.full(xx.size, height_m)], axis=1)


def _every(axis: Array, step: int) -> NDArray[np.int64]:
    return np.unique([*range(0, len(axis), step), len(axis) - 1]).astype(np.int64)


def _stretched(table: Array, known: NDArray[np.int64], count: int, axis: int) -> Array:
    """Linear interpolation from the known indices to all along one axis."""
    wanted = np.arange(count)
    right = np.clip(np.searchsorted(known, wanted), 1, max(len(known) - 1, 1)).clip(max=len(known) - 1)
    left = np.maximum(right - 1, 0)
    span = np.maximum(known[right] - known[left], 1)
    weight = ((wanted - known[left]) / span).reshape([-1 if k == axis else 1 for k in range(table.ndim)])
    low, high = np.take(table, left, axis=axis), np.take(table, right, axis=axis)
    return np.asarray(low * (1.0 - weight) + high * weight)


class _Call:
    """One question to the kernels, checked and brought into their form."""

    def __init__(
        self,
        scene: Scene,
        positions: ArrayLike,
        frequencies_hz: ArrayLike,
        pattern: AntennaPattern | Sequence[AntennaPattern],
        points: ArrayLike,
        polarisation: Polarisation | Sequence[Polarisation],
    ) -> None:
        self.scene = scene
        self.positions = _positions(positions, "emitter")
        self.points = _positions(points, "point")
        m = len(self.positions)
        self.frequencies = np.broadcast_to(np.asarray(frequencies_hz, dtype=np.float64), (m,))
        if m and not np.all(np.isfinite(self.frequencies) & (self.frequencies > 0.0)):
            raise InputError("a frequency is not a positive number.", mend="Enter it in hertz.")
        self.unique, self.waves = wave_codes(
            self.frequencies, _each(pattern, m, AntennaPattern), _each(polarisation, m, Polarisation)
        )
        self.wavelengths = SPEED_OF_LIGHT_M_S / self.frequencies
        self.forward = m <= len(self.points)

    def run(self, order: int, diffraction: bool, *, summary: bool, only: Sequence[int] | None = None) -> Paths:
        """Work it out; ``only`` some of the emitters give the same to the last bit as among all."""
        if not 0 <= order <= 3:
            raise InputError(f"reflection order {order} is not possible.", mend="Choose 0, 1, 2 or 3.")
        chosen = list(range(len(self.positions))) if only is None else list(only)
        positions, waves, wavelengths = self.positions[chosen], self.waves[chosen], self.wavelengths[chosen]
        a, b = (positions, self.points) if self.forward else (self.points, positions)
        side, columns = side_images(self.scene, a, order)
        shape = (len(b), len(a))
        full = shape if summary else (len(b), 0)
        sums = (
            np.zeros(shape),
            np.zeros((*shape, order + 3)),
            np.zeros((*full, 3, 3)),
            np.zeros((*full, 3)),
            np.zeros((*full, len(self.scene.shapes.plates) + 1)),
        )
        tables = self.scene.tables(self.unique.tolist())
        optics = np.ascontiguousarray(tables.transpose(0, 1, 3, 2))
        emitters = (waves[columns], wavelengths[columns]) if self.forward else (waves, wavelengths)
        settings = (THRESHOLD, self.forward, diffraction, summary, order)
        arguments = (self.scene.arrays, optics, side, b, emitters, settings, sums)
        _in_threads(len(b), lambda first, last: kernels.all_pairs(*arguments, first, last))
        back = np.argsort(columns)
        turned = [x[:, back] if x.shape[1] else x for x in sums]
        density, by_order, *rest = turned if self.forward else [np.swapaxes(x, 0, 1) for x in turned]
        arrival, mean, entry = rest
        names = (*self.scene.names, "")
        return Paths(density, by_order[..., :-1], arrival, mean, entry, by_order[..., -1], names)

    def known(self, part: Callable[[Paths], Array], order: int, diffraction: bool) -> Array:
        """One table of the answer, shape (n, m, ...), of which only emitters not asked for before are worked out."""
        summary = part is _density_and_arrival
        question = (self.scene.content, content_of(self.points), part.__name__, order, diffraction, self.forward)
        wave = (self.frequencies.tolist(), self.waves[:, 1].tolist(), self.waves[:, 2].tolist())
        columns = list(zip(map(tuple, self.positions.tolist()), *wave, strict=True))
        return KNOWN.table(
            question, columns, lambda only: part(self.run(order, diffraction, summary=summary, only=only))
        )


def _density(found: Paths) -> Array:
    return found.density


def _last_order(found: Paths) -> Array:
    """What comes after as many reflections as were asked for."""
    return found.by_order[..., -2]


def _density_and_arrival(found: Paths) -> Array:
    """Density, then the arrival tensor row by row, shape (n, m, 10)."""
    flat = found.arrival.reshape(*found.density.shape, 9)
    return np.concatenate([found.density[..., None], flat], axis=-1)


def _in_threads(count: int, work: Callable[[int, int], None]) -> None:
    """Work on all of ``count`` points, in parts side by side if there are many; the work lets other threads run."""
    threads = min(config.NUMBA_NUM_THREADS, count // LEAST_PER_THREAD)
    if threads < 2:
        work(0, count)
        return
    ends = np.linspace(0, count, PARTS_PER_THREAD * threads + 1).astype(np.int64).tolist()
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(work, ends, ends[1:]))


def wave_codes(
    frequencies_hz: Array, patterns: Sequence[AntennaPattern], polarisations: Sequence[Polarisation]
) -> tuple[Array, NDArray[np.int64]]:
    """Distinct frequencies, and for each emitter its frequency's index, pattern and polarisation as numbers."""
    unique, index = np.unique(frequencies_hz, return_inverse=True)
    codes = np.zeros((len(frequencies_hz), 3), dtype=np.int64)
    codes[:, 0] = index.reshape(-1)
    codes[:, 1] = [_PATTERNS[p] for p in patterns]
    codes[:, 2] = [_POLARISATIONS[p] for p in polarisations]
    return unique, codes


def side_images(scene: Scene, points: Array, order: int) -> tuple[tuple[Array, ...], NDArray[np.int64]]:
    """Images of the distinct points, and the order of columns in which equal points stand together."""
    unique, index = np.unique(points, axis=0, return_inverse=True)
    index = index.reshape(-1)
    columns = np.argsort(index, kind="stable").astype(np.int64)
    counts = np.bincount(index, minlength=len(unique))
    walls, frame = len(scene.shapes.planes), scene.arrays.frame
    most = _most_mirrors(walls)
    built = [build_images(frame, point, order, walls, _rank(scene, point), most) for point in unique]
    start = _spans([len(b[1]) for b in built])
    built = built or [build_images(frame, np.zeros(3), 0, walls, np.zeros(len(frame), dtype=np.int64), most)]
    place, chain = (np.concatenate([b[k] for b in built]) for k in range(2))
    side = np.concatenate([b[2] for b in built], axis=1)
    runs = [_runs(b[1][:, 0]) for b in built]
    spans = np.concatenate([start, _spans([len(r) for r in runs])[: len(start)], _spans(counts)], axis=1)
    return (unique, place, chain, side, np.concatenate(runs), spans), columns


def _most_mirrors(walls: int) -> NDArray[np.int64]:
    """How many walls may stand in sequences of one, two and three mirrors."""
    return np.array([walls, min(walls, MOST_IN_TWO), min(walls, MOST_IN_THREE)], dtype=np.int64)


def _rank(scene: Scene, point: Array) -> NDArray[np.int64]:
    """Place of each wall's plane in the order of how large what is built on it looks from a point; 0 for faces."""
    frame, walls = scene.arrays.frame, len(scene.shapes.planes)
    rank = np.zeros(len(frame), dtype=np.int64)
    if walls <= MOST_IN_THREE:
        return rank
    u, v = (frame[:walls, a : a + 3] @ point for a in (4, 7))
    height = frame[:walls, :3] @ point - frame[:walls, 3]
    beside = np.maximum(frame[:walls, 12] - u, 0.0) + np.maximum(u - frame[:walls, 14], 0.0)
    over = np.maximum(frame[:walls, 13] - v, 0.0) + np.maximum(v - frame[:walls, 15], 0.0)
    away = height**2 + beside**2 + over**2
    seen = scene.built_m2 * np.abs(height) / np.maximum(away, 0.01) ** 1.5
    rank[np.argsort(-seen, kind="stable")] = np.arange(walls)
    return rank


def _runs(planes: NDArray[np.int64]) -> NDArray[np.int64]:
    """First and last (not included) index of each stretch of equal planes, and the plane, (n, 3)."""
    first = np.flatnonzero(np.diff(planes, prepend=-2))
    return np.stack([first, np.append(first[1:], len(planes)), planes[first]], axis=1).astype(np.int64)


def _spans(counts: Sequence[int] | NDArray[np.int64]) -> NDArray[np.int64]:
    """First and last (not included) index of each of several runs."""
    ends = np.cumsum([0, *counts])
    return np.stack([ends[:-1], ends[1:]], axis=1).astype(np.int64).reshape(-1, 2)


def _positions(values: ArrayLike, noun: str) -> Array:
    table = np.ascontiguousarray(np.asarray(values, dtype=np.float64).reshape(-1, 3))
    if not np.all(np.isfinite(table)):
        raise InputError(f"a position of an {noun} is not a number.", mend="Give x, y and z in metres.")
    return table


def _each(value: _T | Sequence[_T], count: int, kind: type[_T]) -> list[_T]:
    items: list[_T] = [value] * count if isinstance(value, kind) else list(cast(Sequence[_T], value))
    if len(items) != count:
        raise InputError(
            f"{len(items)} values of {kind.__name__} for {count} emitters.",
            mend="Give one, or one per emitter.",
        )
    return items

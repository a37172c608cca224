"""The image method in plain NumPy: slow, exact in angle, and written apart from the kernels to check them."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import fresnel
from shapely import Point, Polygon

from oracles.antenna_pattern import relative_gain
from roomfield.constants import SPEED_OF_LIGHT_M_S
from roomfield.field.geometry import Edge, Face, Plane, Plate
from roomfield.field.scene import BuildUp, Scene, plate_optics
from roomfield.field.transmission import Optics
from roomfield.survey.emitter import AntennaPattern

Array = NDArray[np.float64]
_TINY = 1e-9


class Mirror(NamedTuple):
    """A plane of the dwelling, or a face of a box."""

    plane: Plane
    face: Face | None


def _mirrors(scene: Scene) -> list[Mirror]:
    planes = [Mirror(p, None) for p in scene.shapes.planes]
    return [*planes, *(Mirror(f.plane, f) for f in scene.shapes.faces)]


def _possible(mirrors: list[Mirror], sequence: tuple[int, ...]) -> bool:
    """Never the same mirror twice in a row; faces of boxes once, in sequences of one or two."""
    small = sum(mirrors[k].face is not None for k in sequence)
    return all(a != b for a, b in itertools.pairwise(sequence)) and (not small or (small == 1 and len(sequence) <= 2))


def reference_density(
    scene: Scene,
    position: Array,
    frequency_hz: float,
    point: Array,
    *,
    pattern: AntennaPattern = AntennaPattern.ISOTROPIC,
    order: int = 1,
) -> float:
    """Power density per watt EIRP by image paths, vertical polarisation [1/m²].

    Parameters
    ----------
    scene : Scene
        The dwelling.
    position, point : ndarray, shape (3,)
        Emitter and place [m].
    order : int
        Highest number of reflections.
    """
    total = 0.0
    mirrors = _mirrors(scene)
    for length in range(order + 1):
        for sequence in itertools.product(range(len(mirrors)), repeat=length):
            if _possible(mirrors, sequence):
                total += _path(scene, position, frequency_hz, point, sequence, pattern)
    return total


def reference_edges(scene: Scene, position: Array, frequency_hz: float, point: Array) -> float:
    """Power density per watt EIRP thrown by single edges into their shadow, isotropic emitter [1/m²]."""
    return sum(_edge(scene, edge, position, frequency_hz, point) for edge in scene.shapes.edges)


def _path(
    scene: Scene,
    position: Array,
    frequency_hz: float,
    point: Array,
    sequence: tuple[int, ...],
    pattern: AntennaPattern,
) -> float:
    mirrors = _mirrors(scene)
    corners = _corners(scene, position, point, sequence)
    if corners is None:
        return 0.0
    steps = np.diff(np.array(corners), axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    power = float(relative_gain(pattern, steps[0, 2] / lengths[0])) / (4.0 * np.pi * lengths.sum() ** 2)
    for k, index in enumerate(sequence):
        normal = mirrors[index].plane.normal
        front = float((corners[k] - corners[k + 1]) @ normal) > 0.0
        stack = _built(scene, mirrors[index], index, corners[k + 1])
        te, tm = _optics(scene, stack, frequency_hz, abs(float(steps[k] @ normal)) / lengths[k])
        share = _te_share(steps[k] / lengths[k], normal)
        power *= share * _thrown(te, front) + (1.0 - share) * _thrown(tm, front)
    for k in range(len(steps)):
        skip = {*sequence[max(k - 1, 0) : k], *sequence[k : k + 1]}
        power *= _crossed(scene, corners[k], corners[k + 1], frequency_hz, skip)
    return float(power)


def _thrown(optics: Optics, front: bool) -> float:
    return float(optics.front if front else optics.back)


def _corners(scene: Scene, position: Array, point: Array, sequence: tuple[int, ...]) -> list[Array] | None:
    """Emitter, mirrors and point, or None if a mirror is missed."""
    images = [np.asarray(position, dtype=np.float64)]
    mirrors = _mirrors(scene)
    for index in sequence:
        plane = mirrors[index].plane
        off = float(images[-1] @ plane.normal) - plane.offset_m
        images.append(images[-1] - 2.0 * off * plane.normal)
    corners = [np.asarray(point, dtype=np.float64)]
    for index, image in zip(reversed(sequence), reversed(images[1:]), strict=True):
        plane = mirrors[index].plane
        from_image = float(image @ plane.normal) - plane.offset_m
        from_here = float(corners[0] @ plane.normal) - plane.offset_m
        if from_image * from_here >= 0.0:
            return None
        corner = corners[0] + from_here / (from_here - from_image) * (image - corners[0])
        if _built(scene, mirrors[index], index, corner) is None:
            return None
        corners.insert(0, corner)
    return [images[0], *corners]


def _built(scene: Scene, mirror: Mirror, index: int, corner: Array) -> int | None:
    """Index of the build-up at a point of a mirror, None if there is nothing."""
    if mirror.face is None:
        return _plate(scene, index, corner)
    u, v = float(corner @ mirror.plane.across), float(corner @ mirror.plane.up)
    low, high = mirror.face.low, mirror.face.high
    inside = low[0] <= u <= high[0] and low[1] <= v <= high[1]
    return len(scene.shapes.plates) + mirror.face.box if inside else None


def _plate(scene: Scene, plane_index: int, corner: Array) -> int | None:
    plane = scene.shapes.planes[plane_index]
    u, v = float(corner @ plane.across), float(corner @ plane.up)
    for k, plate in enumerate(scene.shapes.plates):
        if plate.plane == plane_index and _covers(plate, u, v):
            return k
    return None


def _covers(plate: Plate, u: float, v: float) -> bool:
    if plate.outline:
        return bool(Polygon(plate.outline).covers(Point(u, v)))
    return plate.low[0] <= u <= plate.high[0] and plate.low[1] <= v <= plate.high[1]


def _optics(scene: Scene, index: int | None, frequency_hz: float, cosine: float) -> tuple[Optics, Optics]:
    """Optics of a plate or box, by its build-up's index, at an angle."""
    build_up: BuildUp = scene.build_ups[0 if index is None else index]
    return plate_optics(build_up, frequency_hz, np.array(cosine), scene.edition)


def _te_share(direction: Array, normal: Array) -> float:
    across = np.cross(direction, normal)
    upright = np.array([0.0, 0.0, 1.0]) - direction[2] * direction
    if np.linalg.norm(across) < 1e-6 or np.linalg.norm(upright) < 1e-6:
        return 0.5
    cosine = across @ upright / (np.linalg.norm(across) * np.linalg.norm(upright))
    return float(min(cosine**2, 1.0))


def _crossed(scene: Scene, start: Array, end: Array, frequency_hz: float, skip: set[int]) -> float:
    factor = 1.0
    direction = (end - start) / np.linalg.norm(end - start)
    for index, plane in enumerate(scene.shapes.planes):
        a, b = float(start @ plane.normal) - plane.offset_m, float(end @ plane.normal) - plane.offset_m
        if index in skip or a * b >= 0.0:
            continue
        plate = _plate(scene, index, start + a / (a - b) * (end - start))
        if plate is not None:
            te, tm = _optics(scene, plate, frequency_hz, abs(float(direction @ plane.normal)))
            share = _te_share(direction, plane.normal)
            factor *= share * float(te.transmission) + (1.0 - share) * float(tm.transmission)
    for panel, axis in _panels(scene, start, end):
        te, tm = _optics(scene, panel, frequency_hz, abs(float(direction[axis])))
        share = _te_share(direction, np.eye(3)[axis])
        factor *= share * float(te.transmission) + (1.0 - share) * float(tm.transmission)
    return factor


def _panels(scene: Scene, start: Array, end: Array) -> Iterator[tuple[int, int]]:
    """Build-up and axis of every box panel that a segment goes through."""
    for b, box in enumerate(scene.shapes.boxes):
        for axis, side in itertools.product(range(3), (box.low, box.high)):
            span = end[axis] - start[axis]
            if span == 0.0:
                continue
            part = (side[axis] - start[axis]) / span
            if not _TINY < part < 1.0 - _TINY:
                continue
            hit = start + part * (end - start)
            others = [k for k in range(3) if k != axis]
            if all(box.low[k] <= hit[k] <= box.high[k] for k in others):
                yield len(scene.shapes.plates) + b, axis


def _behind(nu: float) -> complex:
    """Amplitude behind an edge, its own phase taken off."""
    s, c = fresnel(nu)
    return complex(complex(0.5 - c, s - 0.5) * np.exp(0.5j * np.pi * nu**2) / np.sqrt(2.0))


def _edge(scene: Scene, edge: Edge, position: Array, frequency_hz: float, point: Array) -> float:
    plane: Plane = scene.shapes.planes[edge.plane]
    heights = np.linspace(0.0, edge.length_m, 20001)
    on_edge = edge.start + heights[:, None] * edge.direction
    ways = np.linalg.norm(on_edge - position, axis=1) + np.linalg.norm(on_edge - point, axis=1)
    best = int(np.argmin(ways))
    if best in (0, len(heights) - 1):
        return 0.0
    corner = on_edge[best]
    to_a, to_b = position - corner, point - corner
    la, lb = np.linalg.norm(to_a), np.linalg.norm(to_b)
    turn = [np.arctan2(x @ plane.normal, x @ edge.into) % (2.0 * np.pi) for x in (to_a, to_b)]
    if abs(turn[0] - turn[1]) < np.pi:
        return 0.0
    sine2 = 1.0 - float(to_a @ edge.direction / la) ** 2
    wavelength = SPEED_OF_LIGHT_M_S / frequency_hz
    reach = 2.0 * np.sqrt(2.0 * la * lb * sine2 / ((la + lb) * wavelength))
    shadow, thrown = (_behind(reach * abs(np.cos(a / 2.0))) for a in (turn[0] - turn[1], turn[0] + turn[1]))
    along = 1.0 - 0.5 * (_te_share(to_a / la, edge.direction) + _te_share(to_b / lb, edge.direction))
    behind = along * abs(shadow - thrown) ** 2 + (1.0 - along) * abs(shadow + thrown) ** 2
    cosine = (abs(to_a @ plane.normal) / la + abs(to_b @ plane.normal) / lb) / 2.0
    share = 0.5 * (_te_share(to_a / la, plane.normal) + _te_share(to_b / lb, plane.normal))
    amplitudes = []
    for index in (edge.solid, edge.hole):
        if index < 0:
            amplitudes.append(1.0)
            continue
        te, tm = plate_optics(scene.build_ups[index], frequency_hz, np.array(cosine), scene.edition)
        passed = share * float(te.transmission) + (1.0 - share) * float(tm.transmission)
        amplitudes.append(float(np.sqrt(passed)))
    legs = _crossed(scene, position, corner, frequency_hz, {edge.plane})
    legs *= _crossed(scene, corner, point, frequency_hz, {edge.plane})
    spread = 1.0 / (4.0 * np.pi * float(la + lb) ** 2)
    return float(behind * (amplitudes[0] - amplitudes[1]) ** 2 * legs * spread)

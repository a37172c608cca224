"""An independent ray tracer (the optional package sionna-rt) asked about the same dwelling.

The tracer finds candidate sequences by shooting rays, places them by its own image method, and carries complex
vector fields along them with its own slab formula; nothing of `roomfield.field` takes part but the record of the
dwelling. Its three stages are called one by one, so that candidates are found once, in a copy of the scene whose
every plate passes and throws back alike: behind a shield the usual choice by power would find one ray in
thousands. Needs the extra ``raytracer`` and a libLLVM (``DRJIT_LIBLLVM_PATH`` names it if it is not found).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from roomfield.constants import FREE_SPACE_IMPEDANCE_OHM, SPEED_OF_LIGHT_M_S, VACUUM_PERMITTIVITY_F_M
from roomfield.errors import InputError
from roomfield.field.transmission import dielectric
from roomfield.survey.dwelling import Dwelling, FittedShield, Layer, ShieldPart, Wall
from roomfield.survey.emitter import AntennaPattern

SHEET_OFF_M = 0.02
"""How far a sheet stands off the middle of the wall [m]; the tracer drops every path with a stretch of 0.01 m or less."""
SHEET_THICKNESS_M = 1e-6
DIPOLE_GAIN = 1.643
DIFFRACTION = 8
HASH_PLACES = 60_000_000
"""Size of the tracer's table of sequences already found; when it fills, sequences are lost."""
_AIR = ("", "air", "vacuum")
_PATTERNS = {AntennaPattern.ISOTROPIC: "iso", AntennaPattern.VERTICAL_DIPOLE: "hw_dipole"}


@dataclass(frozen=True)
class Piece:
    """A flat mesh of one material; ``sheet_db`` is set for a shield."""

    name: str
    corners: np.ndarray
    faces: np.ndarray
    layer: Layer
    sheet_db: float | None = None
    pane: bool = False


@dataclass(frozen=True)
class Traced:
    """What arrives at each point from each source, per watt EIRP.

    ``amplitude`` (points, sources, paths, 2) along theta and phi, in roots of 1/m²; ``direction`` towards where it
    comes from (points, sources, paths, 3); ``delay_m``; ``edge`` marks paths by way of an edge.
    """

    amplitude: np.ndarray
    direction: np.ndarray
    delay_m: np.ndarray
    edge: np.ndarray
    reflections: np.ndarray
    edge_point: np.ndarray
    edge_piece: np.ndarray

    @property
    def path_power(self) -> np.ndarray:
        return (np.abs(self.amplitude) ** 2).sum(axis=-1)

    @property
    def power(self) -> np.ndarray:
        """Sum of the powers of all paths [1/m²], (points, sources)."""
        return self.path_power.sum(axis=-1)


def pieces_of(dwelling: Dwelling, shields: Sequence[tuple[str, FittedShield]] = ()) -> list[Piece]:
    """Meshes of a dwelling with shields fitted; every wall is its middle plane, every sheet a plane of its own."""
    found: list[Piece] = []
    for wall in dwelling.walls:
        found += _wall_pieces(wall)
        for fitted in (*wall.shields, *(s for name, s in shields if name == wall.id)):
            found += _sheet_pieces(wall, fitted, dwelling)
    for slab in dwelling.slabs:
        for k, outline in enumerate(slab.outlines):
            (x0, y0), (x1, y1) = np.min(outline, axis=0), np.max(outline, axis=0)
            grid = [[x, y, slab.height_m] for y in (y0, y1) for x in (x0, x1)]
            found.append(Piece(f"{slab.id}#{k}", np.array(grid), _quads(2, 2), _only(slab.layers, slab.id)))
    for box in dwelling.furniture:
        found.append(_box_piece(box))
    return [p for p in found if p.layer.material not in _AIR and len(p.faces)]


def _wall_pieces(wall: Wall) -> list[Piece]:
    holes = [(o.start_m, o.end_m, o.sill_m, o.head_m) for o in wall.openings]
    pieces = [_patch(wall, wall.id, holes, None, 0.0, _only(wall.layers, wall.id))]
    for o, hole in zip(wall.openings, holes, strict=True):
        if o.layers:
            pieces.append(_patch(wall, o.id, [], hole, 0.0, _only(o.layers, o.id), pane=True))
    return pieces


def _sheet_pieces(wall: Wall, fitted: FittedShield, dwelling: Dwelling) -> list[Piece]:
    off = SHEET_OFF_M if _inside_is_left(wall, dwelling) else -SHEET_OFF_M
    loss = float(np.interp(2e9, *np.array(fitted.sheet.attenuation).T))
    holes = [(o.start_m, o.end_m, o.sill_m, o.head_m) for o in wall.openings]
    covered = [not fitted.opening_ids or o.id in fitted.opening_ids for o in wall.openings]
    layer, name = Layer("sheet", SHEET_THICKNESS_M), f"{wall.id}+{fitted.sheet.name}"
    if fitted.part is ShieldPart.WHOLE and all(covered):
        return [_patch(wall, name, [], None, off, layer, sheet_db=loss)]
    pieces = []
    if fitted.part is not ShieldPart.OPENINGS:
        pieces.append(_patch(wall, name, holes, None, off, layer, sheet_db=loss))
    if fitted.part is not ShieldPart.MASONRY:
        pieces += [
            _patch(wall, f"{name}+{o.id}", [], hole, off, layer, sheet_db=loss)
            for o, hole, yes in zip(wall.openings, holes, covered, strict=True)
            if yes
        ]
    return pieces


def _inside_is_left(wall: Wall, dwelling: Dwelling) -> bool:
    from shapely import Point, Polygon

    start, end = np.array(wall.start), np.array(wall.end)
    along = (end - start) / np.linalg.norm(end - start)
    spot = (start + end) / 2.0 + 0.35 * np.array([-along[1], along[0]])
    return (
        any(Polygon(r.outline).contains(Point(spot)) for r in dwelling.rooms if r.storey_id == wall.storey_id)
        or not wall.exterior
    )


def _patch(wall: Wall, name, holes, part, off, layer, *, sheet_db=None, pane=False) -> Piece:
    """A wall or part of it as a mesh without loose corners inside."""
    start, end = np.array(wall.start, dtype=float), np.array(wall.end, dtype=float)
    length = np.linalg.norm(end - start)
    along = (end - start) / length
    shift = off * np.array([-along[1], along[0]])
    s0, s1, z0, z1 = part or (0.0, length, wall.base_m, wall.top_m)
    s = np.unique([s0, s1, *(x for h in holes for x in h[:2])])
    z = np.unique([z0, z1, *(x for h in holes for x in h[2:])])
    corners = np.array([[*(start + a * along + shift), b] for b in z for a in s])
    middle_s, middle_z = (s[:-1] + s[1:]) / 2.0, (z[:-1] + z[1:]) / 2.0
    keep = np.array([[not any(h[0] < a < h[1] and h[2] < b < h[3] for h in holes) for a in middle_s] for b in middle_z])
    faces = _quads(len(s), len(z))[np.repeat(keep.ravel(), 2)]
    used, faces = np.unique(faces, return_inverse=True)
    return Piece(name, corners[used], faces.reshape(-1, 3), layer, sheet_db, pane)


def _quads(columns: int, rows: int) -> np.ndarray:
    faces = []
    for j in range(rows - 1):
        for i in range(columns - 1):
            a = j * columns + i
            faces += [(a, a + 1, a + columns + 1), (a, a + columns + 1, a + columns)]
    return np.array(faces, dtype=np.int64)


def _box_piece(box) -> Piece:
    low, high = np.array(box.low), np.array(box.high)
    corners = np.array([[(low, high)[i][0], (low, high)[j][1], (low, high)[k][2]]
                        for k in (0, 1) for j in (0, 1) for i in (0, 1)])  # fmt: skip
    sides = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
    faces = [(a, b, c) for a, b, c, _ in sides] + [(a, c, d) for a, _, c, d in sides]
    return Piece(f"box {box.id}", corners, np.array(faces), box.panel)


def _only(layers: Sequence[Layer], name: str) -> Layer:
    solid = [x for x in layers if x.material not in _AIR and x.thickness_m > 0.0]
    if len(solid) > 1:
        raise InputError(f"{name!r} has several layers.", mend="The tracer takes one layer a plate.")
    return solid[0] if solid else Layer("air", 0.0)


def sheet_conductivity(loss_db: float) -> float:
    """Conductivity of a sheet of `SHEET_THICKNESS_M` that loses so much at normal incidence [S/m]."""
    resistance = FREE_SPACE_IMPEDANCE_OHM / (2.0 * (10.0 ** (loss_db / 20.0) - 1.0))
    return 1.0 / (resistance * SHEET_THICKNESS_M)


class Tracer:
    """A dwelling as the tracer sees it; one libLLVM compile per shape of question."""

    def __init__(self, dwelling: Dwelling, shields: Sequence[tuple[str, FittedShield]] = ()) -> None:
        import mitsuba
        import sionna.rt

        self._mi, self._rt = mitsuba, sionna.rt
        self.pieces = pieces_of(dwelling, shields)
        self._scene = sionna.rt.Scene()
        self._materials = {}
        for piece in self.pieces:
            key = (piece.layer.material, piece.layer.thickness_m, piece.sheet_db)
            if key not in self._materials:
                name = f"m{len(self._materials)}"
                self._materials[key] = sionna.rt.RadioMaterial(name, thickness=0.1)
        self._scene.edit(add=[self._object(p) for p in self.pieces])

    def _object(self, piece: Piece):
        mi = self._mi
        mesh = mi.Mesh(piece.name, len(piece.corners), len(piece.faces))
        params = mi.traverse(mesh)
        params["vertex_positions"] = piece.corners.astype(np.float32).ravel()
        params["faces"] = piece.faces.astype(np.uint32).ravel()
        params.update()
        key = (piece.layer.material, piece.layer.thickness_m, piece.sheet_db)
        return self._rt.SceneObject(mi_mesh=mesh, name=piece.name, radio_material=self._materials[key])

    @cached_property
    def _solver(self):
        return self._rt.PathSolver(deterministic=False)

    def trace(
        self,
        sources: np.ndarray,
        frequency_hz: float | Sequence[float],
        pattern: AntennaPattern,
        points: np.ndarray,
        *,
        depth: int = 8,
        rays: int = 1_000_000,
        edges: bool = True,
        offsets: np.ndarray | None = None,
        aim: tuple[np.ndarray, float] | None = None,
    ) -> list[list[Traced]]:
        """Paths from sources to points, for each frequency and each offset of the points.

        Candidates are found for the points as they stand and used for every offset and frequency. ``aim`` is the
        middle and the radius of a ball that rays are aimed at from far sources.
        """
        frequencies = np.atleast_1d(frequency_hz)
        shifts = np.zeros((1, 3)) if offsets is None else offsets
        self._place(sources, points, pattern)
        self._neutral(float(frequencies[0]))
        found = self._candidates(depth, rays, edges, aim)
        results = []
        for f in frequencies:
            self._true(float(f))
            results.append([self._fields(found, float(f), pattern, points + shift, rays, edges) for shift in shifts])
        return results

    def level_map(self, source, frequency_hz, pattern, axes, *, depth: int = 3, rays: int = 1_000_000) -> np.ndarray:
        """Power density per watt EIRP in the cells of a level grid by the tracer's own map, (ny, nx) [1/m²].

        ``axes`` are evenly spaced cell centres and the height, as in `roomfield.field.propagation.grid_density`.
        """
        mi = self._mi
        x, y, height = axes
        steps = float(x[1] - x[0]), float(y[1] - y[0])
        self._place([source], [[x[0], y[0], height]], pattern)
        self._true(frequency_hz)
        found = self._rt.RadioMapSolver()(
            self._scene, center=mi.Point3f(float(x.mean()), float(y.mean()), float(height)),
            orientation=mi.Point3f(0.0, 0.0, 0.0), size=mi.Point2f(steps[0] * len(x), steps[1] * len(y)),
            cell_size=mi.Point2f(*steps), samples_per_tx=rays, max_depth=depth, los=True, specular_reflection=True,
            refraction=True, diffraction=False,
        )  # fmt: skip
        gain = DIPOLE_GAIN if pattern is AntennaPattern.VERTICAL_DIPOLE else 1.0
        return np.asarray(found.path_gain)[0] * 4.0 * np.pi / gain * (frequency_hz / SPEED_OF_LIGHT_M_S) ** 2

    def _place(self, sources, points, pattern) -> None:
        rt, scene = self._rt, self._scene
        for name in [*scene.transmitters, *scene.receivers]:
            scene.remove(name)
        gain = {"num_rows": 1, "num_cols": 1}
        scene.tx_array = rt.PlanarArray(**gain, pattern=_PATTERNS[pattern], polarization="V")
        scene.rx_array = rt.PlanarArray(**gain, pattern="iso", polarization="VH")
        for k, p in enumerate(np.atleast_2d(sources)):
            scene.add(rt.Transmitter(f"t{k}", [float(x) for x in p]))
        for k, p in enumerate(np.atleast_2d(points)):
            scene.add(rt.Receiver(f"r{k}", [float(x) for x in p]))

    def _neutral(self, frequency_hz: float) -> None:
        self._scene.frequency = frequency_hz
        for material in self._materials.values():
            self._set(material, SHEET_THICKNESS_M, 1.0, sheet_conductivity(6.0))

    def _true(self, frequency_hz: float) -> None:
        self._scene.frequency = frequency_hz
        for (name, thickness_m, sheet_db), material in self._materials.items():
            if sheet_db is not None:
                self._set(material, SHEET_THICKNESS_M, 1.0, sheet_conductivity(sheet_db))
                continue
            eta = self._permittivity(name, frequency_hz)
            sigma = -eta.imag * 2.0 * np.pi * frequency_hz * VACUUM_PERMITTIVITY_F_M
            self._set(material, thickness_m, eta.real, sigma)

    def _permittivity(self, name: str, frequency_hz: float) -> complex:
        """The tracer's own table where it has the frequency, else the same law carried on."""
        from sionna.rt.radio_materials.itu import ITU_MATERIALS_PROPERTIES as table

        for (low, high), (a, b, c, d) in table.get(name, {}).items():
            if low * 1e9 <= frequency_hz <= high * 1e9:
                sigma = c * (frequency_hz / 1e9) ** d
                real = a * (frequency_hz / 1e9) ** b
                return complex(real, -sigma / (2.0 * np.pi * frequency_hz * VACUUM_PERMITTIVITY_F_M))
        return dielectric(name, frequency_hz).permittivity

    def _set(self, material, thickness_m: float, real: float, conductivity: float) -> None:
        import drjit as dr

        for key, value in (("thickness", thickness_m), ("relative_permittivity", real), ("conductivity", conductivity)):
            number = self._mi.Float(float(value))
            dr.make_opaque(number)
            setattr(material, key, number)

    def _candidates(self, depth, rays, edges, aim):
        import drjit as dr

        scene, solver = self._scene, self._solver
        source, *_ = scene.sources(True, True)
        target, *_ = scene.targets(True, True)
        dr.make_opaque(source, target)
        type(solver._candidate_generator).MIN_SPEC_COUNT_SIZE = HASH_PLACES
        with _Aimed(scene, aim):
            buffer = solver._candidate_generator(
                mi_scene=scene.mi_scene, src_positions=source, tgt_positions=target, samples_per_src=rays,
                max_num_paths_per_src=1_000_000, max_depth=depth, los=True, specular_reflection=True,
                diffuse_reflection=False, refraction=True, diffraction=edges, edge_diffraction=edges, seed=7,
            )  # fmt: skip
        buffer.schedule()
        dr.eval()
        buffer.shrink()
        buffer.detach_geometry()
        return buffer

    def _fields(self, found, frequency_hz, pattern, points, rays, edges) -> Traced:
        import drjit as dr

        mi, scene, solver = self._mi, self._scene, self._solver
        source, turned, arrays, speed = scene.sources(True, True)
        _, target_turned, target_arrays, target_speed = scene.targets(True, True)
        target = mi.Point3f(np.ascontiguousarray(points.T.astype(np.float32)))
        dr.make_opaque(source, target)
        buffer = found.gather(dr.arange(mi.UInt, found.buffer_size))
        buffer.valid = mi.Bool(found.valid)
        buffer = solver._image_method(scene=scene.mi_scene, paths=buffer, src_positions=source,
                                      tgt_positions=target, diffraction=edges, diffraction_lit_region=True)  # fmt: skip
        buffer = solver._field_calculator(
            wavelength=scene.wavelength, paths=buffer, samples_per_src=rays, diffraction=edges, src_positions=source,
            tgt_positions=target, src_orientations=turned, tgt_orientations=target_turned,
            src_antenna_patterns=scene.tx_array.antenna_pattern.patterns,
            tgt_antenna_patterns=scene.rx_array.antenna_pattern.patterns,
        )  # fmt: skip
        buffer.discard_invalid()
        done = self._rt.path_solvers.paths.Paths(
            scene, source, target, speed, target_speed, True, buffer, arrays, target_arrays
        )
        numbers = {int(self._scene.objects[p.name].object_id): k for k, p in enumerate(self.pieces)}
        return _traced(done, frequency_hz, pattern, numbers)


class _Aimed:
    """Sends all rays into the cone that a ball fills, as seen from the one source."""

    def __init__(self, scene, aim) -> None:
        self.aim, self.scene = aim, scene

    def __enter__(self):
        if self.aim is None:
            return
        import drjit as dr
        import mitsuba as mi
        from sionna.rt.path_solvers import sb_candidate_generator as stage

        self.stage, self.before = stage, stage.spawn_ray_from_sources
        middle, radius = self.aim

        def aimed(lattice, samples_per_src, src_positions):
            ray = self.before(lattice, samples_per_src, src_positions)
            square = lattice(samples_per_src)
            way = mi.Vector3f(*[float(x) for x in middle]) - src_positions
            distance = dr.norm(way)
            cut = dr.sqrt(1.0 - dr.square(radius / distance))
            towards = mi.warp.square_to_uniform_cone(square, cut)
            ray.d = mi.Frame3f(way / distance).to_world(towards)
            return ray

        stage.spawn_ray_from_sources = aimed

    def __exit__(self, *_):
        if self.aim is not None:
            self.stage.spawn_ray_from_sources = self.before


def _traced(done, frequency_hz, pattern, numbers) -> Traced:
    real, imaginary = (np.asarray(x) for x in done.a)
    shape = real.shape
    field = (real + 1j * imaginary).transpose(0, 2, 4, 1, 3)[..., 0]
    wavelength = SPEED_OF_LIGHT_M_S / frequency_hz
    gain = DIPOLE_GAIN if pattern is AntennaPattern.VERTICAL_DIPOLE else 1.0
    field = field * np.sqrt(4.0 * np.pi / gain) / wavelength
    theta, phi, tau = (
        np.asarray(x).reshape(shape[0], shape[2], shape[4]) for x in (done.theta_r, done.phi_r, done.tau)
    )
    direction = np.stack([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)], axis=-1)
    kinds = np.asarray(done.interactions).reshape(-1, shape[0], shape[2], shape[4])
    bent = kinds == DIFFRACTION
    level = bent.argmax(axis=0)[None]
    objects = np.asarray(done.objects).reshape(kinds.shape)
    spots = np.asarray(done.vertices).reshape(*kinds.shape, 3)
    spot = np.take_along_axis(spots, level[..., None], axis=0)[0]
    piece = np.take_along_axis(objects, level, axis=0)[0]
    piece = np.vectorize(lambda x: numbers.get(int(x), -1), otypes=[np.int64])(piece)
    edge = bent.any(axis=0)
    return Traced(field, direction, tau * SPEED_OF_LIGHT_M_S, edge, (kinds == 1).sum(axis=0), spot,
                  np.where(edge, piece, -1))  # fmt: skip

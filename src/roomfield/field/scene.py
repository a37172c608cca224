"""The scene: a dwelling made ready for ray tracing, immutable, cheap to change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import UnknownNameError
from roomfield.field.geometry import Cover, Plate, Shapes, shapes_of, shield_covers
from roomfield.field.known_paths import content_of
from roomfield.field.transmission import Optics, dielectric, in_series, sheet_optics, stack_optics
from roomfield.references.films import film_named
from roomfield.references.materials import DEFAULT_EDITION
from roomfield.survey.dwelling import Dwelling, FittedShield, Layer

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
COSINES = 65
"""Steps of the table over the cosine of the angle of incidence."""


class Arrays(NamedTuple):
    """Geometry for the kernels; lengths in metres, plates ordered by plane.

    Parameters
    ----------
    frame : ndarray, shape (planes + faces, 16)
        Normal, offset, axes across and up, first and last (not included) row of ``rect``, low and high corner of
        what is built on it; faces of boxes last.
    rect : ndarray, shape (plates + faces, 6)
        Low and high corner on the plane, first corner and number of corners of the outline (0: the rectangle).
    stack : ndarray, shape (plates + faces,)
        Row of the optics: the plate itself, or the box after all plates.
    outline : ndarray, shape (corners, 2)
        Corners of all outlines.
    box : ndarray, shape (boxes, 6)
        Low and high corner.
    exterior : ndarray, shape (plates,)
        1 for plates between inside and outside.
    """

    frame: Array
    rect: Array
    stack: IntArray
    outline: Array
    box: Array
    exterior: IntArray
    edge_start: Array
    edge_direction: Array
    edge_into: Array
    edge_length: Array
    edge_plane: IntArray
    edge_solid: IntArray
    edge_hole: IntArray


@dataclass(frozen=True)
class BuildUp:
    """Layers and sheets of one plate, and a loss offset.

    Parameters
    ----------
    layers : tuple of Layer
        From front to back.
    covers : tuple of Cover
        Sheets on either side.
    extra_db : float
        Added to the transmission loss [dB]; a wall that loses more than its table value.
    """

    layers: tuple[Layer, ...]
    covers: tuple[Cover, ...] = ()
    extra_db: float = 0.0


@dataclass(frozen=True, eq=False)
class Scene:
    """A dwelling ready for ray tracing.

    Parameters
    ----------
    shapes : Shapes
        Planes, plates, boxes and edges.
    arrays : Arrays
        The same for the kernels.
    offsets_db : mapping of str to float
        Additional transmission loss by material or surface id [dB].
    edition : str
        Edition of the materials table.
    """

    shapes: Shapes
    arrays: Arrays
    offsets_db: Mapping[str, float]
    edition: str = DEFAULT_EDITION

    @staticmethod
    def from_dwelling(dwelling: Dwelling, *, materials: str = DEFAULT_EDITION) -> Scene:
        """Scene of a dwelling as it stands, fitted shields included.

        Parameters
        ----------
        dwelling : Dwelling
            May be empty: then every path is free space.
        materials : str
            Edition of the materials table.

        Raises
        ------
        UnknownNameError
            If a layer's material is not in the table.
        """
        shapes = shapes_of(dwelling)
        scene = Scene(shapes, _arrays(shapes), {}, materials)
        for name in sorted({x.material for b in scene.build_ups for x in b.layers}):
            dielectric(name, 2.45e9, materials)
        return scene

    @cached_property
    def content(self) -> bytes:
        """Digest of everything that paths through the scene depend on; equal scenes have equal ones."""
        return content_of(*self.arrays, self.built_m2, said=repr((self.build_ups, self.edition)))

    @property
    def build_ups(self) -> tuple[BuildUp, ...]:
        """Build-up of each plate, then of each box."""
        plates = [BuildUp(p.layers, p.covers, self._extra(p)) for p in self.shapes.plates]
        return (*plates, *(BuildUp(b.layers) for b in self.shapes.boxes))

    @property
    def names(self) -> tuple[str, ...]:
        """Name of each plate: the opening's id, or the surface's."""
        return tuple(p.name for p in self.shapes.plates)

    @cached_property
    def built_m2(self) -> Array:
        """Area built on each plane, overlaps counted twice [m²]."""
        plates = self.shapes.plates
        plane = np.array([p.plane for p in plates], dtype=np.int64)
        areas = np.array([p.area_m2 for p in plates], dtype=np.float64)
        return np.asarray(np.bincount(plane, areas, len(self.shapes.planes)), dtype=np.float64)

    def with_shields(self, shields: Sequence[tuple[str, FittedShield]]) -> Scene:
        """The scene with shields added.

        Parameters
        ----------
        shields : sequence of (surface id, FittedShield)
            Walls or slabs and what is fitted on them.

        Raises
        ------
        UnknownNameError
            If there is no such surface or opening.
        """
        plates = list(self.shapes.plates)
        for surface_id, shield in shields:
            self._check(surface_id, shield)
            for k, plate in enumerate(plates):
                if plate.surface_id == surface_id and shield_covers(shield, plate.opening_id):
                    cover = Cover(shield.sheet, shield.coverage, plate.inside_front)
                    plates[k] = replace(plate, covers=(*plate.covers, cover))
        return replace(self, shapes=replace(self.shapes, plates=tuple(plates)))

    def without_shields(self) -> Scene:
        """The scene with every shield taken off."""
        plates = tuple(replace(p, covers=()) for p in self.shapes.plates)
        return replace(self, shapes=replace(self.shapes, plates=plates))

    def with_openings_closed(self, opening_ids: Sequence[str], layers: tuple[Layer, ...]) -> Scene:
        """The scene with openings filled by other layers."""
        known = {p.opening_id for p in self.shapes.plates}
        for name in opening_ids:
            if name not in known:
                raise UnknownNameError("opening", name, known - {""})
        plates = tuple(
            replace(p, layers=layers) if p.opening_id and p.opening_id in opening_ids else p for p in self.shapes.plates
        )
        return replace(self, shapes=replace(self.shapes, plates=plates))

    def with_offsets(self, offsets_db: Mapping[str, float]) -> Scene:
        """The scene with more (or less) loss per material or per surface or opening id.

        Parameters
        ----------
        offsets_db : mapping of str to float
            Loss added to each transmission [dB]; the offsets of a plate's id and of its thickest material add.
        """
        return replace(self, offsets_db=dict(offsets_db))

    def extrapolated(self, frequency_hz: float) -> tuple[str, ...]:
        """Materials used outside the range that the table states for them."""
        names = {x.material for b in self.build_ups for x in b.layers}
        return tuple(n for n in sorted(names) if not dielectric(n, frequency_hz, self.edition).in_range)

    def tables(self, frequencies_hz: Sequence[float]) -> Array:
        """Optics of every plate and box.

        Returns
        -------
        ndarray, shape (n_frequencies, n_plates + n_boxes, 6, COSINES)
            Transmission TE, TM, reflection front TE, TM, back TE, TM over the cosine from 0 to 1.
        """
        stacks = self.build_ups
        table = np.ones((len(frequencies_hz), len(stacks), 6, COSINES))
        for i, frequency_hz in enumerate(frequencies_hz):
            for k, stack in enumerate(stacks):
                table[i, k] = optics_table(stack, float(frequency_hz), self.edition)
        return table

    def _extra(self, plate: Plate) -> float:
        own = self.offsets_db.get(plate.name, 0.0)
        return own + self.offsets_db.get(main_material(plate.layers), 0.0)

    def _check(self, surface_id: str, shield: FittedShield) -> None:
        known = {p.surface_id for p in self.shapes.plates}
        if surface_id not in known:
            raise UnknownNameError("wall or slab", surface_id, known)
        openings = {p.opening_id for p in self.shapes.plates if p.surface_id == surface_id} - {""}
        for name in shield.opening_ids:
            if name not in openings:
                raise UnknownNameError("opening", name, openings, where=surface_id)


def main_material(layers: Sequence[Layer]) -> str:
    """Material whose loss matters most: a film, else that of the thickest layer that is not air; empty if none."""
    films = [x.material for x in layers if film_named(x.material)]
    if films:
        return films[0]
    solid = [x for x in layers if x.material not in ("air", "vacuum")]
    return max(solid, key=lambda x: x.thickness_m).material if solid else ""


@lru_cache(maxsize=4096)
def optics_table(stack: BuildUp, frequency_hz: float, edition: str) -> Array:
    """Optics of one build-up over the cosine of incidence, shape (6, COSINES); read-only."""
    pair = plate_optics(stack, frequency_hz, np.linspace(0.0, 1.0, COSINES), edition)
    table = np.stack([np.clip(np.nan_to_num(one[k], nan=0.0), 0.0, 1.0) for k in range(3) for one in pair])
    table.setflags(write=False)
    return table


def plate_optics(stack: BuildUp, frequency_hz: float, cosine: Array, edition: str) -> tuple[Optics, Optics]:
    """Optics of one build-up with its sheets, TE and TM, over the cosine of incidence."""
    pair = stack_optics(stack.layers, frequency_hz, cosine, edition)
    for cover in stack.covers:
        loss = attenuation_db(cover.sheet.attenuation, frequency_hz)
        sheets = sheet_optics(loss, cover.coverage, cosine)
        joined = [in_series(s, p) if cover.front else in_series(p, s) for s, p in zip(sheets, pair, strict=True)]
        pair = (joined[0], joined[1])
    extra = 10.0 ** (-stack.extra_db / 10.0)
    te, tm = (one._replace(transmission=one.transmission * extra) for one in pair)
    return te, tm


def attenuation_db(points: Sequence[tuple[float, float]], frequency_hz: float) -> float:
    """Attenuation of a sheet at a frequency [dB]: straight lines over log frequency, held flat at the ends.

    Parameters
    ----------
    points : sequence of (float, float)
        Frequency [Hz] and attenuation [dB].
    """
    if not points:
        return 0.0
    frequencies = np.log([p[0] for p in points])
    return float(np.interp(np.log(frequency_hz), frequencies, [p[1] for p in points]))


def _vectors(items: Sequence[Array], width: int = 3) -> Array:
    return np.array(items, dtype=np.float64).reshape(len(items), width)


def _arrays(shapes: Shapes) -> Arrays:
    e = shapes.edges
    return Arrays(
        frame=_frame(shapes),
        rect=_rect(shapes),
        stack=np.array(
            [*range(len(shapes.plates)), *(len(shapes.plates) + f.box for f in shapes.faces)], dtype=np.int64
        ),
        outline=np.array([c for p in shapes.plates for c in p.outline], dtype=np.float64).reshape(-1, 2),
        box=_vectors([np.array([*b.low, *b.high]) for b in shapes.boxes], 6),
        exterior=np.array([p.exterior for p in shapes.plates], dtype=np.int64),
        edge_start=_vectors([x.start for x in e]),
        edge_direction=_vectors([x.direction for x in e]),
        edge_into=_vectors([x.into for x in e]),
        edge_length=np.array([x.length_m for x in e], dtype=np.float64),
        edge_plane=np.array([x.plane for x in e], dtype=np.int64),
        edge_solid=np.array([x.solid for x in e], dtype=np.int64),
        edge_hole=np.array([x.hole for x in e], dtype=np.int64),
    )


def _frame(shapes: Shapes) -> Array:
    plane_of = np.array([p.plane for p in shapes.plates], dtype=np.int64)
    order = np.arange(len(shapes.planes))
    ends = np.searchsorted(plane_of, order, "left"), np.searchsorted(plane_of, order, "right")
    rows = [np.array([*p.normal, p.offset_m, *p.across, *p.up, 0.0, 0.0]) for p in shapes.planes]
    frame = _vectors(rows, 12)
    frame[:, 10], frame[:, 11] = ends
    first = len(shapes.plates)
    faces = [
        np.array([*f.plane.normal, f.plane.offset_m, *f.plane.across, *f.plane.up, first + k, first + k + 1])
        for k, f in enumerate(shapes.faces)
    ]
    frame = np.concatenate([frame, _vectors(faces, 12)])
    rect = _rect(shapes)
    built = [rect[int(a) : int(b)] for a, b in frame[:, 10:12]]
    extent = [np.array([*r[:, :2].min(axis=0), *r[:, 2:4].max(axis=0)]) for r in built]
    return np.concatenate([frame, _vectors(extent, 4)], axis=1)


def _rect(shapes: Shapes) -> Array:
    counts = np.array([len(p.outline) for p in shapes.plates], dtype=np.float64)
    rect = _vectors([np.array([*p.low, *p.high, 0.0, 0.0]) for p in shapes.plates], 6)
    rect[:, 4], rect[:, 5] = np.cumsum(counts) - counts, counts
    faces = _vectors([np.array([*f.low, *f.high, 0.0, 0.0]) for f in shapes.faces], 6)
    return np.concatenate([rect, faces])

"""Plans as DXF: lines on the layers that the user confirms become walls, openings and rooms."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from shapely import Point, Polygon

from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.exchange.plan_drawing import (
    DrawnOpening,
    DrawnRoom,
    DrawnWall,
    PlanDrawing,
    PlanOptions,
    PlanParts,
    assemble,
)
from roomfield.exchange.plan_faces import MOST_LINES, Line, pair_faces
from roomfield.extras import library
from roomfield.regular_files import refuse_irregular
from roomfield.survey.dwelling import Layer, OpeningKind, Point2

ezdxf = library("ezdxf", "plans")
ezdxf_disassemble = library("ezdxf.disassemble", "plans")
ezdxf_path = library("ezdxf.path", "plans")

ROLES = ("wall", "room", "window", "door", "unused")
_WORDS = {
    "window": ("window", "fenster", "fenêtre", "finestra", "ventana", "raam"),
    "door": ("door", "tür", "tuer", "porte", "porta", "puerta", "deur"),
    "room": ("room", "raum", "räume", "pièce", "stanza", "locale", "area", "space"),
    "wall": ("wall", "wand", "wände", "mauer", "mur", "muro", "parete", "pared", "muur"),
}
_METRES = {1: 0.0254, 2: 0.3048, 4: 0.001, 5: 0.01, 6: 1.0, 10: 0.9144, 14: 0.1}
"""Metres in one drawing unit by the header variable $INSUNITS (DXF reference, header variables)."""

_MOST_BYTES = 64 * 2**20
_MOST_ENTITIES = 100_000
_FLATNESS = 0.01


@dataclass(frozen=True)
class DxfLayer:
    """One layer of the drawing and what it is taken to hold."""

    name: str
    entities: int
    role: str
    because: str


@dataclass(frozen=True)
class DxfGuess:
    """How a drawing is most likely to be read, to be shown and confirmed.

    Parameters
    ----------
    metres_per_unit : float or None
        Length of one drawing unit [m]; None if the drawing does not say.
    two_faces : bool
        True if walls are drawn as two lines, one for each face.
    """

    file_name: str
    layers: tuple[DxfLayer, ...]
    metres_per_unit: float | None
    unit_because: str
    two_faces: bool

    def with_role(self, layer: str, role: str) -> DxfGuess:
        """The guess with one layer taken as something else."""
        if layer not in {known.name for known in self.layers}:
            raise UnknownNameError("layer", layer, [known.name for known in self.layers], where=self.file_name)
        if role not in ROLES:
            raise UnknownNameError("meaning of a layer", role, ROLES)
        changed = (replace(k, role=role, because="chosen by you") if k.name == layer else k for k in self.layers)
        return replace(self, layers=tuple(changed))

    def describe(self) -> str:
        """The guess in words, one line for each layer."""
        unit = "open: how many metres is one unit?" if self.metres_per_unit is None else f"{self.metres_per_unit:g} m"
        faces = "two lines, one for each face" if self.two_faces else "one line, its centre"
        lines = [f"{self.file_name}: one unit is {unit} ({self.unit_because}); a wall is {faces}"]
        lines += [f"  layer {k.name!r}: {k.role} ({k.because}); {k.entities} entities" for k in self.layers]
        return "\n".join(lines)


@dataclass(frozen=True)
class _Shape:
    layer: str
    points: tuple[Point2, ...]
    closed: bool = False
    text: str = ""


def look_at_dxf(path: Path) -> DxfGuess:
    """Layers, unit and manner of a drawing.

    Raises
    ------
    FormatError
        If it is no DXF file, or holds too much.
    """
    document = _document(path)
    shapes = list(_shapes(document, path.name))
    counts: dict[str, int] = {}
    for shape in shapes:
        counts[shape.layer] = counts.get(shape.layer, 0) + 1
    layers = tuple(DxfLayer(name, count, *_role_of(name)) for name, count in sorted(counts.items()))
    code = int(document.header.get("$INSUNITS", 0))
    metres = _METRES.get(code)
    because = f"$INSUNITS is {code}" if metres else f"$INSUNITS is {code}, which names no usual unit"
    guess = DxfGuess(path.name, layers, metres, because, two_faces=False)
    return replace(guess, two_faces=_mostly_paired(shapes, guess))


def read_dxf_plan(path: Path, guess: DxfGuess, *, options: PlanOptions | None = None) -> PlanParts:
    """A storey from a DXF file, read as the confirmed guess says.

    Raises
    ------
    InputError
        If the unit is open or no layer holds walls or rooms.
    FormatError
        If the drawing's size cannot be that of a dwelling.
    """
    if guess.metres_per_unit is None:
        raise InputError("the drawing does not say its unit.", where=path.name, mend="Say how many metres one unit is.")
    if not {"wall", "room"} & {layer.role for layer in guess.layers}:
        raise InputError("no layer holds walls or rooms.", where=path.name, mend="Say which layer holds the walls.")
    shapes = list(_shapes(_document(path), path.name))
    return assemble(_drawing(shapes, guess, guess.metres_per_unit, path.name), options or PlanOptions(), path.name)


def _document(path: Path) -> Any:
    read = ezdxf.readfile
    try:
        refuse_irregular(path)
        if path.stat().st_size > _MOST_BYTES:
            raise FormatError(f"it is longer than {_MOST_BYTES >> 20} MiB.", where=path.name, mend="Take out a storey.")
        return read(path)
    except InputError:
        raise
    except OSError as fault:
        reason = fault.strerror or _reason(fault)
        raise InputError(f"it cannot be read ({reason}).", where=path.name, mend="Check the file.") from None
    except Exception as fault:  # a damaged drawing makes the reader fail in many ways, not all of them its own
        raise FormatError(
            f"it is no readable DXF file ({_reason(fault)}).", where=path.name, mend="Save it again."
        ) from None


def _reason(fault: Exception) -> str:
    return " ".join(str(fault).split())[:120] or type(fault).__name__


def _shapes(document: Any, where: str) -> Iterator[_Shape]:
    """Lines and texts of the model space, blocks taken apart; refuses a bomb of nested blocks before that."""
    try:
        if _count(document.modelspace(), document, {}) > _MOST_ENTITIES:
            raise _too_many(where)
        count = 0
        for outer in document.modelspace():
            for entity in ezdxf_disassemble.recursive_decompose([outer]):
                count += 1
                if count > _MOST_ENTITIES:
                    raise _too_many(where)
                own = str(entity.dxf.layer)
                # What lies on layer 0 of a block belongs to the layer that the block was placed on.
                shape = _shape(entity, str(outer.dxf.layer) if own == "0" else own)
                if shape is not None:
                    yield shape
    except FormatError:
        raise
    except Exception as fault:  # as above
        what = f"a block in it cannot be taken apart ({_reason(fault)})."
        raise FormatError(what, where=where, mend="Save it again.") from None


def _too_many(where: str) -> FormatError:
    return FormatError(f"it holds more than {_MOST_ENTITIES} entities.", where=where, mend="Take out a storey.")


def _count(entities: Iterable[Any], document: Any, known: dict[str, int]) -> int:
    """How many entities there are once every block is taken apart, without doing it."""
    total = 0
    for entity in entities:
        name = str(entity.dxf.name) if entity.dxftype() == "INSERT" else ""
        if not name or name not in document.blocks:
            total += 1
            continue
        if name not in known:
            known[name] = _MOST_ENTITIES + 1  # stands if the block holds itself
            known[name] = _count(document.blocks.get(name), document, known)
        total += known[name] * max(int(entity.mcount), 1)
    return total


def _shape(entity: Any, layer: str) -> _Shape | None:
    kind = entity.dxftype()
    if kind == "LINE":
        start, end = entity.dxf.start, entity.dxf.end
        return _Shape(layer, ((start.x, start.y), (end.x, end.y)))
    if kind in ("LWPOLYLINE", "POLYLINE"):
        points = tuple((p.x, p.y) for p in ezdxf_path.make_path(entity).flattening(_FLATNESS))
        closed = bool(entity.is_closed) or (len(points) > 3 and points[0] == points[-1])
        return _Shape(layer, points, closed) if len(points) > 1 else None
    if kind in ("TEXT", "MTEXT"):
        at = entity.dxf.insert
        text = entity.plain_text() if kind == "MTEXT" else entity.dxf.text
        return _Shape(layer, ((at.x, at.y),), text=" ".join(str(text).split())[:80])
    return None


def _role_of(layer: str) -> tuple[str, str]:
    for role, words in _WORDS.items():
        for word in words:
            if word in layer.casefold():
                return role, f"its name holds {word!r}"
    return "unused", "its name is not known"


def _segments(shapes: Iterable[_Shape], scale: float) -> list[Line]:
    return [
        ((a[0] * scale, a[1] * scale), (b[0] * scale, b[1] * scale))
        for shape in shapes
        for a, b in pairwise(shape.points)
        if a != b
    ]


def _mostly_paired(shapes: list[_Shape], guess: DxfGuess) -> bool:
    walls = {layer.name for layer in guess.layers if layer.role == "wall"}
    lines = _segments((s for s in shapes if s.layer in walls), guess.metres_per_unit or 1.0)
    if not lines or len(lines) > MOST_LINES:
        return False
    paired, alone = pair_faces(lines)
    return len(lines) - len(alone) > len(alone) and len(paired) > 1


def _drawing(shapes: list[_Shape], guess: DxfGuess, scale: float, where: str) -> PlanDrawing:
    role = {layer.name: layer.role for layer in guess.layers}
    by_role = {name: [s for s in shapes if role.get(s.layer) == name and not s.text] for name in ROLES}
    drawing = PlanDrawing()
    _draw_walls(drawing, _segments(by_role["wall"], scale), guess.two_faces, where)
    texts = [shape for shape in shapes if shape.text]
    for shape in by_role["room"]:
        if shape.closed and len(shape.points) > 3:
            outline = tuple((round(x * scale, 4), round(y * scale, 4)) for x, y in shape.points[:-1])
            drawing.rooms.append(DrawnRoom(outline, _name_inside(shape, texts)))
    for kind in (OpeningKind.WINDOW, OpeningKind.DOOR):
        for shape in by_role[kind.value]:
            a, b = _longest_extent(shape, scale)
            drawing.openings.append(DrawnOpening(kind, a, b))
    return drawing


def _draw_walls(drawing: PlanDrawing, lines: list[Line], two_faces: bool, where: str) -> None:
    if not two_faces:
        drawing.walls += [DrawnWall(a, b) for a, b in lines]
        return
    if len(lines) > MOST_LINES:
        raise FormatError(f"it holds more than {MOST_LINES} wall lines.", where=where, mend="Take out a storey.")
    paired, alone = pair_faces(lines)
    drawing.walls += [DrawnWall(w.start, w.end, (Layer("brick", w.thickness_m),)) for w in paired]
    if paired:
        drawing.remarks.append(
            "thickness of walls was taken from the drawing, and brick was assumed: check each of them."
        )
    if alone:
        drawing.remarks.append(f"{len(alone)} wall lines have no second face and were left out.")


def _name_inside(shape: _Shape, texts: Iterable[_Shape]) -> str:
    area = Polygon(shape.points)
    return next((text.text for text in texts if area.contains(Point(text.points[0]))), "")


def _longest_extent(shape: _Shape, scale: float) -> Line:
    """The two points of a symbol that lie farthest apart."""
    points = shape.points[:200]
    a, b = max(
        ((p, q) for i, p in enumerate(points) for q in points[i + 1 :]),
        key=lambda pair: (pair[0][0] - pair[1][0]) ** 2 + (pair[0][1] - pair[1][1]) ** 2,
    )
    return (a[0] * scale, a[1] * scale), (b[0] * scale, b[1] * scale)

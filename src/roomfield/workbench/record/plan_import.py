"""What is brought to the plan editor: a picture or page to trace over, or a plan file to take in."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import Literal

from roomfield.errors import FormatError, InputError
from roomfield.exchange.plan_drawing import PlanOptions, PlanParts
from roomfield.exchange.plan_dxf import look_at_dxf, read_dxf_plan
from roomfield.exchange.plan_geojson import read_geojson_plan
from roomfield.exchange.plan_geopackage import read_geopackage_plan
from roomfield.exchange.plan_ifc import read_ifc_plan
from roomfield.exchange.plan_page import read_plan_page
from roomfield.survey import Dwelling
from roomfield.workbench.record.editing import new_id
from roomfield.workbench.record.plan_document import PlanSheet
from roomfield.workbench.record.survey_list import Records, keep_file

PICTURES = frozenset({".png", ".jpg", ".jpeg", ".webp", ".pdf"})
DRAWINGS = frozenset({".dxf", ".geojson", ".json", ".gpkg", ".ifc"})


@dataclass(frozen=True)
class Asked:
    """What a file does not say about itself.

    Parameters
    ----------
    page : int
        Page of a PDF, from 1.
    coordinates : str
        ``metres`` or ``degrees`` for GeoJSON; empty if not said yet.
    metres_per_unit : float
        Length of one unit of a DXF drawing [m]; 0 to go by what the drawing says.
    storey : str
        Name of the storey that is read of an IFC file or GeoPackage with several; empty if not said yet.
    """

    page: int = 1
    coordinates: str = ""
    metres_per_unit: float = 0.0
    storey: str = ""


@dataclass(frozen=True)
class Underlay:
    """What came of a file.

    Parameters
    ----------
    sha256 : str
        Hash of the picture to trace over; empty for a plan file.
    plan : PlanSheet or None
        What a plan file holds; None for a picture.
    remarks : tuple of str
        What was assumed or left out.
    """

    sha256: str = ""
    plan: PlanSheet | None = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class PlanFile:
    """A plan read from a file.

    Parameters
    ----------
    sheet : PlanSheet
        What it holds.
    remarks : tuple of str
        What was assumed or left out.
    """

    sheet: PlanSheet
    remarks: tuple[str, ...] = ()


def read_plan_file(path: Path, asked: Asked, options: PlanOptions | None = None) -> PlanFile:
    """A plan from a DXF, IFC, GeoPackage or GeoJSON file on this computer; errors as `take_in`.

    Parameters
    ----------
    asked : Asked
        What the file does not say about itself.
    options : PlanOptions, optional
        What a drawing does not say.
    """
    if path.suffix.lower() not in DRAWINGS:
        raise FormatError(
            f"files ending in {path.suffix or 'nothing'!r} are not read here.",
            where=path.name,
            mend="Bring a DXF, IFC, GeoPackage or GeoJSON file, or rooms by size and side in a file that ends in .txt.",
        )
    if not path.is_file():
        raise InputError("there is no such file.", where=str(path), mend="Check the path.")
    found = _drawing(path, path.suffix.lower(), asked, options)
    return PlanFile(found.plan or PlanSheet(), found.remarks)


def take_in(records: Records, survey_id: str, content: bytes, file_name: str, asked: Asked | None = None) -> Underlay:
    """Take in a file for the plan.

    Parameters
    ----------
    content : bytes
        The file.
    file_name : str
        What the user calls it; a label only.
    asked : Asked, optional
        What the file does not say about itself.

    Raises
    ------
    FormatError
        If it is none of the forms that are read, broken, or larger than a browser can hold.
    InputError
        If a GeoJSON file comes without saying whether it is in metres or degrees, or a DXF file without its unit.
    """
    given = asked or Asked()
    ending = PurePath(file_name).suffix.lower()
    if ending not in PICTURES | DRAWINGS:
        raise FormatError(
            f"files ending in {ending or 'nothing'!r} are not read here.",
            where=file_name,
            mend="Bring a PNG, JPEG or WebP picture, a PDF page, or a DXF, IFC, GeoPackage or GeoJSON file.",
        )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"plan{ending}"
        path.write_bytes(content)
        if ending in DRAWINGS:
            return _drawing(path, ending, given, PlanOptions(storey_name=given.storey) if given.storey else None)
        sheet = read_plan_page(path, page=given.page)
    label = f"{PurePath(file_name).stem}.{sheet.media_type.removeprefix('image/')}"
    return Underlay(keep_file(records, survey_id, sheet.content, label, sheet.media_type).sha256)


def _drawing(path: Path, ending: str, given: Asked, options: PlanOptions | None = None) -> Underlay:
    if ending == ".dxf":
        guess = look_at_dxf(path)
        if given.metres_per_unit > 0.0:
            guess = replace(guess, metres_per_unit=given.metres_per_unit, unit_because="chosen by you")
        parts = read_dxf_plan(path, guess, options=options)
    elif ending == ".gpkg":
        parts = read_geopackage_plan(path, options=options)
    elif ending == ".ifc":
        parts = read_ifc_plan(path, options=options)
    else:
        parts = read_geojson_plan(path, coordinates=_coordinates(given.coordinates), options=options)
    return Underlay(plan=PlanSheet(_renamed(parts)), remarks=parts.remarks)


def _coordinates(text: str) -> Literal["metres", "degrees"]:
    if not text:
        raise InputError(
            "the file does not say whether its coordinates are metres or degrees.",
            mend="Say which they are, and bring it again.",
        )
    if text == "metres":
        return "metres"
    if text == "degrees":
        return "degrees"
    raise InputError("there are no coordinates of this kind.", where=text[:40], mend="Say metres or degrees.")


def _renamed(parts: PlanParts) -> Dwelling:
    """The parts under ids of their own, so that a second file does not collide with the first."""
    prefix = new_id("file").removeprefix("file-")[:6]
    added = parts.added_to(Dwelling())
    return _with_prefix(added, prefix)


def _with_prefix(dwelling: Dwelling, prefix: str) -> Dwelling:
    return Dwelling(
        storeys=tuple(replace(s, id=f"{prefix}-{s.id}") for s in dwelling.storeys),
        rooms=tuple(replace(r, id=f"{prefix}-{r.id}", storey_id=f"{prefix}-{r.storey_id}") for r in dwelling.rooms),
        walls=tuple(
            replace(
                w,
                id=f"{prefix}-{w.id}",
                storey_id=f"{prefix}-{w.storey_id}",
                openings=tuple(replace(o, id=f"{prefix}-{o.id}") for o in w.openings),
            )
            for w in dwelling.walls
        ),
    )

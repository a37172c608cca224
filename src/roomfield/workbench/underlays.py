"""What is brought to the plan editor: a picture or page to trace over, or a plan file to take in."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path, PurePath

from roomfield.errors import FormatError
from roomfield.exchange.plan import PlanParts
from roomfield.exchange.plan_dxf import look_at_dxf, read_dxf_plan
from roomfield.exchange.plan_geojson import read_geojson_plan
from roomfield.exchange.plan_page import read_plan_page
from roomfield.survey import Dwelling
from roomfield.workbench.editing import new_id
from roomfield.workbench.plans import PlanSheet
from roomfield.workbench.surveys import Records, keep_file

PICTURES = frozenset({".png", ".jpg", ".jpeg", ".pdf"})
DRAWINGS = frozenset({".dxf", ".geojson", ".json"})


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


def take_in(records: Records, survey_id: str, content: bytes, file_name: str, page: int = 1) -> Underlay:
    """Take in a file for the plan.

    Parameters
    ----------
    content : bytes
        The file.
    file_name : str
        What the user calls it; a label only.
    page : int
        Page of a PDF, from 1.

    Raises
    ------
    FormatError
        If it is none of the forms that are read, broken, or larger than a browser can hold.
    """
    ending = PurePath(file_name).suffix.lower()
    if ending not in PICTURES | DRAWINGS:
        raise FormatError(
            f"files ending in {ending or 'nothing'!r} are not read here.",
            where=file_name,
            mend="Bring a PNG, JPEG or WebP picture, a PDF page, a DXF or a GeoJSON file.",
        )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"plan{ending}"
        path.write_bytes(content)
        if ending in DRAWINGS:
            return _drawing(path, ending)
        sheet = read_plan_page(path, page=page)
    label = f"{PurePath(file_name).stem}.{sheet.media_type.removeprefix('image/')}"
    return Underlay(keep_file(records, survey_id, sheet.content, label, sheet.media_type).sha256)


def _drawing(path: Path, ending: str) -> Underlay:
    if ending == ".dxf":
        parts = read_dxf_plan(path, look_at_dxf(path))
    else:
        parts = read_geojson_plan(path, coordinates="metres")
    return Underlay(plan=PlanSheet(_renamed(parts)), remarks=parts.remarks)


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

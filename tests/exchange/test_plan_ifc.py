"""Plans from IFC: made with IfcOpenShell's own calls, in its units, turned, with materials known and unknown."""

from __future__ import annotations

import math
from pathlib import Path

import ifcopenshell
import ifcopenshell.api
import numpy as np
import pytest
from ifcopenshell.api import aggregate, context, feature, geometry, material, project, pset, root, spatial, unit

from roomfield.errors import FormatError, InputError
from roomfield.exchange.material_names import known_material
from roomfield.exchange.plan_drawing import PlanOptions
from roomfield.exchange.plan_ifc import read_ifc_plan
from roomfield.survey.dwelling import Layer, OpeningKind
from roomfield.workbench.record.bring_plan import PlanWish, bring_plan

STANDARD = "ISO 16739-1, IFC4 (written by the API of IfcOpenShell)"
PACKAGE = Path(ifcopenshell.__file__).parent


class Building:
    """An IFC model in the making; lengths are given in metres whatever the file's unit is."""

    def __init__(self, millimetres=True, turned_deg=0.0, shift=(0.0, 0.0)):
        self.file = project.create_file()
        self.turn, self.shift = math.radians(turned_deg), shift
        whole = root.create_entity(self.file, ifc_class="IfcProject", name="Home")
        if millimetres:
            unit.assign_unit(self.file)
        else:
            unit.assign_unit(self.file, length={"is_metric": True, "raw": "METERS"})
        self.per_m = 1000.0 if millimetres else 1.0
        model = context.add_context(self.file, context_type="Model")
        self.body = context.add_context(
            self.file, context_type="Model", context_identifier="Body", target_view="MODEL_VIEW", parent=model
        )
        self.building = root.create_entity(self.file, ifc_class="IfcBuilding", name="House")
        aggregate.assign_object(self.file, relating_object=whole, products=[self.building])

    def storey(self, name):
        made = root.create_entity(self.file, ifc_class="IfcBuildingStorey", name=name)
        aggregate.assign_object(self.file, relating_object=self.building, products=[made])
        return made

    def box(self, kind, storey, x, y, z, length, width, height, turned_deg=0.0, name=""):
        """An element with a box for a body: its corner, then along, across and up."""
        made = root.create_entity(self.file, ifc_class=kind, name=name or kind)
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        matrix = np.eye(4)
        angle = self.turn + math.radians(turned_deg)
        matrix[:2, :2] = [[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]
        matrix[:3, 3] = (cos * x - sin * y + self.shift[0], sin * x + cos * y + self.shift[1], z)
        geometry.edit_object_placement(self.file, product=made, matrix=matrix)
        shape = geometry.add_wall_representation(
            self.file, context=self.body, length=length, height=height, thickness=width
        )
        geometry.assign_representation(self.file, product=made, representation=shape)
        if kind == "IfcSpace":
            aggregate.assign_object(self.file, relating_object=storey, products=[made])
        else:
            spatial.assign_container(self.file, relating_structure=storey, products=[made])
        return made

    def layers(self, wall, *named):
        made = material.add_material_set(self.file, name="build-up", set_type="IfcMaterialLayerSet")
        for name, thickness_m in named:
            one = material.add_layer(self.file, layer_set=made, material=material.add_material(self.file, name=name))
            material.edit_layer(self.file, layer=one, attributes={"LayerThickness": thickness_m * self.per_m})
        material.assign_material(self.file, products=[wall], material=made)

    def fill(self, wall, storey, kind, x, y, z, length, width, height, turned_deg=0.0):
        hole = self.box("IfcOpeningElement", storey, x, y, z, length, width, height, turned_deg)
        spatial.unassign_container(self.file, products=[hole])
        feature.add_feature(self.file, feature=hole, element=wall)
        if kind:
            filling = self.box(kind, storey, x, y, z, length, width, height, turned_deg)
            feature.add_filling(self.file, opening=hole, element=filling)

    def save(self, folder):
        path = folder / "home.ifc"
        self.file.write(str(path))
        return path


def flat(made, storey=None):
    """Four walls of 0.2 m around a room of 4 x 3 m, butt-jointed, with a window, a door and a bare opening."""
    floor = storey or made.storey("Ground")
    south = made.box("IfcWall", floor, 0.0, 0.0, 0.0, 4.4, 0.2, 2.6, name="south")
    north = made.box("IfcWall", floor, 0.0, 3.2, 0.0, 4.4, 0.2, 2.6, name="north")
    west = made.box("IfcWall", floor, 0.2, 0.2, 0.0, 3.0, 0.2, 2.6, 90.0, name="west")
    east = made.box("IfcWall", floor, 4.4, 0.2, 0.0, 3.0, 0.2, 2.6, 90.0, name="east")
    space = made.box("IfcSpace", floor, 0.2, 0.2, 0.0, 4.0, 3.0, 2.5)
    space.LongName = "Schlafzimmer"
    made.layers(south, ("Brickwork, outer leaf", 0.175), ("Mineral wool", 0.0), ("Gipskarton", 0.025))
    made.layers(north, ("Stahlbeton C25/30", 0.15), ("Unobtainium", 0.05))
    whole = material.add_material(made.file, name="Aluminium sandwich panel")
    material.assign_material(made.file, products=[east], material=whole)
    outside = pset.add_pset(made.file, product=south, name="Pset_WallCommon")
    pset.edit_pset(made.file, pset=outside, properties={"IsExternal": True})
    made.fill(south, floor, "IfcWindow", 1.0, 0.0, 0.9, 1.2, 0.2, 1.3)
    made.fill(north, floor, "IfcDoor", 2.0, 3.2, 0.0, 0.9, 0.2, 2.0)
    made.fill(west, floor, "", 0.2, 1.0, 0.0, 1.0, 0.2, 2.2, 90.0)
    return made


@pytest.mark.published(STANDARD)
@pytest.mark.parametrize(
    ("millimetres", "turned_deg", "shift"), [(True, 0.0, (0.0, 0.0)), (False, 30.0, (200.0, -90.0))]
)
def test_walls_rooms_and_openings_come_with_their_materials(tmp_path, millimetres, turned_deg, shift):
    parts = read_ifc_plan(flat(Building(millimetres, turned_deg, shift)).save(tmp_path))
    assert (parts.storey.name, parts.storey.floor_m, parts.storey.ceiling_m) == ("Ground", 0.0, 2.5)
    (room,) = parts.rooms
    assert room.name == "Schlafzimmer"
    cos, sin = math.cos(math.radians(turned_deg)), math.sin(math.radians(turned_deg))
    wanted = [
        (cos * x - sin * y + shift[0], sin * x + cos * y + shift[1])
        for x, y in ((0.2, 0.2), (4.2, 0.2), (4.2, 3.2), (0.2, 3.2))
    ]
    for corner in wanted:
        assert min(math.dist(corner, one) for one in room.outline) < 2e-3
    south, north, west, east = parts.walls
    assert south.layers == (Layer("brick", 0.175), Layer("plasterboard", 0.025))
    assert north.layers == (Layer("concrete", 0.15),)
    assert east.layers == (Layer("metal", 0.2),)
    assert west.layers == PlanOptions().interior_wall or west.layers == PlanOptions().exterior_wall
    assert south.exterior
    (window,), (door,), (gap,) = south.openings, north.openings, west.openings
    assert (window.kind, window.sill_m, window.head_m) == (OpeningKind.WINDOW, 0.9, 2.2)
    assert (door.kind, door.sill_m, door.head_m) == (OpeningKind.DOOR, 0.0, 2.0)
    assert (gap.kind, gap.sill_m, gap.head_m) == (OpeningKind.GAP, 0.0, 2.2)
    assert [round(o.end_m - o.start_m, 3) for o in (window, door, gap)] == [1.2, 0.9, 1.0]
    told = " ".join(parts.remarks)
    assert "'Unobtainium' is not known" in told and "was taken as brick" in told
    assert "floor and ceiling are those of the file" in told


def test_butt_joined_walls_meet_on_their_middle_lines(tmp_path):
    """A ray must not slip through the corner where one body stops at the face of another."""
    parts = read_ifc_plan(flat(Building()).save(tmp_path))
    south, north, west, east = parts.walls
    ends = {round(x, 3) for wall in (west, east) for x, _ in (wall.start, wall.end)}
    assert ends == {0.1, 4.3}
    for wall in (west, east):
        assert sorted(round(y, 3) for _, y in (wall.start, wall.end)) == [0.1, 3.3]
    for wall in (south, north):
        assert sorted(round(x, 3) for x, _ in (wall.start, wall.end)) == [0.1, 4.3]


def test_of_several_storeys_one_must_be_named(tmp_path):
    made = flat(Building())
    upper = made.storey("Upper")
    made.box("IfcWall", upper, 0.0, 0.0, 2.8, 3.0, 0.2, 2.5)
    path = made.save(tmp_path)
    with pytest.raises(InputError, match="several storeys: Ground, Upper"):
        read_ifc_plan(path)
    parts = read_ifc_plan(path, options=PlanOptions(storey_name="Upper"))
    assert len(parts.walls) == 1 and (parts.storey.floor_m, parts.storey.ceiling_m) == (2.8, 5.3)


def test_true_north_and_walls_that_are_not_straight_are_told(tmp_path):
    made = flat(Building())
    made.box("IfcWall", made.file.by_type("IfcBuildingStorey")[0], 8.0, 0.0, 0.0, 3.0, 0.2, 2.5)
    bent = made.file.by_type("IfcWall")[-1]
    corner = [(0.0, 0.0), (3000.0, 0.0), (3000.0, 200.0), (200.0, 200.0), (200.0, 2000.0), (0.0, 2000.0), (0.0, 0.0)]
    for swept in bent.Representation.Representations[0].Items:
        swept.SweptArea.OuterCurve.Points.CoordList = corner
    for one in made.file.by_type("IfcGeometricRepresentationContext", include_subtypes=False):
        one.TrueNorth = made.file.create_entity("IfcDirection", (0.5, math.sqrt(3.0) / 2.0))
    told = " ".join(read_ifc_plan(made.save(tmp_path)).remarks)
    assert "1 walls that are not straight" in told
    assert "true north 30 degrees clockwise" in told


@pytest.mark.published("files of the ifcopenshell distribution: property sets of buildingSMART, and its test files")
@pytest.mark.parametrize("name", ["util/schema/Pset_IFC4_ADD2.ifc", "simple_spf/fixtures/pass_1.ifc"])
def test_published_files_without_a_plan_are_refused_in_one_sentence(name):
    path = PACKAGE / name
    if not path.is_file():
        pytest.skip("this ifcopenshell does not ship it")
    with pytest.raises(FormatError, match="no wall and no space"):
        read_ifc_plan(path)


@pytest.mark.parametrize("content", [b"", b"no ifc", b"ISO-10303-21;\nHEADER;\nrubbish", b"<ifcXML/>"])
def test_what_is_no_ifc_is_told(tmp_path, content):
    path = tmp_path / "no.ifc"
    path.write_bytes(content)
    with pytest.raises(FormatError):
        read_ifc_plan(path)


def test_a_plan_from_ifc_is_brought_into_a_survey(tmp_path):
    import roomfield as rf

    job = rf.begin(tmp_path / "flat.sqlite", "Flat")
    job, remarks = bring_plan(job, PlanWish(str(flat(Building()).save(tmp_path))))
    assert [room.name for room in job.survey.dwelling.rooms] == ["Schlafzimmer"]
    assert any("Unobtainium" in remark for remark in remarks)


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("Brick", "brick"), ("Mauerwerk Ziegel 24", "brick"), ("Béton armé", "concrete"), ("Porenbeton PP2", "aerated concrete"),
        ("aerated concrete", "aerated concrete"), ("Glass wool", "air"), ("Double glazing", "glass"), ("Holz", "wood"),
        ("Concrete brick", ""), ("Steel-faced wood door", "metal"), ("", ""), ("Foo", ""),
    ],
)  # fmt: skip
def test_names_of_materials(name, found):
    assert known_material(name) == found

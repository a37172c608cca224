from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from roomfield.field.geometry import at, shapes_of
from roomfield.survey.dwelling import Dwelling, FittedShield, Layer, ShieldPart, Wall

_SPEC = importlib.util.spec_from_file_location("homes", Path(__file__).with_name("homes.py"))
homes = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(homes)


def test_coplanar_walls_share_a_plane_and_openings_come_first():
    shapes = shapes_of(homes.box_home())
    assert len(shapes.planes) == 7
    south = [p for p in shapes.plates if p.surface_id == "south"]
    assert [p.name for p in south] == ["window", "south"]
    assert all(p.plane == south[0].plane for p in south)
    assert south[1].area_m2 == pytest.approx(12.5)


@pytest.mark.parametrize("turned", [False, True])
def test_openings_stand_where_the_wall_says(turned):
    wall = homes.box_home().walls[0]
    if turned:
        wall = replace(wall, start=wall.end, end=wall.start)
    shapes = shapes_of(Dwelling(walls=(wall,)))
    window = shapes.plates[0]
    corners = [at(shapes.planes[0], *c) for c in (window.low, window.high)]
    xs = sorted(float(c[0]) for c in corners)
    assert xs == pytest.approx([2.4, 4.0] if turned else [1.0, 2.6])
    assert [float(c[2]) for c in corners] == pytest.approx([0.9, 2.1])


def test_layers_stand_in_the_order_that_the_normal_meets():
    layers = (Layer("brick", 0.1), Layer("wood", 0.02))
    for start, end in (((0.0, 0.0), (3.0, 0.0)), ((3.0, 0.0), (0.0, 0.0))):
        shapes = shapes_of(Dwelling(walls=(Wall("w", "g", start, end, 0.0, 2.0, layers),)))
        left = np.array([-(end[1] - start[1]), end[0] - start[0], 0.0])
        first_on_left = shapes.planes[0].normal @ left > 0
        assert shapes.plates[0].layers == (layers if first_on_left else layers[::-1])


def test_shields_of_exterior_walls_are_indoors():
    home = homes.box_home()
    shielded = tuple(replace(w, shields=(FittedShield(homes.SHEET),)) for w in home.walls)
    shapes = shapes_of(replace(home, walls=shielded))
    middle = np.array([2.5, 2.0, 1.2])
    for plate in shapes.plates:
        if plate.exterior and plate.covers:
            plane = shapes.planes[plate.plane]
            assert plate.covers[0].front == bool(middle @ plane.normal > plane.offset_m)


def test_shield_parts_cover_what_they_say():
    window_only = FittedShield(homes.SHEET, ShieldPart.OPENINGS, ("window",))
    wall = replace(homes.box_home().walls[0], shields=(window_only,))
    covered = {p.name: bool(p.covers) for p in shapes_of(Dwelling(walls=(wall,))).plates}
    assert covered == {"window": True, "south": False}


def test_edges_surround_openings_and_free_ends():
    shapes = shapes_of(homes.box_home())
    assert len(shapes.edges) == 8
    alone = shapes_of(Dwelling(walls=(homes.box_home().walls[4],)))
    free = [e for e in alone.edges if e.hole == -1]
    assert len(free) == 2
    for edge in free:
        assert np.linalg.norm(edge.direction) == pytest.approx(1.0)
        assert edge.direction @ edge.into == pytest.approx(0.0)
        end = edge.start + edge.into
        assert 2.8 - 1e-9 <= end[0] <= 3.4 + 1e-9


def test_a_wall_of_no_length_is_left_out():
    assert shapes_of(Dwelling(walls=(Wall("w", "g", (1.0, 1.0), (1.0, 1.0), 0.0, 2.0, ()),))).planes == ()

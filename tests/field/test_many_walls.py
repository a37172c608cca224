"""Plans of many walls: few images, and the levels that matter stay as they are."""

from __future__ import annotations

import numpy as np

from roomfield.field import propagation
from roomfield.field.path_gains import Radiators, unit_db, unit_db_carried
from roomfield.field.propagation import side_images, unit_density
from roomfield.field.scene import Scene
from roomfield.survey import AntennaPattern, Dwelling, Layer, Polarisation, Wall

BRICK = (Layer("brick", 0.115),)


def strewn(count: int, seed: int = 1) -> Dwelling:
    rng = np.random.default_rng(seed)
    starts, ways = rng.uniform(0.0, 12.0, (count, 2)), rng.uniform(-2.0, 2.0, (count, 2))
    walls = [
        Wall(f"w{i}", "g", tuple(a.tolist()), tuple((a + b).tolist()), 0.0, 2.5, BRICK, False)
        for i, (a, b) in enumerate(zip(starts, ways, strict=True))
    ]
    return Dwelling(walls=tuple(walls))


def level_db(scene: Scene) -> np.ndarray:
    points = np.random.default_rng(2).uniform((1.0, 1.0, 0.8), (11.0, 11.0, 1.4), (30, 3))
    density = unit_density(scene, [[6.0, 6.0, 1.0]], [2.4e9], AntennaPattern.ISOTROPIC, points)
    return 10.0 * np.log10(density[:, 0])


def test_images_do_not_grow_with_the_cube_of_the_walls() -> None:
    counts = []
    for walls in (60, 600):
        scene = Scene.from_dwelling(strewn(walls))
        (_, place, *_), _ = side_images(scene, np.array([[6.0, 6.0, 1.0]]), 3)
        counts.append(len(place))
    assert counts[1] < 1.5 * counts[0] < 1.5 * 100_000


def test_walls_that_look_small_hardly_matter_as_second_and_third_mirrors(monkeypatch) -> None:
    scene = Scene.from_dwelling(strewn(60))
    few = level_db(scene)
    monkeypatch.setattr(propagation, "MOST_IN_THREE", 60)
    every = level_db(scene)
    assert np.all(few <= every + 1e-9)
    assert np.max(every - few) < 0.3


def test_what_three_reflections_add_is_carried_from_some_points() -> None:
    scene = Scene.from_dwelling(strewn(16))
    points = np.random.default_rng(5).uniform((1.0, 1.0, 0.8), (11.0, 11.0, 1.4), (120, 3))
    radiators = Radiators(
        np.array([[6.0, 6.0, 1.0]]), np.array([2.4e9]), (AntennaPattern.ISOTROPIC,), (Polarisation.VERTICAL,)
    )
    whole, two = unit_db(scene, radiators, points), unit_db(scene, radiators, points, order=2)
    carried = unit_db_carried(scene, radiators, points, points[::3])
    off, left_out = (float(np.sqrt(np.mean((one - whole) ** 2))) for one in (carried, two))
    assert off < 0.3 and off < left_out
    assert abs(np.mean(carried - whole)) < 0.1


def test_homes_are_reckoned_with_all_their_mirrors() -> None:
    scene = Scene.from_dwelling(strewn(propagation.MOST_IN_THREE))
    assert not np.any(propagation._rank(scene, np.zeros(3)))


def test_walls_drawn_over_each_other_are_one_plane() -> None:
    dwelling = Dwelling(walls=strewn(1).walls * 400)
    scene = Scene.from_dwelling(dwelling)
    assert len(scene.shapes.planes) == 1 and len(scene.shapes.plates) == 400

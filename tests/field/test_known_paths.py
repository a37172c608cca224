"""What is kept of paths is what would be worked out again, and nothing else."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from roomfield.field import propagation
from roomfield.field.known_paths import KnownColumns
from roomfield.field.propagation import arrivals, grid_density, paths, unit_density
from roomfield.field.scene import Scene
from roomfield.survey.dwelling import FittedShield, ShieldSheet
from roomfield.survey.emitter import AntennaPattern, Polarisation

_SPEC = importlib.util.spec_from_file_location("homes", Path(__file__).with_name("homes.py"))
homes = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(homes)
ISO, DIPOLE = AntennaPattern.ISOTROPIC, AntennaPattern.VERTICAL_DIPOLE


@pytest.fixture(scope="module")
def home() -> Scene:
    return Scene.from_dwelling(homes.box_home())


@pytest.fixture
def asked(monkeypatch):
    """A memory of its own, and how many columns were worked out in each call of the kernels."""
    monkeypatch.setattr(propagation, "KNOWN", KnownColumns())
    counts, real = [], propagation._Call.run

    def counting(call, *given, only=None, **named):
        counts.append(len(call.positions) if only is None else len(only))
        return real(call, *given, only=only, **named)

    monkeypatch.setattr(propagation._Call, "run", counting)
    return counts


def spots(count: int, seed: int = 4):
    return np.random.default_rng(seed).uniform([0.3, 0.3, 0.3], [4.4, 3.0, 2.2], (count, 3))


@pytest.mark.calculated("every table again with nothing kept")
@pytest.mark.parametrize(("emitters", "points"), [(5, 11), (11, 5)], ids=["images of emitters", "images of points"])
def test_kept_columns_are_the_same_to_the_last_bit(home, asked, monkeypatch, emitters, points):
    a, b, f = spots(emitters), spots(points, 5), np.resize([0.9e9, 2.45e9, 5.5e9], emitters)
    moved = a.copy()
    moved[1] += 0.2
    unit_density(home, a, f, DIPOLE, b)
    mixed = unit_density(home, moved, f, DIPOLE, b)
    tensor = (arrivals(home, a, f, DIPOLE, b), arrivals(home, moved, f, DIPOLE, b))[1]
    assert asked == [emitters, 1, emitters, 1]
    monkeypatch.setattr(propagation, "KNOWN", KnownColumns())
    assert np.array_equal(mixed, unit_density(home, moved, f, DIPOLE, b))
    whole = paths(home, moved, f, DIPOLE, b)
    assert np.array_equal(tensor[0], whole.density)
    assert np.array_equal(tensor[1], whole.arrival)


def test_a_map_is_worked_out_once(home, asked):
    axes = (np.arange(0.3, 4.4, 0.4), np.arange(0.3, 3.0, 0.4), 1.2)
    first = grid_density(home, spots(2), [2.45e9] * 2, ISO, axes)
    once = len(asked)
    assert np.array_equal(first, grid_density(home, spots(2), [2.45e9] * 2, ISO, axes))
    assert len(asked) == once
    assert not np.array_equal(first, grid_density(home, spots(2), [2.45e9] * 2, ISO, axes, order=2))


def test_whatever_changes_the_paths_is_asked_anew(home, asked):
    a, b = spots(1), spots(6, 5)
    foil = ShieldSheet("foil", ((1e9, 40.0),))
    wall = home.shapes.plates[0].surface_id
    other = [home.with_offsets({home.names[0]: 3.0}), home.with_shields([(wall, FittedShield(foil))])]
    base = unit_density(home, a, [2.45e9], DIPOLE, b)
    for scene in other:
        unit_density(scene, a, [2.45e9], DIPOLE, b)
    unit_density(home, a, [2.4e9], DIPOLE, b)
    unit_density(home, a, [2.45e9], ISO, b)
    unit_density(home, a, [2.45e9], DIPOLE, b, polarisation=Polarisation.HORIZONTAL)
    unit_density(home, a, [2.45e9], DIPOLE, b[::-1])
    unit_density(home, a, [2.45e9], DIPOLE, b, diffraction=False)
    assert asked == [1] * 8
    again = Scene.from_dwelling(homes.box_home())
    assert again.content == home.content
    assert np.array_equal(base, unit_density(again, a, [2.45e9], DIPOLE, b))
    assert asked == [1] * 8


def test_what_a_caller_does_with_a_table_stays_his(home, asked):
    a, b = spots(2), spots(6, 5)
    first = unit_density(home, a, [2.45e9] * 2, ISO, b)
    wanted = first.copy()
    first *= 0.0
    second = unit_density(home, a, [2.45e9] * 2, ISO, b)
    assert np.array_equal(second, wanted)
    second *= 0.0
    assert np.array_equal(unit_density(home, a, [2.45e9] * 2, ISO, b), wanted)
    assert asked == [2]


def test_equal_emitters_are_worked_out_once_and_the_oldest_table_is_forgotten():
    memory, worked = KnownColumns(most_bytes=400), []

    def work(columns):
        worked.append(list(columns))
        return np.full((4, len(columns)), len(worked), dtype=float)

    assert memory.table("one", ["a", "b", "a"], work).tolist() == [[1.0, 1.0, 1.0]] * 4
    assert memory.table("one", ["c", "a", "c"], work).tolist() == [[2.0, 1.0, 2.0]] * 4
    assert worked == [[0, 1], [0]]
    for name in ("two", "three", "four"):
        memory.table(name, ["a", "b", "c"], work)
    memory.table("two", ["a"], work)
    assert len(worked) == 5
    memory.table("five", ["a", "b", "c"], work)  # 480 bytes would be too many: what was asked for longest ago goes
    assert memory.table("two", ["a"], work).tolist() == [[3.0]] * 4
    assert memory.table("one", ["a"], work).tolist() == [[7.0]] * 4
    memory.table("large", list("abcd"), work)  # 128 of 400 bytes: never kept
    memory.table("large", list("abcd"), work)
    assert len(worked) == 9

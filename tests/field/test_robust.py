"""Hard surveys: a slip of 10 dB, few and many readings, no walls, two storeys, nothing but bounds."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from roomfield.field.diagnostics import FindingKind, diagnostics
from roomfield.field.inference import infer
from roomfield.field.path_gains import Radiators, unit_db
from roomfield.field.posterior import levels_at
from roomfield.field.scene import Scene
from roomfield.quantities import Kind
from roomfield.survey import Censoring, Dwelling, Layer, Opening, OpeningKind, Slab, Storey, Wall

_SPEC = importlib.util.spec_from_file_location("surveys", Path(__file__).with_name("surveys.py"))
surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(surveys)
PEAK, HIGHEST_HELD, AVERAGE = surveys.PEAK, surveys.HIGHEST_HELD, surveys.AVERAGE

POINTS = [(1.0, 4.5, 1.0), (2.5, 1.5, 1.0), (6.0, 1.5, 1.2), (5.0, 4.5, 0.8), (7.0, 5.0, 1.0), (3.2, 3.8, 1.4)]
OTHERS = np.array([(2.0, 5.0, 1.0), (6.5, 2.5, 1.0), (4.8, 1.2, 1.0)])
ROUTER = surveys.emitter("router", (0.6, 0.6, 1.0), eirp_w=0.1, duty=0.1)
PHONE = surveys.emitter("phone", (7.4, 5.4, 1.0), frequency_hz=1.89e9, technology="dect", eirp_w=0.25, duty=0.04)
SCAN_GAIN_DB = 4.5


def local_means(emitters, points, dwelling):
    """Each emitter's local mean while on air [W/m²], shape (n, k), by the propagation model and the record's power."""
    radiators = Radiators.of(tuple(emitters), np.array([e.position for e in emitters]))
    unit = unit_db(Scene.from_dwelling(dwelling), radiators, np.asarray(points, dtype=float))
    return surveys.density(unit) * np.array([e.eirp_w for e in emitters])


def made(emitters, points, dwelling, *, seed=0, spread_db=1.0, **more):
    """Readings of all kinds, everything on and each switched off, with scatter."""
    rng = np.random.default_rng(seed)
    each, duty = local_means(emitters, points, dwelling), np.array([e.duty for e in emitters])
    top = surveys.density(SCAN_GAIN_DB)
    values = {}
    for k in (None, *range(len(emitters) if len(emitters) < 5 else 0)):
        state = "all" if k is None else f"off:{emitters[k].group}"
        on = np.array([i != k for i in range(len(emitters))]) * 1.0
        if on.any():
            for kind, level in ((PEAK, top * each @ on), (HIGHEST_HELD, 1.1 * top * each @ on),
                                (AVERAGE, 0.9 * each @ (on * duty))):  # fmt: skip
                values[state, kind] = level * surveys.density(spread_db * rng.standard_normal(len(points)))
    return surveys.survey(emitters, points, values, dwelling=dwelling, **more)


@pytest.mark.parametrize("number", [0, 7, 20])
@pytest.mark.parametrize("slip_db", [10.0, -10.0])
def test_one_slip_of_ten_decibels_is_named_and_moves_the_answer_little(number, slip_db):
    """Common practice, no source: a decimal point typed in the wrong place."""
    survey = made((ROUTER, PHONE), POINTS, surveys.flat())
    wrong = survey.readings[number]
    wrong = replace(wrong, value_w_m2=wrong.value_w_m2 * surveys.density(slip_db))
    slipped = replace(survey, readings=tuple(wrong if r.id == wrong.id else r for r in survey.readings))
    sound, found = infer(survey, draws=200), infer(slipped, draws=200)
    levels = [levels_at(p, OTHERS, kind=Kind.PEAK).level_db for p in (sound, found)]
    moved = np.abs(np.median(levels[1], axis=0) - np.median(levels[0], axis=0))
    assert moved.max() < 2.0
    named = [f.subjects for f in diagnostics(found) if f.kind is FindingKind.OUTLIER]
    assert (wrong.id,) in named
    assert not [f for f in diagnostics(sound) if f.kind is FindingKind.OUTLIER]


def test_nothing_but_floor_readings_gives_an_upper_bound():
    survey = made((ROUTER, PHONE), POINTS, surveys.flat())
    readings = tuple(replace(r, value_w_m2=1e-8, censoring=Censoring.BELOW) for r in survey.readings)
    found = infer(replace(survey, readings=readings), draws=200)
    level = levels_at(found, POINTS, kind=Kind.PEAK)
    assert np.all(np.isfinite(level.level_db))
    assert np.all(np.median(level.density_w_m2, axis=0) < 3e-8 * surveys.density(3.0))
    assert FindingKind.ONLY_BOUNDS in {f.kind for f in diagnostics(found)}


def test_five_readings_of_one_source_hold_the_truth():
    survey = made((ROUTER,), POINTS[:5], surveys.flat())
    survey = replace(survey, readings=tuple(r for r in survey.readings if r.kind is PEAK)[:5])
    assert len(survey.readings) == 5
    level = levels_at(infer(survey), OTHERS, kind=Kind.AVERAGE).by_emitter_w_m2[:, 0]
    truth = 0.1 * local_means((ROUTER,), OTHERS, surveys.flat())[:, 0]
    low, high = np.quantile(level, [0.01, 0.99], axis=0)
    assert np.all((low < truth) & (truth < high))


def test_without_walls_the_levels_of_free_space_are_found_again():
    survey = made((ROUTER, PHONE), POINTS, Dwelling())
    drawn = levels_at(infer(survey), OTHERS, kind=Kind.PEAK).level_db
    truth = 10.0 * np.log10(local_means((ROUTER, PHONE), OTHERS, Dwelling()).sum(axis=1)) + SCAN_GAIN_DB
    low, high = np.quantile(drawn, [0.01, 0.99], axis=0)
    assert np.all((low < truth) & (truth < high))
    assert np.all(high - low < 35.0)


def two_storeys():
    brick, concrete = (Layer("brick", 0.24),), (Layer("concrete", 0.2),)
    outline = ((0.0, 0.0), (8.0, 0.0), (8.0, 6.0), (0.0, 6.0))
    window = Opening("w", OpeningKind.WINDOW, 1.0, 3.0, 0.9, 2.1, (Layer("glass", 0.008),))
    ends = (*outline, outline[0])
    return Dwelling(
        storeys=(Storey("g", "ground", 0.0, 2.5, outline), Storey("u", "upper", 2.7, 5.2, outline)),
        walls=tuple(
            Wall(f"{s}{i}", s, a, b, z, z + 2.5, brick, True, (replace(window, id=f"{s}{i}w", sill_m=z + 0.9, head_m=z + 2.1),))
            for s, z in (("g", 0.0), ("u", 2.7)) for i, (a, b) in enumerate(pairwise(ends))
        ),
        slabs=tuple(Slab(f"s{i}", z, concrete, (outline,)) for i, z in enumerate((0.0, 2.6, 5.2))),
    )  # fmt: skip


def test_two_storeys_with_a_slab():
    up = [(1.5, 1.5, 3.7), (6.5, 4.5, 3.7), (6.0, 1.5, 3.9), (2.0, 4.5, 3.7)]
    survey = made((ROUTER, PHONE), [*POINTS[:4], *up], two_storeys())
    points = np.array([(4.0, 3.0, 1.0), (4.0, 3.0, 3.7), (7.0, 2.0, 3.7)])
    drawn = levels_at(infer(survey), points, kind=Kind.PEAK).level_db
    truth = 10.0 * np.log10(local_means((ROUTER, PHONE), points, two_storeys()).sum(axis=1)) + SCAN_GAIN_DB
    off = np.median(drawn, axis=0) - truth
    assert np.abs(off - off.mean()).max() < 3.0
    low, high = np.quantile(drawn, [0.01, 0.99], axis=0)
    assert np.all((low < truth) & (truth < high))


def test_twelve_sources_and_three_hundred_readings():
    rng = np.random.default_rng(2)
    bands = (0.8e9, 1.8e9, 1.89e9, 2.45e9, 3.5e9, 5.5e9)
    emitters = tuple(
        surveys.emitter(f"e{i}", (float(x), float(y), 1.0), frequency_hz=bands[i % 6], eirp_w=0.1, duty=0.1)
        for i, (x, y) in enumerate(rng.uniform([0.5, 0.5], [7.5, 5.5], (12, 2)))
    )
    points = [(float(x), float(y), 1.0) for x, y in rng.uniform([0.5, 0.5], [7.5, 5.5], (100, 2))]
    survey = made(emitters, points, surveys.flat())
    assert len(survey.readings) == 300
    drawn = levels_at(infer(survey, draws=100), OTHERS, kind=Kind.PEAK).level_db
    truth = 10.0 * np.log10(local_means(emitters, OTHERS, surveys.flat()).sum(axis=1)) + SCAN_GAIN_DB
    low, high = np.quantile(drawn, [0.01, 0.99], axis=0)
    assert np.all((low < truth) & (truth < high))


def test_no_chain_begins_where_a_reading_forbids_it():
    """A weak emitter beside a strong one is only bounded from above; no draw may lie far over the readings."""
    weak = replace(PHONE, position=(0.8, 0.9, 1.0), eirp_w=1e-4, eirp_std_db=20.0)
    survey = made((ROUTER, weak), POINTS, surveys.flat())
    survey = replace(survey, readings=tuple(r for r in survey.readings if r.radio_state_id == "all"))
    level = levels_at(infer(survey), POINTS, kind=Kind.PEAK).level_db
    reading = np.array([10.0 * np.log10(r.value_w_m2) for r in survey.readings if r.kind is PEAK])
    assert np.max(level - reading) < 20.0

"""Repeats are one row, which says what all of them say; how well the model fits is told as values."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from roomfield.field.contributions import contributions
from roomfield.field.diagnostics import FindingKind, diagnostics
from roomfield.field.fit import fit_of
from roomfield.field.inference import infer
from roomfield.field.noise import OWN_STD_DB, SCAN_STD_DB
from roomfield.field.observation_arrays import observe
from roomfield.field.path_gains import Radiators, unit_db
from roomfield.field.repeats import robust_mean
from roomfield.field.scene import Scene
from roomfield.quantities import Kind
from roomfield.survey import Censoring, Meter

_SPEC = importlib.util.spec_from_file_location("surveys", Path(__file__).with_name("surveys.py"))
surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(surveys)
POINTS = [(1.0, 4.5, 1.0), (2.5, 1.5, 1.0), (6.0, 1.5, 1.2)]
ROUTER = surveys.emitter("router", (0.6, 0.6, 1.0), eirp_w=0.1, eirp_std_db=1.0, duty=0.1)
PHONE = surveys.emitter("phone", (7.4, 5.4, 1.0), frequency_hz=1.89e9, technology="dect", eirp_w=0.25, duty=0.04)


def repeated(count: int, *, spread_db: float = 0.0):
    """Peak and average at three places, each read so often."""
    survey = surveys.survey((ROUTER,), POINTS, {("all", Kind.PEAK): [3e-3] * 3, ("all", Kind.AVERAGE): [1e-4] * 3})
    random = np.random.default_rng(2)
    readings = tuple(
        replace(r, id=f"{r.id}-{n}", replicate=n, value_w_m2=r.value_w_m2 * 10 ** (spread_db * random.normal() / 10))
        for r in survey.readings
        for n in range(count)
    )
    return replace(survey, readings=readings)


def test_repeats_are_one_row_with_their_number() -> None:
    rows = observe(repeated(50)).levels
    assert len(rows) == 6 and set(rows.count) == {50.0}
    np.testing.assert_allclose(rows.value_db[rows.kind == 0], 10.0 * np.log10(3e-3))
    assert len({*rows.scan.tolist()}) == 3  # both kinds of a place are of one scan
    assert len(observe(repeated(2)).levels) == 12


@pytest.mark.published("Variance of a mean of n independent values: sigma² / n (JCGM 100, 4.2.3)")
def test_the_scatter_of_a_row_is_that_of_the_mean_of_its_repeats() -> None:
    """What belongs to the place (fading, crest) is not divided by their number."""
    count = 16
    one, many = (infer(repeated(n), draws=20).forward.noise for n in (1, count))
    meter = Meter("m", "m", tolerance_db=6.0, repeatability_db=1.0).figures.repeatability_db
    own = OWN_STD_DB**2 + (
        surveys.survey((ROUTER,), POINTS, {}).meters[0].figures.repeatability_db ** 2 + SCAN_STD_DB**2
    )
    assert meter == 1.0
    shrunk = own * (1.0 - 1.0 / count)
    np.testing.assert_allclose(one.rows.count, 1.0)
    at_one = {(k, s): v for k, s, v in zip(one.rows.kind, one.rows.site, one.variance * 1.0, strict=True)}
    at_many = {(k, s): v for k, s, v in zip(many.rows.kind, many.rows.site, many.variance, strict=True)}
    for key, value in at_many.items():
        weights = one.weights[0], many.weights[0]
        assert at_one[key] - value == pytest.approx(shrunk, rel=0.35), weights


def test_a_slip_among_repeats_counts_little() -> None:
    values = np.concatenate([np.random.default_rng(1).normal(-30.0, 1.0, 20), [0.0]])
    assert robust_mean(values) == pytest.approx(values[:-1].mean(), abs=0.15)
    assert abs(values.mean() - values[:-1].mean()) > 1.0


def test_many_repeats_cost_no_more_memory_than_few() -> None:
    posterior = infer(repeated(800, spread_db=1.0), draws=20)
    assert posterior.forward.noise.white.size == 6


def test_a_gain_error_beyond_the_tolerance_is_told_with_its_interval() -> None:
    """Power and duty known to half a decibel, a meter of 6 dB, and readings 14 dB too high: beyond what both allow."""
    meter = Meter("m", "meter", tolerance_db=6.0, repeatability_db=0.5)
    known = replace(ROUTER, eirp_std_db=0.5, duty_std_db=0.2)
    points = [*POINTS, (5.0, 4.5, 0.8), (7.0, 5.0, 1.0), (3.2, 3.8, 1.4)]
    radiators = Radiators.of((known,), np.array([known.position]))
    unit = unit_db(Scene.from_dwelling(surveys.flat()), radiators, np.array(points))[:, 0]
    sound, loud = (
        surveys.survey((known,), points, {("all", Kind.AVERAGE): surveys.density(unit - 20.6 + too_much_db)},
                       dwelling=surveys.flat(), meter=meter)
        for too_much_db in (0.0, 14.0)
    )  # fmt: skip
    found = fit_of(infer(loud, draws=200))
    assert found.gains[0].meter_id == "m" and found.gains[0].tolerance_db == 6.0
    assert found.gains[0].gain_db.low < found.gains[0].gain_db.median < found.gains[0].gain_db.high
    assert found.gains[0].beyond and found.doubtful
    assert FindingKind.GAIN in {f.kind for f in diagnostics(infer(loud, draws=200))}
    fine = fit_of(infer(sound, draws=200))
    assert not fine.doubtful and max(m.ratio for m in fine.misfits) < 3.5


def test_held_maxima_alone_tell_who_is_the_largest() -> None:
    """The commonest habit of the trade: nothing but the held maximum, with everything on and with each switch off."""
    values = {("all", Kind.HIGHEST_HELD): [1e-3, 5e-3, 6e-4], ("off:router", Kind.HIGHEST_HELD): [2e-4, 2e-4, 5e-4],
              ("off:phone", Kind.HIGHEST_HELD): [8e-4, 4.8e-3, 1e-4]}  # fmt: skip
    posterior = infer(surveys.survey((ROUTER, PHONE), POINTS, values, dwelling=surveys.flat()), draws=200)
    largest = [contributions(posterior, p, kind=Kind.HIGHEST_HELD)[0].name for p in POINTS]
    assert largest == ["router", "router", "phone"]


def test_a_bound_is_never_put_together_with_values() -> None:
    survey = repeated(5)
    bounds = tuple(replace(r, censoring=Censoring.BELOW) if r.id.endswith("-0") else r for r in survey.readings)
    rows = observe(replace(survey, readings=bounds)).levels
    assert sorted(rows.count.tolist()) == [1.0] * 6 + [4.0] * 6

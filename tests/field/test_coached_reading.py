"""What a scan's record does to its reading in the joint model is what it does to the reading alone."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import roomfield as rf
from roomfield.field.inference import infer
from roomfield.field.noise import OWN_STD_DB
from roomfield.field.observation_arrays import observe
from roomfield.field.posterior import levels_at
from roomfield.instrument import bounded_value, to_level
from roomfield.quantities import Kind
from roomfield.survey import Censoring, ListenedScan, Meter, Orientation, Survey
from roomfield.workbench.assess.place_levels import level_table

_SPEC = importlib.util.spec_from_file_location("surveys", Path(__file__).with_name("surveys.py"))
surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(surveys)
GOOD = ListenedScan(60.0, 60, 0.0, 0.05, 0.1)
HASTY = ListenedScan(6.0, 5, 1.5, 4.0, 9.0)
MISSED = ListenedScan(20.0, 20, 2.8, 3.0, 3.2)
ROUTER = surveys.emitter("router", (0.6, 0.6, 1.0), eirp_w=0.1, eirp_std_db=10.0, duty=0.1)
POINT = (2.5, 1.5, 1.0)
FINE = Meter("m", "meter", tolerance_db=0.5, repeatability_db=0.3, floor_w_m2=1e-8, overload_w_m2=2.5)


def home(listened: ListenedScan | None, kind: Kind = Kind.HIGHEST_HELD, **more) -> Survey:
    """One transmitter, one place, one reading."""
    survey = surveys.survey((ROUTER,), [POINT], {("all", kind): [3e-3]}, meter=more.pop("meter", FINE))
    return replace(survey, readings=(replace(survey.readings[0], listened=listened, **more),))


def alone_db(survey: Survey) -> tuple[float, float]:
    """Median and variance of the one reading by itself."""
    level = to_level(survey.readings[0], survey.meters[0]).level
    return 10.0 * float(np.log10(level.median_w_m2)), level.std_db**2


def joint_db(survey: Survey) -> np.ndarray:
    """Draws of the level of the one place."""
    return levels_at(infer(survey, draws=2000, seed=3), [POINT], kind=Kind.HIGHEST_HELD).level_db[:, 0]


@pytest.mark.parametrize("listened", [GOOD, HASTY, MISSED])
@pytest.mark.parametrize("kind", [Kind.PEAK, Kind.HIGHEST_HELD])
@pytest.mark.parametrize("orientation", [Orientation.BEST_AXIS, Orientation.THREE_AXIS_SUM])
@pytest.mark.parametrize("censoring", [Censoring.NONE, Censoring.ABOVE])
def test_offset_and_variance_change_as_they_do_alone(listened, kind, orientation, censoring):
    with_record = home(listened, kind, orientation=orientation, censoring=censoring)
    without = home(None, kind, orientation=orientation, censoring=censoring)
    rows, usual = (observe(s).levels for s in (with_record, without))
    (median, variance), (usual_median, usual_variance) = alone_db(with_record), alone_db(without)
    assert rows.value_db - usual.value_db == pytest.approx(median - usual_median)
    assert rows.record_db2 == pytest.approx(variance - usual_variance)
    assert usual.record_db2 == 0.0


def test_an_average_is_what_it_was():
    rows, usual = (observe(home(listened, Kind.AVERAGE)).levels for listened in (HASTY, None))
    assert rows.value_db == usual.value_db and rows.record_db2 == 0.0


def test_readings_without_a_record_are_bit_for_bit_what_they_were():
    """Those of the demonstration: the bounded number itself, and the scatter that every reading has."""
    survey = rf.open_demo().survey
    observed = observe(survey)
    rows = observed.levels
    at = {r.id: r for r in survey.current_readings(None)}
    single = [n for n, name in enumerate(rows.ids) if name in at and rows.count[n] == 1.0 and rows.censor[n] == 0]
    shown = [bounded_value(at[rows.ids[n]], survey.meter(at[rows.ids[n]].meter_id)).density_w_m2 for n in single]
    assert len(single) > 10
    assert rows.value_db[single].tolist() == [10.0 * float(np.log10(v)) for v in shown]
    noise = infer(survey, draws=10).forward.noise
    plain = np.hypot(OWN_STD_DB / np.sqrt(noise.rows.count), noise.rows.added_std_db)
    known = plain if noise.missed_std_db is None else np.hypot(plain, noise.missed_std_db)
    assert noise.own_std_db.tobytes() == known.tobytes()


def test_repeats_with_records_of_their_own_are_not_put_together():
    """A good scan and two hasty ones do not weigh the same."""
    survey = home(None)
    many = tuple(
        replace(survey.readings[0], id=f"r{n}", replicate=n, listened=listened)
        for n, listened in enumerate((GOOD, HASTY, HASTY))
    )
    assert observe(replace(survey, readings=many)).levels.count.tolist() == [1.0, 1.0, 1.0]


def test_a_coached_scan_narrows_and_a_hasty_one_widens_and_lifts_the_level_of_its_place():
    usual, good, hasty = (joint_db(home(listened)) for listened in (None, GOOD, HASTY))
    alone, alone_good, alone_hasty = (alone_db(home(listened)) for listened in (None, GOOD, HASTY))
    assert alone_good[1] < alone[1] < alone_hasty[1]
    assert good.var() < usual.var() < hasty.var()
    assert hasty.var() - usual.var() == pytest.approx(alone_hasty[1] - alone[1], rel=0.3)
    assert usual.var() - good.var() == pytest.approx(alone[1] - alone_good[1], rel=0.5)


@pytest.mark.parametrize(("listened", "lifted_db"), [(MISSED, 3.0 - 0.7), (HASTY, 5.25 - 0.7)])
def test_by_both_doors_a_record_moves_the_interval_alike(listened, lifted_db):
    """The level of a place as it is assessed, and the level of its cause as it is shared out.

    The latter is a mean over the place, which one reading of its largest spot hardly narrows. What is thought of the
    transmitter's power before takes a tenth of the lift at most (8 dB² of 108); the rest is three standard errors of
    the difference of two medians of 500 draws that scatter by 2 dB.
    """
    assessed, shared = [], []
    for record in (None, listened):
        survey = home(record)
        level = level_table(survey).levels[0].combined.level
        cause = rf.shares(survey, kind="highest_held")[0].shares[0].share.level_w_m2
        assessed.append([level.interval().low_w_m2, level.median_w_m2, level.interval().high_w_m2])
        shared.append([cause.low, cause.median, cause.high])
    alone, joint = (10.0 * np.log10(np.array(pair)) for pair in (assessed, shared))
    lifted = np.diff(joint[:, 1])[0]
    assert np.diff(alone[:, 1])[0] == pytest.approx(lifted_db, abs=0.01)
    assert 0.9 * lifted_db - 0.35 < lifted < lifted_db + 0.35
    if listened is HASTY:
        for usual, hasty in (alone, joint):
            assert hasty[2] - hasty[0] > usual[2] - usual[0] + 1.0

"""Absolute answers start from what was measured; only the ratio is the model's."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from roomfield.errors import KindMismatchError
from roomfield.field.inference import infer
from roomfield.field.measured import measured_times_ratio, tie
from roomfield.field.posterior import levels_at
from roomfield.quantities import Censoring, ErrorContribution, Kind, UncertainLevel

_SPEC = importlib.util.spec_from_file_location("surveys", Path(__file__).with_name("surveys.py"))
surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(surveys)
POINTS = [(1.0, 4.5, 1.0), (2.5, 1.5, 1.0), (6.0, 1.5, 1.2)]
GAIN = ErrorContribution.from_half_width("gain", 6.0)


def level(
    density_w_m2: float, *contributions: ErrorContribution, censoring: Censoring = Censoring.NONE
) -> UncertainLevel:
    return UncertainLevel.from_density(Kind.PEAK, density_w_m2, contributions, censoring)


def test_a_prediction_is_the_measured_level_times_the_predicted_ratio() -> None:
    model = np.random.default_rng(0).lognormal(size=4000) * 1e-3
    told = measured_times_ratio(level(2e-4, GAIN), model, 0.1 * model)
    assert np.median(told) == pytest.approx(2e-5, rel=0.03)
    low, high = np.quantile(10.0 * np.log10(told / 2e-5), [0.05, 0.95])
    assert (low, high) == (pytest.approx(-5.4, abs=0.15), pytest.approx(5.4, abs=0.15))  # 90 % of a rectangle of 6 dB


@pytest.fixture(scope="module")
def posterior():
    each = surveys.emitter("e", (0.6, 0.6, 1.0), eirp_w=0.1)
    return infer(surveys.survey((each,), POINTS, {("all", surveys.PEAK): [1e-4, 2e-3, 3e-5]}), draws=200)


def drawn(posterior, found):
    return levels_at(posterior, POINTS, kind=Kind.PEAK).density_w_m2 * found.factors(["p0", "p1", "p2"])


def test_the_tie_gives_back_what_was_measured_and_carries_the_rest_along(posterior) -> None:
    found = tie(posterior, {"p0": level(2e-3), "p2": level(8e-2)}, kind=Kind.PEAK)
    assert set(found.by_place) == {"p0", "p2"}
    told = drawn(posterior, found)
    np.testing.assert_allclose(told[:, [0, 2]], np.tile([2e-3, 8e-2], (200, 1)), rtol=1e-9)
    rest = levels_at(posterior, POINTS, kind=Kind.PEAK).density_w_m2
    np.testing.assert_allclose(told[:, 1] / rest[:, 1], np.sqrt(2e-3 * 8e-2 / rest[:, 0] / rest[:, 2]))


def test_an_error_that_readings_share_moves_all_places_together(posterior) -> None:
    shared = ErrorContribution.from_half_width("gain", 6.0, shared_key="m/gain")
    told = drawn(posterior, tie(posterior, {"p0": level(1e-3, shared), "p1": level(1e-2, shared)}, kind=Kind.PEAK))
    np.testing.assert_allclose(told[:, 1] / told[:, 0], 10.0)
    assert 3.0 < np.std(10.0 * np.log10(told[:, 0])) < 4.0


def test_a_place_read_in_the_other_kind_of_instantaneous_power_is_tied_by_that(posterior) -> None:
    held = UncertainLevel.from_density(Kind.HIGHEST_HELD, 4e-3)
    other = tie(posterior, {"p0": held, "p1": held}, kind=Kind.HIGHEST_HELD)
    found = tie(posterior, {"p0": level(2e-3)}, kind=Kind.PEAK).with_more(other)
    told = drawn(posterior, found)
    np.testing.assert_allclose(told[:, 0], 2e-3, rtol=1e-9)
    model = [levels_at(posterior, POINTS, kind=k).density_w_m2[:, 1] for k in (Kind.PEAK, Kind.HIGHEST_HELD)]
    np.testing.assert_allclose(told[:, 1], 4e-3 * model[0] / model[1], rtol=1e-9)
    assert np.all(told[:, 1] < 4e-3 * 10.0**0.5)


def test_bounds_tie_nothing_and_another_kind_is_refused(posterior) -> None:
    found = tie(posterior, {"p0": level(1e-8, censoring=Censoring.BELOW), "nowhere": level(1e-3)}, kind=Kind.PEAK)
    assert np.all(found.factors(["p0", "p1"]) == 1.0)
    with pytest.raises(KindMismatchError):
        tie(posterior, {"p0": level(1e-3)}, kind=Kind.AVERAGE)

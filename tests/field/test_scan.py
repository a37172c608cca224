from __future__ import annotations

import numpy as np
import pytest

from roomfield.field.hand_scan import MODEL_STD_DB, cube_points, mean_std_db, scan_cells, scan_gain


@pytest.mark.calculated("Order statistics: largest of M exponential values has the median -ln(1 - 2^(-1/M))")
@pytest.mark.parametrize("frequency_hz", [0.8e9, 1.8e9, 3.5e9])
def test_without_a_steady_wave_it_is_the_largest_of_exponentials(frequency_hz: float):
    cells = float(scan_cells(0.5, frequency_hz))
    median = -np.log(1.0 - 0.5 ** (1.0 / cells))
    assert float(scan_gain(frequency_hz, 0.0).median_db) == pytest.approx(10 * np.log10(median), abs=0.15)


@pytest.mark.calculated("Rice's law: the spread dies out as the steady wave takes over")
def test_a_steady_wave_alone_has_no_maximum():
    gain = scan_gain(2.45e9, [0.0, 3.0, 30.0, 1e4])
    assert np.all(np.diff(gain.median_db) < 0.0)
    assert float(gain.median_db[-1]) == pytest.approx(0.0, abs=0.3)
    assert float(gain.std_db[-1]) == pytest.approx(MODEL_STD_DB, abs=0.05)


@pytest.mark.calculated("Monte Carlo of Rice's law")
def test_distribution_of_the_largest():
    rng = np.random.default_rng(5)
    k, frequency_hz = 2.0, 1.8e9
    cells = round(float(scan_cells(0.5, frequency_hz)))
    waves = rng.normal(size=(4000, cells, 2)) / np.sqrt(2.0 * (1.0 + k)) + [np.sqrt(k / (1.0 + k)), 0.0]
    largest = 10 * np.log10((waves**2).sum(axis=-1).max(axis=1))
    gain = scan_gain(frequency_hz, k)
    assert float(gain.median_db) == pytest.approx(np.median(largest), abs=0.15)
    assert np.hypot(largest.std(), MODEL_STD_DB) == pytest.approx(float(gain.std_db), abs=0.15)


def test_a_fixed_antenna_is_one_cell():
    assert float(scan_cells(0.0, 2.45e9)) == 1.0


def test_more_waves_and_wavelengths_steady_the_mean():
    assert float(mean_std_db(5.5e9, 1.0)) < float(mean_std_db(0.8e9, 1.0))
    assert float(mean_std_db(2.45e9, 20.0)) < float(mean_std_db(2.45e9, 1.0))


def test_cube_points_are_centred():
    points = cube_points([[1.0, 2.0, 3.0]], 0.5, 2)
    assert points.shape == (1, 8, 3)
    assert points.mean(axis=1) == pytest.approx(np.array([[1.0, 2.0, 3.0]]))
    assert np.ptp(points, axis=1) == pytest.approx(0.25)

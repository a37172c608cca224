"""The misfit of the propagation: between points that are near, and never more than the way inside allows."""

from __future__ import annotations

import numpy as np
import pytest

from roomfield.field.path_gains import Radiators, residual_covariance, residual_variance
from roomfield.field.priors import FAR_M
from roomfield.survey import Emitter

POINTS = np.array([[1.0, 1.0, 1.0], [1.5, 1.0, 1.0], [7.0, 4.0, 1.0]])


@pytest.fixture
def radiators() -> Radiators:
    emitters = (Emitter("base", "Base", position=(3.0, 2.0, 1.0)), Emitter("mast", "Mast", outdoor=True))
    return Radiators.of(emitters, np.array([[3.0, 2.0, 1.0], [0.0, FAR_M, 10.0]]))


@pytest.mark.parametrize("walls_known", [True, False])
def test_variance_is_the_diagonal_of_the_covariance(radiators: Radiators, walls_known: bool):
    covariance = residual_covariance(walls_known, radiators, POINTS, POINTS)
    assert residual_variance(walls_known, radiators, POINTS) == pytest.approx(np.diag(covariance))
    assert np.linalg.eigvalsh(covariance).min() > 0.0
    parts = residual_covariance(walls_known, radiators, POINTS[:2], POINTS)
    assert parts == pytest.approx(covariance[[0, 1, 3, 4]])


def test_the_way_outside_is_no_misfit_inside(radiators: Radiators):
    """Shadows inside buildings scatter by some 3 to 12 dB (common practice, no source)."""
    std_db = np.sqrt(residual_variance(False, radiators, POINTS)).reshape(2, -1)
    assert np.all((std_db[1] > 3.0) & (std_db[1] < 12.0))
    correlation = residual_covariance(False, radiators, POINTS, POINTS)[3:, 3:] / std_db[1, 0] ** 2
    assert correlation[0, 1] > 0.8
    assert correlation[0, 2] < 0.2

"""The misfit carried by few sites: against the joint normal distribution of all of them."""

from __future__ import annotations

import numpy as np
import pytest

from roomfield.field import misfit as misfit_module
from roomfield.field.misfit import carriers_of, misfit_prior
from roomfield.field.path_gains import Radiators, residual_covariance
from roomfield.survey import AntennaPattern, Polarisation

SITES = np.random.default_rng(2).uniform((0.0, 0.0, 0.8), (9.0, 7.0, 1.4), (60, 3))


def radiators() -> Radiators:
    return Radiators(
        np.array([[1.0, 1.0, 1.0], [7.0, 5.0, 1.0]]), np.array([0.9e9, 2.4e9]),
        (AntennaPattern.ISOTROPIC,) * 2, (Polarisation.VERTICAL,) * 2,
    )  # fmt: skip


@pytest.mark.calculated("Covariance of the misfit at all sites")
@pytest.mark.parametrize("walls_known", [True, False])
def test_every_site_keeps_its_variance_and_most_of_its_correlation(walls_known, monkeypatch):
    exact = residual_covariance(walls_known, radiators(), SITES, SITES)
    monkeypatch.setattr(misfit_module, "MOST_UNKNOWNS", 60)
    monkeypatch.setattr(misfit_module, "CARRIED_UNKNOWNS", 60)
    few = misfit_prior(walls_known, radiators(), SITES, [False] * len(SITES))
    assert len(few.carriers) == 30 and few.unknowns == 60
    carried = few.weights.toarray() @ few.factor
    total = carried @ carried.T + np.diag(few.own_db2.reshape(-1))
    assert np.diag(total) == pytest.approx(np.diag(exact), rel=0.02)
    assert few.std_db.reshape(-1) ** 2 == pytest.approx(np.sum(carried**2, axis=1), rel=0.02, abs=0.01)
    std = np.sqrt(np.diag(exact))
    off = (total - exact) / np.outer(std, std)
    assert np.sqrt(np.mean(off**2)) < 0.05


@pytest.mark.parametrize("walls_known", [True, False])
def test_few_sites_carry_themselves_exactly(walls_known):
    exact = residual_covariance(walls_known, radiators(), SITES[:20], SITES[:20])
    made = misfit_prior(walls_known, radiators(), SITES[:20], [True] * 20)
    assert made.weights is None and made.own_db2 is None
    np.testing.assert_allclose(made.factor @ made.factor.T, exact, atol=1e-5)
    white = np.random.default_rng(3).standard_normal((2, 40))
    np.testing.assert_allclose(made.at_sites(white).reshape(2, -1), white @ made.factor.T)


@pytest.mark.calculated("Adjoint of a linear map: <A x, y> = <x, A' y>")
def test_slopes_go_back_by_the_adjoint(monkeypatch):
    monkeypatch.setattr(misfit_module, "MOST_UNKNOWNS", 40)
    monkeypatch.setattr(misfit_module, "CARRIED_UNKNOWNS", 40)
    few = misfit_prior(True, radiators(), SITES, [False] * len(SITES))
    rng = np.random.default_rng(4)
    x, y = rng.standard_normal((1, few.unknowns)), rng.standard_normal((1, 2 * len(SITES)))
    assert np.sum(few.at_sites(x).reshape(1, -1) * y) == pytest.approx(np.sum(x * few.back(y)))


def test_places_of_the_survey_are_carriers_before_points_and_none_twice():
    named = [i >= 50 for i in range(60)]
    chosen = carriers_of(SITES, named, 15)
    assert len(set(chosen.tolist())) == 15 and set(range(50, 60)) <= set(chosen.tolist())
    twice = np.repeat(SITES[:5], 20, axis=0)
    assert len(carriers_of(twice, [False] * 100, 30)) == 5

"""Propagation of uncertainty against worked cases of JCGM 100, 101, 102, NIST and NPL.

Monte Carlo with a million trials scatters by about 0.1 % of u on the mean, 0.2 % on u and 1 % of u on
symmetric interval ends; the place of a shortest interval is determined less well than its width.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from oracles.gum_budget import budget, coverage_factor, effective_dof
from oracles.gum_distributions import (
    Arcsine,
    CurvilinearTrapezoid,
    Normal,
    Rectangular,
    StudentT,
)
from oracles.gum_propagation import (
    Input,
    covariance,
    first_order_std,
    monte_carlo,
    second_order_std,
)

CASES_FILE = Path(__file__).parents[1] / "data" / "uncertainty" / "uncertainty-cases.toml"
CASES = {case["id"]: case["expected"] for case in tomllib.loads(CASES_FILE.read_text("utf-8"))["case"]}
TRIALS = 1_000_000
N01 = Normal(0.0, 1.0)
R01 = Rectangular(-math.sqrt(3.0), math.sqrt(3.0))


def named(*distributions) -> list[Input]:
    return [Input(f"x{i}", d) for i, d in enumerate(distributions)]


def total(*values):
    return sum(values)


def end_gauge_inputs(*, certificate=False) -> list[Input]:
    """Inputs of GUM H.1; with ``certificate`` the distributions of JCGM 101, 9.5."""
    d_alpha = Rectangular(-1e-6, 1e-6, dof=50)
    d_theta = Rectangular(-0.05, 0.05, dof=2)
    if certificate:
        d_alpha, d_theta = (
            CurvilinearTrapezoid(-1e-6, 1e-6, 0.1e-6),
            CurvilinearTrapezoid(-0.05, 0.05, 0.025),
        )
    standard, repeats = StudentT(50_000_623.0, 25.0, 18), StudentT(215.0, 5.8, 24)
    if certificate:
        repeats = StudentT(215.0, 6.0, 24)
    random_part = StudentT(0.0, 3.9 if not certificate else 4.0, 5)
    systematic = StudentT(0.0, 6.7 if not certificate else 7.0, 8)
    return [
        Input("l_s", standard),
        Input("d", repeats),
        Input("d1", random_part),
        Input("d2", systematic),
        Input("alpha_s", Rectangular(9.5e-6, 13.5e-6)),
        Input("theta_mean", Normal(-0.1, 0.2)),
        Input("theta_cycle", Arcsine(-0.5, 0.5)),
        Input("d_alpha", d_alpha),
        Input("d_theta", d_theta),
    ]


def end_gauge(l_s, d, d1, d2, alpha_s, theta_mean, theta_cycle, d_alpha, d_theta):
    return l_s + d + d1 + d2 - l_s * (d_alpha * (theta_mean + theta_cycle) + alpha_s * d_theta)


@pytest.mark.published("JCGM 100:2008, H.1, end-gauge calibration")
def test_gum_h1_first_order_dof_and_expanded():
    want = CASES["GUM-H1"]
    result = budget(end_gauge, end_gauge_inputs())
    assert result.value == pytest.approx(want["l_nm"], abs=0.5)
    assert result.std == pytest.approx(want["uc_nm"], abs=0.5)
    assert result.std == pytest.approx(want["uc_nm_unrounded"], rel=2e-3)
    assert result.dof is not None
    assert math.floor(result.dof) == want["veff_truncated"]
    assert result.dof == pytest.approx(want["veff"], rel=0.01)
    factor, expanded = result.expanded(0.99, truncate_dof=True)
    assert factor == pytest.approx(want["k99"], abs=0.005)
    assert expanded == pytest.approx(want["U99_nm"], abs=1.0)


@pytest.mark.published("JCGM 100:2008, H.1.7, second-order terms")
def test_gum_h1_second_order():
    want = CASES["GUM-H1"]
    std = second_order_std(end_gauge, end_gauge_inputs())
    assert std == pytest.approx(want["uc_with_second_order_nm"], abs=0.5)
    assert std == pytest.approx(want["uc_second_order_unrounded"], rel=2e-3)


V_DATA = [5.007, 4.994, 5.005, 4.990, 4.999]
I_DATA = [19.663, 19.639, 19.640, 19.685, 19.678]
PHI_DATA = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
IMPEDANCE = (
    lambda v, i, phi: v / (i * 1e-3) * np.cos(phi),
    lambda v, i, phi: v / (i * 1e-3) * np.sin(phi),
    lambda v, i, phi: v / (i * 1e-3) + 0.0 * phi,
)


def impedance_inputs():
    data = {"V": V_DATA, "I": I_DATA, "phi": PHI_DATA}
    inputs = [Input(name, StudentT.from_readings(values)) for name, values in data.items()]
    r = np.corrcoef([V_DATA, I_DATA, PHI_DATA])
    return inputs, {("V", "I"): r[0, 1], ("V", "phi"): r[0, 2], ("I", "phi"): r[1, 2]}


@pytest.mark.published("JCGM 100:2008, H.2, tables H.2 to H.4, correlated inputs")
def test_gum_h2_means_uncertainties_and_correlations():
    want = CASES["GUM-H2"]
    inputs, correlations = impedance_inputs()
    for item, name, unit in zip(inputs, ("V", "I_mA", "phi"), ("uV", "uI_mA", "uphi"), strict=True):
        assert item.distribution.mean == pytest.approx(want[name], rel=1e-5)
        assert item.distribution.std == pytest.approx(want[unit], abs=0.5 * 10 ** -len(str(want[unit]).split(".")[1]))
    assert [round(c, 3) for c in correlations.values()] == [want["r_V_I"], want["r_V_phi"], want["r_I_phi"]]
    matrix = covariance(IMPEDANCE, inputs, correlations)
    std = np.sqrt(np.diag(matrix))
    assert std == pytest.approx([want["uR_unrounded"], want["uX_unrounded"], want["uZ_unrounded"]], rel=1e-4)
    r = matrix / np.outer(std, std)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([want["r_R_X"], want["r_R_Z"], want["r_X_Z"]], abs=5e-4)
    means = [f(*(i.distribution.mean for i in inputs)) for f in IMPEDANCE]
    assert means == pytest.approx([want["R"], want["X"], want["Z"]], abs=6e-4)


@pytest.mark.published("JCGM 100:2008, H.2 and G.4.1: correlation matters and forbids Welch-Satterthwaite")
def test_gum_h2_without_correlation_is_wrong_and_dof_is_withheld():
    want = CASES["GUM-H2"]
    inputs, correlations = impedance_inputs()
    alone = np.sqrt(np.diag(covariance(IMPEDANCE, inputs)))
    keys = ("uR_if_correlation_ignored", "uX_if_correlation_ignored", "uZ_if_correlation_ignored")
    assert alone == pytest.approx([want[k] for k in keys], rel=1e-3)
    assert budget(IMPEDANCE[0], inputs, correlations).dof is None
    assert budget(IMPEDANCE[0], inputs).dof is not None


@pytest.mark.published("JCGM 101:2008, 9.2.2, four normals")
def test_four_normals():
    want = CASES["S1-9.2.2"]
    draws = monte_carlo(total, named(N01, N01, N01, N01), size=TRIALS, seed=1)
    assert draws.mean == pytest.approx(want["y"], abs=0.01)
    assert draws.std == pytest.approx(want["u"], rel=2e-3)
    assert draws.symmetric_interval() == pytest.approx((want["low95"], want["high95"]), abs=0.02)


@pytest.mark.published("JCGM 101:2008, 9.2.3, four rectangulars, closed form")
def test_four_rectangulars():
    want = CASES["S1-9.2.3"]
    draws = monte_carlo(total, named(R01, R01, R01, R01), size=TRIALS, seed=2)
    assert draws.std == pytest.approx(want["u"], rel=2e-3)
    assert draws.symmetric_interval() == pytest.approx((-want["exact_high95"], want["exact_high95"]), abs=0.012)
    assert round(draws.symmetric_interval()[1], 2) == pytest.approx(want["high95"], abs=0.011)


@pytest.mark.published("JCGM 101:2008, 9.2.4, one dominant rectangular: k = 2 overstates")
def test_dominant_rectangular():
    want = CASES["S1-9.2.4"]
    wide = Rectangular(-10 * math.sqrt(3.0), 10 * math.sqrt(3.0))
    inputs = named(R01, R01, R01, wide)
    draws = monte_carlo(total, inputs, size=TRIALS, seed=3)
    assert draws.std == pytest.approx(want["u_exact"], rel=2e-3)
    assert draws.symmetric_interval() == pytest.approx((want["mc_low95"], want["mc_high95"]), abs=0.1)
    gum = first_order_std(total, inputs)
    assert gum == pytest.approx(want["u"], abs=0.05)
    assert coverage_factor(0.95) * gum == pytest.approx(want["gum_high95"], abs=0.05)


def mass(m_r, dm_r, rho_a, rho_w, rho_r):
    return (m_r + dm_r) * (1.0 + (rho_a - 1.2) * (1.0 / rho_w - 1.0 / rho_r)) - 100_000.0


MASS_INPUTS = named(
    Normal(100_000.0, 0.050),
    Normal(1.234, 0.020),
    Rectangular(1.10, 1.30),
    Rectangular(7000.0, 9000.0),
    Rectangular(7950.0, 8050.0),
)


@pytest.mark.published("JCGM 101:2008, 9.3, table 5, mass calibration")
def test_mass_calibration():
    want = CASES["S1-9.3"]
    draws = monte_carlo(mass, MASS_INPUTS, size=TRIALS, seed=4)
    assert draws.mean == pytest.approx(want["mc_y"], abs=3e-4)
    assert draws.std == pytest.approx(want["exact_u"], rel=3e-3)
    low, high = draws.shortest_interval()
    assert high - low == pytest.approx(want["own_mc_high95"] - want["own_mc_low95"], rel=0.01)
    assert (low, high) == pytest.approx((want["own_mc_low95"], want["own_mc_high95"]), abs=0.0025)
    assert (low, high) == pytest.approx((want["mc_low95"], want["mc_high95"]), abs=0.0030)


@pytest.mark.published("JCGM 101:2008, 9.3, table 5: first order fails, second order passes")
def test_mass_calibration_first_and_second_order():
    want = CASES["S1-9.3"]
    first = first_order_std(mass, MASS_INPUTS)
    assert first == pytest.approx(want["gum1_u"], abs=6e-5)
    assert want["gum1_y"] + coverage_factor(0.95) * first == pytest.approx(want["gum1_high95"], abs=2e-4)
    assert want["gum1_y"] - coverage_factor(0.95) * first == pytest.approx(want["gum1_low95"], abs=2e-4)
    second = second_order_std(mass, MASS_INPUTS)
    assert second == pytest.approx(want["gum2_u"], abs=5e-4)
    assert 1.234 + coverage_factor(0.95) * second == pytest.approx(want["gum2_high95"], abs=6e-4)
    assert 1.234 - coverage_factor(0.95) * second == pytest.approx(want["gum2_low95"], abs=6e-4)


@pytest.mark.published("JCGM 101:2008, 9.4, comparison loss; mean and u exact, interval recomputed")
@pytest.mark.parametrize("r", [0.0, 0.9])
@pytest.mark.parametrize("x1", [0.0, 0.010, 0.050])
def test_comparison_loss(r, x1):
    want = CASES[f"S1-9.4-r{r:g}-x{x1:g}"]
    inputs = named(Normal(x1, 0.005), Normal(0.0, 0.005))
    model = lambda a, b: (a**2 + b**2) * 1e6  # noqa: E731
    pairs = {("x0", "x1"): r} if r else None
    draws = monte_carlo(model, inputs, size=TRIALS, seed=5, correlations=pairs)
    u = want["exact_u_1e6"]
    assert draws.mean == pytest.approx(want["exact_mean_1e6"], abs=0.005 * u)
    assert draws.std == pytest.approx(u, rel=5e-3)
    low, high = draws.shortest_interval()
    own = want["own_low95_1e6"], want["own_high95_1e6"]
    assert high - low == pytest.approx(own[1] - own[0], rel=0.01)
    assert (low, high) == pytest.approx(own, abs=0.03 * u)
    assert draws.std == pytest.approx(want["mc_u_1e6"], abs=0.5 + 0.005 * u)
    assert first_order_std(model, inputs, pairs) == pytest.approx(want["gum1_u_1e6"], rel=1e-3, abs=1e-6)


@pytest.mark.published("JCGM 101:2008, 9.5, gauge block with inexact limits")
def test_gauge_block():
    want = CASES["S1-9.5"]
    draws = monte_carlo(end_gauge, end_gauge_inputs(certificate=True), size=TRIALS, seed=6)
    assert draws.mean - 50_000_000 == pytest.approx(want["mc_y_nm"], abs=0.6)
    assert draws.std == pytest.approx(want["mc_u_nm"], abs=0.6)
    low, high = draws.shortest_interval(0.99)
    assert low - 50_000_000 == pytest.approx(want["low99_nm"], abs=3.0)
    assert high - 50_000_000 == pytest.approx(want["high99_nm"], abs=3.0)
    gum = first_order_std(end_gauge, end_gauge_inputs(certificate=True))
    assert gum == pytest.approx(want["gum_u_nm"], abs=0.6)


@pytest.mark.published("NPL DEM-ES-011, table 9.2, logarithm of a rectangular quantity")
def test_logarithm_of_a_rectangular_quantity():
    want = CASES["NPL-LOG"]
    inputs = named(Rectangular(0.1, 1.1))
    gum = first_order_std(np.log, inputs)
    assert gum == pytest.approx(want["gum_u"], abs=5e-4)
    assert math.log(0.6) == pytest.approx(want["gum_y"], abs=5e-4)
    assert math.log(0.6) + coverage_factor(0.95) * gum == pytest.approx(want["gum_high95"], abs=1e-3)
    draws = monte_carlo(np.log, inputs, size=TRIALS, seed=7)
    assert draws.mean == pytest.approx(want["exact_mean"], abs=2e-3)
    assert draws.std == pytest.approx(want["mc_u"], abs=2e-3)
    assert draws.shortest_interval() == pytest.approx((want["mc_low95"], want["mc_high95"]), abs=0.01)


@pytest.mark.published("JCGM 102:2011, 9.3, table 6, magnitude and phase near zero")
def test_magnitude_and_phase():
    want = CASES["S2-POLAR-1"]
    inputs = named(Normal(0.001, 0.01), Normal(0.0, 0.01))
    magnitude = monte_carlo(np.hypot, inputs, size=TRIALS, seed=8)
    phase = monte_carlo(lambda re, im: np.arctan2(im, re), inputs, size=TRIALS, seed=8)
    assert magnitude.mean == pytest.approx(want["mc_mag"], abs=5e-4)
    assert magnitude.std == pytest.approx(want["mc_u_mag"], abs=5e-4)
    assert phase.std == pytest.approx(want["mc_u_phase"], abs=3e-3)
    assert first_order_std(np.hypot, inputs) == pytest.approx(want["gum_u_mag"], rel=1e-3)
    slope = first_order_std(lambda re, im: np.arctan2(im, re), inputs)
    assert slope == pytest.approx(want["gum_u_phase"], rel=1e-3)
    assert math.hypot(0.001, 0.0) == want["gum_mag"]


@pytest.mark.published("JCGM 102:2011, 9.3, table 7, magnitude and phase, correlated")
def test_magnitude_and_phase_correlated():
    want = CASES["S2-POLAR-2"]
    inputs = named(Normal(0.010, 0.01), Normal(0.0, 0.01))
    pairs = {("x0", "x1"): 0.9}
    magnitude = monte_carlo(np.hypot, inputs, size=TRIALS, seed=9, correlations=pairs)
    phase = monte_carlo(lambda re, im: np.arctan2(im, re), inputs, size=TRIALS, seed=9, correlations=pairs)
    assert magnitude.mean == pytest.approx(want["mc_mag"], abs=5e-4)
    assert magnitude.std == pytest.approx(want["mc_u_mag"], abs=5e-4)
    assert phase.mean == pytest.approx(want["mc_phase"], abs=3e-3)
    assert phase.std == pytest.approx(want["mc_u_phase"], abs=3e-3)


@pytest.mark.published("NIST TN 1900, example E11 (data: EA-4/02, S7), step attenuator in dB")
def test_step_attenuator():
    want = CASES["TN1900-E11"]
    reading = StudentT.from_readings([30.033, 30.058, 30.018, 30.052])
    inputs = [
        # The note states the standard deviation of the t with 3 degrees of freedom, not its scale.
        Input("reference reading", StudentT(reading.mean, reading.std / math.sqrt(3.0), 3)),
        Input("calibration of the reference", Rectangular(0.003 - 0.00433, 0.003 + 0.00433)),
        Input("drift", Arcsine(-0.00198, 0.00198)),
        Input("mismatch", Arcsine(-0.02828, 0.02828)),
        Input("leakage", Arcsine(-0.003, 0.003)),
        Input("resolution at 30 dB", Rectangular(-0.0005196, 0.0005196)),
        Input("resolution at 0 dB", Rectangular(-0.0005196, 0.0005196)),
        Input("null at 30 dB", Normal(0.0, 0.002)),
        Input("null at 0 dB", Normal(0.0, 0.002)),
    ]
    draws = monte_carlo(total, inputs, size=TRIALS, seed=10)
    assert draws.mean == pytest.approx(want["y_dB"], abs=6e-4)
    # The t with 3 degrees of freedom has no fourth moment, so its sample deviation scatters widely.
    assert draws.std == pytest.approx(want["u_dB"], abs=4e-4)
    stated = [Input("reference reading", Normal(reading.mean, reading.std)), *inputs[1:]]
    assert first_order_std(total, stated) == pytest.approx(want["u_dB"], abs=1e-4)
    assert draws.symmetric_interval() == pytest.approx((want["low95_dB"], want["high95_dB"]), abs=6e-4)
    lines = budget(total, inputs).lines
    assert max(lines, key=lambda line: line.share).label == "mismatch"
    assert sum(line.share for line in lines) == pytest.approx(1.0)


@pytest.mark.published("Course example with the Welch-Satterthwaite formula, JCGM 100 G.2b")
def test_welch_satterthwaite():
    want = CASES["WS-1"]
    dof = effective_dof([0.57, 0.25], [9, math.inf])
    assert dof == pytest.approx(want["veff_exact"], abs=5e-4)
    assert dof == pytest.approx(want["veff"], abs=0.05)

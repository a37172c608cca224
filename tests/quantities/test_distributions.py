"""Divisors of the distributions, and that samples have the moments the formulas say."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oracles.gum_budget import budget, coverage_factor, effective_dof
from oracles.gum_distributions import (
    Arcsine,
    CurvilinearTrapezoid,
    Exponential,
    Normal,
    Rectangular,
    StudentT,
    Trapezoidal,
    resolution,
)
from oracles.gum_propagation import Input, first_order_std, monte_carlo
from roomfield.errors import InputError, UnknownNameError

DATA = Path(__file__).parents[1] / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.published("JCGM 100:2008, 4.3.7, 4.3.9, 4.4.6; JCGM 101:2008, 6.4")
@pytest.mark.parametrize(
    ("distribution", "std"),
    [
        (Normal.from_expanded(0.0, 3.0, 2.0), 1.5),
        (Rectangular(-1, 1), 0.577350),
        (Trapezoidal(-1, 1, 0.0), 0.408248),
        (Trapezoidal(-1, 1, 1.0), 0.577350),
        (Arcsine(-1, 1), 0.707107),
        (CurvilinearTrapezoid(-1, 1, 0.5), math.sqrt(4 / 12 + 0.25 / 9)),
        (resolution(1.0), 0.288675),
        (Exponential(2.0), 2.0),
    ],
)
def test_divisors_and_samples(distribution, std):
    assert distribution.std == pytest.approx(std, rel=1e-5)
    drawn = distribution.sample(400_000, np.random.default_rng(1))
    assert drawn.mean() == pytest.approx(distribution.mean, abs=0.01 * std)
    assert drawn.std() == pytest.approx(std, rel=0.01)


@pytest.mark.published("JCGM 101:2008, 6.4.9: a sampled t has the wider spread sqrt(nu/(nu-2))")
def test_student_t_scale_and_spread():
    reading = StudentT.from_readings([9.8, 10.1, 10.3, 9.9, 10.2, 9.7, 10.0, 10.0, 10.1])
    data = np.array([9.8, 10.1, 10.3, 9.9, 10.2, 9.7, 10.0, 10.0, 10.1])
    assert reading.std == pytest.approx(data.std(ddof=1) / 3.0)
    assert reading.dof == 8
    drawn = reading.sample(400_000, np.random.default_rng(2))
    assert drawn.std() == pytest.approx(reading.std * math.sqrt(8 / 6), rel=0.01)
    with pytest.raises(InputError, match="no spread"):
        StudentT.from_readings([1.0])


@pytest.mark.published("NIST Statistical Reference Datasets, univariate, NumAcc1 to NumAcc4 (from memory)")
@pytest.mark.parametrize(
    ("values", "mean", "deviation"),
    [
        ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0),
        ([1.2] + [1.1, 1.3] * 500, 1.2, 0.1),
        ([1000000.2] + [1000000.1, 1000000.3] * 500, 1000000.2, 0.1),
        ([10000000.2] + [10000000.1, 10000000.3] * 500, 10000000.2, 0.1),
    ],
)
def test_repeated_readings_against_certified_statistics(values, mean, deviation):
    found = StudentT.from_readings(values)
    assert found.mean == pytest.approx(mean, rel=1e-12)
    assert found.std * math.sqrt(len(values)) == pytest.approx(deviation, rel=1e-7)
    assert found.dof == len(values) - 1


@pytest.mark.published("Mismatch limits 20 log10(1 +- |G1||G2|), arcsine (textbook)")
def test_mismatch():
    for row in rows("uncertainty/uncertainty-mismatch.csv"):
        product = float(row["gamma_1"]) * float(row["gamma_2"])
        half = 20.0 / math.log(10.0) * product
        assert Arcsine(-half, half).std == pytest.approx(float(row["u_dB_arcsine"]), rel=1e-5)
        assert 20 * math.log10(1 + product) == pytest.approx(float(row["upper_dB"]), rel=1e-5)
        assert 20 * math.log10(1 - product) == pytest.approx(float(row["lower_dB"]), rel=1e-5)


def example_inputs() -> list[Input]:
    inputs = []
    for row in rows("practice/practice-uncertainty-example.csv"):
        width = float(row["half_width_or_U_dB"] or "nan")
        if row["distribution"] == "rectangular":
            inputs.append(Input(row["component"], Rectangular(-width, width)))
        elif row["distribution"].startswith("normal"):
            inputs.append(Input(row["component"], Normal.from_expanded(0.0, width, float(row["distribution"][-1]))))
    return inputs


@pytest.mark.published("JCGM 100:2008, eq. 10, on an example budget of a broadband meter (own example)")
def test_example_budget_of_a_broadband_meter():
    printed = {r["component"]: float(r["u_dB"]) for r in rows("practice/practice-uncertainty-example.csv")}
    result = budget(lambda *parts: sum(parts), example_inputs())
    for line in result.lines:
        assert line.contribution == pytest.approx(printed[line.label], rel=1e-5)
    assert result.std == pytest.approx(printed["combined standard uncertainty"], rel=1e-5)
    assert 2 * result.std == pytest.approx(printed["expanded k=2"], rel=1e-5)
    assert math.isinf(result.dof or 0.0)


@pytest.mark.published("JCGM 100:2008, table G.2, t-factors")
@pytest.mark.parametrize(
    ("dof", "coverage", "factor"),
    [
        (1, 0.95, 12.71),
        (5, 0.95, 2.57),
        (10, 0.99, 3.17),
        (16, 0.99, 2.92),
        (50, 0.9545, 2.05),
        (math.inf, 0.95, 1.960),
        (math.inf, 0.9545, 2.000),
    ],
)
def test_coverage_factors(dof, coverage, factor):
    assert coverage_factor(coverage, dof) == pytest.approx(factor, abs=0.0051)


def test_effective_dof_of_exact_contributions_is_infinite():
    assert math.isinf(effective_dof([1.0, 2.0], [math.inf, math.inf]))
    with pytest.raises(InputError):
        effective_dof([1.0], [1.0, 2.0])


@given(
    a=st.floats(-5, 5),
    b=st.floats(-5, 5),
    u=st.floats(0.01, 2),
    v=st.floats(0.01, 2),
    r=st.floats(-0.95, 0.95),
)
@settings(max_examples=60, deadline=None)
def test_linear_model_with_correlation_is_exact(a, b, u, v, r):
    """JCGM 100, eq. 13, in closed form for a linear model."""
    inputs = [Input("x", Normal(1.0, u)), Input("y", Normal(2.0, v))]
    found = first_order_std(lambda x, y: a * x + b * y, inputs, {("x", "y"): r})
    exact = math.sqrt(max((a * u) ** 2 + (b * v) ** 2 + 2 * a * b * u * v * r, 0.0))
    assert found == pytest.approx(exact, rel=1e-6, abs=1e-9)


def test_faults_of_correlations_are_named():
    inputs = [Input("x", Normal(0, 1)), Input("y", Rectangular(-1, 1)), Input("z", Normal(0, 1))]
    total = lambda x, y, z: x + y + z  # noqa: E731
    with pytest.raises(UnknownNameError, match="input quantity"):
        first_order_std(total, inputs, {("x", "w"): 0.5})
    with pytest.raises(InputError, match="only normal inputs"):
        monte_carlo(total, inputs, size=10, correlations={("x", "y"): 0.5})
    with pytest.raises(InputError, match="cannot hold together"):
        pairs = {("x", "z"): 0.9, ("x", "y"): 0.9, ("y", "z"): -0.9}
        first_order_std(total, inputs, pairs)


def test_same_seed_same_draws():
    inputs = [Input("x", Normal(0, 1)), Input("y", Rectangular(-1, 1))]
    first, second = (monte_carlo(lambda x, y: x * y, inputs, size=1000, seed=3) for _ in range(2))
    assert np.array_equal(first.values, second.values)

"""What an outcome is worth, against closed forms of linear Gaussian decisions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from roomfield.errors import InputError
from roomfield.field.information import (
    PredictedObservation,
    best_option,
    gains_of,
    linear_worth,
    regret_left,
    shrunk,
    told_together,
    worth_of,
)

pytestmark = pytest.mark.published(
    "Raiffa and Schlaifer, Applied Statistical Decision Theory (1961), unit normal loss integral, chapter 5"
)
DRAWS = 2500


def unit_loss(u: float) -> float:
    return float(norm.pdf(u) - u * norm.sf(u))


def two_options(mean: float, std: float, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Unknown theta; leave it at no cost, or act at a cost of -theta."""
    u = (np.arange(DRAWS) + 0.5) / DRAWS
    theta = np.random.default_rng(seed).permutation(mean + std * norm.ppf(u))
    return theta, np.column_stack([np.zeros(DRAWS), -theta])


@pytest.mark.parametrize(("mean", "noise"), [(0.0, 1.6), (-2.0, 1.6), (3.0, 4.0), (-4.0, 1.0)])
def test_one_reading_is_worth_what_the_normal_loss_integral_says(mean: float, noise: float) -> None:
    theta, loss = two_options(mean, 4.0)
    found = worth_of(loss, PredictedObservation.of_levels(theta, noise))
    moved = 16.0 / math.hypot(4.0, noise)
    exact = moved * unit_loss(abs(mean) / moved)
    assert found.regret_avoided == pytest.approx(exact, abs=3.0 * found.standard_error + 0.02 * exact)
    assert found.chance_changed == pytest.approx(norm.sf(abs(mean) / moved), abs=0.03)


def test_two_readings_are_worth_one_of_half_the_variance() -> None:
    theta, loss = two_options(-1.0, 4.0)
    one = PredictedObservation.of_levels(theta, 3.0)
    two = worth_of(loss, PredictedObservation.together([one, one]))
    half = worth_of(loss, PredictedObservation.of_levels(theta, 3.0 / math.sqrt(2.0)))
    moved = 16.0 / math.sqrt(16.0 + 4.5)
    for found in (two, half):
        assert found.regret_avoided == pytest.approx(moved * unit_loss(1.0 / moved), rel=0.06)


def test_eight_readings_are_worth_one_of_an_eighth_of_the_variance() -> None:
    theta, loss = two_options(-1.0, 4.0)
    eight = worth_of(loss, PredictedObservation.together([PredictedObservation.of_levels(theta, 6.0)] * 8))
    moved = 16.0 / math.sqrt(16.0 + 36.0 / 8.0)
    assert eight.regret_avoided == pytest.approx(moved * unit_loss(1.0 / moved), rel=0.08)


def test_perfect_knowledge() -> None:
    _, loss = two_options(-2.0, 4.0)
    assert regret_left(loss) == pytest.approx(4.0 * unit_loss(0.5), rel=0.005)
    assert best_option(loss) == 0


def test_an_error_shared_by_both_is_not_taken_for_news() -> None:
    """A meter that is wrong by as much as the level is unknown: only half of a reading is news."""
    theta, loss = two_options(-1.0, 3.0)
    gain = 3.0 * np.random.default_rng(5).standard_normal(DRAWS)
    moved = 9.0 / math.sqrt(9.0 + 9.0 + 1.0)
    found = worth_of(loss, PredictedObservation.of_levels(theta + gain, 1.0))
    assert found.regret_avoided == pytest.approx(moved * unit_loss(1.0 / moved), abs=4.0 * found.standard_error)


def test_what_has_nothing_to_do_with_the_decision_is_worth_nothing() -> None:
    _, loss = two_options(-2.0, 4.0)
    other = np.random.default_rng(3).standard_normal(DRAWS) * 5.0
    found = worth_of(loss, PredictedObservation.of_levels(other, 1.0))
    assert found.regret_avoided < 3.0 * found.standard_error + 0.02


def test_an_axis_repeats_after_half_a_turn() -> None:
    """Directions of 2 and 178 degrees are four degrees apart; one of 92 is another matter."""
    rng = np.random.default_rng(2)
    which = rng.integers(0, 2, DRAWS)
    axis = np.where(which == 0, rng.choice([2.0, 178.0], DRAWS), 92.0)
    loss = np.column_stack([which == 1, which == 0]).astype(float)
    found = worth_of(loss, PredictedObservation(axis[:, None], np.array([12.0]), np.array([180.0])))
    assert found.regret_avoided == pytest.approx(regret_left(loss), abs=0.03)


def test_draws_that_do_not_go_together_are_refused() -> None:
    with pytest.raises(InputError, match="one posterior"):
        worth_of(np.zeros((4, 2)), PredictedObservation.of_levels(np.zeros(5), 1.0))


def test_many_readings_with_errors_in_common_are_worth_what_the_normal_loss_integral_says() -> None:
    """Twenty-four readings, six errors shared among them: the best linear rule has the variance of the closed form."""
    ratio = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        theta, shared = rng.standard_normal(500), rng.standard_normal((500, 6))
        load, slope = 0.7 * rng.standard_normal((6, 24)), 0.3 * rng.standard_normal(24)
        loss = np.column_stack([100.0 * theta, np.zeros(500)])
        seen = PredictedObservation.of_levels(theta[:, None] * slope + shared @ load, 1.0)
        total = load.T @ load + np.eye(24) + np.outer(slope, slope)
        exact = 100.0 * math.sqrt(slope @ np.linalg.solve(total, slope)) * norm.pdf(0.0)
        ratio.append(worth_of(loss, seen, seed=seed).regret_avoided / exact)
    assert float(np.mean(ratio)) == pytest.approx(0.95, abs=0.1)


def test_what_only_tells_together_is_put_together() -> None:
    """A reading with the meter's error, and that error alone: the second tells nothing but beside the first."""
    rng = np.random.default_rng(11)
    theta, loss = two_options(-6.0, 4.0)
    error = 6.0 * rng.standard_normal(DRAWS)
    reading, check = PredictedObservation.of_levels(theta + error, 0.5), PredictedObservation.of_levels(error, 0.5)
    other = [PredictedObservation.of_levels(theta + 12.0 * rng.standard_normal(DRAWS), 0.5) for _ in range(6)]
    order = told_together(loss, [*other, check, reading], [1.0] * 8, 8)
    assert order[:2] == [7, 6]
    assert sorted(order) == list(range(8))
    pair = worth_of(loss, PredictedObservation.together([reading, check]))
    moved = 16.0 / math.sqrt(16.0 + 0.25 + 36.0 * 0.25 / 36.25)
    assert pair.regret_avoided == pytest.approx(moved * unit_loss(6.0 / moved), abs=4.0 * pair.standard_error)


def test_among_equals_the_shorter_is_put_first() -> None:
    theta, loss = two_options(-1.0, 4.0)
    same = PredictedObservation.of_levels(theta, 1.0)
    assert told_together(loss, [same, same, same], [3.0, 1.0, 2.0], 2) == [1, 2]
    assert told_together(loss[:, :1], [same, same], [1.0, 1.0], 8) == [0, 1]


@pytest.mark.parametrize(("mean", "noise"), [(0.0, 1.6), (-3.0, 1.6), (5.0, 4.0)])
def test_by_the_linear_rule_few_draws_find_the_normal_loss_integral(mean: float, noise: float) -> None:
    found, moved = [], 16.0 / math.hypot(4.0, noise)
    for seed in range(8):
        theta, loss = two_options(mean, 4.0, seed)
        found.append(linear_worth(loss[:300], PredictedObservation.of_levels(theta[:300], noise)))
    exact = moved * unit_loss(abs(mean) / moved)
    assert float(np.mean(found)) == pytest.approx(exact, rel=0.12)
    assert float(np.std(found)) < 0.25 * exact + 0.02


def test_by_the_linear_rule_chance_is_no_news() -> None:
    theta, loss = two_options(-3.0, 4.0)
    noise = PredictedObservation.of_levels(np.random.default_rng(9).normal(0.0, 3.0, (300, 40)), 1.0)
    true = 4.0 * unit_loss(3.0 / 4.0)
    assert linear_worth(loss[:300], noise) < 0.15 * true
    assert linear_worth(loss[:, :1], PredictedObservation.of_levels(theta, 1.0)) == 0.0
    turning = PredictedObservation(theta[:, None], np.array([10.0]), np.array([180.0]))
    assert linear_worth(loss, turning) == 0.0


@pytest.mark.calculated(
    "true worth known: none, or the unit normal loss integral; the best of many estimates lies over it"
)
def test_the_best_of_many_worthless_outcomes_is_told_worth_little() -> None:
    """Two options that cost about the same, and thirty outcomes that have nothing to do with either."""
    raw, told = [], []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        cost = 1500.0 * rng.standard_normal((500, 1))
        loss = np.hstack([cost, np.full((500, 1), 100.0)])
        gains = np.stack(
            [gains_of(loss, PredictedObservation.of_levels(5.0 * rng.standard_normal(500), 1.6))[0] for _ in range(30)]
        )
        raw.append(gains.mean(axis=1).max())
        told.append(shrunk(gains).mean.max())
    assert np.mean(raw) > 20.0
    assert np.mean(np.maximum(told, 0.0)) < 0.4 * np.mean(raw)


@pytest.mark.calculated(
    "true worth known: none, or the unit normal loss integral; the best of many estimates lies over it"
)
def test_what_is_worth_much_keeps_its_worth_among_many() -> None:
    """One outcome of thirty says half of what parts two options: its worth stays that of the closed form, and first."""
    told = []
    for seed in range(6):
        rng = np.random.default_rng([seed, 3])
        theta = 1500.0 * rng.standard_normal(500)
        loss = np.column_stack([theta, np.full(500, 300.0)])
        good = PredictedObservation.of_levels(theta / 1500.0, 1.0)
        others = [PredictedObservation.of_levels(5.0 * rng.standard_normal(500), 1.6) for _ in range(29)]
        found = shrunk(np.stack([gains_of(loss, one)[0] for one in [good, *others]]))
        assert np.argmax(found.mean - found.std) == 0
        told.append(found.mean[0])
    explained = 1500.0 / np.sqrt(2.0)
    exact = explained * unit_loss(300.0 / explained)
    assert np.mean(told) == pytest.approx(exact, rel=0.15)

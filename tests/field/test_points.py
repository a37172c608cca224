"""Levels from points alone: recovery, coverage by simulation, sharing, bounds, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtri
from scipy.stats import qmc

from roomfield.errors import InputError
from roomfield.field.links import (
    WALL_MEAN_DB,
    WALL_STD_DB,
    Centre,
    Hyper,
    LinkCovariance,
    LinkVariance,
    PointLinks,
    centre_of,
    log_distance,
    prior_mean,
    stretch_overlap,
    way_overlap,
)
from roomfield.field.locate_points import locate_points
from roomfield.field.pair_sums import PairSums
from roomfield.field.points import PRIOR_MEDIANS, STRUCTURES, hyper_of, infer_points

EXTENT_M = 15.0


def site(rng: np.random.Generator, n: int = 60) -> np.ndarray:
    return np.column_stack([rng.uniform(0.0, 12.0, n), rng.uniform(0.0, 9.0, n), np.full(n, 1.0)])


def drawn_field(rng: np.random.Generator, scales: np.ndarray, points: np.ndarray, positions: np.ndarray):
    """A field of every emitter at all points, drawn from the model's own prior."""
    m = len(positions)
    links = PointLinks(np.tile(points, (m, 1)), np.repeat(np.arange(m), len(points)), positions)
    hyper, centre = hyper_of(scales, EXTENT_M), Centre(-50.0, -8.0, None)
    covariance = LinkCovariance(links, links, levels=False)(hyper, centre) + 1e-8 * np.eye(len(links))
    field = prior_mean(links, hyper, centre) + np.linalg.cholesky(covariance) @ rng.standard_normal(len(links))
    return (field + hyper.noise_db * rng.standard_normal(len(links))).reshape(m, len(points))


def test_covariance_of_links_is_valid_and_its_diagonal_agrees() -> None:
    rng = np.random.default_rng(0)
    positions = np.array([[2.0, 2.0, 1.0], [2.1, 2.0, 1.0], [9.0, 7.0, 2.0]])
    links = PointLinks(
        np.tile(site(rng, 20), (3, 1)), np.repeat(np.arange(3), 20), positions, rng.integers(0, 3, (60, 2)) * 1.0
    )
    hyper, centre = hyper_of(np.zeros(6), EXTENT_M), Centre(0.0, -6.0, np.array([1.0, 1.0]))
    full = LinkCovariance(links, links)(hyper, centre)
    assert np.linalg.eigvalsh(full).min() > -1e-8 * np.trace(full)
    np.testing.assert_allclose(np.diag(full), LinkVariance(links)(hyper, centre), rtol=1e-10)


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("materials", [0, 2])
def test_compiled_sums_agree_with_the_covariance_written_out(known: bool, materials: int) -> None:
    """Peer: `links` in NumPy and the multivariate normal density of SciPy."""
    rng = np.random.default_rng(1)
    positions = np.array([[2.0, 2.0, 1.0], [2.1, 2.0, 1.0], [9.0, 7.0, 2.0]]) if known else None
    walls = rng.integers(0, 3, (60, materials)) * 1.0 if materials else None
    links = PointLinks(np.tile(site(rng, 20), (3, 1)), np.repeat(np.arange(3), 20), positions, walls)
    level = rng.normal(-50.0, 6.0, 60)
    centre = centre_of(links, level)
    hypers = [hyper_of(rng.normal(size=len(which)), EXTENT_M, which) for which in STRUCTURES]
    sums = PairSums(links, links, centre)
    for hyper in hypers:
        value = sums.log_evidences([hyper], level)[0]
        full = LinkCovariance(links, links)(hyper, centre)
        np.testing.assert_allclose(sums.covariance(hyper), full, atol=1e-9)
        np.testing.assert_allclose(np.diag(full), LinkVariance(links)(hyper, centre), rtol=1e-10)
        noisy = full + hyper.noise_db**2 * np.eye(60)
        expected = stats.multivariate_normal(prior_mean(links, hyper, centre), noisy).logpdf(level)
        assert value == pytest.approx(expected, abs=1e-6)


def test_stretches_shared_by_two_links() -> None:
    """From (0, 0) to (4, 3) and from (1, 5) to (6, 2): x shares 1 to 4, y shares 2 to 3."""
    positions = np.array([[0.0, 0.0, 0.0], [1.0, 5.0, 0.0]])
    links = PointLinks(np.array([[4.0, 3.0, 0.0], [6.0, 2.0, 0.0]]), np.array([0, 1]), positions)
    np.testing.assert_allclose(stretch_overlap(links, links), [[7.0, 4.0], [4.0, 8.0]])


def test_a_corridor_is_found() -> None:
    """12 readings: off the emitter's row 10 dB are lost (three light walls; common practice, no source)."""
    rng = np.random.default_rng(3)
    emitter = np.array([0.0, 0.0, 0.0])
    points = np.column_stack([rng.uniform(1.0, 20.0, 60), rng.choice([0.0, 4.0, -4.0], 60), np.zeros(60)])
    level = -40.0 - 20.0 * np.log10(np.linalg.norm(points, axis=1)) - 10.0 * (points[:, 1] != 0.0)
    level += rng.normal(0.0, 1.5, 60)
    found = infer_points(points[:12], level[:12], emitter_positions={"": emitter}, extent_m=22.0)
    error = found.levels(points[12:]).mean_db - level[12:]
    assert found.structure_weights[0] < 0.2
    assert found.structure_weights.sum() == pytest.approx(1.0)
    assert np.sqrt(np.mean(error**2)) < 2.8


def test_loss_along_one_way_has_the_variance_of_the_integral() -> None:
    """Double integral of exp(-|s - t| / L) / (2 L) over a segment of length d: d - L (1 - exp(-d / L))."""
    length_m = 1.5
    for d in (0.5, 2.0, 4.0):
        way = PointLinks(np.array([[d, 0.0, 0.0]]), np.array([0]), np.zeros((1, 3)))
        exact = d - length_m * (1.0 - np.exp(-d / length_m))
        assert way_overlap(way, way)[0, 0] == pytest.approx(exact, rel=0.06)


@pytest.mark.published("COST 231 final report, chapter 4: 0.62 dB/m on one floor of a dense office (from memory)")
def test_walls_met_at_random_cost_on_average_what_their_scatter_says() -> None:
    """Walls as a Poisson process of 0.18 per metre, each with its own loss: mean and variance by simulation."""
    rng = np.random.default_rng(12)
    length_m, per_m = 15.0, 0.18
    losses = np.array(
        [rng.normal(WALL_MEAN_DB, WALL_STD_DB, n).sum() for n in rng.poisson(per_m * length_m, 40_000)]
    )  # fmt: skip
    way = PointLinks(np.array([[length_m, 0.0, 0.0]]), np.array([0]), np.zeros((1, 3)))
    centre = Centre(0.0, float(log_distance(way, 1.0)[0]), None, ways=np.zeros(2))
    hyper = Hyper(1.0, 1.0, 1.0, 1.0, 1.0, losses.var() / length_m)
    assert prior_mean(way, hyper, centre)[0] == pytest.approx(-losses.mean(), rel=0.03)
    assert -prior_mean(way, hyper, centre)[0] / length_m == pytest.approx(0.62, abs=0.1)


def test_counted_walls_carry_their_loss_themselves() -> None:
    way = PointLinks(np.array([[9.0, 0.0, 0.0]]), np.array([0]), np.zeros((1, 3)), np.array([[2.0]]))
    bare = PointLinks(way.points, way.emitter, way.positions)
    without, dense = (Hyper(1.0, 1.0, 1.0, 1.0, 1.0, rate, rate) for rate in (0.0, 4.0))
    centre, walled = Centre(-60.0, -9.0, None, ways=np.zeros(2)), Centre(-60.0, -9.0, np.zeros(1))
    assert prior_mean(bare, dense, centre)[0] < prior_mean(bare, without, centre)[0] - 5.0
    assert prior_mean(way, dense, walled)[0] == pytest.approx(prior_mean(way, without, walled)[0])


def test_intervals_hold_what_they_promise() -> None:
    """90 % intervals over fields drawn from the prior: 40 fields x 48 points; binomial error with correlation 2 %."""
    rng = np.random.default_rng(11)
    scales = ndtri(qmc.Sobol(6, seed=5).random(64))[:40]
    inside, half = [], []
    for point in scales:
        points, positions = site(rng), rng.uniform((1.0, 1.0, 1.0), (11.0, 8.0, 2.0), (1, 3))
        field = drawn_field(rng, point, points, positions)[0]
        found = infer_points(points[:12], field[:12], emitter_positions={"": positions[0]}, extent_m=EXTENT_M)
        levels = found.levels(points[12:])
        for store, coverage in ((inside, 0.9), (half, 0.5)):
            low, high = levels.interval_db(coverage)
            store.append(np.mean((field[12:] >= low) & (field[12:] <= high)))
    assert np.mean(inside) == pytest.approx(0.9, abs=0.04)
    assert np.mean(half) == pytest.approx(0.5, abs=0.07)


def test_emitters_of_one_survey_serve_each_other() -> None:
    rng = np.random.default_rng(2)
    alone, together = [], []
    for _ in range(4):
        points = site(rng, 50)
        positions = rng.uniform((1.0, 1.0, 1.0), (11.0, 8.0, 2.0), (5, 3))
        positions[1:3] = positions[0] + 0.1
        fields = drawn_field(rng, np.array([0.0, 0.5, 0.5, -0.5, 0.0, 1.0]), points, positions)
        names = "abcde"
        where = {n: p for n, p in zip(names, positions, strict=True)}
        chosen = [rng.permutation(50)[:8] for _ in names]
        joint = infer_points(
            np.vstack([points[c] for c in chosen]), np.concatenate([f[c] for f, c in zip(fields, chosen, strict=True)]),
            emitter=[n for n in names for _ in range(8)], emitter_positions=where, extent_m=EXTENT_M,
        )  # fmt: skip
        rest = np.setdiff1d(np.arange(50), chosen[0])
        single = infer_points(
            points[chosen[0]], fields[0][chosen[0]], emitter_positions={"a": where["a"]}, extent_m=EXTENT_M
        )
        together.append(np.mean((joint.levels(points[rest], ["a"] * len(rest)).mean_db - fields[0][rest]) ** 2))
        alone.append(np.mean((single.levels(points[rest]).mean_db - fields[0][rest]) ** 2))
    assert np.mean(together) < 0.9 * np.mean(alone)


def test_log_distance_law_is_recovered() -> None:
    """Noise of 1 dB about -30 - 10 x 2.2 log10 d (ITU-R P.1238 coefficient 22, corridor-like)."""
    rng = np.random.default_rng(4)
    points = site(rng, 40)
    emitter = np.array([1.0, 1.0, 1.0])
    truth = -30.0 - 22.0 * np.log10(np.linalg.norm(points - emitter, axis=1))
    found = infer_points(points[:25], truth[:25] + rng.normal(0.0, 1.0, 25), emitter_positions={"": emitter})
    levels = found.levels(points[25:], reading=False)
    assert np.sqrt(np.mean((levels.mean_db - truth[25:]) ** 2)) < 1.5
    assert np.mean(levels.std_db) < 3.0


def test_readings_below_the_floor_pull_down_and_are_not_taken_as_values() -> None:
    rng = np.random.default_rng(5)
    points = site(rng, 30)
    truth = -60.0 - 27.0 * np.log10(np.linalg.norm(points - points[0], axis=1) + 0.7)
    level, floor = truth + rng.normal(0.0, 1.0, 30), -80.0
    under = level < floor
    assert 8 < under.sum() < 25
    bounds = np.where(under, floor, level)
    censored = infer_points(points, bounds, censor=np.where(under, -1, 0)).levels(points[under], reading=False)
    faked = infer_points(points, bounds).levels(points[under], reading=False)
    low, high = censored.interval_db(0.9)
    assert np.mean((truth[under] >= low) & (truth[under] <= high)) > 0.8
    assert censored.mean_db.mean() < floor - 1.0 < faked.mean_db.mean()
    assert censored.cdf(floor).mean() > 0.85
    assert faked.cdf(floor).mean() < 0.75
    low, high = faked.interval_db(0.9)
    assert np.mean((truth[under] >= low) & (truth[under] <= high)) < 0.5


def test_same_seed_same_answer_and_points_alone_are_enough() -> None:
    rng = np.random.default_rng(6)
    points, level = rng.uniform(0.0, 10.0, (6, 2)), rng.normal(-50.0, 5.0, 6)
    first, second = (infer_points(points, level, seed=3).levels(points + 0.5) for _ in range(2))
    np.testing.assert_array_equal(first.mean_db, second.mean_db)
    far = infer_points(points, level).levels([[1000.0, 1000.0]])
    assert far.mean_db[0] == pytest.approx(level.mean(), abs=6.0)
    assert far.std_db[0] > 4.0


def test_counted_walls_lower_the_level() -> None:
    rng = np.random.default_rng(8)
    points, walls = site(rng, 30), rng.integers(0, 5, (30, 1)) * 1.0
    level = -40.0 - 5.0 * walls[:, 0] + rng.normal(0.0, 0.5, 30)
    found = infer_points(points, level, wall_counts=walls)
    drop = found.levels(points[:1], None, [[1.0]]).mean_db - found.levels(points[:1], None, [[4.0]]).mean_db
    assert drop[0] == pytest.approx(15.0, abs=1.5)


def test_an_emitter_is_found_from_levels_alone() -> None:
    rng = np.random.default_rng(9)
    misses, held = [], []
    for _ in range(12):
        points = site(rng, 20)
        place = rng.uniform((2.0, 2.0, 1.0), (10.0, 7.0, 1.0))
        level = -30.0 - 25.0 * np.log10(np.linalg.norm(points - place, axis=1) + 0.5) + rng.normal(0.0, 2.0, 20)
        found = locate_points(points, level)
        misses.append(np.hypot(*(found.centre - place[:2])))
        held.append(found.contains(place[:2], 0.9))
        assert found.probability.sum() == pytest.approx(1.0)
    assert np.median(misses) < 1.2
    assert np.mean(held) >= 0.75


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([], []), "no point"),
        (([[0.0, 1.0]], [np.nan]), "level is not a number"),
        (([[0.0, np.inf]], [1.0]), "point is not a number"),
        (([[0.0, 1.0], [1.0, 1.0]], [1.0]), "2 points, but 1 levels"),
    ],
)
def test_bad_points_are_refused_in_words(arguments: tuple, words: str) -> None:
    with pytest.raises(InputError, match=words):
        infer_points(*arguments)


def test_an_emitter_without_position_among_others_is_refused() -> None:
    with pytest.raises(InputError, match="'b' has readings but no position"):
        infer_points([[0, 0], [1, 1]], [1.0, 2.0], emitter=["a", "b"], emitter_positions={"a": (0, 0, 0)})
    with pytest.raises(InputError, match="two points"):
        locate_points([[0.0, 0.0]], [1.0])


def test_prior_scales_are_the_stated_medians_at_zero() -> None:
    hyper = hyper_of(np.zeros(6), 10.0)
    assert hyper.length_m == pytest.approx(10.0 * PRIOR_MEDIANS[0])
    assert hyper.noise_db == pytest.approx(PRIOR_MEDIANS[3])


@pytest.mark.published("ITU-R P.525-4: power flux-density of a point source falls with the square of the distance")
def test_a_transmitter_beside_a_narrow_path_lies_in_the_region():
    """Twelve levels along a path 16 m long and 2 m wide, the transmitter 3 m beside it."""
    rng = np.random.default_rng(3)
    held = 0
    for seed in range(10):
        path = np.column_stack([rng.uniform(0.0, 2.0, 12), rng.uniform(0.0, 16.0, 12)])
        truth = np.array([5.0, rng.uniform(3.0, 13.0)])
        level_db = -20.0 * np.log10(np.linalg.norm(path - truth, axis=1)) + rng.normal(0.0, 2.0, 12)
        held += locate_points(path, level_db, seed=seed).contains(truth)
    assert held >= 7


@pytest.mark.published("ITU-R P.525-4: power flux-density of a point source falls with the square of the distance")
def test_a_transmitter_beyond_what_is_searched_is_told_to_be_outside_with_a_direction():
    """Levels along a corridor of 14 m; the transmitter 9 m past its end, where nothing was searched."""
    rng = np.random.default_rng(6)
    right = 0
    for seed in range(6):
        path = np.column_stack([rng.uniform(0.0, 1.5, 12), rng.uniform(0.0, 14.0, 12)])
        truth = np.array([0.7, 23.0])
        level_db = -20.0 * np.log10(np.linalg.norm(path - truth, axis=1)) + rng.normal(0.0, 1.0, 12)
        found = locate_points(path, level_db, seed=seed)
        towards = found.open_towards_deg
        right += towards is not None and abs((towards + 180.0) % 360.0 - 180.0) < 45.0
    assert right >= 5


def test_the_point_told_of_a_transmitter_in_the_middle_is_not_open_and_near_it():
    rng = np.random.default_rng(9)
    points = np.column_stack([rng.uniform(0.0, 12.0, 40), rng.uniform(0.0, 9.0, 40)])
    truth = np.array([6.0, 4.0])
    level_db = -30.0 * np.log10(np.maximum(np.linalg.norm(points - truth, axis=1), 0.5)) + rng.normal(0.0, 1.0, 40)
    found = locate_points(points, level_db)
    assert found.open_towards_deg is None
    assert np.linalg.norm(found.centre - truth) < 1.0

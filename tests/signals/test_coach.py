"""The coach for hand scans, and the simulated hands that it learnt from."""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.hand_scans import GRID_M, GridFields, WaveFields, hand_scan
from scipy.stats import gamma

from roomfield.demo.plane_waves import PlaneWaves
from roomfield.errors import FormatError, RangeError
from roomfield.signals.coach.course import NAMES, RATE_HZ, course_numbers
from roomfield.signals.coach.forest import EDGES_DB, ScanShortfall, shortfall_forest
from roomfield.signals.coach.scan_advice import ScanAdvice, ScanCoach, _next_part, answer
from roomfield.signals.coach.search import SEARCH_NAMES, ScanPart, search_numbers


def rich_field(seed: int, waves: int = 200) -> PlaneWaves:
    rng = np.random.default_rng(seed)
    way = rng.normal(size=(waves, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    across = np.cross(way, rng.normal(size=(waves, 3)))
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    phase = np.exp(2j * np.pi * rng.random(waves))
    return PlaneWaves(2 * np.pi / 0.12 * way, phase[:, None] * across / np.sqrt(waves))


@pytest.mark.published(
    "Rayleigh fading: power of one component is exponential, and the mean of the largest of N is the N-th harmonic number (order statistics of the exponential law, Renyi 1953; from memory)"
)
def test_one_component_of_a_rich_field_has_the_extremes_of_the_exponential_law():
    count, largest = 20, []
    mean = []
    for seed in range(400):
        points = np.random.default_rng([seed, 1]).uniform(-4, 4, (count, 3))
        power = np.abs(rich_field(seed).field(points)[:, 2]) ** 2
        largest.append(power.max())
        mean.append(power.mean())
    harmonic = np.sum(1 / np.arange(1, count + 1))
    assert np.mean(largest) / np.mean(mean) == pytest.approx(harmonic, rel=0.05)
    assert np.mean(mean) == pytest.approx(1 / 3, rel=0.05)


@pytest.mark.calculated("u' C u of a symmetric C is largest along its first eigenvector (Rayleigh-Ritz)")
def test_no_antenna_receives_more_than_the_largest_there_is():
    rng = np.random.default_rng(8)
    waves = [rich_field(8), rich_field(9)]
    grid = GridFields(np.stack([w.covariance(GRID_M).reshape(-1, 9) for w in waves], axis=1))
    points, axes = rng.uniform(-0.2, 0.2, (20_000, 3)), rng.normal(size=(20_000, 3))
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    for fields in (WaveFields(waves), grid):
        for members in (np.array([True, True]), np.array([False, True])):
            received = fields.received(points, axes)[members].sum(axis=0).max()
            assert 0.4 * fields.largest(rng, members) < received <= fields.largest(rng, members)
    at_point = grid.received(np.repeat(GRID_M[[17]], 3, axis=0), np.eye(3))
    np.testing.assert_allclose(at_point[0], np.diag(waves[0].covariance(GRID_M[[17]])[0]), rtol=1e-4)


def test_numbers_do_not_depend_on_the_unit():
    power = hand_scan(4).power_w_m2
    np.testing.assert_allclose(course_numbers(power), course_numbers(power * 1e-4), rtol=1e-6, atol=1e-9)
    assert len(course_numbers(power)) == len(NAMES)


def test_intervals_hold_on_scans_that_were_not_learnt_from():
    held, median = [], []
    for seed in range(900_000, 900_060):
        scan = hand_scan(seed)
        said = answer(scan.power_w_m2)
        gap = max(0.0, 10 * np.log10(scan.largest_w_m2 / scan.power_w_m2.max()))
        held.append(said.low_db <= gap <= said.high_db)
        median.append(gap <= said.shortfall_db)
    assert 0.78 <= np.mean(held) <= 0.99
    assert 0.3 <= np.mean(median) <= 0.7


def test_more_of_a_good_scan_leaves_less_to_find():
    good = [
        s for s in map(hand_scan, range(910_000, 910_030)) if s.turned and s.whole and len(s.power_w_m2) > 30 * RATE_HZ
    ]
    early = [answer(s.power_w_m2[: int(4 * RATE_HZ)]).shortfall_db for s in good]
    late = [answer(s.power_w_m2).shortfall_db for s in good]
    assert np.mean(late) < np.mean(early)


def test_a_hand_that_says_it_turns_is_believed():
    scans = [hand_scan(seed) for seed in range(920_000, 920_020)]
    turned = [answer(s.power_w_m2, True).high_db for s in scans]
    fixed = [answer(s.power_w_m2, False).high_db for s in scans]
    assert np.mean(turned) < np.mean(fixed)


def test_the_coach_begins_by_listening_and_asks_to_turn_where_nobody_does():
    coach = ScanCoach(turns=False)
    assert coach.push(np.full(25, 1e-5)).advice is ScanAdvice.LISTEN
    said = coach.push(hand_scan(900_001).power_w_m2[:600])
    assert said.advice in (ScanAdvice.TURN, ScanAdvice.SLOWER)
    assert said.low_db <= said.shortfall_db <= said.high_db


def test_levels_that_cannot_be_are_refused():
    with pytest.raises(FormatError, match="negative"):
        ScanCoach().push([1.0, -1.0])
    with pytest.raises(RangeError, match="length of the scan"):
        ScanCoach().push(np.ones(40_000))


def test_the_forest_gives_whole_distributions():
    found = shortfall_forest().shortfall(course_numbers(hand_scan(3).power_w_m2))
    assert found.chance.sum() == pytest.approx(1.0, abs=1e-6)
    assert found.within(EDGES_DB[-1]) == pytest.approx(1.0)


@pytest.mark.calculated("quantiles of the told distribution itself: nine tenths of it lie between the ends")
def test_the_interval_holds_nine_tenths_also_where_nothing_may_be_missing():
    chance = np.zeros(len(EDGES_DB) - 1)
    for first, last in ((2, 8), (8, 20)):
        chance[:] = 0.0
        chance[first:last] = 1.0 / (last - first)
        told = ScanShortfall(chance, 1.0, 1.0, 0.2, 1.0, np.array([0.0, 1.0]), np.array([0.0, 1.0]))
        low, high = told.interval_db
        within = told.within(high) - (told.within(low) if low > 0.0 else 0.0)
        assert within == pytest.approx(0.9, abs=1e-9)
        assert (low == 0.0) == (first == 2)


def test_a_mark_at_a_loud_spot_counts_from_its_moment():
    power = hand_scan(940_003, coached=True).power_w_m2
    heard, marked, back = ScanCoach(True), ScanCoach(True, marked=True), ScanCoach(True, marked=True)
    for coach, part in ((heard, None), (marked, None), (back, ScanPart.SPOT)):
        coach.push(power[:900])
        said = coach.push(power[900:1500], begins=part)
        assert said.low_db <= said.shortfall_db <= said.high_db
    assert marked.push(power[1500:1505]).high_db >= back.push(power[1500:1505]).high_db


def test_heights_of_the_spots_are_told_apart_and_the_second_sweep_from_them():
    """Levels as steps: a sweep at -6 dB, a spot at 0, the second sweep at -2, a spot at -1 (dB re the highest)."""
    levels = np.repeat([-6.0, 0.0, -2.0, -1.0], [500, 250, 500, 250])
    marks = [(500, ScanPart.SPOT), (750, ScanPart.AGAIN), (1250, ScanPart.SPOT)]
    numbers = dict(zip(SEARCH_NAMES, search_numbers(10 ** (levels / 10), marks), strict=True))
    assert (numbers["spots"], numbers["sweep_s"], numbers["again_s"]) == (2.0, 10.0, 10.0)
    assert numbers["rise_db"] == pytest.approx(6.0)
    assert numbers["spot_2_under_db"] == pytest.approx(1.0)
    assert numbers["again_under_db"] == pytest.approx(2.0)
    assert numbers["spots_after_again"] == 1.0


def test_the_coach_leads_from_the_sweep_to_the_loudest_spot_to_a_second_sweep_to_the_next_spots():
    marks = [(800, ScanPart.SPOT), (1500, ScanPart.AGAIN), (3100, ScanPart.SPOT)]
    assert _next_part(marks[:1], 1000, fresh=False) is ScanAdvice.STAY
    assert _next_part(marks[:1], 1500, fresh=False) is ScanAdvice.AGAIN
    assert _next_part(marks[:2], 2000, fresh=False) is ScanAdvice.AGAIN
    assert _next_part(marks[:2], 3050, fresh=False) is ScanAdvice.BACK
    assert _next_part(marks, 3200, fresh=False) is ScanAdvice.STAY
    assert _next_part(marks, 3800, fresh=False) is ScanAdvice.BACK


@pytest.mark.published(
    "Renyi 1953 (from memory): the k-th spacing of the order statistics of N exponential values has the mean 1/k, so that the "
    "largest stands over the second by 1 mean, whatever N"
)
def test_the_largest_of_independent_spots_of_one_component_stands_one_mean_over_the_second():
    spacings, mean = [], []
    for seed in range(600):
        points = np.random.default_rng([seed, 2]).uniform(-4, 4, (20, 3))
        power = np.sort(np.abs(rich_field(seed, 60).field(points)[:, 2]) ** 2)
        spacings.append(power[-1] - power[-2])
        mean.append(power.mean())
    assert np.mean(spacings) / np.mean(mean) == pytest.approx(1.0, rel=0.12)


@pytest.mark.published(
    "Hill, Electromagnetic Fields in Cavities, 2009, chapter 7 (from memory): the squared magnitude of the total field in a "
    "diffuse field is chi-squared with six degrees of freedom, that is gamma-distributed with shape 3"
)
def test_all_three_components_of_a_rich_field_follow_the_gamma_law_of_shape_three():
    rng = np.random.default_rng(3)
    single = np.concatenate(
        [(np.abs(rich_field(seed, 60).field(rng.uniform(-4, 4, (4, 3)))) ** 2).sum(axis=1) for seed in range(500)]
    )
    assert np.mean(single) == pytest.approx(1.0, rel=0.05)
    assert np.var(single) / np.mean(single) ** 2 == pytest.approx(1 / 3, rel=0.1)
    assert np.quantile(single, 0.95) / np.mean(single) == pytest.approx(gamma.ppf(0.95, 3) / 3, rel=0.06)

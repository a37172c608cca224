"""Intervals of dependent values: coverage against a known truth, and against statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.tsa.stattools import acf

from roomfield.logs.autocorrelation import half_width
from roomfield.logs.intervals import inflation, mean_error, mean_interval, median_interval


def wandering(rng: np.random.Generator, n: int, phi: float) -> np.ndarray:
    """A stationary AR(1) series of unit variance."""
    noise = rng.normal(size=n) * np.sqrt(1 - phi**2)
    noise[0] = rng.normal()
    for i in range(1, n):
        noise[i] += phi * noise[i - 1]
    return noise


@pytest.mark.published("variance of the mean of an AR(1) series: Box, Jenkins, Reinsel, Time Series Analysis, 2.1.5")
@pytest.mark.parametrize("phi", [0.0, 0.5, 0.8])
def test_the_factor_of_dependence_of_a_long_ar1_series(phi):
    rng = np.random.default_rng(11)
    found = [inflation(wandering(rng, 4000, phi)) for _ in range(15)]
    assert np.median(found) == pytest.approx((1 + phi) / (1 - phi), rel=0.12)


@pytest.mark.published("statsmodels.tsa.stattools.acf, statsmodels 0.15")
def test_an_alternating_series_is_not_thought_dependent():
    values = np.tile([1.0, 2.0], 50) + np.random.default_rng(0).normal(0, 0.01, 100)
    assert acf(values, nlags=1)[1] < -0.9
    assert inflation(values) == 1.0


@pytest.mark.published("Student's t interval, scipy.stats.ttest_1samp")
def test_independent_values_get_about_students_interval():
    rng = np.random.default_rng(3)
    ratios = []
    for _ in range(60):
        values = rng.normal(10, 0.5, 40)
        student = stats.ttest_1samp(values, 0).confidence_interval(0.95)
        ours = mean_interval(values)
        ratios.append((ours.high - ours.low) / (student.high - student.low))
    assert 1.0 <= np.median(ratios) < 1.15
    assert min(ratios) >= 0.99


@pytest.mark.parametrize(
    ("days", "phi", "least"), [(14, 0.0, 0.92), (30, 0.5, 0.89), (365, 0.5, 0.92), (365, 0.7, 0.91)]
)
def test_the_interval_holds_the_truth_about_as_often_as_it_says(days, phi, least):
    """Lognormal days with a working week; the truth is known in closed form. 300 trials: one sigma is 1.3 %."""
    rng = np.random.default_rng(days)
    week = np.where(np.arange(days) % 7 < 5, 1.0, 0.5)
    whole_weeks = np.exp(0.4**2 / 2) * week.mean()
    hits = 0
    for _ in range(300):
        found = mean_interval(np.exp(0.4 * wandering(rng, days, phi)) * week)
        hits += found.low <= whole_weeks <= found.high
    assert hits / 300 >= least


def test_the_median_interval_holds_the_median():
    rng = np.random.default_rng(8)
    hits = [
        found.low <= 1.0 <= found.high
        for found in (median_interval(np.exp(wandering(rng, 90, 0.5))) for _ in range(300))
    ]
    assert np.mean(hits) >= 0.92


def test_ignoring_dependence_would_be_too_sure():
    rng = np.random.default_rng(2)
    values = np.exp(0.4 * wandering(rng, 400, 0.8))
    naive = values.std(ddof=1) / np.sqrt(values.size)
    assert mean_error(values).error > 2 * naive


def test_too_few_values_have_no_interval():
    assert mean_interval(np.array([1.0, 2.0])).low is None
    assert mean_interval(np.array([np.nan, np.nan])).low is None
    assert median_interval(np.array([1.0, 2.0, 3.0])).low is None
    known = mean_interval(np.array([1.0, np.nan, 2.0, np.nan, 3.0]))
    assert known.value == 2.0
    assert known.low < 2.0 < known.high
    assert mean_interval(np.full(10, 3.0)).low == pytest.approx(3.0)


@pytest.mark.published(
    "Kendall, Biometrika 41 (1954) 403-404: E(r) = phi - (1 + 3 phi) / n for n - 1 pairs; r from statsmodels"
)
@pytest.mark.parametrize(("n", "seed"), [(8, 1), (12, 2), (20, 3), (40, 4)])
def test_the_factor_is_never_under_that_of_an_unbiased_neighbour(n, seed):
    """The corrected r solves Kendall's expectation for phi: r = phi - (1 + 3 phi) / n."""
    rng = np.random.default_rng(seed)
    at_model = 0
    for _ in range(60):
        values = wandering(rng, n, 0.5)
        r = float(acf(values, nlags=1, adjusted=True)[1])
        phi = min((r + 1.0 / n) / (1.0 - 3.0 / n), 0.95) if n > 4 else r
        wanted = float(np.clip((1.0 + phi) / (1.0 - phi), 1.0, n / 2))
        found = inflation(values)
        assert found >= wanted * (1.0 - 1e-9)
        at_model += found == pytest.approx(wanted, rel=1e-6)
    assert at_model >= 5, "where the pairs add up to less, the model's factor is the answer"


@pytest.mark.calculated("E(s²) = sigma² (n - f) / (n - 1) for a mean whose variance is f sigma² / n; t by scipy.stats")
def test_a_long_memory_widens_by_the_factor_and_by_what_the_sample_variance_lacks():
    rng = np.random.default_rng(8)
    widest = 0
    for _ in range(20):
        values = np.repeat(wandering(rng, 12, 0.6), 7) + 0.3 * rng.normal(size=84)
        n, factor = values.size, inflation(values)
        sigma = np.sqrt(values.var(ddof=1) * (n - 1) / (n - factor))
        half = stats.t.ppf(0.975, max(n / factor - 1.0, 2.0)) * sigma * np.sqrt(factor / n)
        found = mean_error(values, 0.95)
        width = stats.t.ppf(0.975, found.freedom) * found.error
        assert width >= half * (1.0 - 1e-9)
        widest += width == pytest.approx(half, rel=1e-6)
    assert widest >= 5


@pytest.mark.calculated("ranks n / 2 -+ z sqrt(n f) / 2 of order statistics (Conover, 3.2), f the factor of the signs")
def test_a_long_memory_widens_the_ranks_of_a_median():
    rng = np.random.default_rng(9)
    for _ in range(20):
        values = np.repeat(wandering(rng, 30, 0.3), 7) + 0.1 * rng.normal(size=210)
        n, ordered = values.size, np.sort(values)
        factor = inflation(np.sign(values - np.median(values)))
        below = int(np.floor(n / 2 - stats.norm.ppf(0.975) * np.sqrt(n * factor) / 2))
        found = median_interval(values, 0.95)
        assert factor > 2.0 and found.low <= ordered[below - 1] and found.high >= ordered[n - below]


@pytest.mark.published(
    "Conover, Practical Nonparametric Statistics, 3rd ed., 3.2: ranks from the binomial distribution"
)
@pytest.mark.parametrize("n", [16, 21, 27])
def test_the_ranks_of_a_median_of_unlike_neighbours_are_those_of_the_binomial_distribution(n):
    """Values that jump from side to side show no likeness, so the exact ranks hold."""
    values = np.where(np.arange(n) % 2, 1.0, -1.0) * np.arange(1.0, n + 1.0)
    lowest = next(r for r in range(1, n) if stats.binom.cdf(r, n, 0.5) > 0.025)
    found = median_interval(values, 0.95)
    assert (found.low, found.high) == (np.sort(values)[lowest - 1], np.sort(values)[n - lowest])


def by_pairs(values: np.ndarray) -> float:
    """Geyer's initial positive sequence over autocorrelations of statsmodels, those above zero lifted for their bias."""
    n = values.size
    r = acf(values, nlags=n // 2 + 1, adjusted=True, fft=False)
    lifted = np.where(r > 0.0, np.minimum(r + (1.0 + 4.0 * r) / n, 0.99), r)
    pairs = [lifted[k] + lifted[k + 1] for k in range(1, n // 2, 2)]
    while_positive = next(k for k, pair in enumerate(pairs) if pair <= 0.0)
    return 1.0 + 2.0 * sum(pairs[:while_positive])


@pytest.mark.published(
    "Geyer, Statistical Science 7 (1992) 473-483: initial positive sequence; autocorrelations by statsmodels; "
    "bias (1 + 4 r) / n: Kendall, Biometrika 41 (1954) 403-404"
)
@pytest.mark.parametrize("noise", [0.0, 1.0, 2.0])
def test_a_slow_course_under_noise_counts_by_its_pairs(noise):
    """A neighbour under noise says little of a course that lasts, so that the pairs add up to more than the model."""
    rng = np.random.default_rng(5)
    at_pairs = 0
    for period in (40, 97, 300, 1000):
        values = np.sin(2 * np.pi * np.arange(1000) / period) + noise * rng.normal(size=1000)
        wanted, found = by_pairs(values), inflation(values)
        assert found >= wanted * (1.0 - 1e-9)
        at_pairs += found == pytest.approx(wanted, rel=1e-9)
    assert at_pairs >= (2 if noise else 1)


def test_what_can_be_said_of_dependence_has_ends():
    """Nothing of three values or of a constant; and at least two values' worth is left of any series."""
    assert inflation(np.array([1.0, 2.0, 3.0])) == 1.0
    assert inflation(np.full(30, 2.0)) == 1.0
    assert inflation(np.arange(4.0)) == 2.0
    assert inflation(np.arange(12.0)) == 6.0


@pytest.mark.published("Student's t interval, scipy.stats.ttest_1samp")
@pytest.mark.parametrize("n", [9, 20, 27])
def test_values_that_jump_from_side_to_side_have_exactly_students_interval(n):
    """Neighbours unlike each other make no interval narrower than independent values do."""
    values = 5.0 + np.where(np.arange(n) % 2, 1.0, -1.0) * (1.0 + 0.1 * np.arange(n))
    student = stats.ttest_1samp(values, 0).confidence_interval(0.95)
    found = mean_error(values, 0.95)
    assert (found.freedom, found.error) == pytest.approx((n - 1, stats.sem(values)))
    half = stats.t.ppf(0.975, found.freedom) * found.error
    assert (found.mean - half, found.mean + half) == pytest.approx((student.low, student.high))


@pytest.mark.calculated(
    "as many independent values as give the same width, n t² s² / (n w²), have that less one freedom"
)
@pytest.mark.parametrize("n", [5, 12, 24])
def test_alike_neighbours_leave_the_freedom_of_as_many_independent_values_and_at_least_two(n):
    rng = np.random.default_rng(n)
    least = 0
    for phi in (0.3, 0.6, 0.9, 0.98):
        for values in (wandering(rng, n, phi) for _ in range(6)):
            found, width = mean_error(values, 0.95), half_width(values, 0.95)
            student = stats.t.ppf(0.975, n - 1) * stats.sem(values)
            assert stats.t.ppf(0.975, found.freedom) * found.error == pytest.approx(max(width, student))
            worth = n * (student / max(width, student)) ** 2
            assert found.freedom == pytest.approx(np.clip(worth - 1.0, 2.0, n - 1.0))
            least += found.freedom == 2.0
    assert least >= 3


def test_values_all_the_same_have_no_error_and_the_freedom_of_independent_ones():
    found = mean_error(np.full(7, 3.0))
    assert (found.mean, found.error, found.freedom) == (3.0, 0.0, 6.0)


def test_an_interval_is_finite_however_little_is_known():
    """Three values at a confidence that three values cannot give: wide without measure, but a number."""
    found = mean_interval(np.array([1.0, 2.0, 900.0]), 1.0 - 1e-9)
    assert found.high / found.value == pytest.approx(np.exp(50.0)) == found.value / found.low


@pytest.mark.calculated("ranks n / 2 -+ n w / 2, w the half-width of a mean of signs, whose variance is one")
def test_alike_neighbours_widen_the_ranks_of_a_median_of_few_values():
    rng = np.random.default_rng(4)
    wider = 0
    for n in (18, 22, 26, 27):
        for values in (wandering(rng, n, 0.5) for _ in range(6)):
            ordered = np.sort(values)
            reach = n / 2 * half_width(np.sign(values - np.median(values)), 0.95, known_variance=1.0)
            plain = stats.norm.ppf(0.975) * np.sqrt(n) / 2
            below = int(np.floor(n / 2 - max(reach, plain)))
            found = median_interval(values, 0.95)
            ends = (ordered[below - 1], ordered[n - below]) if below >= 1 else (None, None)
            assert (found.low, found.high) == ends
            wider += below >= 1 and below < int(np.floor(n / 2 - plain))
    assert wider >= 5

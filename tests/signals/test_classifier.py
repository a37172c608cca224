"""The shipped trees: the same answer as scikit-learn's own, calibration, and what they may not claim."""

import numpy as np
import pytest
from benchmarks.signals_maker import BAGS, _learner, _linear, fit
from sklearn.linear_model import LogisticRegression

from roomfield.signals.classifier import (
    ANY,
    LINEAR_LIMIT,
    WITHOUT_EVIDENCE,
    forest_from,
    probabilities,
    shipped_forest,
)
from roomfield.signals.conditioning import condition
from roomfield.signals.features import gather, vector
from roomfield.signals.simulation.scene import random_scene


@pytest.mark.published("scikit-learn HistGradientBoostingClassifier and LogisticRegression on the same data")
def test_exported_parameters_answer_as_scikit_learn(capsys):
    rng = np.random.default_rng(0)
    matrix = rng.standard_normal((600, 12)).astype(np.float32)
    truth = matrix[:, 0] + matrix[:, 1] ** 2 > 1
    labels = np.where(truth, "dect", "")
    names = [f"f{i}" for i in range(12)]
    forest = forest_from(fit(matrix, names, labels))
    capsys.readouterr()
    rows = matrix[:100].astype(float)
    reference = np.mean(
        [_learner(seed).fit(matrix, truth).decision_function(matrix[:100]) for seed in range(BAGS)], axis=0
    )
    trees = np.array([forest.tree_odds(row)[0] for row in rows])
    np.testing.assert_allclose(trees, reference, atol=0.02)
    scaled = np.clip((matrix - matrix.mean(0)) / matrix.std(0), -LINEAR_LIMIT, LINEAR_LIMIT)
    linear = np.array([forest.linear_odds(row)[0] for row in rows])
    np.testing.assert_allclose(linear, _linear(scaled, truth).decision_function(scaled[:100]), atol=0.02)


def test_no_technology_is_more_probable_than_any_transmitter():
    for index in range(20):
        scene = random_scene(index, 4242)
        numbers = vector(gather(condition(scene.samples, scene.sample_rate_hz)))
        forest = shipped_forest()
        odds = dict(zip(forest.names, forest.log_odds(np.array([numbers[n] for n in forest.features])), strict=True))
        most = 1 / (1 + np.exp(-odds[ANY]))
        got = probabilities(numbers)
        assert ANY not in got
        assert max(got.values()) <= most + 1e-12


def test_shipped_features_are_those_the_detectors_give():
    scene = random_scene(3, 77)
    numbers = vector(gather(condition(scene.samples, scene.sample_rate_hz)))
    assert set(shipped_forest().features) <= set(numbers)
    assert all(np.isfinite(v) for v in numbers.values())


def test_no_claim_without_the_comb():
    numbers = dict.fromkeys(shipped_forest().features, 0.0)
    for name, chance in probabilities(numbers).items():
        if name in ("dect", "gsm", "tetra", "dmr", "wifi_beacon", "bluetooth_classic", "lte_fdd", "nr_tdd"):
            assert chance <= WITHOUT_EVIDENCE


def test_probabilities_are_calibrated_on_fresh_scenes():
    chances, truths = [], []
    for index in range(90):
        scene = random_scene(index, 987)
        present = {c.technology for c in scene.components}
        got = probabilities(vector(gather(condition(scene.samples, scene.sample_rate_hz))))
        chances += list(got.values())
        truths += [name in present for name in got]
    chances, truths = np.array(chances), np.array(truths)
    base = truths.mean()
    assert np.mean((chances - truths) ** 2) < 0.5 * base * (1 - base)
    assert chances.sum() == pytest.approx(truths.sum(), rel=0.25)
    line = LogisticRegression(C=1e3).fit(np.log(chances / (1 - chances) + 1e-12)[:, None], truths)
    assert 0.6 < line.coef_[0, 0] < 1.7

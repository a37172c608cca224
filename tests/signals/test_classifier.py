"""The shipped trees: the same answer as scikit-learn's own, calibration, and what they may not claim."""

from dataclasses import replace

import numpy as np
import pytest
from benchmarks import signals_maker
from benchmarks.signals_maker import (
    BAGS,
    INAUDIBLE_DB,
    Rows,
    _learner,
    _linear,
    _second_hearing,
    audible_rows,
    collect,
    fit,
    forest_from,
    keep_forest,
    trees_from,
)
from benchmarks.signals_third import fit_later, set_right, weigh_twice
from sklearn.linear_model import LogisticRegression

from roomfield.signals import classifier
from roomfield.signals.classifier import (
    ANY,
    FIRST_LIMIT,
    LINEAR_LIMIT,
    NAME_DOUBT,
    NARROW_DOUBT,
    WITH_MARK,
    WITHOUT_EVIDENCE,
    _before_mains,
    _floor,
    _off_grid,
    kept_forest,
    probabilities,
    shipped_forest,
)
from roomfield.signals.conditioning import condition
from roomfield.signals.features import gather, vector
from roomfield.signals.simulation.audio_scene import random_scene


def invented_rows(count=600, columns=12, seed=0):
    """Evidence in which one technology depends on two numbers and a second one on the first being there."""
    rng = np.random.default_rng(seed)
    matrix = rng.standard_normal((count, columns)).astype(np.float32)
    one = matrix[:, 0] + matrix[:, 1] ** 2 > 1
    two = ~one & (matrix[:, 2] > 0)
    levels = [{name: 20.0 for name, here in (("dect", a), ("gsm", b)) if here} for a, b in zip(one, two, strict=True)]
    return Rows(matrix, [f"f{i}" for i in range(columns)], levels), one


@pytest.mark.published("scikit-learn HistGradientBoostingClassifier and LogisticRegression on the same data")
def test_exported_parameters_answer_as_scikit_learn(capsys):
    rows, truth = invented_rows()
    forest = forest_from(fit(rows))
    capsys.readouterr()
    matrix, some = rows.matrix, rows.matrix[:100].astype(float)
    own = forest.names.index("dect")
    reference = np.mean(
        [_learner(seed).fit(matrix, truth).decision_function(matrix[:100]) for seed in range(BAGS)], axis=0
    )
    np.testing.assert_allclose([forest.first.odds(row)[own] for row in some], reference, atol=0.02)
    scaled = np.clip((matrix - matrix.mean(0)) / matrix.std(0), -LINEAR_LIMIT, LINEAR_LIMIT)
    linear = np.array([forest.linear_odds(row)[own] for row in some])
    np.testing.assert_allclose(linear, _linear(scaled, truth).decision_function(scaled[:100]), atol=0.02)


@pytest.mark.published("scikit-learn HistGradientBoostingClassifier on the first hearing's answers and the evidence")
def test_the_second_hearing_is_what_the_maker_fitted(capsys):
    rows, truth = invented_rows()
    levels = np.where(truth, 20.0, -np.inf)
    first = np.random.default_rng(1).standard_normal(truth.size).astype(np.float32)
    known = np.column_stack([first, rows.matrix]).astype(np.float32)
    made = _second_hearing(("dect", levels, first), matrix=known, seed=0)
    capsys.readouterr()
    trees = trees_from([made])
    reference = np.mean([_learner(50 + b).fit(known, truth).decision_function(known[:80]) for b in range(BAGS)], axis=0)
    np.testing.assert_allclose([trees.odds(row)[0] for row in known[:80].astype(float)], reference, atol=0.02)


def test_answers_are_the_calibrated_mean_of_both_hearings(capsys):
    rows, _ = invented_rows()
    forest = forest_from(fit(rows))
    capsys.readouterr()
    for row in rows.matrix[:10].astype(float):
        first = forest.first_odds(row)
        second = forest.second.odds(np.r_[np.clip(first, -FIRST_LIMIT, FIRST_LIMIT), row])
        np.testing.assert_allclose(forest.two_hearings(row), forest.slope * (first + second) / 2 + forest.shift)


def test_a_technology_too_faint_to_hear_is_no_example_of_either_kind():
    truth, usable = audible_rows(np.array([20.0, INAUDIBLE_DB - 0.1, -np.inf, INAUDIBLE_DB]))
    assert truth.tolist() == [True, True, False, True]
    assert usable.tolist() == [True, False, True, True]


def test_evidence_kept_in_pieces_is_taken_up_again(tmp_path, monkeypatch):
    monkeypatch.setattr(signals_maker, "PIECE", 2)
    whole = collect(3, 1, 41, 1, tmp_path)
    assert len(list(tmp_path.glob("*.npz"))) == 3
    next(tmp_path.glob("scenes-41-000002*")).unlink()
    again = collect(3, 1, 41, 1, tmp_path)
    np.testing.assert_array_equal(whole.matrix, again.matrix)
    assert whole.audible == again.audible and whole.names == again.names
    assert "length" not in whole.names and whole.matrix.shape == (4, len(whole.names))
    present = {c.technology for c in random_scene(0, 41).components}
    assert set(whole.audible[0]) == present


def test_no_technology_is_more_probable_than_any_transmitter_unless_a_clock_made_its_lines():
    for index in range(20):
        scene = random_scene(index, 4242)
        numbers = vector(gather(condition(scene.samples, scene.sample_rate_hz)))
        forest = shipped_forest()
        odds = dict(zip(forest.names, forest.odds_on_path(numbers), strict=True))
        most = 1 / (1 + np.exp(-odds[ANY]))
        most = max(most, classifier.WITH_MARK) if classifier._clocked(numbers) else most
        got = probabilities(numbers)
        assert ANY not in got
        assert max(got.values()) <= most + 1e-12


def test_shipped_features_are_those_the_detectors_give():
    scene = random_scene(3, 77)
    numbers = vector(gather(condition(scene.samples, scene.sample_rate_hz)))
    assert set(shipped_forest().evidence_names) <= set(numbers)
    assert all(np.isfinite(v) for v in numbers.values())


def test_no_claim_without_the_comb():
    numbers = dict.fromkeys(shipped_forest().evidence_names, 0.0)
    for name, chance in probabilities(numbers).items():
        if name in ("dect", "gsm", "tetra", "dmr", "wifi_beacon", "bluetooth_classic", "lte_fdd", "nr_tdd"):
            assert chance <= WITHOUT_EVIDENCE


@pytest.mark.published("Bluetooth Core Vol 2 Part B: slots of 625 us, so a comb of 1600 Hz and gaps in whole slots")
def test_slots_in_comb_and_gaps_suffice():
    mark = {
        "lattice.625.wide.score": float(np.arcsinh(20.0)), "bt1600.score": float(np.arcsinh(40.0)), "slots.both": 4.0,
    }  # fmt: skip
    numbers = dict.fromkeys(shipped_forest().evidence_names, 0.0)
    assert _floor("bluetooth_classic", numbers | mark) == WITH_MARK
    for key in mark:
        assert _floor("bluetooth_classic", numbers | mark | {key: 0.0}) == 0.0
    assert _floor("dect", numbers | mark) == 0.0


def test_strays_of_a_dimmer_are_no_broadcast():
    numbers = dict.fromkeys(shipped_forest().evidence_names, 0.0)
    lines = {"dvbt.score": float(np.arcsinh(120.0))}
    dimmer = {"mains100.score": float(np.arcsinh(260.0)), "100odd.score": float(np.arcsinh(20.0))}
    lte = {"mains100.score": float(np.arcsinh(260.0)), "200odd.score": float(np.arcsinh(300.0))}
    assert _before_mains(numbers | lines) and _before_mains(numbers | lines | lte)
    assert not _before_mains(numbers | lines | dimmer)


@pytest.mark.published("3GPP TS 36.211 clause 4: subframes of 1 ms, synchronisation every 5 ms")
def test_bursts_on_the_grid_of_a_certain_cellular_frame_are_no_telegrams():
    numbers = dict.fromkeys(shipped_forest().evidence_names, 0.0)
    on_grid = {"lattice.1000.wide": 0.99, "lattice.1000.wide.score": float(np.arcsinh(20.0))}
    frame = {"200odd.score": float(np.arcsinh(200.0))}
    assert _off_grid(numbers) and _off_grid(numbers | on_grid) and _off_grid(numbers | frame)
    assert not _off_grid(numbers | on_grid | frame)
    assert probabilities(numbers | on_grid | frame)["ism_remote"] <= WITHOUT_EVIDENCE


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


@pytest.mark.published("scikit-learn HistGradientBoostingClassifier and LogisticRegression on the same data")
def test_a_later_hearing_sets_right_what_it_helps(capsys):
    rows, truth = invented_rows()
    alone = forest_from(fit(rows))
    flipped = Rows(
        rows.matrix, rows.names, [{"dect": 20.0} if "dect" not in row else {"gsm": 20.0} for row in rows.audible]
    )
    two = np.array([alone.two_hearings(row) for row in rows.matrix.astype(float)])
    third, told = set_right(flipped, alone.names, two, weigh_twice(flipped, alone.names, two), two)
    capsys.readouterr()
    place = alone.names.index("dect")
    assert third is not None and place in third.owners
    assert np.mean((told[:, place] > 0) == ~truth) > 0.9
    forest = replace(alone, third=third)
    named = [dict(zip(rows.names, row, strict=True)) for row in rows.matrix[:80].astype(float)]
    odds = np.array([forest.all_odds(numbers)[place] for numbers in named])
    assert np.mean((odds > 0) == ~truth[:80]) > 0.9
    np.testing.assert_allclose(alone.all_odds(named[0]), alone.two_hearings(rows.matrix[0]))
    on_paths = replace(alone, narrow=third)
    for top_hz, answers, doubt in ((4000.0, forest, NARROW_DOUBT), (20000.0, alone, NAME_DOUBT)):
        heard = on_paths.odds_on_path(named[0] | {"band.top": float(np.log10(top_hz))})
        assert heard[place] == pytest.approx(answers.all_odds(named[0])[place] - doubt)


def test_a_later_hearing_weighs_twice_and_sums(capsys):
    rows, _ = invented_rows()
    alone = forest_from(fit(rows))
    two = np.array([alone.two_hearings(row) for row in rows.matrix.astype(float)])
    flipped = Rows(rows.matrix, rows.names, [{"dect": 20.0} if "dect" not in row else {} for row in rows.audible])
    third, _ = set_right(flipped, alone.names, two, weigh_twice(flipped, alone.names, two), two)
    capsys.readouterr()
    assert third is not None
    row = rows.matrix[5].astype(float)
    evidence = np.r_[np.clip(two[5], -FIRST_LIMIT, FIRST_LIMIT), row]
    once = third.once.odds(evidence)
    twice = third.twice.odds(np.r_[np.clip(once, -FIRST_LIMIT, FIRST_LIMIT), evidence])
    for i, owner in enumerate(third.owners):
        expected = third.sums[i] @ [evidence[owner], once[owner], twice[i], 1.0]
        assert third.log_odds(two[5], dict(zip(rows.names, row, strict=True)))[owner] == pytest.approx(expected)


def test_parameters_are_kept_and_found_again(tmp_path, capsys):
    rows, _ = invented_rows()
    rows = Rows(np.column_stack([rows.matrix, np.full(600, np.log10(4000.0))]), [*rows.names, "band.top"], rows.audible)
    alone = forest_from(fit(rows))
    flipped = Rows(rows.matrix, rows.names, [{"dect": 20.0} if "dect" not in row else {} for row in rows.audible])
    forest = fit_later(alone, rows, flipped)
    capsys.readouterr()
    assert forest.narrow is not None and alone.names.index("dect") in forest.narrow.owners
    keep_forest(replace(forest, third=None), tmp_path / "kept.npz")
    again = kept_forest(tmp_path / "kept.npz")
    forest = replace(forest, third=None)
    assert again.names == forest.names and again.features == forest.features and again.third is None
    numbers = dict(zip(rows.names, rows.matrix[3].astype(float), strict=True)) | {"band.top": float(np.log10(4000.0))}
    np.testing.assert_allclose(again.odds_on_path(numbers), forest.odds_on_path(numbers), atol=1e-5)
    with pytest.raises(OSError):
        kept_forest(tmp_path / "nowhere.npz")

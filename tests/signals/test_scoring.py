"""The scoring of claims against labels, counted by hand."""

import json

import pytest
from benchmarks.signals import hear_scene
from benchmarks.signals_scoring import Score, count_answer, summary


def label(*parts):
    return {
        "technologies": sorted({t for t, _ in parts}),
        "components": [{"tech": t, "snr_peak_env_db": s} for t, s in parts],
    }


@pytest.mark.published("F1 = 2 TP / (2 TP + FP + FN), van Rijsbergen, Information Retrieval, 1979")
def test_counts_and_f1():
    score = Score()
    count_answer(score, label(("dect", 20.0)), {"dect": 0.9, "gsm": 0.6}, {"dect", "gsm"})
    count_answer(score, label(("dect", 20.0), ("gsm", 20.0)), {"dect": 0.2, "gsm": 0.8}, {"gsm"})
    count_answer(score, label(), {"gsm": 0.7}, {"gsm"})
    got = summary(score)
    assert got["per_technology"]["dect"]["f1"] == pytest.approx(2 / 3, abs=1e-3)
    assert got["per_technology"]["gsm"]["f1"] == pytest.approx(2 / 4, abs=1e-3)
    assert got["macro_f1"] == pytest.approx((2 / 3 + 1 / 2) / 2, abs=1e-3)
    assert (got["false_on_negatives"], got["negatives"]) == (1, 1)


def test_what_cannot_be_heard_is_not_missed():
    score = Score()
    count_answer(score, label(("dect", 1.0)), {"dect": 0.1}, set())
    count_answer(score, label(("dect", 9.0)), {"dect": 0.9}, {"dect"})
    got = summary(score)
    assert got["macro_f1"] == pytest.approx(2 / 3, abs=1e-3)
    assert got["macro_f1_audible"] == pytest.approx(1.0)


def test_an_invented_scene_is_labelled_as_a_file_would_be():
    truth, chances = hear_scene((3, 77, False, ""))
    assert json.loads(json.dumps(truth)) == truth
    assert set(truth["technologies"]) == {part["tech"] for part in truth["components"]}
    assert all(0 <= chance <= 1 for chance in chances.values())

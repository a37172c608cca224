"""What recordings say of who makes the level: limits of the likelihood, its gradient, its pull on the answer."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize

from roomfield.field.contributions import contributions
from roomfield.field.diagnostics import FindingKind, diagnostics
from roomfield.field.heard import BASE_RATE, HeardRows, family_of, in_family
from roomfield.field.inference import infer
from roomfield.survey import HeardTechnology, Recording

_SPEC = importlib.util.spec_from_file_location("surveys", Path(__file__).with_name("surveys.py"))
surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(surveys)

ROUTER = surveys.emitter("router", (0.6, 0.6, 1.0), technology="wifi_beacon")
PHONE = surveys.emitter("phone", (7.4, 5.4, 1.0), technology="dect", frequency_hz=1.89e9)
MIDDLE = (4.3, 3.4, 1.0)


def rows(answer: float) -> HeardRows:
    on = np.ones((1, 2), dtype=bool)
    members = np.array([[True, False]])
    there, absent = np.array([answer / BASE_RATE]), np.array([(1.0 - answer) / (1.0 - BASE_RATE)])
    return HeardRows(("r",), np.array([0]), on, members, there, absent)


def level(first_db: float, second_db: float) -> np.ndarray:
    return np.array([[[first_db], [second_db]]])


@pytest.mark.calculated("Bayes' rule: posterior odds = likelihood ratio times prior odds")
@pytest.mark.parametrize("answer", [0.1, 0.5, 0.9])
def test_the_ratio_of_both_cases_turns_the_base_rate_into_the_answer(answer):
    audible, silent = (rows(answer).log_likelihood(level(first, -30.0))[0][0] for first in (20.0, -200.0))
    odds = np.exp(audible - silent) * BASE_RATE / (1.0 - BASE_RATE)
    assert odds / (1.0 + odds) == pytest.approx(answer, abs=0.005)  # an emitter alone is audible with 0.993


@pytest.mark.parametrize("first_db", [-60.0, -46.0, -30.0])
def test_its_gradient_is_that_of_finite_differences(first_db):
    def value(x):
        return rows(0.9).log_likelihood(x.reshape(1, 2, 1))[0][0]

    x = np.array([first_db, -30.0])
    found = rows(0.9).log_likelihood(x.reshape(1, 2, 1))[1].ravel()
    assert found == pytest.approx(optimize.approx_fprime(x, value, 1e-6), abs=1e-5)


def survey_with(recordings):
    made = surveys.survey((ROUTER, PHONE), [MIDDLE], {("all", surveys.PEAK): [1e-3]}, dwelling=surveys.flat())
    return replace(made, recordings=tuple(recordings))


def recording(*heard, state="all"):
    technologies = tuple(HeardTechnology(name, p) for name, p in heard)
    return Recording("rec", "v", "m", state, "0" * 64, "p0", heard=technologies, analysed_with="test")


def share_of_phone(recordings):
    found = contributions(infer(survey_with(recordings), draws=300), MIDDLE)
    return next(s for s in found if s.name == "phone")


def test_a_technology_heard_alone_moves_the_share_to_it():
    """Common practice, no source: one reading cannot part two devices; hearing one and not the other can."""
    without = share_of_phone([])
    heard = share_of_phone([recording(("dect", 0.95))])
    missed = share_of_phone([recording(("wifi_beacon", 0.95))])
    assert heard.probability_largest > without.probability_largest + 0.1
    assert missed.share.median < without.share.median - 0.1
    assert missed.probability_largest < without.probability_largest - 0.1


def test_what_no_emitter_explains_is_named():
    found = diagnostics(infer(survey_with([recording(("tetra", 0.9), ("dect", 0.9))]), draws=20))
    named = [f for f in found if f.kind is FindingKind.UNEXPLAINED]
    assert [f.subjects for f in named] == [("rec",)]
    assert "tetra" in named[0].text


def test_families_join_names_of_recordings_and_of_the_record():
    assert family_of("wifi_data") == "wifi" and family_of("radar") == ""
    assert in_family(surveys.emitter("e", technology="wlan_router"), "wifi")
    assert in_family(PHONE, "dect") and not in_family(PHONE, "wifi")

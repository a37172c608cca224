"""Paths that hang on no reading are kept from one posterior to the next, and are those worked out anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roomfield.field.inference import infer
from roomfield.field.path_gains import KNOWN, wall_slopes
from roomfield.remedy import baseline_paths
from roomfield.remedy.baseline_paths import Groundwork, KnownPaths
from roomfield.survey.dwelling import Dwelling


@pytest.fixture
def emptied(monkeypatch):
    monkeypatch.setattr(baseline_paths, "KNOWN_PATHS", KnownPaths())


def asked(posterior):
    points = np.array([p.position for p in posterior.survey.places if p.position is not None])
    return Groundwork(posterior).groups([], posterior.radiators.positions, points)


@pytest.mark.usefixtures("emptied")
def test_one_more_reading_traces_no_path_again(home, posterior, monkeypatch):
    first = asked(posterior)
    less = replace(posterior.survey, readings=posterior.survey.readings[1:])
    other = infer(less, seed=2, draws=100)
    monkeypatch.setattr(Groundwork, "_traced", lambda *_: pytest.fail("a path was traced again"))
    again = asked(other)
    assert np.array_equal(first.share, again.share) and np.array_equal(first.cell, again.cell)


@pytest.mark.usefixtures("emptied")
def test_paths_are_called_by_the_names_of_their_own_home(posterior):
    asked(posterior)
    dwelling = posterior.survey.dwelling
    named = Dwelling(**{**vars(dwelling), "walls": tuple(replace(w, id=f"x{w.id}") for w in dwelling.walls)})
    other = infer(replace(posterior.survey, dwelling=named), seed=1, draws=100)
    names = asked(other).entry_names
    assert {f"x{w.id}" for w in dwelling.walls} <= set(names)


def test_what_walls_change_is_kept_and_equal(posterior):
    points = np.array([p.position for p in posterior.survey.places if p.position is not None])
    given = (posterior.scene, posterior.radiators, points, posterior.materials)
    known = wall_slopes(*given)
    assert np.array_equal(wall_slopes(*given), known)
    KNOWN._tables.clear()
    KNOWN._bytes = 0
    assert np.array_equal(wall_slopes(*given), known)

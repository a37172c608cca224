"""Which outer wall is met in a direction, on the demo's plan; a neighbour's transmitter is told by it and by no spot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.field.inference import infer
from roomfield.field.locate import Whereabouts, locate
from roomfield.remedy.naming import outer_wall_towards
from roomfield.show.words import load_words
from roomfield.survey.emitter import Control
from roomfield.workbench.publish.contents.model_answers import whereabouts_of


@pytest.mark.parametrize(("bearing", "axis", "side"), [(0.0, 1, 1), (90.0, 0, 1), (180.0, 1, -1), (270.0, 0, -1)])
def test_the_outer_wall_in_a_direction(bearing, axis, side):
    dwelling = demo_survey().dwelling
    storey = dwelling.storeys[0].id
    found = outer_wall_towards(dwelling, storey, bearing)
    outer = [w for w in dwelling.walls if w.exterior and w.storey_id == storey]
    farthest = max(side * 0.5 * (w.start[axis] + w.end[axis]) for w in outer)
    met = next(w for w in outer if w.id == found.id)
    assert side * 0.5 * (met.start[axis] + met.end[axis]) == pytest.approx(farthest)


def test_no_wall_where_there_is_no_such_storey():
    assert outer_wall_towards(demo_survey().dwelling, "attic", 0.0) is None


def test_a_neighbours_transmitter_is_told_by_a_direction_and_never_at_a_spot():
    survey = demo_survey()
    moved = next(e for e in survey.emitters if e.position is not None and not e.outdoor)
    theirs = replace(moved, position=None, control=Control.NEIGHBOUR)
    survey = replace(survey, emitters=tuple(theirs if e.id == moved.id else e for e in survey.emitters))
    posterior = infer(survey, visit_id=FIRST.id, draws=100)
    found = locate(posterior, theirs.id)
    assert found.whereabouts is Whereabouts.DIRECTION
    assert found.centre is None and found.polygons == ()
    said = load_words("en").text(whereabouts_of(posterior, posterior.emitter_ids.index(theirs.id)))
    assert "from beyond the outer wall" in said or "direction" in said
    assert np.isfinite(posterior.x).all()

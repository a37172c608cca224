"""A part of the table of levels is the same as that part of the whole one, with an emitter of unknown position too."""

from __future__ import annotations

import numpy as np
import pytest

from roomfield.demo.invented_survey import demo_survey
from roomfield.field.inference import infer
from roomfield.field.posterior import level_table_db, levels_at, total_of
from roomfield.quantities import Kind


@pytest.fixture(scope="module")
def posterior():
    survey = demo_survey()
    return infer(survey, visit_id=survey.visits[0].id, seed=3, draws=60)


@pytest.mark.parametrize("kind", [Kind.PEAK, Kind.AVERAGE])
@pytest.mark.parametrize("moved", [{}, {"cordless": (2.0, 2.0, 1.0)}, {"hidden": (3.0, 3.0, 1.0)}])
def test_a_part_equals_that_part_of_the_whole(posterior, kind, moved):
    points = [p.position for p in posterior.survey.places]
    whole = level_table_db(posterior, points, kind=kind, emitter_positions=moved)
    assert whole.shape == (60, len(posterior.emitter_ids), len(points))
    for rows, columns in (([2], None), (None, [1, 4]), ([4, 0], [3])):
        part = level_table_db(posterior, points, kind=kind, emitter_positions=moved, rows=rows, columns=columns)
        chosen = whole[:, rows or slice(None)][:, :, columns or slice(None)]
        # A part may be traced from the other end, where other paths fall under the threshold of what is added.
        assert part == pytest.approx(chosen, abs=0.005)


def test_the_total_is_that_of_the_table(posterior):
    points = [p.position for p in posterior.survey.places]
    table = level_table_db(posterior, points, kind=Kind.PEAK)
    assert np.array_equal(
        total_of(posterior, table, posterior.x, Kind.PEAK, points=points).density_w_m2,
        levels_at(posterior, points, kind=Kind.PEAK).density_w_m2,
    )

"""What a scan finds above the mean, after some of the transmitters are gone."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import gamma

from roomfield.field.hand_scan import scan_gain
from roomfield.field.posterior import levels_at
from roomfield.field.priors import rice_factor
from roomfield.quantities import Kind
from roomfield.remedy.evaluator import Evaluator, crested
from roomfield.survey.action import Action, ActionKind

OFF = tuple(Action(f"no_{name}", name, ActionKind.SWITCH_OFF, (name,)) for name in ("router", "base", "mast"))


@pytest.mark.calculated("Largest of M sums of n exponential values: quantile 0.5^(1/M) of the gamma law (scipy.stats)")
@pytest.mark.parametrize("cells", [10, 20, 40])
@pytest.mark.parametrize("sources", [1, 2, 3, 4])
def test_largest_spot_of_several_equal_sources(cells, sources):
    one = gamma.ppf(0.5 ** (1.0 / cells), 1.0)
    exact = gamma.ppf(0.5 ** (1.0 / cells), sources) / sources
    each = np.full((sources, 1, 1), 1.0 / sources)
    found = crested(each, each * (one - 1.0))
    assert 10.0 * np.log10(found.item() / exact) == pytest.approx(0.0, abs=0.4)


@pytest.mark.calculated("Nothing done: the levels are the posterior's, draw by draw")
def test_nothing_done_is_the_level_as_found(posterior):
    evaluator = Evaluator(posterior, OFF, kind=Kind.HIGHEST_HELD)
    found = levels_at(posterior, [p.position for p in evaluator.places], kind=Kind.HIGHEST_HELD)
    assert evaluator.after([]).total_w_m2 == pytest.approx(found.density_w_m2, rel=1e-4)


@pytest.mark.calculated("One emitter left: its mean and its own largest spot; variances of independent emitters add")
@pytest.mark.parametrize("left", [0, 1, 2])
def test_what_is_left_stands_out_by_its_own_crest(posterior, left):
    evaluator = Evaluator(posterior, OFF, kind=Kind.HIGHEST_HELD)
    emitters = posterior.survey.emitters
    found = levels_at(posterior, [p.position for p in evaluator.places], kind=Kind.HIGHEST_HELD)
    rice = np.array([rice_factor(e) for e in emitters])
    over = 10 ** (scan_gain(np.array([e.frequency_hz for e in emitters]), rice).median_db / 10) - 1.0
    share = found.by_emitter_w_m2 / found.by_emitter_w_m2.sum(axis=1, keepdims=True)
    whole = 1.0 + np.sqrt(np.einsum("k,dkp->dp", over**2, share**2))
    expected = found.density_w_m2 / whole * share[:, left] * (1.0 + over[left])
    gone = [a.id for a in OFF if a.emitter_ids != (emitters[left].id,)]
    assert evaluator.after(gone).total_w_m2 == pytest.approx(expected, rel=1e-4)


def test_averages_add(posterior):
    evaluator = Evaluator(posterior, OFF, kind=Kind.AVERAGE)
    each = evaluator.contributions([])
    assert evaluator.after(["no_router"]).total_w_m2 == pytest.approx(each[1:].sum(axis=0).T, rel=1e-5)


@pytest.mark.parametrize("kind", [Kind.AVERAGE, Kind.PEAK])
def test_contributions_add_up_to_the_level(posterior, kind):
    evaluator = Evaluator(posterior, OFF, kind=kind)
    total = evaluator.after(["no_base"]).total_w_m2
    assert pytest.approx(total, rel=1e-5) == evaluator.contributions(["no_base"]).sum(axis=0).T

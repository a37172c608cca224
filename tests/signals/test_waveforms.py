"""The ear's evidence, and the simulator, held against waveforms on the standards' grids that share nothing with either."""

import numpy as np
import pytest
from benchmarks import waveforms
from benchmarks.waveforms import LAYOUTS, RATE_HZ

from roomfield.signals.conditioning import condition
from roomfield.signals.features import gather, vector

FDD = {"spacing": 15, "blocks": 52, "pattern": "D"}


def numbers(make, seed=0, seconds=2.0, **how):
    """Evidence of a waveform behind a square-law detector, with a little noise."""
    rng = np.random.default_rng(seed)
    power = make(rng, seconds, **how)
    sound = (power - power.mean())[::2] * 0.3
    noise = 0.02 * sound.std() * rng.standard_normal(sound.size)
    return vector(gather(condition((sound + noise).astype(np.float32), RATE_HZ / 2)))


@pytest.mark.published("3GPP TS 36.211 clauses 6.10.1.2 and 6.11, TS 38.211 clause 7.4, as waveforms of subcarriers")
def test_waveforms_of_lte_and_nr_part_by_their_reference_symbols():
    lte = [{"blocks": 25}, {"blocks": 25, "load": 0.6}, {"blocks": 25, "layout": LAYOUTS[2], "load": 0.4}]
    nr = [{"load": 0.0, "blocks": 24}, {"load": 0.6, "blocks": 24}, FDD | {"load": 0.5}]
    assert min(numbers(waveforms.lte, **how)["subframe.references"] for how in lte) > 0.6
    assert max(numbers(waveforms.nr, **how)["subframe.references"] for how in nr) < 0.5


@pytest.mark.published("3GPP TS 36.211 table 4.2-2 and clause 6.11: synchronisation and layouts of both kinds of LTE")
def test_waveforms_of_both_kinds_of_lte_part_by_their_frames():
    assert numbers(waveforms.lte, blocks=25)["model.lte"] > 0
    for layout in (LAYOUTS[1], LAYOUTS[2]):
        assert numbers(waveforms.lte, blocks=25, layout=layout, load=0.3)["model.lte"] < 0


@pytest.mark.published("3GPP TS 45.002 clause 5.2: bursts of 148 bits in slots of 156.25")
def test_guards_of_a_base_are_heard_as_single_lines():
    out = numbers(waveforms.gsm, slots=range(8), base=True)
    assert out["guard.first"] > 3 and out["guard.lead"] > 3


@pytest.mark.published(
    "3GPP TS 36.211 clause 6.10.1.2: two of twelve subcarriers are one port's references in their symbols"
)
def test_waveforms_carry_references_in_symbols_0_4_7_and_11():
    cell = waveforms.LteCell(np.random.default_rng(0), blocks=15, load=0.0, ports=1)
    grid = next(cell.grids(1))[0]
    used = (np.abs(grid[14 * 2 : 14 * 3]) > 0).mean(1)
    np.testing.assert_allclose(used[[4, 7, 11]], 1 / 6)
    assert not used[[3, 5, 6, 8, 9, 10, 12, 13]].any()

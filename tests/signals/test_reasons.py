"""Rates and widths as they are told: their uncertainty, and single bursts out of groups of slots."""

import numpy as np
import pytest

from roomfield.references.technologies import technology
from roomfield.signals.conditioning import condition
from roomfield.signals.features import gather
from roomfield.signals.reasons import rates_of
from roomfield.signals.simulation.audio_scene import compose
from roomfield.signals.width_reasons import one_slot_s


@pytest.mark.published("3GPP TS 45.002 clause 4.3.1: slot 15/26 ms; ETSI EN 300 175-2: slot 10/24 ms")
@pytest.mark.parametrize("slots", [1, 2, 3, 5])
def test_slots_side_by_side_are_not_one_burst(slots):
    for name, slot_s, burst_s in (("gsm", 15e-3 / 26, 546.5e-6), ("dect", 10e-3 / 24, 368e-6)):
        group_s = (slots - 1) * slot_s + burst_s
        assert one_slot_s(name, group_s, technology(name)) == pytest.approx(burst_s, rel=1e-9)
    assert one_slot_s("wifi_beacon", 2e-3, technology("wifi_beacon")) == 2e-3


def test_the_printed_deviation_of_a_rate_holds():
    names, deviations = ("dect", "gsm", "dmr", "lte_fdd", "wifi_beacon", "dvbt"), []
    for seed in range(5):
        for index, name in enumerate(names):
            rng = np.random.default_rng([seed, index, 17])
            scene = compose(rng, (name,), duration_s=6.0, snr_db=float(rng.uniform(14, 30)), clean=True)
            evidence = gather(condition(scene.samples, scene.sample_rate_hz))
            truth = scene.components[0].rates_hz
            rates = [r for r in rates_of(name, evidence) if min(abs(r.frequency_hz / t - 1) for t in truth) < 1e-3]
            if len(truth) == 1 and rates:
                deviations.append(abs(rates[0].frequency_hz - truth[0]) / rates[0].frequency_std_hz)
    inside = np.array(deviations)
    assert inside.size >= 20
    assert 0.5 < np.mean(inside < 1) < 0.9
    assert np.mean(inside < 2.5) > 0.85

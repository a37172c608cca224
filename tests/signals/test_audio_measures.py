"""Measured quantities against pulses of known duty, and refusal without the instrument."""

import numpy as np
import pytest
from scipy.signal import lfilter

from roomfield.errors import InputError, UnknownNameError
from roomfield.signals.audio_measures import check, measure, power_course, restore_coupling
from roomfield.signals.hearing import MeterAudio
from roomfield.signals.simulation.audio_scene import SimulatedMeter, couple, detect

RATE = 48000.0


def gated(duty: float, period_s: float = 0.01, duration_s: float = 4.0) -> np.ndarray:
    t = np.arange(int(duration_s * RATE)) / RATE
    return ((t / period_s) % 1.0 < duty).astype(np.float32)


@pytest.mark.calculated("one-pole high-pass y[n] = p y[n-1] + (1 + p)/2 (x[n] - x[n-1]) and its inverse")
def test_coupling_is_undone():
    x = gated(0.3)
    pole = np.exp(-2 * np.pi * 40 / RATE)
    coupled = lfilter([(1 + pole) / 2, -(1 + pole) / 2], [1, -pole], x)
    back = restore_coupling(coupled, RATE, 40.0)
    np.testing.assert_allclose(back[4800:-4800], x[4800:-4800], atol=0.05)


@pytest.mark.calculated("duty cycle d of a gated carrier: crest factor -10 log10 d")
@pytest.mark.parametrize("law", ["square", "linear", "log"])
@pytest.mark.parametrize("duty", [0.0368, 0.2])
def test_duty_and_crest_of_gated_carriers(law, duty):
    volts = couple(
        detect(gated(duty), SimulatedMeter(law, 40.0, 30000.0, 45.0)), SimulatedMeter(law, 40.0, 30000.0), RATE
    )
    meter = MeterAudio(law, 40.0, log_db_per_full_scale=45.0 if law == "log" else None)
    got = measure(volts, RATE, meter, {})
    assert got.duty_cycle == pytest.approx(duty, rel=0.06)
    assert got.crest_factor_db == pytest.approx(-10 * np.log10(duty), abs=0.6)
    assert got.average_w_m2 is None and got.peak_w_m2 is None


def test_known_level_makes_it_absolute():
    volts = gated(0.1)
    meter = MeterAudio("square", 0.0, known_level_w_m2=2e-3, known_span_s=(0.0, 2.0))
    got = measure(volts, RATE, meter, {"dect": 0.05})
    assert got.average_w_m2 == pytest.approx(2e-3, rel=0.02)
    assert got.peak_w_m2 == pytest.approx(2e-2, rel=0.05)
    assert got.power_shares["dect"] == pytest.approx(0.5, rel=0.05)


def test_laws_scale_power():
    v = gated(0.2) * 0.1
    doubled = gated(0.2) * 0.2
    square = [power_course(x, RATE, MeterAudio("square", 0.0)).max() for x in (v, doubled)]
    linear = [power_course(x, RATE, MeterAudio("linear", 0.0)).max() for x in (v, doubled)]
    assert square[1] / square[0] == pytest.approx(2, rel=1e-3)
    assert linear[1] / linear[0] == pytest.approx(4, rel=1e-3)


def test_incomplete_instruments_are_refused():
    with pytest.raises(UnknownNameError, match="cubic"):
        check(MeterAudio("cubic", 40.0))
    with pytest.raises(InputError, match="log_db_per_full_scale"):
        check(MeterAudio("log", 40.0))
    with pytest.raises(InputError, match="negative"):
        check(MeterAudio("square", -1.0))
    with pytest.raises(InputError, match="no signal"):
        measure(gated(0.2), RATE, MeterAudio("square", 0.0, known_level_w_m2=1e-3, known_span_s=(100.0, 101.0)), {})

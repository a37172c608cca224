"""Evidence that single detectors give: hiss by the frame, evidence as named numbers."""

import numpy as np
import pytest

from roomfield.signals.conditioning import condition
from roomfield.signals.features import gather, vector

RATE = 48000.0
LAYOUT_2 = "DSUDDDSUDD"


def carrier(layout, seconds=6.0, seed=0):
    """Power of a wideband carrier that is on in the downlink subframes of 1 ms: mean one, fluctuating."""
    rng = np.random.default_rng(seed)
    number = (np.arange(int(seconds * RATE)) / RATE * 1000).astype(int) % len(layout)
    on = np.array([letter != "U" for letter in layout])[number]
    power = on * (1 + 0.3 * rng.standard_normal(on.size))
    return (power - power.mean() + 0.02 * rng.standard_normal(on.size)).astype(np.float32)


def numbers(samples):
    return vector(gather(condition(samples, RATE)))


@pytest.mark.published("3GPP TS 36.211 table 4.2-2, layout 2: two of ten subframes are uplink")
def test_a_time_division_base_falls_silent_in_its_uplink_subframes():
    divided, steady = numbers(carrier(LAYOUT_2)), numbers(carrier("D" * 10))
    assert divided["hiss.10.0.00"] < -1.0 and divided["hiss.10.0.15"] < -0.5
    assert divided["hiss.10.0.35"] > -0.2
    assert abs(steady["hiss.10.0.00"]) < 0.1 and abs(steady["hiss.10.1.00"]) < 0.1


@pytest.mark.published("3GPP TS 36.211 table 4.2-2: layout 2 switches every 5 ms, layout 3 every 10 ms")
def test_hiss_repeats_with_the_switching_period():
    assert numbers(carrier(LAYOUT_2))["hiss.repeats.5"] > 0.9
    assert numbers(carrier("DSUUUDDDDD"))["hiss.repeats.5"] < 0.7
    assert numbers(carrier("DSUUUDDDDD"))["hiss.repeats.10"] > 0.9


def test_evidence_of_silence_is_finite():
    assert all(np.isfinite(v) for v in numbers(np.zeros(int(2 * RATE), np.float32) + 1e-6).values())


@pytest.mark.parametrize("rate_hz", [4000.0, 6000.0, 8000.0, 96000.0])
def test_evidence_is_finite_at_every_rate_that_is_taken(rate_hz):
    noise = np.random.default_rng(0).standard_normal(int(3 * rate_hz)).astype(np.float32)
    assert all(np.isfinite(v) for v in vector(gather(condition(noise, rate_hz))).values())

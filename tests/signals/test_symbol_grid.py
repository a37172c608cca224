"""What frames of LTE, NR and GSM do and others do not: reference symbols, layouts, slots, guards between slots."""

import numpy as np
import pytest

from roomfield.signals.classifier import WITH_MARK, _floor
from roomfield.signals.conditioning import condition
from roomfield.signals.features import gather, vector
from roomfield.signals.simulation.paths import call
from roomfield.signals.symbol_grid import course_of_changes

RATE = 48000.0
FINE = 16
SECONDS = 5.0


def sound(course, seconds=SECONDS, noise=0.05, seed=0):
    """A recording at 48 kHz of a course of power given on a grid of 768 kHz, repeated, with noise."""
    rng = np.random.default_rng(seed)
    mean = np.resize(course, int(seconds * RATE) * FINE).reshape(-1, FINE).mean(1)
    return (mean - mean.mean() + noise * rng.standard_normal(mean.size)).astype(np.float32)


def on_symbols(seconds, symbols_per_ms, powers):
    """Power on the fine grid from a table ``{symbol number: power}`` of a course of this length."""
    at = (np.arange(round(seconds * RATE * FINE)) / (RATE * FINE) * 1000 * symbols_per_ms).astype(int)
    table = np.zeros(round(seconds * 1000 * symbols_per_ms))
    for symbol, power in powers.items():
        table[symbol] = power
    return table[at]


def lte(layout, seconds=0.02):
    """Reference and synchronisation signals of 25 resource blocks only, TS 36.211 clauses 6.10.1.2, 6.11.1.2 and 6.11.2.2; ten symbols in DwPTS."""
    powers = {}
    for n, letter in enumerate(layout * 2):
        for symbol in (0, 4, 7, 11):
            if letter == "D" or (letter == "S" and symbol < 10):
                powers[14 * n + symbol] = 0.33
    for half in range(4):
        divided = "U" in layout
        for symbol in (13, 14 + 2) if divided else (5, 6):
            powers[70 * half + symbol] = 0.45
    return on_symbols(seconds, 14, powers)


def nr(pattern, per_ms=2, seconds=0.02):
    """A synchronisation burst of two blocks every 20 ms (TS 38.213 clause 4.1) and half of the downlink slots full."""
    full = {s + 14 * n: 0.5 for n in range(20 * per_ms) if pattern[n % len(pattern)] == "D" for s in range(14)}
    blocks = {start + k: 0.8 for start in (2, 8) for k in range(4)}
    return on_symbols(seconds, 14 * per_ms, full | blocks)


def numbers(samples, rate_hz=RATE):
    return vector(gather(condition(np.asarray(samples, np.float32), rate_hz)))


@pytest.mark.published(
    "3GPP TS 36.211 clause 6.10.1.2: references in symbols 0, 4, 7, 11; TS 38.211 has none always on"
)
def test_reference_symbols_tell_lte_from_nr():
    for layout in ("D" * 10, "DSUDDDSUDD", "DSUUDDSUUD"):
        assert numbers(sound(lte(layout)))["subframe.references"] > 0.7
    for pattern in ("DDDSU", "DDSU", "DDDDDDDSUU"):
        assert numbers(sound(nr(pattern)))["subframe.references"] < 0.5


@pytest.mark.published("3GPP TS 36.211 table 4.2-2; TS 38.213 clause 4.1; a telephone's line: 300 Hz to 3.4 kHz")
@pytest.mark.parametrize("through_a_call", [False, True])
def test_frames_explain_their_own_course_best(through_a_call):
    def heard(course):
        samples = sound(course, noise=0.02)
        return numbers(*call(samples, RATE, np.random.default_rng(3))) if through_a_call else numbers(samples)

    frequency, divided, radio = heard(lte("D" * 10)), heard(lte("DSUDDDSUDD")), heard(nr("DDDSU"))
    assert frequency["model.lte_nr"] > 0 and frequency["model.lte"] > 0
    assert divided["model.lte_nr"] > 0 and divided["model.lte"] < 0
    assert radio["model.lte_nr"] < 0 and radio["model.nr"] < 0


@pytest.mark.published("3GPP TS 36.211 table 4.2-2: which of ten subframes carry downlink")
def test_layouts_of_subframes():
    divided, steady = numbers(sound(lte("DSUUDDSUUD"))), numbers(sound(lte("D" * 10)))
    assert divided["grid.layout"] > 0.8 and divided["grid.scatter"] > 0.5
    assert steady["grid.scatter"] < 0.25


@pytest.mark.published("3GPP TS 38.211 clause 4.3.2: slots of 0.5 ms at 30 kHz; data come and go with the slots only")
def test_changes_gather_on_the_edges_of_slots():
    rng = np.random.default_rng(1)
    busy = np.repeat(rng.random(int(SECONDS * 2000)) < 0.6, int(RATE * FINE / 2000))
    out = numbers(sound(0.4 * busy, noise=0.02))
    assert out["steps.0.5ms.900"] > 1.0 and out["steps.0.5ms.900"] > out["steps.1ms.900"]
    free = np.repeat(rng.random(int(SECONDS * 2300)) < 0.6, int(RATE * FINE / 2300))
    assert numbers(sound(0.4 * free, noise=0.02))["steps.0.5ms.900"] < 0.6


@pytest.mark.published("3GPP TS 45.002 clause 4.3.2: eight slots in 60/13 ms; 8.25 bits of guard of 156.25")
def test_guards_of_a_full_carrier_through_8_khz():
    at = np.arange(int(SECONDS * RATE * FINE)) / (RATE * FINE) * 208 / 0.12 % 1.0
    samples = sound(np.where(at < 148 / 156.25, 0.5, 0.1), noise=0.03)
    out = numbers(samples.reshape(-1, 6).mean(1), 8000.0)
    assert out["guard.first"] > 2.0 and out["guard.lead"] > 1.5
    assert _floor("gsm", out) == WITH_MARK
    assert numbers(sound(lte("D" * 10)))["guard.first"] < 1.5


@pytest.mark.published(
    "Bluetooth Core Vol 2 Part B: an HV3 link sends every six slots of 625 us, its 13th line at 1733.3 Hz"
)
def test_a_voice_link_of_bluetooth_leaves_no_lone_line_of_guards():
    at = np.arange(int(SECONDS * RATE * FINE)) / (RATE * FINE) * 800 / 3 % 1.0
    out = numbers(sound(np.where((at < 0.0976) | ((at > 1 / 6) & (at < 0.24)), 0.5, 0.1), noise=0.03))
    assert out["guard.alone"] < 0.5 and _floor("gsm", out) == 0.0


def test_low_rates_leave_no_hole_in_the_course_of_changes():
    """At 8 kHz 160 samples fall on 480 bins of 20 ms: those between them are read, not taken for silence."""
    noise = np.random.default_rng(2).standard_normal(8000 * 4).astype(np.float32)
    course = course_of_changes(noise, 8000.0, 0.02, np.zeros(960))
    assert course.min() > 0.5 * course.mean()

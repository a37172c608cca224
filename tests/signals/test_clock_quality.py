"""The recorder's clock, what spoils a recording, and every sentence of the ear in German."""

import numpy as np
import pytest

from roomfield.references.technologies import technologies
from roomfield.show.words.told import teller
from roomfield.signals import analyse
from roomfield.signals.hearing import Heard, HearingAnswer, Periodicity
from roomfield.signals.recorder_clock import Clock, clock_sentence, recorder_clock
from roomfield.signals.simulation import paths
from roomfield.signals.verdict import verdict_text

RATE = 48000


def claimed(name, hz, std_hz):
    return Heard(name, name, 0.9, (), (), "", (Periodicity(hz, std_hz, 100.0, -50.0, 30),))


@pytest.mark.published("3GPP TS 45.010: base within 0.05 ppm (0.1 for small ones); ETSI EN 300 175-2: 10 ppm")
def test_the_surest_clock_tells_the_recorders():
    base, cordless = claimed("gsm", 26 / 0.12 * (1 + 40e-6), 1e-6), claimed("dect", 100 * (1 + 45e-6), 1e-5)
    clock = recorder_clock((base, cordless))
    assert clock.ppm == pytest.approx(40.0, abs=0.2) and clock.std_ppm < 0.2 and clock.known
    alone = recorder_clock((cordless,))
    assert alone.ppm == pytest.approx(45.0) and alone.std_ppm == pytest.approx(5.0, abs=0.2)
    assert recorder_clock((claimed("zigbee", 1.0, 1.0),)) is None
    assert "seems to be wrong" in clock_sentence(alone)


def test_a_clock_100_ppm_off_is_told_and_the_name_stays(invent):
    samples, _ = paths.clock(invent("gsm", seed=3).samples, RATE, 100.0)
    hearing = analyse(samples, sample_rate_hz=RATE)
    assert [h.name for h in hearing.claimed] == ["gsm"]
    assert hearing.clock_ppm[0] == pytest.approx(100.0, abs=8.0)
    assert any("because of the recorder's clock" in text for text in hearing.unknowns)


def test_a_poor_recording_is_told_with_how_to_do_better(invent):
    clean = invent("dect", seed=4)
    assert analyse(clean.samples, sample_rate_hz=RATE).warnings == ()
    slow, rate = paths.to_rate(clean.samples[: RATE * 2], RATE, 8000.0)
    words = " ".join(analyse(slow, sample_rate_hz=rate).warnings)
    assert "8 kHz" in words and "2.0 s" in words
    loud = np.clip(clean.samples * 8, -0.2, 0.2)
    assert any("clipped" in text for text in analyse(loud, sample_rate_hz=RATE).warnings)
    narrow, _ = paths.band(clean.samples, RATE, 100.0, 4000.0, 4)
    assert any("nothing is heard above" in text for text in analyse(narrow, sample_rate_hz=RATE).warnings)


def test_what_is_certain_cannot_be_anything_else(invent):
    hearing = analyse(invent("dect", seed=4).samples, sample_rate_hz=RATE)
    assert hearing.claimed[0].probability > 0.99 and hearing.claimed[0].indistinguishable_from == ()


def test_every_answer_is_told_in_german():
    german = teller("de")
    heard = tuple(Heard(row.name, row.title, 0.4, (), (), "") for row in technologies())
    answers = [
        HearingAnswer("pulsed", rates_hz=(12.5,)), HearingAnswer("set", ("nr_tdd", "nr_fdd"), 0.8),
        HearingAnswer("set", ("lte_fdd", "lte_tdd", "nr_tdd"), 0.8), HearingAnswer("bursts", bursts=4),
        HearingAnswer("transmitter", (), 0.92),
        HearingAnswer("tone", rates_hz=(440.0,)), HearingAnswer("mains"), HearingAnswer("sounds"),
        HearingAnswer("nothing"),
        HearingAnswer("named", ("dect",), 0.9, (12.5,)),
    ]  # fmt: skip
    clocks = (None, Clock(3.0, 0.1, ()), Clock(90.0, 10.0, ()))
    sentences = [verdict_text(a, heard, 8.0) for a in answers] + [clock_sentence(c) for c in clocks]
    for sentence in sentences:
        assert german(sentence) != sentence
    assert (
        german(sentences[1])
        == "eines von diesen: 5G-NR-Basisstation, Zeitduplex / 5G-NR-Basisstation, Frequenzduplex (80 %)"
    )
    assert german(sentences[9]) == "DECT-Schnurlostelefon (40 %); unbekanntes gepulstes Signal mit 12,5 Hz"

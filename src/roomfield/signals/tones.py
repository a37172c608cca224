"""Tones that are keyed: timers, keys of a telephone, alarms. They start and stop sharply as bursts do, and are none.

A detector's voltage rises while a transmitter sends; a tone swings about zero, so nearly all its power lies in one narrow band
of hearing. No listed technology puts half of its power above 300 Hz into 60 Hz, but for TETRA's symbol line at 18 kHz.
"""

from __future__ import annotations

import numpy as np

from roomfield.signals.classifier import WITHOUT_EVIDENCE, Judgement, judge
from roomfield.signals.combs import CRYSTAL_PPM
from roomfield.signals.crowded_channel import CERTAIN_CROWD, crowded_chance
from roomfield.signals.features import Evidence, vector
from roomfield.signals.spectrum import WhiteSpectrum

LOW_HZ, HIGH_HZ = 300.0, 17500.0
BAND_HZ = 60.0
TONAL = 0.6
HARMONICS = (1, 3)
MOST_TONES = 2
LINE_REACH_HZ = 1.0
LISTED_BASES_HZ = (50.0, 26 / 0.12, 400 / 3)
KEEPS = ("dect", "lte_fdd", "lte_tdd", "nr_tdd", "nr_fdd", "dvbt", "tetra", "dmr", "wifi_beacon")
SURE = 0.95
BY_ANSWERS = "zigbee"  # in a full channel frames are answered after 192 us by 352 us by chance


def _on_a_listed_line(hz: float) -> bool:
    """Whether a frequency lies on the lines of a frame of 20 ms, of GSM or of Bluetooth, within what clocks may be off."""
    slack = LINE_REACH_HZ + CRYSTAL_PPM * 1e-6 * hz
    return any(abs(hz - round(hz / base) * base) < slack for base in LISTED_BASES_HZ)


def tonal_share(spectrum: WhiteSpectrum) -> float:
    """Share of the power between 0.3 and 17.5 kHz that two narrow bands off all listed lines hold, with harmonics [0..1]."""
    per_hz = spectrum.bins_per_hz
    low, high = int(LOW_HZ * per_hz), int(min(HIGH_HZ, spectrum.top_hz) * per_hz)
    power = (
        spectrum.white[:high] * spectrum.floor[:high] * np.arange(high, dtype=np.float64)
    )  # edges fall with the square
    power[:low] = 0.0
    total, width, share = float(power.sum()) + 1e-30, int(BAND_HZ * per_hz), 0.0
    for _ in range(MOST_TONES):
        peak = int(np.argmax(power))
        tone = not _on_a_listed_line(peak / per_hz)
        for order in HARMONICS if tone else (1,):
            band = slice(max(order * peak - width // 2, 0), order * peak + width // 2 + 1)
            share += float(power[band].sum()) / total if tone else 0.0
            power[band] = 0.0
    return min(share, 1.0)


def without_tones(judged: Judgement, spectrum: WhiteSpectrum) -> Judgement:
    """The judgement of a recording in which a tone holds most of the power: only what lives on many lines is kept."""
    if tonal_share(spectrum) < TONAL:
        return judged
    chances = {
        name: chance if name in KEEPS and chance >= SURE else min(chance, WITHOUT_EVIDENCE)
        for name, chance in judged.chances.items()
    }
    return Judgement(chances, min(judged.transmitter, max(WITHOUT_EVIDENCE, *chances.values())))


def judgement(evidence: Evidence) -> Judgement:
    """What one block says, tones taken for tones, and a channel full of packets for a transmitter of a kind not told."""
    numbers = vector(evidence)
    judged = judge(numbers)
    if tonal_share(evidence.spectrum) < TONAL:
        crowded = crowded_chance(numbers)
        chances = judged.chances
        if crowded > CERTAIN_CROWD:
            chances = chances | {BY_ANSWERS: min(chances[BY_ANSWERS], WITHOUT_EVIDENCE)}
        return Judgement(chances, max(judged.transmitter, crowded))
    return without_tones(judged, evidence.spectrum)

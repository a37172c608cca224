"""Tones that are keyed: timers, keys of a telephone, alarms. They start and stop sharply as bursts do, and are none.

A detector's voltage rises while a transmitter sends; a tone swings about zero, so nearly all its power lies in one narrow band
of hearing. No listed technology puts half of its power above 300 Hz into 60 Hz, but for TETRA's symbol line at 18 kHz.
"""

from __future__ import annotations

from roomfield.signals.classifier import WITHOUT_EVIDENCE, Judgement, judge
from roomfield.signals.crowded_channel import CERTAIN_CROWD, crowded_chance
from roomfield.signals.features import Evidence, vector
from roomfield.signals.spectrum import WhiteSpectrum
from roomfield.signals.tonal_share import tonal_share

TONAL = 0.6
KEEPS = ("dect", "lte_fdd", "lte_tdd", "nr_tdd", "nr_fdd", "dvbt", "tetra", "dmr", "wifi_beacon")
SURE = 0.95
BY_ANSWERS = "zigbee"  # in a full channel frames are answered after 192 us by 352 us by chance


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
    if numbers["tonal"] < TONAL:
        crowded = crowded_chance(numbers)
        chances = judged.chances
        if crowded > CERTAIN_CROWD:
            chances = chances | {BY_ANSWERS: min(chances[BY_ANSWERS], WITHOUT_EVIDENCE)}
        return Judgement(chances, max(judged.transmitter, crowded))
    return without_tones(judged, evidence.spectrum)

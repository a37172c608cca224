"""How much of a recording's power two narrow bands hold that lie on no line of a listed frame."""

from __future__ import annotations

import numpy as np

from roomfield.signals.combs import CRYSTAL_PPM
from roomfield.signals.spectrum import WhiteSpectrum

LOW_HZ, HIGH_HZ = 300.0, 17500.0
BAND_HZ = 60.0
HARMONICS = (1, 3)
MOST_TONES = 2
LINE_REACH_HZ = 1.0
LISTED_BASES_HZ = (50.0, 26 / 0.12, 400 / 3)


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

"""What is wrong with a recording, and how to make a better one."""

from __future__ import annotations

import numpy as np

from roomfield.signals.conditioning import Conditioned
from roomfield.signals.features import background_motion, band_top_hz
from roomfield.signals.spectrum import WhiteSpectrum

SHORT_S = 4.0
GOOD_RATE_HZ = 32000.0
GOOD_BAND_HZ = 8000.0
QUIET_DB = -50.0
CLIPPED = 1e-4
RIDDEN_DB = 4.0
AGAINST = -0.6


def warnings(
    data: Conditioned, spectrum: WhiteSpectrum, file_rate_hz: float, duration_s: float, clipped: float
) -> tuple[str, ...]:
    """Sentences on what spoils the recording, each with what to do about it.

    Parameters
    ----------
    data : Conditioned
    spectrum : WhiteSpectrum
    file_rate_hz : float
        Rate of the file [Hz].
    duration_s : float
        Length of the file [s].
    clipped : float
        Share of samples at the rails.
    """
    out = []
    if clipped > CLIPPED:
        out.append("the recording is clipped: turn the meter down until the loudest clicks stay below full scale")
    level_db = 20 * np.log10(float(np.abs(data.raw).max()) + 1e-9)
    if level_db < QUIET_DB:
        out.append(f"the recording is very quiet ({level_db:.0f} dB): turn the meter up")
    if duration_s < SHORT_S:
        out.append(f"only {duration_s:.1f} s were recorded: ten seconds tell much more")
    if file_rate_hz < GOOD_RATE_HZ:
        out.append(f"recorded at {file_rate_hz / 1000:.0f} kHz: short bursts and fine lines are lost; record at 48 kHz")
    elif (top := band_top_hz(spectrum)) < GOOD_BAND_HZ:
        out.append(
            f"nothing is heard above {top / 1000:.0f} kHz: take the line input and no telephone call, loudspeaker or strong "
            "compression"
        )
    if gain_is_ridden(data):
        out.append(
            "the gain seems to follow the loudness: switch automatic gain off, or use a recorder with fixed gain"
        )
    return tuple(out)


def gain_is_ridden(data: Conditioned) -> bool:
    """Whether the quiet background falls while the signal is loud, and rises again: what automatic gain does."""
    moved, against = background_motion(data)
    return 20 * moved > RIDDEN_DB and against < AGAINST

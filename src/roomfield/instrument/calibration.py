"""Correction and gain uncertainty of a meter over frequency."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from roomfield.errors import InputError
from roomfield.quantities import ErrorContribution, ErrorShape
from roomfield.survey import Meter

EXTRAPOLATION_STD_DB_PER_OCTAVE = 2.0
"""Added outside the calibrated range [dB per octave]; our judgement, no source."""


@dataclass(frozen=True)
class Correction:
    """What to add to a reading, and how sure that is.

    Parameters
    ----------
    offset_db : float
        To be added to the reading [dB].
    contribution : ErrorContribution
        Error left after the correction; shared by all readings of the meter in the same band.
    basis : str
        ``certificate``, ``certificate_band`` (frequency not known) or ``tolerance``.
    """

    offset_db: float
    contribution: ErrorContribution
    basis: str


def gain_key(meter_id: str, frequency_hz: float | None) -> str:
    """Name of the gain error that readings share: one per meter and third of an octave.

    Parameters
    ----------
    meter_id : str
        Id of the meter.
    frequency_hz : float or None
        Frequency of what was received [Hz]; None for a total over an unknown mix.
    """
    if frequency_hz is None:
        return f"{meter_id}/gain"
    third = round(3.0 * float(np.log2(frequency_hz / 1e9)))
    return f"{meter_id}/gain/{third:+d}"


def correction(meter: Meter, frequency_hz: float | None = None) -> Correction:
    """Correction of a meter at a frequency, or over its band if the frequency is not known.

    Parameters
    ----------
    meter : Meter
        With a certificate, or only a stated tolerance.
    frequency_hz : float, optional
        Frequency of what dominates the reading [Hz].

    Notes
    -----
    A stated plus-or-minus tolerance is taken as rectangular (JCGM 100, 4.3.7); where the maker states a zone of the
    band with a tolerance of its own, that holds there, and for an unknown frequency the widest of all. A certificate
    is interpolated linearly in dB over the logarithm of frequency; away from its rows the error grows, but never
    beyond what the stated tolerance allows. If the frequency is unknown, it may be any of the rated band: the middle
    of the corrections, with their range as a rectangle and the largest error that any frequency of the band has.
    """
    key = gain_key(meter.id, frequency_hz)
    if not meter.calibration:
        gain = ErrorContribution.from_half_width("meter_tolerance", tolerance_db(meter, frequency_hz), shared_key=key)
        return Correction(0.0, gain, "tolerance")
    if frequency_hz is None:
        return _over_band(meter, key)
    offset, std = _at_frequency(meter, frequency_hz)
    return Correction(offset, ErrorContribution("meter_calibration", std, ErrorShape.NORMAL, key), "certificate")


def tolerance_db(meter: Meter, frequency_hz: float | None = None) -> float:
    """Stated tolerance at a frequency, plus or minus [dB]; the widest of all zones if the frequency is not known.

    In a zone of its own that zone's, which need not be the narrower one; where zones overlap, the wider of them.
    Outside everything that is stated, the widest, and more the farther out.

    Parameters
    ----------
    meter : Meter
        With its stated tolerance and zones.
    frequency_hz : float, optional
        Frequency of what was received [Hz].
    """
    used = meter.figures
    widest = max(used.tolerance_db, *(z.tolerance_db for z in meter.zones)) if meter.zones else used.tolerance_db
    if frequency_hz is None:
        return widest
    own = [z.tolerance_db for z in meter.zones if z.low_hz <= frequency_hz <= z.high_hz]
    if own:
        return max(own)
    if used.band_low_hz <= frequency_hz <= used.band_high_hz:
        return used.tolerance_db
    low, high = meter.receives_hz
    outside = float(max(np.log2(low / frequency_hz), np.log2(frequency_hz / high)))
    return float(np.hypot(widest, 3**0.5 * EXTRAPOLATION_STD_DB_PER_OCTAVE * outside))


def _over_band(meter: Meter, key: str) -> Correction:
    used = meter.figures
    rows = [p.frequency_hz for p in meter.calibration]
    found = np.array([_at_frequency(meter, f) for f in (used.band_low_hz, used.band_high_hz, *rows)])
    offsets, stds = found.T
    std = float(np.hypot(float(np.ptp(offsets)) / 2.0 / 3**0.5, stds.max()))
    middle = float(offsets.max() + offsets.min()) / 2.0
    return Correction(middle, ErrorContribution("meter_calibration", std, ErrorShape.NORMAL, key), "certificate_band")


def _at_frequency(meter: Meter, frequency_hz: float) -> tuple[float, float]:
    """Correction and its standard uncertainty [dB]."""
    points = meter.calibration
    octaves = np.log2([p.frequency_hz for p in points])
    if np.any(np.diff(octaves) <= 0):
        raise InputError(
            "the calibration rows do not rise in frequency.",
            where="meter.calibration",
            mend="Sort the certificate's rows by frequency and keep one row for each.",
        )
    asked = float(np.log2(frequency_hz))
    offset = float(np.interp(asked, octaves, [p.correction_db for p in points]))
    std = float(np.interp(asked, octaves, [p.std_db for p in points]))
    outside = max(float(octaves[0]) - asked, asked - float(octaves[-1]), 0.0)
    allowed = tolerance_db(meter, frequency_hz) / 3**0.5
    return offset, float(np.hypot(std, min(EXTRAPOLATION_STD_DB_PER_OCTAVE * outside, allowed)))

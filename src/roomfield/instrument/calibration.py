"""Correction and gain uncertainty of a meter over frequency."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from roomfield.errors import InputError
from roomfield.quantities import ErrorContribution, ErrorShape
from roomfield.survey import CalibrationPoint, Meter

EXTRAPOLATION_STD_DB_PER_OCTAVE = 2.0
"""Added outside the calibrated range [dB per octave]; our judgement, no source."""


@dataclass(frozen=True)
class Correction:
    """What to add to a reading, and how sure that is.

    Parameters
    ----------
    offset_db : float
        To be added to the reading [dB].
    contribution : Contribution
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
    A stated plus-or-minus tolerance is taken as rectangular (JCGM 100, 4.3.7). A certificate is interpolated
    linearly in dB over the logarithm of frequency. If the frequency is unknown, the correction may be any
    of the certificate's rows: the middle of their range, with the range as a rectangle.
    """
    key = gain_key(meter.id, frequency_hz)
    if not meter.calibration:
        gain = ErrorContribution.from_half_width("meter_tolerance", meter.figures.tolerance_db, shared_key=key)
        return Correction(0.0, gain, "tolerance")
    if frequency_hz is None:
        return _over_band(meter.calibration, key)
    return _at_frequency(meter.calibration, frequency_hz, key)


def _over_band(points: tuple[CalibrationPoint, ...], key: str) -> Correction:
    offsets = np.array([p.correction_db for p in points])
    half_range = float(np.ptp(offsets)) / 2.0
    std = float(np.hypot(half_range / 3**0.5, max(p.std_db for p in points)))
    middle = float(offsets.max() + offsets.min()) / 2.0
    return Correction(middle, ErrorContribution("meter_calibration", std, ErrorShape.NORMAL, key), "certificate_band")


def _at_frequency(points: tuple[CalibrationPoint, ...], frequency_hz: float, key: str) -> Correction:
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
    std = float(np.hypot(std, EXTRAPOLATION_STD_DB_PER_OCTAVE * outside))
    return Correction(offset, ErrorContribution("meter_calibration", std, ErrorShape.NORMAL, key), "certificate")

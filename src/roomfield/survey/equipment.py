"""Meters as the record knows them: plain figures from data sheet, certificate and checks."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class DetectorLaw(StrEnum):
    """How the audio output follows the received power."""

    SQUARE = "square"
    LINEAR = "linear"
    LOGARITHMIC = "logarithmic"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class CalibrationPoint:
    """One row of a calibration certificate.

    Parameters
    ----------
    frequency_hz : float
        Frequency [Hz].
    correction_db : float
        To be added to the reading in dB [dB].
    std_db : float
        Standard uncertainty of the correction (k = 1) [dB].
    """

    frequency_hz: float
    correction_db: float
    std_db: float


@dataclass(frozen=True)
class ReferenceCheck:
    """A reading of a reference source, to see whether the meter drifts.

    Parameters
    ----------
    at : str
        Date and time, ISO 8601.
    source : str
        Name of the reference source and its setting.
    deviation_db : float
        Reading minus the expected value [dB].
    """

    at: str
    source: str
    deviation_db: float
    note: str = ""


@dataclass(frozen=True)
class AudioOutput:
    """The audio output, as far as the data sheet tells.

    Parameters
    ----------
    coupling_hz : float or None
        Corner of the AC coupling [Hz]; 0 if DC is kept; None if not known.
    response_s : float or None
        Detector response time [s].
    """

    law: DetectorLaw = DetectorLaw.UNKNOWN
    coupling_hz: float | None = None
    lowpass_hz: float | None = None
    response_s: float | None = None


@dataclass(frozen=True)
class Meter:
    """A handheld broadband meter.

    Parameters
    ----------
    band_low_hz, band_high_hz : float
        Rated frequency range [Hz].
    tolerance_db : float
        Stated tolerance, plus or minus [dB]; rectangular unless a certificate says otherwise.
    repeatability_db : float
        Standard deviation of repeated scans [dB].
    floor_w_m2, overload_w_m2 : float
        Lowest value it can tell from nothing, and the highest it can show [W/m²].
    response_s, averaging_s : float
        Detector response time and averaging window [s].
    body_distance_m : float
        Distance at which it is held from the body [m].
    pickup_axes : int
        1 for a single-axis (figure-of-eight) antenna, 3 for an isotropic probe.
    calibration : tuple of CalibrationPoint
        Certificate rows, rising in frequency; empty if there is only a stated tolerance.
    calibration_due : str
        Date, ISO 8601; empty if not known.
    """

    id: str
    name: str
    serial: str = ""
    band_low_hz: float = 400e6
    band_high_hz: float = 7.2e9
    tolerance_db: float = 6.0
    repeatability_db: float = 1.0
    floor_w_m2: float = 1e-8
    overload_w_m2: float = 2.5
    response_s: float = 5e-6
    averaging_s: float = 1.25
    body_distance_m: float = 0.3
    pickup_axes: int = 1
    calibration: tuple[CalibrationPoint, ...] = ()
    calibrated_on: str = ""
    calibration_due: str = ""
    certificate: str = ""
    checks: tuple[ReferenceCheck, ...] = ()
    audio: AudioOutput = AudioOutput()
    note: str = ""

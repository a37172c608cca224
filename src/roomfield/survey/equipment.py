"""Meters as the record knows them: plain figures from data sheet, certificate and checks."""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import StrEnum

OCTAVE = 2.0


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
class BandZone:
    """A part of the band for which the maker states a tolerance of its own, usually a wider one at its ends.

    Parameters
    ----------
    low_hz, high_hz : float
        Ends of the zone [Hz].
    tolerance_db : float
        Stated tolerance in it, plus or minus [dB].
    """

    low_hz: float
    high_hz: float
    tolerance_db: float


class AccessoryKind(StrEnum):
    """What is put in front of the meter."""

    ATTENUATOR = "attenuator"
    FILTER = "filter"
    ANTENNA = "antenna"
    AMPLIFIER = "amplifier"


@dataclass(frozen=True)
class AccessoryPoint:
    """What an accessory does at one frequency.

    Parameters
    ----------
    frequency_hz : float
        Frequency [Hz].
    change_db : float
        How much more the meter shows with it in front; below 0 for an attenuator [dB].
    std_db : float
        Standard uncertainty of the change (k = 1) [dB].
    """

    frequency_hz: float
    change_db: float
    std_db: float = 0.5


@dataclass(frozen=True)
class Accessory:
    """Attenuator, filter, antenna or amplifier that may stand in front of the meter; a reading names it.

    Parameters
    ----------
    response : tuple of AccessoryPoint
        Over frequency, rising; one row stands for all frequencies.
    """

    id: str
    name: str
    kind: AccessoryKind
    response: tuple[AccessoryPoint, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class SelfTest:
    """The meter's own test, or a look at its battery.

    Parameters
    ----------
    at : str
        Date and time, ISO 8601.
    passed : bool or None
        None if only the battery was looked at.
    battery : str
        As the meter showed it, for example ``3 of 4`` or ``8.1 V``.
    """

    at: str
    passed: bool | None = None
    battery: str = ""
    note: str = ""


@dataclass(frozen=True)
class MeterFigures:
    """The figures that are worked with: those stated, and cautious ones in the place of those that are not.

    The defaults are our judgement, no source: each is meant to be at the wide end of handheld broadband meters,
    so that an interval gets wider, never narrower, by what is not known.

    Parameters
    ----------
    overload_w_m2 : float
        Infinite if not stated, for then only the display's own sign tells an overload.
    """

    band_low_hz: float = 10e6
    band_high_hz: float = 20e9
    tolerance_db: float = 9.0
    repeatability_db: float = 2.0
    floor_w_m2: float = 3e-8
    overload_w_m2: float = float("inf")
    response_s: float = 5e-5
    averaging_s: float = 1.0
    body_distance_m: float = 0.3
    pickup_axes: int = 1


@dataclass(frozen=True)
class Meter:
    """A handheld broadband meter. A figure that nobody has stated is None; `figures` says what is then assumed.

    Parameters
    ----------
    band_low_hz, band_high_hz : float or None
        Rated frequency range [Hz].
    tolerance_db : float or None
        Stated tolerance, plus or minus [dB]; rectangular unless a certificate says otherwise.
    repeatability_db : float or None
        Standard deviation of repeated scans [dB].
    floor_w_m2, overload_w_m2 : float or None
        Lowest value it can tell from nothing, and the highest it can show [W/m²].
    response_s, averaging_s : float or None
        Detector response time and averaging window [s].
    body_distance_m : float or None
        Distance at which it is held from the body [m].
    pickup_axes : int or None
        1 for a single-axis (figure-of-eight) antenna, 3 for an isotropic probe.
    calibration : tuple of CalibrationPoint
        Certificate rows, rising in frequency; empty if there is only a stated tolerance.
    calibration_due : str
        Date, ISO 8601; empty if not known.
    zones : tuple of BandZone
        Where in the band, or beyond its ends, another tolerance holds.
    accessories : tuple of Accessory
        What may stand in front of it.
    """

    id: str
    name: str
    serial: str = ""
    band_low_hz: float | None = None
    band_high_hz: float | None = None
    tolerance_db: float | None = None
    repeatability_db: float | None = None
    floor_w_m2: float | None = None
    overload_w_m2: float | None = None
    response_s: float | None = None
    averaging_s: float | None = None
    body_distance_m: float | None = None
    pickup_axes: int | None = None
    calibration: tuple[CalibrationPoint, ...] = ()
    calibrated_on: str = ""
    calibration_due: str = ""
    certificate: str = ""
    checks: tuple[ReferenceCheck, ...] = ()
    audio: AudioOutput = AudioOutput()
    note: str = ""
    zones: tuple[BandZone, ...] = ()
    accessories: tuple[Accessory, ...] = ()
    self_tests: tuple[SelfTest, ...] = ()

    @property
    def not_stated(self) -> tuple[str, ...]:
        """Names of the figures that nobody has stated, in the order of `MeterFigures`."""
        return tuple(f.name for f in fields(MeterFigures) if getattr(self, f.name) is None)

    @property
    def figures(self) -> MeterFigures:
        """What is worked with; see `not_stated` for what of it is assumed."""
        names = {f.name for f in fields(MeterFigures)} - set(self.not_stated)
        return MeterFigures(**{name: getattr(self, name) for name in names})

    @property
    def receives_hz(self) -> tuple[float, float]:
        """Lowest and highest frequency it is known, or must be assumed, to receive [Hz]; outer zones included."""
        used = self.figures
        return (
            min(used.band_low_hz, *(z.low_hz for z in self.zones)) if self.zones else used.band_low_hz,
            max(used.band_high_hz, *(z.high_hz for z in self.zones)) if self.zones else used.band_high_hz,
        )

    @property
    def shows_part(self) -> bool:
        """Whether it is one band of a frequency-selective instrument: its stated band is less than an octave wide.

        What it shows is then part of the level at a place and never the whole (our judgement of where to draw the line;
        a broadband meter spans several octaves).
        """
        if self.band_low_hz is None or self.band_high_hz is None:
            return False
        return self.band_high_hz < OCTAVE * self.band_low_hz

    @property
    def middle_hz(self) -> float | None:
        """Middle of the band of an instrument that shows one band [Hz]; None for a total of unknown frequencies."""
        if not self.shows_part or self.band_low_hz is None or self.band_high_hz is None:
            return None
        return float((self.band_low_hz * self.band_high_hz) ** 0.5)

    def accessory(self, accessory_id: str) -> Accessory | None:
        """The accessory with this id; None if there is none.

        Parameters
        ----------
        accessory_id : str
            Id of the accessory.
        """
        return next((a for a in self.accessories if a.id == accessory_id), None)

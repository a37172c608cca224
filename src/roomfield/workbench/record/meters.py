"""The meter as the assessor keeps it: figures, certificate, zones, accessories, checks; and how it stands today."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields, replace
from datetime import date
from itertools import pairwise
from math import isfinite
from typing import Any

from roomfield.errors import InputError, UnknownNameError
from roomfield.instrument import IndividualsChart, correction, meter_chart
from roomfield.survey import (
    Accessory,
    AccessoryKind,
    AccessoryPoint,
    BandZone,
    CalibrationPoint,
    Meter,
    MeterFigures,
    ReferenceCheck,
    SelfTest,
    Survey,
)
from roomfield.workbench.record.editing import new_id, with_meter

SOON_DAYS = 60
"""A calibration due within so many days is said to be due soon; our judgement."""
CURVE_POINTS = 25


@dataclass(frozen=True)
class MeterFigure:
    """One figure of a meter: as stated, or as it is worked with until somebody states it.

    Parameters
    ----------
    name : str
        Field of `roomfield.survey.MeterFigures`; SI units.
    stated : bool
        False if nobody has stated it and a cautious value stands in.
    value : float or None
        None where nothing can stand in: an overload value that nobody has stated.
    """

    name: str
    value: float | None
    stated: bool


@dataclass(frozen=True)
class CurvePoint:
    """What is added to a reading at a frequency, and its standard uncertainty [dB]."""

    frequency_hz: float
    correction_db: float
    std_db: float


@dataclass(frozen=True)
class MeterStanding:
    """How a meter stands on a day.

    Parameters
    ----------
    figures : tuple of MeterFigure
        Every figure, stated or assumed.
    curve : tuple of CurvePoint
        Correction and its uncertainty over everything that it receives.
    total_std_db : float
        Standard uncertainty of the gain for a total over an unknown mix [dB].
    chart : IndividualsChart or None
        Control chart of its reference checks; None with fewer than four.
    days_to_calibration : int or None
        Until the calibration is due; negative if it is overdue, None if no date is known.
    """

    meter: Meter
    figures: tuple[MeterFigure, ...]
    curve: tuple[CurvePoint, ...]
    total_std_db: float
    chart: IndividualsChart | None
    days_to_calibration: int | None

    @property
    def not_stated(self) -> tuple[str, ...]:
        """Names of the figures that still have to be asked for."""
        return self.meter.not_stated

    @property
    def calibration_due_soon(self) -> bool:
        """True if the calibration is due within two months, or overdue."""
        return self.days_to_calibration is not None and self.days_to_calibration <= SOON_DAYS

    def to_dict(self) -> dict[str, Any]:
        """As plain values; SI units."""
        return {
            "meter": asdict(self.meter),
            "figures": [asdict(f) for f in self.figures],
            "not_stated": list(self.not_stated),
            "curve": [asdict(p) for p in self.curve],
            "total_std_db": self.total_std_db,
            "chart": None if self.chart is None else asdict(self.chart) | {"drifting": self.chart.drifting},
            "days_to_calibration": self.days_to_calibration,
            "calibration_due_soon": self.calibration_due_soon,
        }


def meter_standing(survey: Survey, meter_id: str = "", on_date: str = "") -> MeterStanding:
    """How a meter stands on a day.

    Parameters
    ----------
    meter_id : str
        Which; the first one if empty.
    on_date : str
        ISO 8601; today if empty.

    Raises
    ------
    UnknownNameError
        If there is no such meter.
    InputError
        If the certificate's rows do not rise in frequency.
    """
    meter = survey.meter(meter_id or next((m.id for m in survey.meters), ""))
    used, missing = meter.figures, set(meter.not_stated)
    values = {f.name: float(getattr(used, f.name)) for f in fields(MeterFigures)}
    figures = tuple(MeterFigure(n, v if isfinite(v) else None, n not in missing) for n, v in values.items())
    low, high = meter.receives_hz
    ratio = (high / low) ** (1.0 / (CURVE_POINTS - 1))
    found = [(low * ratio**n, correction(meter, low * ratio**n)) for n in range(CURVE_POINTS)]
    curve = tuple(CurvePoint(f, c.offset_db, c.contribution.std_db) for f, c in found)
    return MeterStanding(
        meter, figures, curve, correction(meter).contribution.std_db, meter_chart(meter), _days_left(meter, on_date)
    )


def _days_left(meter: Meter, on_date: str) -> int | None:
    if not meter.calibration_due:
        return None
    today = date.fromisoformat(on_date[:10]) if on_date else date.today()
    return (date.fromisoformat(meter.calibration_due[:10]) - today).days


def with_certificate_row(survey: Survey, meter_id: str, row: CalibrationPoint) -> Survey:
    """The survey with one row of a certificate, in the place of another at the same frequency.

    Raises
    ------
    InputError
        If a figure cannot be.
    """
    meter = survey.meter(meter_id)
    kept = [p for p in meter.calibration if p.frequency_hz != row.frequency_hz]
    rows = tuple(sorted((*kept, row), key=lambda p: p.frequency_hz))
    return with_meter(survey, replace(meter, calibration=rows))


def with_zone(survey: Survey, meter_id: str, zone: BandZone) -> Survey:
    """The survey with one zone of the band and its tolerance, in the place of another with the same ends.

    Raises
    ------
    InputError
        If a figure cannot be, or zones overlap.
    """
    meter = survey.meter(meter_id)
    kept = [z for z in meter.zones if (z.low_hz, z.high_hz) != (zone.low_hz, zone.high_hz)]
    zones = sorted((*kept, zone), key=lambda z: z.low_hz)
    for one, following in pairwise(zones):
        if following.low_hz < one.high_hz:
            raise InputError(
                f"the zones from {one.low_hz / 1e6:g} and from {following.low_hz / 1e6:g} MHz overlap.",
                where=meter.name,
                mend="Let each zone begin where the one before ends.",
            )
    return with_meter(survey, replace(meter, zones=tuple(zones)))


def with_accessory(
    survey: Survey, meter_id: str, name: str, kind: str, rows: tuple[AccessoryPoint, ...], accessory_id: str = ""
) -> Survey:
    """The survey with something that may stand in front of a meter, or with new rows for one that is there.

    Parameters
    ----------
    kind : str
        attenuator, filter, antenna or amplifier.
    rows : tuple of AccessoryPoint
        At least one; rising in frequency.

    Raises
    ------
    InputError
        If there is no row or a figure cannot be.
    UnknownNameError
        If the kind is not known.
    """
    if kind not in set(AccessoryKind):
        raise UnknownNameError("kind of accessory", kind, [k.value for k in AccessoryKind])
    if not rows:
        raise InputError("an accessory needs at least one row.", where=name, mend="Give frequency and change in dB.")
    meter = survey.meter(meter_id)
    made = Accessory(
        accessory_id or new_id("accessory"), name, AccessoryKind(kind), tuple(sorted(rows, key=_frequency))
    )
    kept = tuple(a for a in meter.accessories if a.id != made.id)
    return with_meter(survey, replace(meter, accessories=(*kept, made)))


def _frequency(point: AccessoryPoint) -> float:
    return point.frequency_hz


def with_check(survey: Survey, meter_id: str, check: ReferenceCheck) -> Survey:
    """The survey with one more check of a meter at a reference source.

    Raises
    ------
    InputError
        If a figure cannot be.
    """
    meter = survey.meter(meter_id)
    checks = tuple(sorted((*meter.checks, check), key=lambda c: c.at))
    return with_meter(survey, replace(meter, checks=checks))


def with_self_test(survey: Survey, meter_id: str, test: SelfTest) -> Survey:
    """The survey with one more self-test, or look at the battery, of a meter.

    Raises
    ------
    InputError
        If a figure cannot be.
    """
    meter = survey.meter(meter_id)
    tests = tuple(sorted((*meter.self_tests, test), key=lambda t: t.at))
    return with_meter(survey, replace(meter, self_tests=tests))

"""What the report rests on: instrument, budget, references, positions, cautions, record, as values."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from roomfield.quantities.kind import Kind
from roomfield.show.findings import Shown
from roomfield.show.phrase import Text
from roomfield.survey.equipment import MeterFigures


@dataclass(frozen=True)
class CheckEntry:
    """One reading of a reference source.

    Parameters
    ----------
    deviation_db : float
        Reading minus expected value [dB].
    flagged : bool
        True if the control chart's rule calls it out.
    """

    at: str
    deviation_db: float
    source: str = ""
    flagged: bool = False
    note: str = ""


@dataclass(frozen=True)
class ControlChart:
    """Reference checks of a meter with the chart's limits.

    Parameters
    ----------
    centre_db, warning_db, action_db : float
        Centre line, and half widths of the warning and action limits about it [dB].
    statement : Text
        What the chart says about drift.
    """

    checks: tuple[CheckEntry, ...]
    centre_db: float = 0.0
    warning_db: float = 2.0
    action_db: float = 3.0
    statement: Text = ""


@dataclass(frozen=True)
class CalibrationEntry:
    """A row of the certificate: frequency [Hz], correction [dB], standard uncertainty [dB]."""

    frequency_hz: float
    correction_db: float
    std_db: float


@dataclass(frozen=True)
class MeterEntry:
    """The instrument as used.

    Parameters
    ----------
    tolerance_db : float
        Stated tolerance, plus or minus [dB].
    tolerance_basis : Text
        How the tolerance is read, for example as a rectangular distribution.
    floor_w_m2, overload_w_m2 : float
        Lowest and highest value it can show [W/m²]; the latter None if not stated.
    assumed : tuple of str
        Names of the figures above that nobody has stated and a cautious value stands in for.
    remarks : tuple of Text
        Outer zones of the band, what stood in front, the last self-test.
    receives_hz : (float, float) or None
        Lowest and highest frequency it receives, outer zones included [Hz]; None for the rated band.
    calibration_overdue : bool
        True if the due date lay before the visit; the report then calls the results indicative.
    """

    id: str
    name: str
    serial: str = ""
    band_low_hz: float = MeterFigures.band_low_hz
    band_high_hz: float = MeterFigures.band_high_hz
    tolerance_db: float = MeterFigures.tolerance_db
    tolerance_basis: Text = ""
    repeatability_db: float = MeterFigures.repeatability_db
    floor_w_m2: float = MeterFigures.floor_w_m2
    overload_w_m2: float | None = None
    response_s: float = MeterFigures.response_s
    averaging_s: float = MeterFigures.averaging_s
    body_distance_m: float = MeterFigures.body_distance_m
    pickup_axes: int = MeterFigures.pickup_axes
    calibrated_on: str = ""
    calibration_due: str = ""
    calibration_overdue: bool = False
    certificate: str = ""
    calibration: tuple[CalibrationEntry, ...] = ()
    chart: ControlChart | None = None
    note: str = ""
    assumed: tuple[str, ...] = ()
    remarks: tuple[Text, ...] = ()
    receives_hz: tuple[float, float] | None = None


@dataclass(frozen=True)
class BudgetLine:
    """One contribution to the uncertainty.

    Parameters
    ----------
    std_db : float
        Standard uncertainty [dB].
    shared : bool
        True if it is common to all readings of the meter and so cancels in ratios at one frequency.
    distribution : Text
        For example ``rectangular``.
    source : Text
        Where the figure comes from.
    """

    name: Text
    std_db: float
    shared: bool
    distribution: Text = ""
    source: Text = ""
    kind: Kind | None = None


@dataclass(frozen=True)
class Budget:
    """The budget of a typical reading.

    Parameters
    ----------
    combined_std_db : float
        Combined standard uncertainty [dB].
    low_db, high_db : float
        Ends of the coverage interval relative to the median [dB].
    method : Text
        How the parts were combined.
    """

    lines: tuple[BudgetLine, ...]
    combined_std_db: float
    low_db: float
    high_db: float
    method: Text = ""


class ReferenceStanding(StrEnum):
    """What force a reference has."""

    LAW = "law"
    RECOMMENDATION = "recommendation"
    VOLUNTARY = "voluntary"
    DISPUTED = "disputed"
    EXPERT = "expert"


@dataclass(frozen=True)
class ReferenceEntry:
    """A limit or guideline with its standing, edition, clause and how it is known.

    Parameters
    ----------
    label : Text
        Short name for tables and axes.
    how_known : Text
        For example ``from memory``; shown with every use of the value.
    kind : Kind
        Kind of level that it asks for.
    value_w_m2 : float or None
        Bound used in this report [W/m²]; None if it was not used as a number.
    edges_w_m2 : tuple of (Text, float)
        Category names with their lower edges [W/m²], rising; empty if it has none.
    averaging_s : float or None
        Averaging time that it asks for [s].
    used : bool
        True if a verdict rests on it.
    on_axis : bool
        False for a bound so far above all levels that it would squeeze the axis.
    conditions : tuple of str
        What the document asks of a reading, as the reference data carry it.
    installations_only : bool
        True for a limit that binds fixed installations and not the devices in a home.
    """

    id: str
    label: Text
    document: str
    standing: ReferenceStanding
    kind: Kind
    edition: str = ""
    clause: str = ""
    issuer: str = ""
    how_known: Text = ""
    value_w_m2: float | None = None
    edges_w_m2: tuple[tuple[Text, float], ...] = ()
    averaging_s: float | None = None
    used: bool = True
    note: Text = ""
    on_axis: bool = True
    conditions: tuple[str, ...] = ()
    installations_only: bool = False


@dataclass(frozen=True)
class Position:
    """What a mainstream body holds."""

    body: str
    document: str
    text: str
    edition: str = ""
    how_known: str = ""


@dataclass(frozen=True)
class Proof:
    """What a mark such as ``E23`` beside a value stands for.

    Parameters
    ----------
    what, where : str
        What was seen, and where.
    confirms : str
        Which part of the value it confirms.
    """

    mark: str
    what: str
    where: str
    confirms: str


@dataclass(frozen=True)
class Caution:
    """A caution that the trade owes.

    Parameters
    ----------
    group : str
        For example ``electrical`` or ``emergency``.
    """

    topic: str
    text: str
    group: str = ""


@dataclass(frozen=True)
class AmendmentEntry:
    """A correction of the record: which observation, what, why, by whom, when."""

    target: str
    field: str
    old: str
    new: str
    reason: str
    by: str
    at: str


@dataclass(frozen=True)
class ReadingEntry:
    """A row of the data annex: the reading as observed, before any correction.

    Parameters
    ----------
    amended : bool
        True if an amendment touches it; withdrawn readings stay in the annex and say so.
    origin : str
        File and line it was imported from; empty if typed in.
    """

    id: str
    visit: str
    place: str
    state: str
    kind: Kind
    shown: Shown
    orientation: str = ""
    scan: str = ""
    taken_at: str = ""
    replicate: int = 0
    note: str = ""
    origin: str = ""
    amended: bool = False
    withdrawn: bool = False


@dataclass(frozen=True)
class VisitEntry:
    """A visit.

    Parameters
    ----------
    started_at, ended_at : str
        ISO 8601 with offset.
    """

    id: str
    started_at: str
    assessor: str
    purpose: Text = ""
    ended_at: str = ""
    conditions: str = ""
    note: str = ""


@dataclass(frozen=True)
class PhotoEntry:
    """A photo that the report shows.

    Parameters
    ----------
    subject : str
        ``display``, ``place``, ``room``, ``house_front`` or ``other``.
    caption : str
        What it shows, in the assessor's words.
    place, state : str
        Names of place and radio state; empty where it has none.
    taken_at : str
        ISO 8601; empty if not noted.
    values : tuple of (Kind, float)
        Readings that it belongs to: kind and what the meter showed [W/m²]; bounds are left out.
    picture : bytes
        The smaller copy, JPEG.
    width_px, height_px : int
        Its size [pixel].
    sha256 : str
        Hash of the picture in the record, of which it is a copy.
    """

    subject: str
    caption: str
    place: str
    state: str
    taken_at: str
    values: tuple[tuple[Kind, float], ...]
    picture: bytes
    width_px: int
    height_px: int
    sha256: str


@dataclass(frozen=True)
class ChecklistEntry:
    """What was seen to before and on arrival, by the checklists.

    Parameters
    ----------
    done, total : int
        Rows that were ticked, and all.
    open : tuple of Text
        Rows that were not.
    """

    done: int
    total: int
    open: tuple[Text, ...] = ()

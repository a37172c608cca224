"""Observations: readings, bearings, recordings and logs. Never changed, only amended."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.survey.dwelling import Point3


class Orientation(StrEnum):
    """How the single-axis antenna was turned."""

    BEST_AXIS = "best_axis"
    X = "x"
    Y = "y"
    Z = "z"
    THREE_AXIS_SUM = "three_axis_sum"
    UNKNOWN = "unknown"


class Scan(StrEnum):
    """How the meter was moved."""

    HAND_SCAN = "hand_scan"
    """Slowly through a cube about the place."""
    FIXED = "fixed"
    """Not at all."""
    ROOM = "room"
    """Through a whole room."""


class Volume(StrEnum):
    """What a reading stands for in space; it follows from how the meter was moved."""

    SPOT = "spot"
    CUBE = "half_metre_cube"
    ROOM = "room"


class Period(StrEnum):
    """Time of day by what people do."""

    DAY = "day"
    NIGHT = "night"


NIGHT_HOURS = (22.0, 6.0)
"""Local hours that count as night (our convention)."""


def period_of(moment: str) -> Period | None:
    """Whether a moment lies at night or by day, by the clock as written; None if it names no time of day.

    Parameters
    ----------
    moment : str
        ISO 8601, or empty.
    """
    if len(moment) < len("2026-03-14T09:10"):
        return None
    at = datetime.fromisoformat(moment)
    start, end = NIGHT_HOURS
    return Period.NIGHT if at.hour + at.minute / 60.0 >= start or at.hour + at.minute / 60.0 < end else Period.DAY


_VOLUMES = {Scan.FIXED: Volume.SPOT, Scan.HAND_SCAN: Volume.CUBE, Scan.ROOM: Volume.ROOM}


@dataclass(frozen=True)
class Origin:
    """Where an observation came from: typed in, or a line of a file.

    Parameters
    ----------
    file_sha256 : str
        Content hash of the imported file; empty if typed in.
    line : int
        Line in that file; 0 if typed in.
    """

    file_name: str = ""
    file_sha256: str = ""
    line: int = 0


@dataclass(frozen=True)
class ListenedScan:
    """What a hand scan is worth whose sound was listened to.

    Parameters
    ----------
    seconds : float
        Length of the scan [s].
    spots : int
        Independent places passed, from the rate of fading.
    low_db, shortfall_db, high_db : float
        How far the highest seen lies under the largest value in the volume: ends of the 90 % interval and median [dB].
    orientation_share : float or None
        Part of all directions of the antenna that were met, 0 to 1; None if not measured.
    """

    seconds: float
    spots: int
    low_db: float
    shortfall_db: float
    high_db: float
    orientation_share: float | None = None


@dataclass(frozen=True)
class Reading:
    """One number from the meter.

    Parameters
    ----------
    value_w_m2 : float
        Power density as shown [W/m²]; with ``censoring`` other than none it is the bound.
    place_id : str
        The place; empty if only ``position`` is known.
    position : (float, float, float) or None
        Where, if it differs from the place's position [m].
    scan_edge_m : float
        Edge of the scanned cube for a hand scan [m].
    taken_at : str
        ISO 8601; empty if not noted.
    replicate : int
        Counts several scans of the same thing; readings of one scan share it.
    watched_s : float or None
        How long the display was watched (peak), the hold ran (highest held) or values were averaged (average)
        [s]; None if not noted.
    height_m : float or None
        Height above the floor of the room [m]; None if not noted.
    body_distance_m : float or None
        Distance from the body [m]; None if not noted, then the meter's own figure holds.
    accessory_id : str
        What stood in front of the meter, see `Meter.accessories`; empty for nothing.
    listened : ListenedScan or None
        What the scan is worth by its sound; None if nobody listened.
    """

    id: str
    visit_id: str
    meter_id: str
    radio_state_id: str
    kind: Kind
    value_w_m2: float
    place_id: str = ""
    position: Point3 | None = None
    censoring: Censoring = Censoring.NONE
    orientation: Orientation = Orientation.BEST_AXIS
    scan: Scan = Scan.HAND_SCAN
    scan_edge_m: float = 0.5
    taken_at: str = ""
    replicate: int = 0
    note: str = ""
    origin: Origin = Origin()
    watched_s: float | None = None
    height_m: float | None = None
    body_distance_m: float | None = None
    accessory_id: str = ""
    listened: ListenedScan | None = None

    @property
    def volume(self) -> Volume:
        """Spot, half-metre cube or room."""
        return _VOLUMES[self.scan]

    @property
    def period(self) -> Period | None:
        """Whether it was taken at night or by day; None if the time was not noted."""
        return period_of(self.taken_at)


@dataclass(frozen=True)
class Bearing:
    """Axis of strongest and of weakest pickup of the figure-of-eight antenna.

    Parameters
    ----------
    strongest_deg, null_deg : float or None
        Degrees clockwise from plan north, 0 to 180 (an axis, so ambiguous by 180).
    std_deg : float
        Standard uncertainty of each [deg].
    strongest_w_m2, null_w_m2 : float or None
        What the meter showed there, time average [W/m²].
    """

    id: str
    visit_id: str
    meter_id: str
    radio_state_id: str
    position: Point3
    strongest_deg: float | None = None
    null_deg: float | None = None
    std_deg: float = 12.0
    strongest_w_m2: float | None = None
    null_w_m2: float | None = None
    taken_at: str = ""
    note: str = ""
    origin: Origin = Origin()


@dataclass(frozen=True)
class HeardTechnology:
    """One answer of the listening step, as stored with the recording.

    Parameters
    ----------
    technology : str
        Key of the technologies table.
    probability : float
        Calibrated probability that it is there, 0 to 1.
    evidence : str
        In words: which rate, which width, which folded shape.
    """

    technology: str
    probability: float
    evidence: str = ""


@dataclass(frozen=True)
class Recording:
    """Audio from the meter's output.

    Parameters
    ----------
    media_sha256 : str
        Content hash of the audio file.
    heard : tuple of HeardTechnology
        Result of the analysis named in ``analysed_with``.
    """

    id: str
    visit_id: str
    meter_id: str
    radio_state_id: str
    media_sha256: str
    place_id: str = ""
    position: Point3 | None = None
    duration_s: float = 0.0
    heard: tuple[HeardTechnology, ...] = ()
    unknown_signals: tuple[str, ...] = ()
    analysed_with: str = ""
    taken_at: str = ""
    note: str = ""


@dataclass(frozen=True)
class LogRecord:
    """A long series from a meter left running.

    Parameters
    ----------
    media_sha256 : str
        Content hash of the file as received.
    series_sha256 : str
        Content hash of the Parquet made from it.
    """

    id: str
    visit_id: str
    meter_id: str
    radio_state_id: str
    kind: Kind
    media_sha256: str
    series_sha256: str = ""
    place_id: str = ""
    started_at: str = ""
    ended_at: str = ""
    note: str = ""


@dataclass(frozen=True)
class MediaItem:
    """A stored file: recording, photo, plan page, log or certificate.

    Parameters
    ----------
    size_bytes : int
        Length [byte].
    """

    sha256: str
    file_name: str
    media_type: str
    size_bytes: int
    caption: str = ""

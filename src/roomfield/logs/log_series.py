"""A stored log: where it lies, what it is, and how it was read."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError, InputError, IntegrityError
from roomfield.logs import duckdb_engine
from roomfield.logs.clock import micros_of, moment_of, parse_moment
from roomfield.logs.scale import Quantity, Scale, Unit
from roomfield.quantities.kind import FORMER_WORDS

SERIES_FILE, PYRAMID_FILE, NOTES_FILE = "series.parquet", "pyramid.parquet", "series.json"
DIGEST_FILE = "digest.npz"
LAYOUT_VERSION = 1


@dataclass(frozen=True)
class IngestReport:
    """What happened to the rows of a file on the way in.

    Parameters
    ----------
    rows_read, rows_stored : int
        Rows of the file, and readings stored.
    identical_repeats, merged_repeats : int
        Readings that shared a time stamp with another: of the same value, or of different ones.
    out_of_order : int
        Rows whose stamp lies before that of the row above.
    missing, unreadable : int
        Rows without a value, and rows left out because they could not be read.
    below_floor, overload : int
        Stored readings at or below the meter's floor, and at or above its range.
    doubled_hour_undecided, hour_that_never_was : int
        Stamps in the doubled hour when daylight saving ends whose pass could not be told, and stamps in the
        hour that is skipped when it begins.
    doubled_hour_paired : int
        Stamps of that hour that stand twice side by side, the first of which was read as the first pass.
    spread : bool
        Whether readings that shared a stamp were spread evenly up to the next.
    remarks : tuple of str
        The same in words, where something is worth saying.
    """

    rows_read: int
    rows_stored: int
    identical_repeats: int = 0
    merged_repeats: int = 0
    out_of_order: int = 0
    missing: int = 0
    unreadable: int = 0
    below_floor: int = 0
    overload: int = 0
    doubled_hour_undecided: int = 0
    hour_that_never_was: int = 0
    doubled_hour_paired: int = 0
    spread: bool = False
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class GapRule:
    """How long one reading stands for the time after it, and which silence is a gap.

    A reading stands until the next, but no longer than `hold_limit_s`; the last for one nominal interval. Two
    readings further apart than `gap_limit_s` have a gap between them. Time that no reading stands for is not
    observed and enters no statistic.

    Parameters
    ----------
    nominal_interval_s : float
        Usual time between readings [s].
    hold_limit_s : float
        Longest time that one reading stands for [s].
    gap_limit_s : float
        Longest time between readings that is no gap [s].
    """

    nominal_interval_s: float
    hold_limit_s: float
    gap_limit_s: float

    @staticmethod
    def usual(nominal_interval_s: float) -> GapRule:
        """Hold for two intervals at most; a gap is longer than three intervals and than 10 s.

        Parameters
        ----------
        nominal_interval_s : float
            Usual time from one reading to the next [s].
        """
        return GapRule(nominal_interval_s, 2.0 * nominal_interval_s, max(10.0, 3.0 * nominal_interval_s))

    def in_words(self) -> str:
        """The rule as a sentence."""
        return (
            f"A reading stands until the next one, at most {self.hold_limit_s:g} s; readings more than "
            f"{self.gap_limit_s:g} s apart have a gap between them; what is not observed enters no statistic."
        )


@dataclass(frozen=True)
class LogSeries:
    """A stored log, or a span of it.

    Parameters
    ----------
    directory : Path
        Where it lies.
    id : str
        Hash of content and mapping.
    source_name, source_sha256 : str
        File it was made from.
    unit : Unit
        Unit of the stored values.
    kind : str
        ``average``, ``peak``, ``highest_held`` or ``unknown``.
    zone : str
        Zone in which days and hours are counted.
    start_us, end_us : int
        First and last stamp in the span [µs since 1970, UTC].
    rows : int
        Readings in the whole series.
    nominal_interval_s : float
        Median time between readings [s].
    minimum, maximum, mean_shift : float
        Ends of the whole series, and its plain mean (to sum about), in `unit`.
    report : IngestReport
        What happened on the way in.
    already_known : bool
        Whether ingest found this content stored already.
    whole : bool
        Whether this is the whole series.
    """

    directory: Path
    id: str
    source_name: str
    source_sha256: str
    unit: Unit
    kind: str
    zone: str
    start_us: int
    end_us: int
    rows: int
    nominal_interval_s: float
    minimum: float
    maximum: float
    mean_shift: float
    report: IngestReport
    mapping: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)
    already_known: bool = field(default=False, compare=False)
    whole: bool = True

    @property
    def start(self) -> datetime:
        """First stamp, UTC."""
        return moment_of(self.start_us)

    @property
    def end(self) -> datetime:
        """Last stamp, UTC."""
        return moment_of(self.end_us)

    @property
    def gap_rule(self) -> GapRule:
        """The usual rule for this series."""
        return GapRule.usual(self.nominal_interval_s)

    @property
    def path(self) -> Path:
        """The Parquet file of readings: t_us, value, flag, dt_us."""
        return self.directory / SERIES_FILE

    def between(self, start: datetime | str | None = None, end: datetime | str | None = None) -> LogSeries:
        """The readings from `start` (included) to `end` (excluded), as a series of its own.

        Parameters
        ----------
        start, end : datetime or str, optional
            Moments with a time zone, or ISO 8601; the ends of the series if left out.

        Raises
        ------
        InputError
            If no reading lies in the span.
        """
        low, high = self.start_us, self.end_us + 1
        if start is not None:
            low = max(low, micros_of(parse_moment(start) if isinstance(start, str) else start))
        if end is not None:
            high = min(high, micros_of(parse_moment(end) if isinstance(end, str) else end))
        query = (
            f"SELECT min(t_us), max(t_us) FROM {duckdb_engine.parquet(self.path)} WHERE t_us >= {low} AND t_us < {high}"
        )
        with duckdb_engine.reader() as database:
            first, last = database.execute(query).fetchall()[0]
        if first is None:
            raise InputError(
                f"no reading lies between {moment_of(low):%Y-%m-%d %H:%M} and {moment_of(high):%Y-%m-%d %H:%M} UTC.",
                where=self.source_name,
                mend=f"The log runs from {self.start:%Y-%m-%d %H:%M} to {self.end:%Y-%m-%d %H:%M} UTC.",
            )
        return replace(self, start_us=int(first), end_us=int(last), whole=False)

    def where_sql(self) -> str:
        """Condition that keeps to the span."""
        return "TRUE" if self.whole else f"t_us >= {self.start_us} AND t_us <= {self.end_us}"

    def readings(self) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int8]]:
        """All stamps [µs], values and flags of the span, in order; for series that fit in memory."""
        query = f"SELECT t_us, value, flag FROM {duckdb_engine.parquet(self.path)} WHERE {self.where_sql()}"
        with duckdb_engine.reader() as database:
            parts = list(duckdb_engine.batches(database, query))
        columns = [np.concatenate([np.asarray(part.column(i)) for part in parts]) for i in range(3)]
        return columns[0], columns[1], columns[2]

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready form."""
        data = asdict(self)
        data.pop("directory"), data.pop("already_known"), data.pop("whole")
        return {
            **data,
            "start": self.start.isoformat(),
            "end": self.end.isoformat(),
            "layout": LAYOUT_VERSION,
        }


def open_series(path: str | Path) -> LogSeries:
    """Open a stored log.

    Parameters
    ----------
    path : str or Path
        Its folder, or a file in it.

    Raises
    ------
    FormatError
        If there is no stored log, or it is of a later layout.
    IntegrityError
        If its files do not belong together.
    """
    folder = Path(path)
    folder = folder if folder.is_dir() else folder.parent
    notes = folder / NOTES_FILE
    if not notes.is_file():
        raise FormatError("there is no stored log here.", where=str(path), mend="Ingest the file first.")
    try:
        data = json.loads(notes.read_text(encoding="utf-8"))
        if data["layout"] > LAYOUT_VERSION:
            raise FormatError("it was stored by a later version.", where=str(path), mend="Update roomfield.")
        series = _from_notes(folder, data)
    except (KeyError, TypeError, ValueError) as fault:
        raise IntegrityError("its notes cannot be read.", where=str(notes), mend="Ingest the file again.") from fault
    for name in (SERIES_FILE, PYRAMID_FILE):
        if not (folder / name).is_file():
            raise IntegrityError(f"{name} is missing.", where=str(folder), mend="Ingest the file again.")
    return series


def _from_notes(folder: Path, data: dict[str, Any]) -> LogSeries:
    unit = data["unit"]
    report = dict(data["report"])
    report["remarks"] = tuple(report["remarks"])
    names = (
        "id", "source_name", "source_sha256", "kind", "zone", "start_us", "end_us", "rows",
        "nominal_interval_s", "minimum", "maximum", "mean_shift", "mapping",
    )  # fmt: skip
    kind = FORMER_WORDS.get(data["kind"], data["kind"])
    return LogSeries(
        directory=folder,
        unit=Unit(unit["name"], Quantity(unit["quantity"]), Scale(unit["scale"])),
        report=IngestReport(**report),
        **({name: data[name] for name in names} | {"kind": kind}),
    )

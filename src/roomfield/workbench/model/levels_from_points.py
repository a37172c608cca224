"""A site without a plan: levels between the points that were read, and where an emitter stands."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from roomfield.errors import InputError, TooEarlyError
from roomfield.exchange.points_table import PointRow, read_points, read_positions
from roomfield.field.locate_points import locate_points
from roomfield.field.points import PointPosterior, infer_points
from roomfield.quantities.censoring import Censoring

COVERAGE = 0.9
_LEAST_READINGS = 3


@dataclass(frozen=True)
class PointLevel:
    """What a reading would show at a point where none was taken, with its central 90 % interval [W/m²].

    Parameters
    ----------
    line : int
        Line of the table that asked.
    xyz : tuple of float
        Where [m].
    """

    line: int
    xyz: tuple[float, float, float]
    emitter: str
    low_w_m2: float
    median_w_m2: float
    high_w_m2: float


@dataclass(frozen=True)
class SoughtPoint:
    """Where one emitter stands, from levels alone.

    Parameters
    ----------
    centre_m : (float, float)
        The place with the least expected distance to the emitter [m].
    area_m2 : float
        Area of the smallest region that holds it with 90 % [m²].
    outside_deg : float or None
        Where that region is cut off by the edge of what was searched, clockwise from the y axis [deg]; None if it is
        closed. The emitter may stand farther out there.
    """

    emitter: str
    centre_m: tuple[float, float]
    area_m2: float
    outside_deg: float | None


@dataclass(frozen=True)
class PointLevels:
    """What a table of points says.

    Parameters
    ----------
    levels : tuple of PointLevel
        One for each point whose reading was left empty.
    sought : tuple of SoughtPoint
        Emitters whose position was not given.
    readings : int
        Number of readings that it rests on.
    """

    levels: tuple[PointLevel, ...]
    sought: tuple[SoughtPoint, ...]
    readings: int


def levels_from_points(table: str | Path, emitters: str | Path | None = None, *, seed: int = 0) -> PointLevels:
    """Levels between the points of a site, with intervals, and where its emitters stand; no plan is needed.

    Parameters
    ----------
    table : str or Path
        CSV or XLSX with x, y [m], z if known, and one column of readings with its unit; an empty reading asks for a
        level there.
    emitters : str or Path, optional
        Table of known positions: emitter, x, y, z [m]. Left out, distance plays no part and each emitter is sought.
    seed : int
        The same seed gives the same answer.

    Raises
    ------
    InputError
        If the table cannot be read, or an emitter has readings but no position.
    TooEarlyError
        If fewer than three readings are given.

    Examples
    --------
    >>> import tempfile, roomfield as rf
    >>> folder = tempfile.mkdtemp()
    >>> table = f"{folder}/site.csv"
    >>> with open(table, "w", encoding="utf-8") as file:
    ...     for row in ("x,y,peak [µW/m²]", "0,0,120", "4,0,60", "0,4,50", "4,4,30", "2,2,"):
    ...         print(row, file=file)
    >>> len(rf.levels_from_points(table).levels)
    1
    """
    rows = read_points(Path(table))
    read = [row for row in rows if row.density_w_m2 is not None]
    if len(read) < _LEAST_READINGS:
        raise TooEarlyError(
            f"{len(read)} readings are too few to tell levels elsewhere.",
            where=Path(table).name,
            mend="Take at least three, spread over the site.",
        )
    positions: dict[Hashable, Sequence[float]] | None = None
    if emitters is not None:
        positions = dict(read_positions(Path(emitters)).items())
    if positions and len(positions) == 1 and not any(row.emitter for row in rows):
        positions = {"": next(iter(positions.values()))}
    given = _posterior(rows, read, positions, seed)
    asked = [row for row in rows if row.density_w_m2 is None]
    unread = {row.emitter for row in asked} - {row.emitter for row in read}
    if unread:
        raise InputError(
            f"a level of {min(unread)!r} is asked for, but nothing was read of it.",
            where=Path(table).name,
            mend="Name an emitter that has readings.",
        )
    sought = () if positions is not None else tuple(_sought(rows, read, seed))
    return PointLevels(tuple(_levels(given, asked)), sought, len(read))


def _posterior(
    rows: Sequence[PointRow],
    read: Sequence[PointRow],
    positions: Mapping[Hashable, Sequence[float]] | None,
    seed: int,
) -> PointPosterior:
    extent = float(np.linalg.norm(np.ptp(np.array([row.xyz for row in rows]), axis=0)))
    return infer_points(
        [row.xyz for row in read],
        [_db(row) for row in read],
        emitter=[row.emitter for row in read],
        emitter_positions=positions,
        censor=[row.censoring.side for row in read],
        extent_m=extent or None,
        seed=seed,
    )


def _db(row: PointRow) -> float:
    return 10.0 * float(np.log10(row.density_w_m2 or 0.0))


def _levels(given: PointPosterior, asked: Sequence[PointRow]) -> list[PointLevel]:
    if not asked:
        return []
    mixture = given.levels([row.xyz for row in asked], [row.emitter for row in asked])
    low, high = mixture.interval_db(COVERAGE)
    ends = 10.0 ** (np.array([low, mixture.quantile_db(0.5), high]) / 10.0)
    return [PointLevel(row.line, row.xyz, row.emitter, *end) for row, end in zip(asked, ends.T.tolist(), strict=True)]


def _sought(rows: Sequence[PointRow], read: Sequence[PointRow], seed: int) -> list[SoughtPoint]:
    site = [row.xyz for row in rows]
    found = []
    for name in dict.fromkeys(row.emitter for row in read):
        own = [row for row in read if row.emitter == name and row.censoring is Censoring.NONE]
        if len(own) < _LEAST_READINGS:
            continue
        search = locate_points([row.xyz for row in own], [_db(row) for row in own], surveyed=site, seed=seed)
        x, y = search.centre.tolist()
        area = float(search.region(COVERAGE).sum()) * search.step_m**2
        found.append(SoughtPoint(name, (x, y), area, search.open_towards_deg))
    return found

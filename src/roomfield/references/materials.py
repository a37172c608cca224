"""Electrical properties of building materials: ITU-R P.2040 Table 3.

Relative permittivity ``a f^b`` and conductivity ``c f^d`` [S/m], f in GHz (equation numbers not seen; laws
and coefficients as each row of the table says).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache

from roomfield.errors import RangeError, UnknownNameError
from roomfield.references.own_files import STATED, OwnTable, own_stamp, own_tables, refuse_taken
from roomfield.references.source import Source
from roomfield.references.table import SOURCE, column, data_files, load_csv, rows_from_mappings

DEFAULT_EDITION = "P.2040-3"
SUPPLEMENT = "P.1238-7"
"""Table whose materials stand beside those of every edition of P.2040, as far as these do not have them."""
_FOLDER = "itu-r-"


@dataclass(frozen=True)
class Material:
    """One row of Table 3: a material over the range of frequency that the row covers.

    Parameters
    ----------
    name : str
        Material, as the table writes it.
    source : Source
        Document, edition, clause and how the row is known.
    a, b, c, d : float
        Coefficients of the two laws.
    f_low_hz, f_high_hz : float
        Range of validity [Hz], both ends included.
    note : str
        Remark on the row.
    """

    name: str = column("material")
    source: Source = SOURCE
    a: float = column(low=0.0)
    b: float = column()
    c: float = column(low=0.0)
    d: float = column()
    f_low_hz: float = column("f_low_ghz", scale=1e9, low=0.0)
    f_high_hz: float = column("f_high_ghz", scale=1e9, low=0.0)
    note: str = column(blank=True)

    @property
    def edition(self) -> str:
        """Edition key, such as "P.2040-3"."""
        return self.source.document.removeprefix("ITU-R ")

    def covers(self, frequency_hz: float) -> bool:
        """True if the row's stated range holds this frequency [Hz]."""
        return self.f_low_hz <= frequency_hz <= self.f_high_hz

    def relative_permittivity(self, frequency_hz: float, *, beyond_range: bool = False) -> float:
        """Real part of the relative permittivity [1].

        Parameters
        ----------
        frequency_hz : float
            Frequency [Hz].
        beyond_range : bool
            True to use the law outside its stated range; the caller then widens the result.

        Raises
        ------
        RangeError
            Outside the range, unless ``beyond_range``.
        """
        self._check(frequency_hz, beyond_range)
        return self.a * float((frequency_hz / 1e9) ** self.b)

    def conductivity_s_m(self, frequency_hz: float, *, beyond_range: bool = False) -> float:
        """Conductivity [S/m]; parameters and errors as `relative_permittivity`."""
        self._check(frequency_hz, beyond_range)
        return self.c * float((frequency_hz / 1e9) ** self.d)

    def _check(self, frequency_hz: float, beyond_range: bool) -> None:
        if not beyond_range and not self.covers(frequency_hz):
            raise RangeError(
                "frequency",
                frequency_hz,
                (self.f_low_hz, self.f_high_hz),
                "Hz",
                where=f"{self.source.document}, {self.name}",
                mend="Ask with beyond_range=True and widen the interval, or choose another material.",
            )


@cache
def _tables() -> dict[str, tuple[Material, ...]]:
    tables: dict[str, tuple[Material, ...]] = {}
    for folder, name in data_files("materials.csv"):
        rows = load_csv(Material, folder, name)
        tables[rows[0].edition] = rows
    return tables


@lru_cache(maxsize=1)
def _own(_stamp: object) -> tuple[Material, ...]:
    """The user's own materials, which stand beside those of every edition."""
    tables = own_tables("material")
    rows = [row for table in tables for row in _own_rows(table)]
    named = [(str(table.row.get("material", "")), table) for table in tables]
    refuse_taken(named, {row.name for known in _tables().values() for row in known}, "material")
    return tuple(rows)


def _own_rows(table: OwnTable) -> tuple[Material, ...]:
    row = {"b": 0.0, "d": 0.0, "how": STATED, **table.row}
    return rows_from_mappings(Material, [(table.line, row)], where=table.where)


def editions() -> tuple[str, ...]:
    """Editions in the reference data."""
    return tuple(name for name in _tables() if name != SUPPLEMENT)


def materials(edition: str = DEFAULT_EDITION) -> tuple[Material, ...]:
    """All rows of one edition, those of `SUPPLEMENT`, then the user's own materials.

    Raises
    ------
    UnknownNameError
        If there is no such edition.
    """
    if edition not in _tables():
        raise UnknownNameError("edition of the material table", edition, _tables())
    rows = _tables()[edition]
    known = {row.name for row in rows}
    beside = tuple(row for row in _tables()[SUPPLEMENT] if row.name not in known)
    return (*rows, *beside, *_own(own_stamp()))


def material(name: str, *, edition: str = DEFAULT_EDITION, frequency_hz: float | None = None) -> Material:
    """The row of a material.

    Parameters
    ----------
    name : str
        Material, such as "concrete".
    edition : str
        Edition, such as "P.2040-3".
    frequency_hz : float, optional
        Frequency [Hz] that chooses between rows where a material has two ranges. Without it, or where no
        row covers it, the row that starts lowest.

    Raises
    ------
    UnknownNameError
        If the edition has no such material; names those it has.
    """
    rows = [row for row in materials(edition) if row.name == name]
    if not rows:
        raise UnknownNameError("material", name, {row.name for row in materials(edition)}, where=edition)
    covering = [row for row in rows if frequency_hz is not None and row.covers(frequency_hz)]
    return min(covering or rows, key=lambda row: row.f_low_hz)

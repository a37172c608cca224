"""Limits of exposure, by jurisdiction, edition, tier and frequency.

Edges: a range reads "above its lower edge, up to and including its upper edge", as ICNIRP 2020 writes its
tables, so a frequency on an edge takes the value of the lower row.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.errors import InputError, UnknownNameError
from roomfield.references.limit_sets import (
    ELECTRIC_FIELD,
    POWER_DENSITY,
    QUANTITIES,
    LimitLaw,
    LimitSet,
    LimitValue,
)
from roomfield.references.source import Source
from roomfield.references.table import SOURCE, column, data_files, data_text, load_csv, rows_from_mappings

__all__ = [
    "ELECTRIC_FIELD",
    "POWER_DENSITY",
    "Jurisdiction",
    "LimitCurve",
    "LimitLaw",
    "LimitSet",
    "LimitValue",
    "jurisdictions",
    "limit_set",
    "limit_sets",
    "lookup",
    "select",
    "smallest_in_band",
]


@dataclass(frozen=True)
class Jurisdiction:
    """A country, region or body with limits of its own."""

    code: str = column()
    title: str = column()
    source: Source = SOURCE


@cache
def jurisdictions() -> tuple[Jurisdiction, ...]:
    """All jurisdictions with at least one set."""
    return load_csv(Jurisdiction, "jurisdictions", "jurisdictions.csv")


@cache
def _all_sets() -> dict[str, LimitSet]:
    found: dict[str, LimitSet] = {}
    for folder, name in data_files("sets.toml"):
        if name != "sets.toml":
            continue
        tables = tomllib.loads(data_text(folder, name))["set"]
        sets = rows_from_mappings(LimitSet, enumerate(tables, start=1), where=f"{folder}/{name}")
        laws = load_csv(LimitLaw, folder, "levels.csv")
        for item in sets:
            own = tuple(law for law in laws if law.set_id == item.set_id)
            found[item.set_id] = replace(item, laws=own)
    return found


def limit_set(set_id: str) -> LimitSet:
    """One set by its name.

    Raises
    ------
    UnknownNameError
        If there is none of that name.
    """
    if set_id not in _all_sets():
        raise UnknownNameError("set of limits", set_id, _all_sets())
    return _all_sets()[set_id]


def limit_sets(jurisdiction: str | None = None, *, superseded: bool = False) -> tuple[LimitSet, ...]:
    """Sets of one jurisdiction, or all.

    Parameters
    ----------
    jurisdiction : str, optional
        Code, such as "CH".
    superseded : bool
        True to include those no longer in force.

    Raises
    ------
    UnknownNameError
        If there is no such jurisdiction.
    """
    codes = {item.jurisdiction for item in _all_sets().values()}
    if jurisdiction is not None and jurisdiction not in codes:
        raise UnknownNameError("jurisdiction", jurisdiction, codes)
    return tuple(
        item
        for item in _all_sets().values()
        if jurisdiction in (None, item.jurisdiction) and (superseded or item.in_force)
    )


def select(
    jurisdiction: str,
    *,
    edition: str | None = None,
    tier: str = "general_public",
    scope: str = "whole_body",
    kind: str | None = None,
    sets: Sequence[LimitSet] | None = None,
) -> LimitSet:
    """The one set that fits.

    Parameters
    ----------
    jurisdiction : str
        Code, such as "EU", "US", "CH".
    edition : str, optional
        Edition key, such as "1998"; without it the edition in force.
    tier : str
        "general_public" or "occupational".
    scope : str
        "whole_body" or "local".
    kind : str, optional
        Kind of limit where a jurisdiction has several, such as "attention value and quality objective".
    sets : sequence of LimitSet, optional
        Sets to choose from, such as a user's own; the reference data if left out.

    Raises
    ------
    UnknownNameError
        If nothing fits; names what there is.
    InputError
        If several fit equally.
    """
    pool = limit_sets(jurisdiction, superseded=edition is not None) if sets is None else tuple(sets)
    fitting = [s for s in pool if s.tier == tier and s.scope == scope and s.jurisdiction == jurisdiction]
    wanted = f"{jurisdiction}, {tier}, {scope}"
    if not fitting:
        raise UnknownNameError("set of limits", wanted, {f"{s.jurisdiction}, {s.tier}, {s.scope}" for s in pool})
    if edition is not None:
        fitting = _narrow(fitting, "edition", edition, [s.edition_key for s in fitting], wanted)
    if kind is not None:
        fitting = _narrow(fitting, "kind of limit", kind, [s.kind for s in fitting], wanted)
    fitting = [s for s in fitting if s.default] or fitting
    if len(fitting) > 1:
        raise InputError(
            f"{len(fitting)} sets of limits fit {wanted}: {', '.join(s.set_id for s in fitting)}.",
            mend="Name the kind or the edition.",
        )
    return fitting[0]


def _narrow(fitting: list[LimitSet], what: str, wanted: str, keys: list[str], where: str) -> list[LimitSet]:
    kept = [item for item, key in zip(fitting, keys, strict=True) if key == wanted]
    if not kept:
        raise UnknownNameError(what, wanted, set(keys), where=where)
    return kept


@dataclass(frozen=True, eq=False)
class LimitCurve:
    """A limit over frequency.

    Parameters
    ----------
    frequency_hz : ndarray
        As asked for [Hz].
    value_w_m2, value_v_m, averaging_s : ndarray of the same shape
        Power density [W/m²], field strength [V/m] and averaging time [s]; nan where the set gives none.
    rows : tuple of LimitValue
        With citations, one for each frequency that has a limit.
    """

    frequency_hz: NDArray[np.float64]
    value_w_m2: NDArray[np.float64]
    value_v_m: NDArray[np.float64]
    averaging_s: NDArray[np.float64]
    rows: tuple[LimitValue, ...]


def curve_of(chosen: LimitSet, frequency_hz: ArrayLike, quantity: str) -> LimitCurve:
    """A set of limits at many frequencies.

    Parameters
    ----------
    frequency_hz : array_like
        Frequencies [Hz], of any shape.
    quantity : str
        "power_density" or "electric_field".
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    found = [chosen.at(float(one), quantity) if chosen.law_at(float(one), quantity) else None for one in f.ravel()]
    columns = [
        [np.nan, np.nan, np.nan]
        if one is None
        else [one.value_w_m2, one.value_v_m, np.nan if one.averaging_s is None else one.averaging_s]
        for one in found
    ]
    density, field, averaging = np.array(columns, dtype=np.float64).reshape(-1, 3).T.reshape(3, *f.shape)
    return LimitCurve(f, density, field, averaging, tuple(one for one in found if one is not None))


@overload
def lookup(
    jurisdiction: str, quantity: str, frequency_hz: float, *, edition: str | None = ..., tier: str = ...,
    scope: str = ..., kind: str | None = ...,
) -> LimitValue: ...  # fmt: skip
@overload
def lookup(
    jurisdiction: str, quantity: str, frequency_hz: Sequence[float] | NDArray[np.float64], *,
    edition: str | None = ..., tier: str = ..., scope: str = ..., kind: str | None = ...,
) -> LimitCurve: ...  # fmt: skip
def lookup(
    jurisdiction: str,
    quantity: str,
    frequency_hz: ArrayLike,
    *,
    edition: str | None = None,
    tier: str = "general_public",
    scope: str = "whole_body",
    kind: str | None = None,
) -> LimitValue | LimitCurve:
    """Limit at one frequency, or over many.

    Parameters
    ----------
    jurisdiction : str
        Code, such as "EU", "ICNIRP", "US", "CA", "CH", "IT".
    quantity : str
        "power_density" or "electric_field".
    frequency_hz : float or array_like
        Frequency [Hz].
    edition, tier, scope, kind : str
        As `select`.

    Returns
    -------
    LimitValue or LimitCurve
        Value with its averaging time, citation, how it is known and standing; for many frequencies arrays of their
        shape, with nan where the set gives no limit.

    Raises
    ------
    UnknownNameError
        For a name that is not in the tables.
    RangeError
        If the set gives no limit at the one frequency asked for.

    Examples
    --------
    >>> round(lookup("EU", "power_density", 900e6).value_w_m2, 3)
    4.5
    >>> lookup("EU", "power_density", [900e6, 1.8e9, 2.45e9]).value_w_m2
    array([ 4.5,  9. , 10. ])
    """
    if quantity not in QUANTITIES:
        raise UnknownNameError("quantity", quantity, QUANTITIES)
    chosen = select(jurisdiction, edition=edition, tier=tier, scope=scope, kind=kind)
    if np.ndim(frequency_hz) == 0:
        return chosen.at(float(np.asarray(frequency_hz)), quantity)
    return curve_of(chosen, frequency_hz, quantity)


def smallest_in_band(
    jurisdiction: str, band_hz: tuple[float, float], *, edition: str | None = None, kind: str | None = None
) -> LimitValue:
    """Smallest public whole-body limit in a meter's band, for a reading of unknown frequency.

    Parameters
    ----------
    band_hz : (float, float)
        The meter's band [Hz].

    Examples
    --------
    >>> smallest_in_band("CA", (200e6, 8e9)).value_w_m2
    1.291
    """
    return select(jurisdiction, edition=edition, kind=kind).smallest_in_band(*band_hz)

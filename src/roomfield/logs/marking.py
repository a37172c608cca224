"""What a number as written becomes: a value in the stored unit, and a mark where the meter's range ended."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError
from roomfield.logs import reading
from roomfield.logs.mapping import Mapping
from roomfield.logs.scale import Quantity, Scale, Unit, find_unit
from roomfield.quantities.convert import density_from_unit

Floats = NDArray[np.float64]


class Marking:
    """Unit and range of a file's readings.

    Parameters
    ----------
    mapping : Mapping
        The confirmed mapping.
    where : str
        Name of the file, for messages.
    """

    def __init__(self, mapping: Mapping, where: str) -> None:
        self.mapping, self.where = mapping, where
        self.unit: Unit = mapping.stored_unit()
        self.floor, self.top = self._limit(mapping.floor), self._limit(mapping.overload)

    def in_stored_unit(self, number: Floats, units: Any = None) -> Floats:
        """Numbers of the file in the unit that is stored.

        Parameters
        ----------
        number : ndarray, shape (n,)
            As written.
        units : Arrow dictionary array or None
            The unit of each, where rows carry one.
        """
        if units is None:
            return self._convert(number, self.mapping.file_unit())
        value = np.full(number.size, np.nan)
        index = units.indices.to_numpy(zero_copy_only=False)
        for i, text in enumerate(units.dictionary.to_pylist()):
            rows = index == i
            found = find_unit(text or self.mapping.unit)
            if found is None and np.isfinite(number[rows]).any():
                raise InputError(
                    f"{text!r} is not a unit of a log.",
                    where=self.where,
                    mend="Correct the unit in the file.",
                )
            if found is not None:
                value[rows] = self._convert(number[rows], found)
        return value

    def _convert(self, number: Floats, unit: Unit) -> Floats:
        if unit == self.unit:
            return number
        if Quantity.RELATIVE_LEVEL in (unit.quantity, self.unit.quantity) or self.unit.name != "W/m2":
            raise InputError(
                f"readings in {unit.name} and in {self.unit.name} cannot stand in one series.",
                where=self.where,
                mend="Split the file by unit.",
            )
        return np.asarray(density_from_unit(number, unit.name), dtype=float)

    def _limit(self, given: float | None) -> float:
        if given is None:
            return np.nan
        unit = find_unit(self.mapping.unit) or self.unit
        return float(self._convert(np.asarray([given], dtype=float), unit)[0])

    def marked(self, value: Floats, code: NDArray[np.int8]) -> tuple[Floats, NDArray[np.int8]]:
        """Mark what lies at or beyond the meter's range; give bare marks the level of that end.

        Parameters
        ----------
        value : ndarray, shape (n,)
            In the stored unit; NaN for a bare mark.
        code : ndarray of int, shape (n,)
            What the cell says.
        """
        floor, top = self.floor, self.top
        flag = np.where(code == reading.MISSING, reading.FINE, code).astype(np.int8)
        bare = ~np.isfinite(value)
        for mark, level, words in (
            (reading.BELOW, floor, "floor"),
            (reading.ABOVE, top, "overload"),
        ):
            unknown = bare & (flag == mark)
            if unknown.any():
                if np.isnan(level):
                    raise InputError(
                        f"{int(unknown.sum())} readings are marked as {words}, but that level is not given.",
                        where=self.where,
                        mend=f"Confirm the mapping with {words}=... in the unit of the file.",
                    )
                value = np.where(unknown, level, value)
        with np.errstate(invalid="ignore"):
            if self.unit.scale is not Scale.DECIBEL:
                self._refuse_negative(value)
                flag = np.where((value == 0) & (flag == reading.FINE), reading.BELOW, flag)
            flag = np.where((value <= floor) & (flag == reading.FINE), reading.BELOW, flag)
            flag = np.where((value >= top) & (flag == reading.FINE), reading.ABOVE, flag)
        return value, flag.astype(np.int8)

    def plain(self, value: Floats) -> NDArray[np.int8]:
        """Flags of readings that are all numbers; as `marked`, without looking for what cannot be there."""
        flag = np.zeros(value.size, np.int8)
        if value.size and self.unit.scale is not Scale.DECIBEL and (least := value.min()) <= 0:
            self._refuse_negative(value)
            if least == 0:
                flag[value == 0] = reading.BELOW
        if not np.isnan(self.top):
            flag[(value >= self.top) & (flag == reading.FINE)] = reading.ABOVE
        if not np.isnan(self.floor):
            flag[value <= self.floor] = reading.BELOW
        return flag

    def _refuse_negative(self, value: Floats) -> None:
        if value.size and np.nanmin(value) < 0:
            raise InputError(
                f"{int(np.count_nonzero(value < 0))} levels are below zero, which no {self.unit.quantity.value} is.",
                where=self.where,
                mend="Correct the value_column or the unit of the mapping (dB values?).",
            )

"""Whether the antenna is turned: said once, marked while it is done, or measured by a motion sensor."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError
from roomfield.signals.coach.course import RATE_HZ

F64 = NDArray[np.float64]

MARKED_S = 4.0
"""So long has to be marked as turning before the antenna counts as turned [s]; our judgement."""
SILENT_S = 15.0
"""Who marks at all, and nothing for so long from the begin on, does not turn [s]; our judgement."""
TURNED_SHARE = 0.5
"""Part of all directions that has to be met before the antenna counts as turned [1]; our judgement."""
_LINES = (
    np.array(
        [v for v in np.ndindex(3, 3, 3) if (np.array(v) - 1).any() and tuple(np.array(v) - 1) > (0, 0, 0)],
        dtype=np.float64,
    )
    - 1.0
)
DIRECTIONS: F64 = _LINES / np.linalg.norm(_LINES, axis=1, keepdims=True)
"""Thirteen lines through a cube (faces, edges, corners): directions of a figure-of-eight, which has no front."""


class TurningHeard:
    """Gathers what is known of the antenna's direction during a scan.

    Parameters
    ----------
    said : bool or None
        A word about the whole scan.
    """

    def __init__(self, said: bool | None) -> None:
        self._said = said
        self._count = 0
        self._marked: int | None = None
        self._met: NDArray[np.bool_] | None = None

    def take(self, count: int, turning: bool | None, axis: NDArray[np.floating] | None) -> None:
        """Take in what is known of the next values.

        Raises
        ------
        FormatError
            If the directions are not as many as the values, or no directions.
        """
        self._count += count
        if turning is not None:
            self._marked = (self._marked or 0) + count * turning
        if axis is None:
            return
        directions = np.asarray(axis, dtype=np.float64)
        if directions.shape != (count, 3) or not (np.linalg.norm(directions, axis=1) > 0.0).all():
            raise FormatError(
                f"directions of shape {directions.shape} for {count} values.",
                where="axis",
                mend="Give one direction of three numbers, not all nought, for each value.",
            )
        nearest = np.abs(directions @ DIRECTIONS.T).argmax(axis=1)
        met = np.zeros(len(DIRECTIONS), np.bool_) if self._met is None else self._met
        met[nearest] = True
        self._met = met

    @property
    def orientation_share(self) -> float | None:
        """Part of all directions that was met; None if not measured [1]."""
        return None if self._met is None else float(self._met.mean())

    @property
    def turns(self) -> bool | None:
        """Whether the antenna is turned; None if nothing is known."""
        if self._met is not None:
            return bool(self._met.mean() >= TURNED_SHARE)
        if self._marked is not None:
            enough = self._marked >= MARKED_S * RATE_HZ
            return True if enough else (False if self._count >= SILENT_S * RATE_HZ and not self._marked else self._said)
        return self._said

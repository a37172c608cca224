"""Two meters at one place: one level, in which the surer meter weighs more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from roomfield.errors import InputError
from roomfield.quantities import Censoring, ErrorContribution, ErrorShape, UncertainLevel, require_kind


def weighed_together(levels: Sequence[UncertainLevel]) -> UncertainLevel:
    """One level from those of several meters at one spot, of one kind.

    Parameters
    ----------
    levels : sequence of UncertainLevel
        One for each meter, so that their gain errors are not shared.

    Raises
    ------
    InputError
        If there is no level.
    KindMismatchError
        If the kinds differ.

    Notes
    -----
    Weighted mean in dB, each with the inverse of its variance. Where the meters differ by more than that allows, the
    Birge ratio widens it: its square is chi-square over degrees of freedom, as for inconsistent measurements in the
    evaluations of fundamental constants (CODATA). Bounds are left to the meter with a number; bounds alone give the
    widest claim of all.
    """
    if not levels:
        raise InputError("there is no level to put together.", mend="Read with at least one meter.")
    for level in levels:
        require_kind(level.kind, levels[0].kind, "a level from several meters")
    known = [level for level in levels if level.censoring is Censoring.NONE]
    if not known:
        return max(levels, key=lambda level: (level.censoring is Censoring.ABOVE, level.level_db))
    if len(known) == 1:
        return known[0]
    values = np.array([level.level_db for level in known])
    weight = np.array([1.0 / max(level.std_db, 1e-3) ** 2 for level in known])
    share = weight / weight.sum()
    mean = float(share @ values)
    causes = [replace(c, sensitivity=c.sensitivity * s)
              for level, s in zip(known, share.tolist(), strict=True) for c in level.contributions]  # fmt: skip
    birge = float(weight @ (values - mean) ** 2) / (len(known) - 1)
    if birge > 1.0:
        own = 1.0 / float(weight.sum())
        causes.append(ErrorContribution("meters_differ", float(np.sqrt((birge - 1.0) * own)), ErrorShape.NORMAL))
    return UncertainLevel(known[0].kind, mean, tuple(causes))

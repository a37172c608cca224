"""Who contributes what, as far as on/off tests show, and whether the tests add up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from roomfield.errors import InputError
from roomfield.exposure.differences import (
    DRAWS,
    UncertainDifference,
    difference,
    draw_quantile,
    weighted_draws,
)
from roomfield.quantities import Interval, UncertainLevel, require_kind


@dataclass(frozen=True)
class SourcePart:
    """What one switch turns off.

    Parameters
    ----------
    name : str
        Source, or group of sources on one switch.
    contribution : UncertainDifference
        As found minus with it off; the interval may include zero.
    """

    name: str
    contribution: UncertainDifference


@dataclass(frozen=True)
class Attribution:
    """Contributions at one place in one kind.

    Parameters
    ----------
    as_found : UncertainLevel
        Everything on.
    parts : tuple of SourcePart
        Largest nominal contribution first.
    background : UncertainLevel or None
        With everything off that can be switched.
    remainder : Interval or None
        As found, minus the parts, minus the background [W/m²]; None without a background reading.
    """

    as_found: UncertainLevel
    parts: tuple[SourcePart, ...]
    background: UncertainLevel | None
    remainder: Interval | None

    @property
    def adds_up(self) -> bool | None:
        """Whether parts and background can make the level as found; None without a background reading.

        False points to a source that changed between the readings, or to one that was not tested.
        """
        if self.remainder is None:
            return None
        return self.remainder.low_w_m2 <= 0.0 <= self.remainder.high_w_m2

    def demonstrated(self, coverage: float = 0.95) -> tuple[SourcePart, ...]:
        """Sources whose contribution is shown to be more than nothing.

        Parameters
        ----------
        coverage : float
            Probability that the interval shall hold, 0 to 1.
        """
        return tuple(p for p in self.parts if p.contribution.interval(coverage).low_w_m2 > 0.0)


def attribute(
    as_found: UncertainLevel,
    without: Mapping[str, UncertainLevel],
    *,
    background: UncertainLevel | None = None,
    at_off: Mapping[str, UncertainLevel] | None = None,
    coverage: float = 0.95,
    draws: int = DRAWS,
    seed: int = 0,
) -> Attribution:
    """Contributions of switched sources at one place.

    Parameters
    ----------
    as_found : UncertainLevel
        Everything on.
    without : mapping of str to UncertainLevel
        Level with that source off and all others as found; same meter, same kind.
    background : UncertainLevel, optional
        Level with all of them off.
    at_off : mapping of str to UncertainLevel, optional
        Level with everything on at the moment when that source was off, of sources read on, off and on again; for the
        others ``as_found`` stands for it.
    coverage : float
        Probability content of ``remainder``.
    draws : int
        Number of Monte Carlo draws.
    seed : int
        Same seed, same result.

    Raises
    ------
    InputError
        If no source was switched, or two readings in overload face each other.
    KindMismatchError
        If the kinds differ.

    Notes
    -----
    Power densities of different sources add. With S_i the level with everything on when source i was off, the remainder
    is S - sum of (S_i - S_without,i) - S_background, its common errors drawn once (JCGM 101; JCGM 100, F.1.2.3).
    """
    if not without:
        raise InputError("no source was switched off.", mend="Repeat the reading with one source off.")
    own = {name: level for name, level in (at_off or {}).items() if name in without}
    parts = [
        SourcePart(name, difference(own.get(name, as_found), off, draws=draws, seed=seed))
        for name, off in without.items()
    ]
    parts.sort(key=lambda part: -part.contribution.nominal_w_m2)
    remainder = None
    if background is not None:
        require_kind(background.kind, as_found.kind, "an attribution")
        levels = [as_found, *own.values(), *without.values(), background]
        weights = [1.0 - (len(without) - len(own)), *[-1.0] * len(own), *[1.0] * len(without), -1.0]
        lower, upper = weighted_draws(levels, weights, draws=draws, seed=seed)
        tail = 0.5 * (1.0 - coverage)
        remainder = Interval(draw_quantile(lower, tail), draw_quantile(upper, 1.0 - tail), coverage)
    return Attribution(as_found, tuple(parts), background, remainder)

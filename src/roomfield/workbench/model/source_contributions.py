"""Who contributes what, place by place, as every door shows it: by switch, and by band below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import takewhile

from roomfield.field.contributions import Share as Share
from roomfield.field.contributions import contributions_at
from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind
from roomfield.quantities.level import COVERAGE
from roomfield.survey import Emitter, Survey
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import placed, posterior_of

LEAST_SHARE = 0.01
"""Switches whose share is practically excluded from reaching this are not listed."""


@dataclass(frozen=True)
class NamedShare:
    """One switch, or one band of it, with its name for readers.

    Parameters
    ----------
    name : str
        Of the device.
    share : Share
        Its part, see `roomfield.field.contributions`.
    bands : tuple of NamedShare
        What hangs on the switch, if it is more than one.
    """

    name: str
    share: Share
    bands: tuple[NamedShare, ...] = ()


@dataclass(frozen=True)
class PlaceCauses:
    """What is behind the level at one place, by switch, the most probable largest first.

    Parameters
    ----------
    place_id, place : str
        Id and name of the place.
    kind : Kind
        Of the level.
    shares : tuple of NamedShare
        One per switch.
    """

    place_id: str
    place: str
    kind: Kind
    shares: tuple[NamedShare, ...]

    @property
    def contradicted(self) -> bool:
        """True if what switching showed here is at odds with the joint answer, so that it is not told as sure."""
        return any(one.share.contradicted for one in self.shares)


def shares_at_places(posterior: Posterior, kind: Kind, coverage: float = COVERAGE) -> tuple[PlaceCauses, ...]:
    """Contributions at every place with a position, with everything on.

    Parameters
    ----------
    posterior : Posterior
        From `posterior_of`.
    kind : Kind
        Peak and highest held: while on air. Average: over time.
    coverage : float
        Probability content of the intervals.

    Notes
    -----
    The same question about the same posterior is not worked out twice: several chapters of one report ask it.
    """
    return _shares(posterior, kind, coverage)


@lru_cache(maxsize=8)
def _shares(posterior: Posterior, kind: Kind, coverage: float) -> tuple[PlaceCauses, ...]:
    places = placed(posterior.survey)
    names, switches = _names(posterior.survey.emitters)
    found = contributions_at(posterior, places, kind=kind, coverage=coverage)
    return tuple(
        PlaceCauses(place.id, place.name, kind, tuple(_named(share, names, switches) for share in shares))
        for place, shares in zip(places, found, strict=True)
    )


@in_turn
def causes(survey: Survey, visit_id: str | None, kind: str = "peak", place_id: str = "") -> tuple[PlaceCauses, ...]:
    """Contributions at places with everything on, without what plays no part.

    Parameters
    ----------
    survey : Survey
        The record.
    visit_id : str or None
        The visit whose readings are used; the first one if None.
    kind : str
        ``peak``, ``highest_held`` or ``average``.
    place_id : str
        Only this place; all if empty.

    Raises
    ------
    TooEarlyError
        If there is no emitter, reading or placed place yet.
    UnknownNameError
        If there is no such place.
    """
    if place_id:
        survey.place(place_id)
    found = shares_at_places(posterior_of(survey, visit_id), Kind(kind))
    return tuple(
        replace(one, shares=tuple(s for s in one.shares if s.share.share.high >= LEAST_SHARE))
        for one in found
        if place_id in ("", one.place_id)
    )


def _named(share: Share, names: dict[str, str], switches: dict[str, str]) -> NamedShare:
    bands = tuple(NamedShare(names[band.name], band) for band in share.bands)
    return NamedShare(switches[share.name], share, bands)


def _names(emitters: Sequence[Emitter]) -> tuple[dict[str, str], dict[str, str]]:
    """Names of emitters by id, and of switches."""
    members: dict[str, list[str]] = {}
    for emitter in emitters:
        members.setdefault(emitter.group, []).append(emitter.name)
    return {e.id: e.name for e in emitters}, {group: device_name(of) for group, of in members.items()}


def device_name(bands: Sequence[str]) -> str:
    """Name of a device from the names of its bands: what they have in common, or all of them."""
    if len(bands) == 1:
        return bands[0]
    words = [name.split() for name in bands]
    alike = [same[0] for same in takewhile(lambda w: len(set(w)) == 1, zip(*words, strict=False))]
    return " ".join(alike).rstrip(" ,;:/-–(") or " + ".join(bands)

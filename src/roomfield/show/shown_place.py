"""One place as every door shows it: the level that answers, the average that the law asks for, and what follows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from roomfield.quantities.kind import RISING, Kind
from roomfield.show.findings import Contribution, Outcome, PlaceFinding, PlaceLevel, Verdict

ANSWERING = tuple(reversed(RISING))
"""Kinds in the order in which they answer a client's question, the first that was read."""


@dataclass(frozen=True)
class Frame:
    """What the places of one survey are held against, and in which radio state.

    Parameters
    ----------
    state_id : str
        Radio state that is shown.
    coverage : float
        Probability content of every interval, 0 to 1.
    law_id, guideline_id : str
        References; ``guideline_id`` empty for none.
    """

    state_id: str
    coverage: float
    law_id: str
    guideline_id: str = ""


@dataclass(frozen=True)
class ShownPlace:
    """The one answer about a place in one radio state.

    Parameters
    ----------
    level : PlaceLevel or None
        The level of the kind that answers: the one that the aim was held against, else the first kind that was read.
    average : PlaceLevel or None
        The average, which legal limits ask for; None if none was read.
    law, aim : Verdict or None
        Against the legal limit and against the client's aim; ``aim`` is None where the guideline does not apply.
    largest : Contribution or None
        Who makes the largest part of the level, as the model of the dwelling sees it.
    contributions : tuple of Contribution
        Everything known about who makes it.
    """

    place: PlaceFinding
    frame: Frame
    level: PlaceLevel | None
    average: PlaceLevel | None
    law: Verdict | None
    aim: Verdict | None
    largest: Contribution | None
    contributions: tuple[Contribution, ...]

    @property
    def held_against_aim(self) -> bool:
        """Whether the guideline or the aim is for this place, and a level was there to hold against it."""
        return self.aim is not None and self.aim.outcome is not Outcome.NOT_COMPARABLE

    def to_dict(self) -> dict[str, Any]:
        """As plain values; densities in W/m², probabilities as pairs."""
        return {
            "place_id": self.place.id,
            "place": self.place.name,
            "state": self.frame.state_id,
            "sleeping": self.place.sleeping,
            "coverage": self.frame.coverage,
            **_level(self.level),
            "average": _level(self.average) if self.average else None,
            "law": _verdict(self.law),
            "aim": _verdict(self.aim),
            "contributions": [_part(c) for c in self.contributions],
        }


def shown_place(
    place: PlaceFinding, verdicts: Iterable[Verdict], contributions: Iterable[Contribution], frame: Frame
) -> ShownPlace:
    """The one answer about a place.

    Parameters
    ----------
    place : PlaceFinding
        With its levels of every kind in every radio state.
    verdicts, contributions : iterable
        Of any place and radio state.
    frame : Frame
        What is shown.
    """
    here = [v for v in verdicts if (v.place_id, v.state_id) == (place.id, frame.state_id)]
    law = next((v for v in here if v.reference_id == frame.law_id), None)
    aim = next((v for v in here if frame.guideline_id and v.reference_id == frame.guideline_id), None)
    own = tuple(c for c in contributions if c.place_id == place.id)
    shares = [c for c in own if c.share is not None]
    return ShownPlace(
        place,
        frame,
        answering_level(place, frame.state_id, aim.kind if aim else None),
        next((lv for lv in _of_state(place, frame.state_id) if lv.kind is Kind.AVERAGE), None),
        law,
        aim,
        max(shares, key=lambda c: c.share or 0.0, default=None),
        own,
    )


def answering_level(place: PlaceFinding, state_id: str, kind: Kind | None = None) -> PlaceLevel | None:
    """The level that stands for a place in a radio state; None if nothing was read in it.

    Parameters
    ----------
    kind : Kind, optional
        Kind that was held against the aim.
    """
    levels = _of_state(place, state_id)
    return min(levels, key=lambda lv: (lv.kind is not kind, ANSWERING.index(lv.kind)), default=None)


def _of_state(place: PlaceFinding, state_id: str) -> list[PlaceLevel]:
    return [lv for lv in place.levels if lv.state_id == state_id]


def _level(item: PlaceLevel | None) -> dict[str, Any]:
    if item is None:
        return {"kind": "", "median_w_m2": None, "low_w_m2": None, "high_w_m2": None, "censoring": ""}
    return {
        "kind": item.kind.value,
        "median_w_m2": item.level.median_w_m2,
        "low_w_m2": item.level.low_w_m2,
        "high_w_m2": item.level.high_w_m2,
        "censoring": item.level.censoring.value,
    }


def _verdict(verdict: Verdict | None) -> dict[str, Any] | None:
    if verdict is None:
        return None
    category = verdict.category
    return {
        "reference": verdict.reference_id,
        "kind": verdict.kind.value,
        "outcome": verdict.outcome.value,
        "bound_w_m2": verdict.bound_w_m2,
        "probability_below": (verdict.probability_below.low, verdict.probability_below.high),
        "margin": verdict.margin,
        "category": category.name if category else "",
        "category_probability": (category.chance.low, category.chance.high) if category else None,
        "upper_bound_only": verdict.upper_bound_only,
    }


def _part(item: Contribution) -> dict[str, Any]:
    return {
        "source": item.source,
        "way": "switched" if item.state_with else "model",
        "kind": item.kind.value,
        "median_w_m2": item.median_w_m2,
        "low_w_m2": item.low_w_m2,
        "high_w_m2": item.high_w_m2,
        "share": item.share,
        "share_low": item.share_low,
        "share_high": item.share_high,
    }

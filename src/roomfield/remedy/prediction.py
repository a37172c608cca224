"""What a plan would bring at every place, by night and by day, how sure that is, and what limits it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import UnknownNameError
from roomfield.field.measured import Tie
from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind
from roomfield.quantities.level import COVERAGE
from roomfield.remedy.evaluator import After, Evaluator, is_handset
from roomfield.remedy.naming import Way
from roomfield.remedy.order import WorkStep, work_order
from roomfield.survey.action import Action
from roomfield.survey.place import Place

Array = NDArray[np.float64]
RISE_DB = 0.5
"""A rise of a level is told from here on [dB]."""
_MOST_LIMITS = 4
_LEAST_SHARE = 0.03


@dataclass(frozen=True)
class Span:
    """Median and interval of a quantity; power densities [W/m²] or changes [dB]."""

    low: float
    median: float
    high: float

    def to_dict(self) -> dict[str, float]:
        """As plain values."""
        return {"low": self.low, "median": self.median, "high": self.high}


@dataclass(frozen=True)
class Limit:
    """One part of what remains.

    Parameters
    ----------
    emitter_id : str
        Whose power it is.
    entry : str
        Id of the opening or surface by which it comes in; empty if nothing is in the way.
    treated : bool
        True if the plan covers that opening or surface.
    share : float
        Share of the remaining level, 0 to 1.
    emitter : str
        Name of the emitter.
    way : Way or None
        What that opening or surface is called; None if nothing is in the way.
    """

    emitter_id: str
    entry: str
    treated: bool
    share: float
    emitter: str
    way: Way | None = None

    @property
    def text(self) -> str:
        """In words."""
        by = f" through the {'' if self.treated else 'untreated '}{self.way.text}" if self.way else ""
        return f"{self.emitter}{by} carries {self.share:.0%} of what remains."

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return {
            "emitter_id": self.emitter_id,
            "entry": self.entry,
            "treated": self.treated,
            "share": self.share,
            "text": self.text,
        }


class Worse(StrEnum):
    """How something gets worse by a plan."""

    REFLECTED = "reflected"
    TRANSMITS_HARDER = "transmits_harder"
    LOUDER = "louder"


@dataclass(frozen=True)
class Worsening:
    """Something that a plan makes worse.

    Parameters
    ----------
    kind : Worse
        Reflected: a source within a shield. Transmits harder: a telephone within a shield. Louder: a place whose
        level more likely rises than falls.
    emitter, place : str
        Names; empty if none is meant.
    rise_db : float
        By how much at most [dB]; 0 if counted in the prediction only.
    """

    kind: Worse
    emitter: str
    place: str
    rise_db: float

    @property
    def text(self) -> str:
        """In words."""
        if self.kind is Worse.REFLECTED:
            return (
                f"{self.emitter}: reflections within the shield raise its level by up to {self.rise_db:.1f} dB "
                f"({self.place}). Remove or silence sources inside before shielding."
            )
        if self.kind is Worse.TRANSMITS_HARDER:
            return f"{self.emitter}: within a shield a telephone transmits harder (counted in the prediction)."
        return f"{self.place}: the plan would make it louder, by {self.rise_db:.1f} dB."

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return {
            "kind": self.kind.value,
            "emitter": self.emitter,
            "place": self.place,
            "rise_db": self.rise_db,
            "text": self.text,
        }


@dataclass(frozen=True)
class PlaceOutcome:
    """One place in one period.

    Parameters
    ----------
    period : str
        ``night``, ``day`` or ``any``.
    before_w_m2, after_w_m2 : Span
        Levels [W/m²].
    reduction_db : Span
        Before over after [dB]; what both share has cancelled.
    probability_before, probability_met : float
        That the target is met as found, and after the plan; nan without a target.
    limits : tuple of Limit
        What remains, the largest part first.
    asked : bool
        False at a place for which the target was not asked.
    """

    place_id: str
    period: str
    before_w_m2: Span
    after_w_m2: Span
    reduction_db: Span
    probability_before: float
    probability_met: float
    limits: tuple[Limit, ...]
    asked: bool = True

    @property
    def limiting(self) -> str:
        """What limits the result, in words."""
        return self.limits[0].text if self.limits else ""

    def to_dict(self) -> dict[str, object]:
        """As plain values."""
        return {
            "place_id": self.place_id,
            "period": self.period,
            "before_w_m2": self.before_w_m2.to_dict(),
            "after_w_m2": self.after_w_m2.to_dict(),
            "reduction_db": self.reduction_db.to_dict(),
            "probability_before": self.probability_before,
            "probability_met": self.probability_met,
            "limits": [x.to_dict() for x in self.limits],
            "limiting": self.limiting,
            "asked": self.asked,
        }


@dataclass(frozen=True, eq=False)
class Prediction:
    """What a plan would bring.

    Parameters
    ----------
    action_ids : tuple of str
        The plan.
    kind : Kind
        Of all levels.
    target_w_m2 : float or None
        Level to be met [W/m²].
    probability_all : float
        That it is met at every place asked for, in every period, at once; nan without a target.
    outcomes : tuple of PlaceOutcome
        One per column of the draws.
    worse : tuple of Worsening
        What gets worse.
    work : tuple of WorkStep
        The plan as lines of a work order.
    before_draws_w_m2, after_draws_w_m2 : ndarray, shape (draws, outcomes)
        Draws of the levels [W/m²].
    mixes : tuple of dict
        For each outcome the share of each emitter before and after.
    """

    action_ids: tuple[str, ...]
    kind: Kind
    target_w_m2: float | None
    probability_all: float
    outcomes: tuple[PlaceOutcome, ...]
    worse: tuple[Worsening, ...]
    work: tuple[WorkStep, ...]
    before_draws_w_m2: Array
    after_draws_w_m2: Array
    mixes: tuple[dict[str, tuple[float, float]], ...] = ()

    @property
    def warnings(self) -> tuple[str, ...]:
        """What gets worse, in words."""
        return tuple(w.text for w in self.worse)

    def mix(self, place_id: str) -> dict[str, tuple[float, float]] | None:
        """Share of each emitter at a place, before and after; None if the place is not among the outcomes."""
        for outcome, shares in zip(self.outcomes, self.mixes, strict=True):
            if outcome.place_id == place_id:
                return shares
        return None

    @property
    def everywhere(self) -> bool:
        """True if the target was asked for at all places."""
        return all(o.asked for o in self.outcomes)

    @property
    def highest(self) -> PlaceOutcome:
        """Where most remains among the places asked for."""
        return max((o for o in self.outcomes if o.asked), key=lambda o: o.after_w_m2.median)

    def outcome(self, place_id: str, period: str = "") -> PlaceOutcome | None:
        """The outcome at a place; the first if there are several periods and none is named."""
        return next((o for o in self.outcomes if o.place_id == place_id and period in ("", o.period)), None)

    def to_dict(self) -> dict[str, object]:
        """As plain values, without the draws."""
        return {
            "action_ids": list(self.action_ids),
            "kind": self.kind.value,
            "target_w_m2": self.target_w_m2,
            "probability_all": self.probability_all,
            "coverage": COVERAGE,
            "outcomes": [o.to_dict() for o in self.outcomes],
            "warnings": list(self.warnings),
            "worse": [w.to_dict() for w in self.worse],
            "work": [w.to_dict() for w in self.work],
        }


def predict(
    posterior: Posterior,
    actions: Sequence[Action],
    *,
    kind: Kind = Kind.PEAK,
    target_w_m2: float | None = None,
    places: Sequence[Place] | None = None,
    asked: Sequence[str] = (),
    tied: Tie | None = None,
) -> Prediction:
    """Levels after all of the given actions.

    Parameters
    ----------
    posterior : Posterior
        From `roomfield.field.infer`.
    actions : sequence of Action
        The plan.
    kind : Kind
        Which level.
    target_w_m2 : float, optional
        Level to be met [W/m²].
    places : sequence of Place, optional
        Left out: all places with a position.
    asked : sequence of str
        Ids of the places for which the target is asked; all if empty.
    tied : Tie, optional
        To what was measured, so that levels are measured ones times predicted ratios.

    Raises
    ------
    TooEarlyError, UnknownNameError, InputError
        As `roomfield.remedy.evaluator.Evaluator`.
    """
    evaluator = Evaluator(posterior, actions, kind=kind, places=places, tied=tied)
    return predict_with(evaluator, [a.id for a in actions], target_w_m2, asked)


def predict_with(
    evaluator: Evaluator, action_ids: Sequence[str], target_w_m2: float | None = None, asked: Sequence[str] = ()
) -> Prediction:
    """Like `predict` for some of the actions of an evaluator at hand."""
    held = _asked_columns(evaluator, asked)
    before, after = evaluator.after(()), evaluator.after(action_ids)
    taken = [a for a in evaluator.actions if a.id in action_ids]
    limits = _limits(evaluator, action_ids, taken)
    split = len(evaluator.columns) > len(evaluator.places) or any(c.night for c in evaluator.columns)
    outcomes = []
    for c, column in enumerate(evaluator.columns):
        old, new = before.total_w_m2[:, c], after.total_w_m2[:, c]
        period = ("night" if column.night else "day") if split else "any"
        outcomes.append(
            PlaceOutcome(
                evaluator.places[column.place_index].id, period, _span(old), _span(new),
                _span(10.0 * np.log10(np.maximum(old, 1e-30) / np.maximum(new, 1e-30))),
                _met(old, target_w_m2), _met(new, target_w_m2), limits[c], bool(held[c]),
            )
        )  # fmt: skip
    joint = _met(after.total_w_m2[:, held].max(axis=1), target_w_m2)
    worse = (*_warnings(evaluator, after, taken), *_louder(evaluator, outcomes))
    return Prediction(
        tuple(a.id for a in taken), evaluator.kind, target_w_m2, joint, tuple(outcomes),
        worse, work_order(evaluator.posterior, taken), before.total_w_m2,
        after.total_w_m2, tuple(_mixes(evaluator, before, after)),
    )  # fmt: skip


def _asked_columns(evaluator: Evaluator, asked: Sequence[str]) -> NDArray[np.bool_]:
    """Columns of the places for which the target is asked."""
    ids = [evaluator.places[column.place_index].id for column in evaluator.columns]
    for name in asked:
        if name not in ids:
            raise UnknownNameError("place with a position", name, ids)
    return np.array([not asked or name in asked for name in ids], dtype=np.bool_)


def _mixes(evaluator: Evaluator, before: After, after: After) -> Iterator[dict[str, tuple[float, float]]]:
    old = before.by_emitter / np.maximum(before.by_emitter.sum(axis=0), 1e-300)
    new = after.by_emitter / np.maximum(after.by_emitter.sum(axis=0), 1e-300)
    for c in range(old.shape[1]):
        yield {n: (float(old[k, c]), float(new[k, c])) for k, n in enumerate(evaluator.posterior.emitter_ids)}


def _span(draws: Array) -> Span:
    tail = (1.0 - COVERAGE) / 2.0
    low, median, high = np.quantile(draws, [tail, 0.5, 1.0 - tail])
    return Span(float(low), float(median), float(high))


def _met(draws: Array, target_w_m2: float | None) -> float:
    return float("nan") if target_w_m2 is None else float(np.mean(draws <= target_w_m2))


def _limits(evaluator: Evaluator, action_ids: Sequence[str], taken: Sequence[Action]) -> list[tuple[Limit, ...]]:
    plates = evaluator.posterior.scene.shapes.plates
    changed = [e.scene for e in evaluator.steady if e.scene is not None and e.action in taken]
    treated = {
        old.name for scene in changed for old, new in zip(plates, scene.shapes.plates, strict=True) if old != new
    }
    names = {e.id: e.name for e in evaluator.posterior.survey.emitters}
    result = []
    for shares in evaluator.ways_in(action_ids):
        ranked = sorted(shares.items(), key=lambda item: -item[1])[:_MOST_LIMITS]
        kept = [(emitter, entry, share) for (emitter, entry), share in ranked if share >= _LEAST_SHARE]
        result.append(tuple(Limit(m, e, e in treated, s, names[m], evaluator.ground.ways.get(e)) for m, e, s in kept))
    return result


def _warnings(evaluator: Evaluator, after: After, taken: Sequence[Action]) -> Iterator[Worsening]:
    """Sources within a shield that the plan leaves on."""
    if not any(e.scene is not None and e.action in taken for e in evaluator.steady):
        return
    for k, emitter in enumerate(evaluator.posterior.survey.emitters):
        if emitter.outdoor or after.by_emitter[k].max() <= 0.0:
            continue
        rise = 10.0 * np.log10(np.maximum(after.through[k], 1e-12))
        worst = int(np.argmax(rise))
        if rise[worst] >= RISE_DB:
            place = evaluator.places[evaluator.columns[worst].place_index].name
            yield Worsening(Worse.REFLECTED, emitter.name, place, float(rise[worst]))
        if is_handset(emitter.technology, emitter.name):
            yield Worsening(Worse.TRANSMITS_HARDER, emitter.name, "", 0.0)


def _louder(evaluator: Evaluator, outcomes: Sequence[PlaceOutcome]) -> Iterator[Worsening]:
    """Places that lose by the plan, as when an emitter is moved towards them."""
    names = {p.id: p.name for p in evaluator.places}
    for outcome in outcomes:
        if outcome.reduction_db.median <= -RISE_DB:
            yield Worsening(Worse.LOUDER, "", names[outcome.place_id], -outcome.reduction_db.median)

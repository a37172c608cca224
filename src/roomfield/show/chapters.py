"""Chapters that are there only if their content is given: listening, logs, remedy, verification, letter."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.quantities.kind import Kind
from roomfield.show.evidence import Caution
from roomfield.show.findings import Chance, Level, Outcome, StepGroup
from roomfield.show.phrase import Text


@dataclass(frozen=True)
class HeardEntry:
    """A technology heard in a recording.

    Parameters
    ----------
    probability : float
        Calibrated probability that it is there, 0 to 1.
    evidence : Text
        Which rate, which width, which folded shape.
    claimed : bool
        True if it is said to be there.
    """

    name: Text
    probability: float
    evidence: Text = ""
    confusable_with: tuple[Text, ...] = ()
    claimed: bool = False


@dataclass(frozen=True)
class FoldedProfile:
    """The envelope folded at one period.

    Parameters
    ----------
    period_s : float
        Period [s].
    phase, mean, low, high : tuple of float
        Phase 0 to 1, and mean with its interval, relative to the highest mean.
    """

    period_s: float
    phase: tuple[float, ...]
    mean: tuple[float, ...]
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()


@dataclass(frozen=True)
class EnvelopeSpectrum:
    """Spectrum of the envelope.

    Parameters
    ----------
    frequency_hz : tuple of float
        Rising [Hz].
    level_db : tuple of float
        Relative level [dB].
    lines : tuple of (float, str)
        Periodicities found: frequency [Hz] and label.
    """

    frequency_hz: tuple[float, ...]
    level_db: tuple[float, ...]
    lines: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True)
class RecordingEntry:
    """One recording and what was heard in it."""

    id: str
    place: str
    state: str
    duration_s: float
    heard: tuple[HeardEntry, ...] = ()
    unknown: tuple[Text, ...] = ()
    statement: Text = ""
    profile: FoldedProfile | None = None
    spectrum: EnvelopeSpectrum | None = None


@dataclass(frozen=True)
class Timeline:
    """A long series, reduced to an envelope per bin.

    Parameters
    ----------
    at : tuple of float
        Start of each bin, seconds since ``start`` [s].
    low_w_m2, median_w_m2, high_w_m2 : tuple of float
        Lowest, median and highest value in the bin [W/m²]; NaN in gaps.
    bound_w_m2 : float or None
        The client's bound [W/m²].
    """

    start: str
    at: tuple[float, ...]
    low_w_m2: tuple[float, ...]
    median_w_m2: tuple[float, ...]
    high_w_m2: tuple[float, ...]
    bound_w_m2: float | None = None


@dataclass(frozen=True)
class DayProfile:
    """Level by hour of the day.

    Parameters
    ----------
    hour : tuple of float
        Local hour at the middle of each bin, 0 to 24 [h].
    median_w_m2, low_w_m2, high_w_m2 : tuple of float
        Median and interval [W/m²].
    """

    hour: tuple[float, ...]
    median_w_m2: tuple[float, ...]
    low_w_m2: tuple[float, ...]
    high_w_m2: tuple[float, ...]


@dataclass(frozen=True)
class LogEntry:
    """A long series with its statistics as named figures.

    Parameters
    ----------
    figures : tuple of (Text, Text)
        Name and value with unit, in the order in which they are to be shown.
    statements : tuple of Text
        What a reader must know, sentence by sentence.
    """

    id: str
    place: str
    kind: Kind
    started_at: str
    ended_at: str
    figures: tuple[tuple[Text, Text], ...] = ()
    timeline: Timeline | None = None
    day: DayProfile | None = None
    statements: tuple[Text, ...] = ()


@dataclass(frozen=True)
class SourceEntry:
    """An emitter as the model of the dwelling sees it.

    Parameters
    ----------
    power_low_w, power_median_w, power_high_w : float or None
        Radiated power (EIRP, time average) with its interval [W].
    position : Text
        Where it is, or in which direction, with the region's size.
    statement : Text
        What the data can and cannot tell about it.
    """

    letter: str
    name: str
    technology: str = ""
    position: Text = ""
    power_median_w: float | None = None
    power_low_w: float | None = None
    power_high_w: float | None = None
    statement: Text = ""


@dataclass(frozen=True)
class WorkItem:
    """One action of the work order.

    Parameters
    ----------
    quantity : Text
        For example area and length of material with overlap; empty if none.
    cost_low, cost_high : float or None
        Cost range in ``currency`` of the remedy.
    cautions : tuple of Text or Caution
        What must be observed; of a `Caution` the topic stands with the work, its text in the chapter on cautions.
    """

    title: Text
    group: StepGroup
    reason: Text = ""
    quantity: Text = ""
    cost_low: float | None = None
    cost_high: float | None = None
    cautions: tuple[Text | Caution, ...] = ()


@dataclass(frozen=True)
class PlacePrediction:
    """What a plan should bring at a place.

    Parameters
    ----------
    place : Text
        Name of the place, with the period if there are several.
    place_id : str
        Its id.
    probability_met : float
        Probability that the target is met there, 0 to 1.
    limiting : Text
        What limits the result.
    asked : bool
        False at a place for which the target was not asked.
    """

    place: Text
    before: Level
    after: Level
    probability_met: float
    limiting: Text = ""
    asked: bool = True
    place_id: str = ""


@dataclass(frozen=True)
class TradeOffPoint:
    """One plan on the curve of cost against probability.

    Parameters
    ----------
    probability : float
        Probability that the target is met at every place asked for, 0 to 1.
    chosen : bool
        True for the plan in the work order.
    actions : tuple of str
        What is done.
    """

    cost: float
    probability: float
    label: str = ""
    chosen: bool = False
    actions: tuple[str, ...] = ()


@dataclass(frozen=True)
class LevelStep:
    """One plan by the level it brings, where none reaches the target.

    Parameters
    ----------
    level_w_m2 : float
        Level not exceeded at any place asked for, as surely as the target was to be met [W/m²].
    reduction_db : float
        How far that lies under the same level as found [dB].
    chosen : bool
        True for the plan in the work order.
    actions : tuple of str
        What is done.
    """

    cost: float
    level_w_m2: float
    reduction_db: float
    chosen: bool = False
    actions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Remedy:
    """The plan as a work order.

    Parameters
    ----------
    target_w_m2 : float
        Level that is to be met [W/m²].
    confidence : float
        Probability with which it is to be met, 0 to 1.
    statement : Text
        Whether the plan reaches the target, or plainly that nothing on the list does.
    warnings : tuple of Text
        What the plan makes worse.
    asked : tuple of str
        Names of the places for which the target was asked; empty for all.
    remains : tuple of Text
        Where most remains, and from which source; only if nothing on the list reaches the target.
    lowest : tuple of LevelStep
        What the lowest levels cost; only if nothing on the list reaches the target.
    chosen_for : tuple of Text
        That a cheaper plan is surer, if one is, and what the record says of why this one was agreed.
    """

    target_w_m2: float
    target_kind: Kind
    confidence: float
    currency: str
    items: tuple[WorkItem, ...]
    predictions: tuple[PlacePrediction, ...] = ()
    curve: tuple[TradeOffPoint, ...] = ()
    statement: Text = ""
    warnings: tuple[Text, ...] = ()
    asked: tuple[str, ...] = ()
    remains: tuple[Text, ...] = ()
    lowest: tuple[LevelStep, ...] = ()
    chosen_for: tuple[Text, ...] = ()


@dataclass(frozen=True)
class BeforeAfter:
    """First visit against follow-up at one place.

    Parameters
    ----------
    reduction_db, reduction_low_db, reduction_high_db : float
        Reduction with its interval, in which the meter's shared error cancels [dB].
    predicted_after : Level or None
        What had been predicted.
    probability_met : Chance or None
        That the target is met now; None where it was not asked for.
    """

    place: str
    kind: Kind
    before: Level
    after: Level
    reduction_db: float
    reduction_low_db: float
    reduction_high_db: float
    predicted_after: Level | None = None
    target_outcome: Outcome | None = None
    prediction_met: bool | None = None
    note: Text = ""
    place_id: str = ""
    probability_met: Chance | None = None


@dataclass(frozen=True)
class Verification:
    """Did it work?

    Parameters
    ----------
    conditions : tuple of Text
        Unequal conditions that widen the interval, named.
    surprises : tuple of Text
        What changed that was not planned.
    causes : tuple of Text
        What may be behind it where a reduction falls short.
    """

    rows: tuple[BeforeAfter, ...]
    done: tuple[Text, ...] = ()
    statement: Text = ""
    conditions: tuple[Text, ...] = ()
    surprises: tuple[Text, ...] = ()
    target_w_m2: float | None = None
    causes: tuple[Text, ...] = ()


@dataclass(frozen=True)
class Letter:
    """A follow-up letter to the client.

    Parameters
    ----------
    paragraphs, items, closing : tuple of Text
        Paragraphs, then a list (one line for each place), then paragraphs again.
    """

    addressee: str
    date: str
    subject: Text
    paragraphs: tuple[Text, ...]
    signature: str = ""
    items: tuple[Text, ...] = ()
    closing: tuple[Text, ...] = ()

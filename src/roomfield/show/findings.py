"""What the report says about places: levels, comparisons, contributions and next steps, as values."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.show.phrase import Text


@dataclass(frozen=True)
class Shown:
    """A number as the meter showed it.

    Parameters
    ----------
    value_w_m2 : float
        Power density as shown [W/m²]; with ``censoring`` it is the bound.
    """

    value_w_m2: float
    censoring: Censoring = Censoring.NONE


@dataclass(frozen=True)
class Level:
    """A level with its coverage interval, after correction.

    Parameters
    ----------
    median_w_m2, low_w_m2, high_w_m2 : float
        Median and ends of the interval [W/m²].
    censoring : Censoring
        ``below_floor``: only ``high_w_m2`` is meant, shown as "<"; ``overload``: only ``low_w_m2``, as ">".
    """

    median_w_m2: float
    low_w_m2: float
    high_w_m2: float
    censoring: Censoring = Censoring.NONE


@dataclass(frozen=True)
class PlaceLevel:
    """The level at a place for one radio state and one kind; kinds are never merged.

    Parameters
    ----------
    state_id : str
        Radio state, see :class:`StateEntry`.
    shown : Shown or None
        Highest value that the meter showed; None if the level was inferred, not measured here.
    replicates : int
        Number of scans behind it.
    origin : Text
        How the level came about if it is not simply a corrected reading; empty otherwise.
    """

    state_id: str
    kind: Kind
    level: Level
    shown: Shown | None = None
    replicates: int = 1
    orientation: Text = ""
    origin: Text = ""
    note: str = ""


@dataclass(frozen=True)
class BandLevel:
    """The level of one band at a place, from a frequency-selective instrument.

    Parameters
    ----------
    place, band : str
        Names.
    low_hz, high_hz : float
        Ends of the band [Hz].
    limit_w_m2 : float or None
        Smallest limit within the band [W/m²]; None if there is none.
    share : Level or None
        Level over that limit [1], in the fields of a power density; None if it cannot be compared.
    verdict : Verdict or None
        Against the guideline, as one service.
    """

    place: str
    band: str
    low_hz: float
    high_hz: float
    kind: Kind
    level: Level
    limit_w_m2: float | None = None
    share: Level | None = None
    verdict: Verdict | None = None


@dataclass(frozen=True)
class BandTotal:
    """Shares of the limit of all bands of a place together [1], in the fields of a power density."""

    place: str
    bands: int
    share: Level


@dataclass(frozen=True)
class PlaceFinding:
    """One place with all its levels.

    Parameters
    ----------
    sleeping : bool
        True for beds and cots; these come first on the first page.
    night_hours, day_hours : float
        Usual stay [h].
    """

    id: str
    name: str
    room: str = ""
    storey: str = ""
    sleeping: bool = False
    night_hours: float = 0.0
    day_hours: float = 0.0
    levels: tuple[PlaceLevel, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class StateEntry:
    """A radio state in which readings were taken.

    Parameters
    ----------
    off : tuple of str
        Names of what was switched off; empty for "as found".
    """

    id: str
    name: str
    visit_id: str = ""
    off: tuple[str, ...] = ()
    note: str = ""


class Outcome(StrEnum):
    """Result of a comparison under the stated decision rule."""

    BELOW = "below"
    LIKELY_BELOW = "likely_below"
    UNDECIDED = "undecided"
    LIKELY_ABOVE = "likely_above"
    ABOVE = "above"
    NOT_COMPARABLE = "not_comparable"


@dataclass(frozen=True)
class Chance:
    """A probability with both its ends, 0 to 1; they are the same where it is known exactly."""

    low: float
    high: float


@dataclass(frozen=True)
class ShownAim:
    """The level that is not to be exceeded at the places that the guideline is for.

    Parameters
    ----------
    value_w_m2 : float
        Power density [W/m²].
    chosen : bool
        True if the client set it; otherwise it is the upper edge of the guideline's second category.
    category : str
        Name of the category whose upper edge it is; empty if it is none's.
    """

    value_w_m2: float
    chosen: bool
    category: str = ""


@dataclass(frozen=True)
class CategoryChance:
    """One category of a guideline and how likely the strongest single service falls into it.

    Parameters
    ----------
    name : str
        As the reference data name it.
    upper_w_m2 : float or None
        Its upper edge [W/m²]; None for the highest category.
    """

    name: str
    chance: Chance
    upper_w_m2: float | None = None


@dataclass(frozen=True)
class Verdict:
    """One level against one reference.

    Parameters
    ----------
    kind : Kind
        Kind of the level that was compared.
    reference_id : str
        See :class:`roomfield.show.evidence.ReferenceEntry`.
    bound_w_m2 : float
        The bound that was used [W/m²].
    probability_below : Chance
        That the true level is below the bound.
    acceptance_w_m2 : float or None
        Acceptance limit after the guard band [W/m²]; None if the rule has none.
    compared : Level or None
        The level as it was compared, with all that the comparison adds to it (such as the change over a day); a
        margin is the bound over its upper end.
    categories : tuple of CategoryChance
        Categories of the guideline, lowest first; empty if it has none.
    target : Text
        Name of the guideline's target; empty for a scale of categories.
    upper_bound_only : bool
        True if a broadband total was held against a value for one service, so it is only an upper bound.
    conversion : Text
        How the kind asked for was derived from the kind measured; empty if they are the same.
    """

    place_id: str
    state_id: str
    kind: Kind
    reference_id: str
    outcome: Outcome
    bound_w_m2: float
    probability_below: Chance
    acceptance_w_m2: float | None = None
    compared: Level | None = None
    categories: tuple[CategoryChance, ...] = ()
    target: Text = ""
    upper_bound_only: bool = False
    conversion: Text = ""

    @property
    def category(self) -> CategoryChance | None:
        """The most probable category; None if the guideline has none."""
        return max(self.categories, key=lambda c: (c.chance.low + c.chance.high, c.name), default=None)

    @property
    def margin(self) -> float | None:
        """Bound over the upper end of the compared level; None if that end is not known."""
        if self.compared is None or self.compared.censoring is Censoring.ABOVE or self.compared.high_w_m2 <= 0.0:
            return None
        return self.bound_w_m2 / self.compared.high_w_m2


@dataclass(frozen=True)
class Contribution:
    """What one source adds at one place; the interval may include zero.

    Parameters
    ----------
    median_w_m2, low_w_m2, high_w_m2 : float
        Contribution [W/m²]; differences of readings may be negative.
    share, share_low, share_high : float or None
        Share of the total at this place, 0 to 1; None if not stated.
    state_with, state_without : str
        Radio states compared; empty if the contribution comes from the model of the dwelling.
    basis : Text
        On what the number rests.
    """

    place_id: str
    source: str
    kind: Kind
    median_w_m2: float
    low_w_m2: float
    high_w_m2: float
    share: float | None = None
    share_low: float | None = None
    share_high: float | None = None
    state_with: str = ""
    state_without: str = ""
    basis: Text = ""


class StepGroup(StrEnum):
    """Order of work: inner sources first, then outer, then measure again."""

    INNER = "inner"
    OUTER = "outer"
    MEASURE = "measure"


@dataclass(frozen=True)
class NextStep:
    """One thing to do next; the tuple's order is the order of work.

    Parameters
    ----------
    title, reason, expected : Text
        What to do, why, and what it should bring with the number for doubt.
    """

    group: StepGroup
    title: Text
    reason: Text = ""
    expected: Text = ""

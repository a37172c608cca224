"""What a frequency-selective instrument adds: each band against the limit and the guideline of its own frequencies."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from roomfield.errors import RangeError
from roomfield.exposure.decision import limit_kind, takes_mean_over_scan
from roomfield.exposure.guideline import GuidelineResult, Scope, compare
from roomfield.exposure.quotients import AttributedLevel, Quotient, quotient
from roomfield.quantities import RISING, Censoring, Kind, UncertainLevel
from roomfield.quantities.convert import decibels_from_ratio
from roomfield.references.catalogue import service_bands
from roomfield.references.guidelines import GuidelineSet
from roomfield.references.limit_sets import LimitSet, LimitValue
from roomfield.survey import Meter, Survey
from roomfield.workbench.assess.place_levels import LevelTable, MeasuredLevel, apart
from roomfield.workbench.assess.switching import as_limit_average


@dataclass(frozen=True)
class BandFinding:
    """The level of one band at a place, and what it means at its own frequencies.

    Parameters
    ----------
    meter_id : str
        The band of the instrument.
    name : str
        What it is called.
    low_hz, high_hz : float
        Its ends [Hz].
    level : UncertainLevel
        Of one kind.
    limit : LimitValue or None
        Smallest limit within the band; None if the set gives none there.
    share : UncertainLevel or None
        Level over that limit, as a level whose limit is 1; an upper bound where no average was read.
    guideline : GuidelineResult or None
        Against the guideline's row for a service that the band may carry, the strictest one; None if it takes another
        kind of level, or has no row for it.
    """

    place_id: str
    state_id: str
    meter_id: str
    name: str
    low_hz: float
    high_hz: float
    level: UncertainLevel
    limit: LimitValue | None = None
    share: UncertainLevel | None = None
    guideline: GuidelineResult | None = None

    @property
    def kind(self) -> Kind:
        """Peak, highest held or average."""
        return self.level.kind


@dataclass(frozen=True)
class BandSum:
    """All bands of a place together, each over the limit of its own frequencies.

    Parameters
    ----------
    names : tuple of str
        The bands that are in it.
    quotient : Quotient
        Sum of shares, of what lies within these bands.
    """

    place_id: str
    state_id: str
    names: tuple[str, ...]
    quotient: Quotient


def band_findings(
    survey: Survey, table: LevelTable, limits: LimitSet, guideline: GuidelineSet | None
) -> tuple[BandFinding, ...]:
    """Every band that was read, by place and radio state, rising in frequency.

    Parameters
    ----------
    table : LevelTable
        Levels of the visit.
    limits : LimitSet
        Legal limits.
    guideline : GuidelineSet or None
        That the client chose.
    """
    found = [_finding(survey.meter(item.meter_id), item, limits, guideline) for item in table.parts]
    place = {p.id: n for n, p in enumerate(survey.places)}
    return tuple(sorted(found, key=lambda f: (place[f.place_id], f.state_id, f.low_hz, list(Kind).index(f.kind))))


def _finding(meter: Meter, item: MeasuredLevel, limits: LimitSet, guideline: GuidelineSet | None) -> BandFinding:
    low, high = meter.receives_hz
    level, limit = item.combined.level, _limit(limits, meter)
    of_limit = _as_taken(level, limits)
    share = None
    if limit is not None and of_limit is not None:
        share = of_limit.shifted(-float(decibels_from_ratio(limit.value_w_m2)))
    return BandFinding(
        item.place_id, item.state_id, item.meter_id, meter.name, low, high, level, limit, share,
        _against(level, guideline, low, high),
    )  # fmt: skip


def _limit(limits: LimitSet, meter: Meter) -> LimitValue | None:
    try:
        found = limits.smallest_in_band(*meter.receives_hz)
    except RangeError:
        return None
    return found if found.spot_testable else None


def _as_taken(level: UncertainLevel, limits: LimitSet) -> UncertainLevel | None:
    """The level as the limit takes it: an average, or the bound that a higher kind is; None if it is no bound."""
    wanted = limit_kind(limits.scope)
    if level.kind is not wanted:
        if level.censoring is Censoring.ABOVE:
            return None
        level = replace(level, kind=wanted, censoring=Censoring.BELOW)
    elif not takes_mean_over_scan(limits.scope):
        return None
    return as_limit_average(level, limits)


def _against(
    level: UncertainLevel, guideline: GuidelineSet | None, low_hz: float, high_hz: float
) -> GuidelineResult | None:
    """One service against the guideline; of several that the band may carry, the one that is least likely met."""
    if guideline is None or not level.kind.instantaneous:
        return None
    if guideline.services == ("any",):
        return compare(level, guideline.set_id, scope=Scope.SINGLE_SERVICE)
    carried = {
        service for band in service_bands() if band.low_hz < high_hz and band.high_hz > low_hz
        for service in band.services.split()
    }  # fmt: skip
    results = [
        compare(level, guideline.set_id, scope=Scope.SINGLE_SERVICE, service=service)
        for service in guideline.services
        if service in carried
    ]
    return min(results, key=lambda r: r.chances[0].at_most.low, default=None)


def band_sums(survey: Survey, table: LevelTable, limits: LimitSet) -> tuple[BandSum, ...]:
    """Sum of shares of the limit at each place, over bands that do not overlap.

    Parameters
    ----------
    table : LevelTable
        Levels of the visit.
    limits : LimitSet
        Legal limits.

    Notes
    -----
    ICNIRP 2020, simultaneous exposure; ECC Recommendation (02)04: sum over frequencies of what was read over what is
    allowed there. What lies outside the bands is not in it.
    """
    spots: dict[tuple[str, str], dict[Kind, list[MeasuredLevel]]] = defaultdict(lambda: defaultdict(list))
    for item in table.parts:
        spots[item.place_id, item.state_id][item.kind].append(item)
    return tuple(one for spot, kinds in spots.items() for one in _sum(survey, spot, kinds, limits))


def _sum(
    survey: Survey, spot: tuple[str, str], kinds: dict[Kind, list[MeasuredLevel]], limits: LimitSet
) -> Iterator[BandSum]:
    """Of averages if they were read in every band, else of the highest kind that bounds them."""
    wanted = limit_kind(limits.scope)
    everywhere = {item.meter_id for items in kinds.values() for item in items}
    for kind in RISING[RISING.index(wanted) :]:
        items = apart(survey, kinds.get(kind, ()))
        if {item.meter_id for item in items} >= _first_bands(survey, everywhere, kinds):
            parts = tuple(_parts(survey, items, limits))
            if parts:
                names = tuple(part.name for part in parts)
                yield BandSum(*spot, names, quotient(parts, limits, survey.meter(items[0].meter_id).receives_hz))
            return


def _first_bands(survey: Survey, ids: set[str], kinds: dict[Kind, list[MeasuredLevel]]) -> set[str]:
    """Bands that do not overlap, of all that were read."""
    once = {item.meter_id: item for items in kinds.values() for item in items if item.meter_id in ids}
    return {item.meter_id for item in apart(survey, list(once.values()))}


def _parts(survey: Survey, items: Sequence[MeasuredLevel], limits: LimitSet) -> Iterator[AttributedLevel]:
    for item in items:
        meter = survey.meter(item.meter_id)
        limit, level = _limit(limits, meter), _as_taken(item.combined.level, limits)
        if limit is not None and level is not None:
            yield AttributedLevel(meter.name, level, limit.frequency_hz)

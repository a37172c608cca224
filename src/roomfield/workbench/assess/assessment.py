"""What a visit's levels mean: against the law, against the chosen guideline, and by radio state."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from roomfield.errors import RangeError
from roomfield.exposure.decision import (
    DEFAULT_RULE,
    Bound,
    ReferenceVerdict,
    judge,
    limit_kind,
    pulse_bound,
    takes_mean_over_scan,
)
from roomfield.exposure.guideline import CategoryProbability, GuidelineResult, compare_with_every_service
from roomfield.instrument import weighed_together
from roomfield.quantities import RISING, Censoring, Kind, ProbabilityRange, UncertainLevel
from roomfield.quantities.level import COVERAGE
from roomfield.references.guidelines import GuidelineSet, guideline_set
from roomfield.references.limit_sets import LimitSet, LimitValue
from roomfield.references.rules import decision_rule
from roomfield.show.findings import ShownAim
from roomfield.survey import Period, Survey
from roomfield.workbench.assess.bands import BandFinding, BandSum, band_findings, band_sums
from roomfield.workbench.assess.doubts import Doubt, doubts
from roomfield.workbench.assess.place_levels import LevelTable, MeasuredLevel, level_table
from roomfield.workbench.assess.place_use import aim_of, is_for_sleeping, is_meant
from roomfield.workbench.assess.switching import (
    AttributionFinding,
    PooledSwitch,
    QuotientFinding,
    SwitchFinding,
    as_limit_average,
    attributions,
    pooled_switches,
    quotients,
    switch_findings,
)
from roomfield.workbench.record.chosen_limits import chosen_limits, limits_beside


@dataclass(frozen=True)
class Terms:
    """How levels are compared.

    Parameters
    ----------
    coverage : float
        Probability content of every interval, 0 to 1.
    rule : str
        Decision rule for legal limits, see the references.
    """

    coverage: float = COVERAGE
    rule: str = DEFAULT_RULE


@dataclass(frozen=True)
class LawFinding:
    """One level against the legal limit.

    Parameters
    ----------
    measured : Kind
        Kind that was read; another than the limit takes if the level is only an upper bound.
    """

    place_id: str
    state_id: str
    verdict: ReferenceVerdict
    meter_id: str = ""
    measured: Kind = Kind.AVERAGE

    @property
    def is_upper_bound(self) -> bool:
        """True if no level of the kind asked for was read and a higher kind stands in as its upper bound."""
        return self.measured is not self.verdict.level.kind


@dataclass(frozen=True)
class GuidelineFinding:
    """One peak level against the chosen guideline, for each of its services.

    Parameters
    ----------
    results : tuple of GuidelineResult
        One for each service the guideline has rows for.
    uses : tuple of str
        Names of the targets that fit the use of the place, the best first.
    aim : ShownAim or None
        What the client wants not to be exceeded; None to take the target for the use of the place.
    """

    place_id: str
    state_id: str
    results: tuple[GuidelineResult, ...]
    meter_id: str = ""
    uses: tuple[str, ...] = ()
    aim: ShownAim | None = None

    @property
    def strictest(self) -> GuidelineResult:
        """The result least likely to be in the lowest category or at the target."""
        return min(self.results, key=lambda r: (r.chances[0].at_most.low, r.chances[0].row.upper_w_m2 or 0.0))

    def headline(self, result: GuidelineResult | None = None) -> CategoryProbability:
        """The row that the place is held against: the target for its use, else the lowest category or target."""
        chances = (result or self.strictest).chances
        fitting = (c for use in self.uses for c in chances if c.row.name == use)
        return next(fitting, chances[0])

    @property
    def bound_w_m2(self) -> float:
        """The aim, else the target for the use of the place [W/m²]."""
        return self.aim.value_w_m2 if self.aim else self.headline().row.upper_w_m2 or 0.0

    @property
    def probability_within(self) -> ProbabilityRange:
        """Probability of being at or under the aim, or the target for the place.

        The client's own aim is for the level itself; a guideline's value may be for the strongest single service.
        """
        if self.of_whole_level:
            return self.strictest.level.probability_below(self.bound_w_m2)
        return self.strictest.strongest_under(self.bound_w_m2)

    @property
    def of_whole_level(self) -> bool:
        """True if the level itself is held against the client's own aim, as a plan's target is."""
        return self.aim is not None and self.aim.chosen


@dataclass(frozen=True)
class BesideTheLaw:
    """Limits of the user's own, held beside the law and never in its place.

    Parameters
    ----------
    limits : LimitSet
        One set of the user's file.
    limit : LimitValue
        The value used: the smallest in the meter's band.
    findings : tuple of LawFinding
        Comparisons, by place and radio state.
    """

    limits: LimitSet
    limit: LimitValue
    findings: tuple[LawFinding, ...]


@dataclass(frozen=True)
class AcrossMeters:
    """One level at a place from every meter that read it."""

    place_id: str
    state_id: str
    meter_ids: tuple[str, ...]
    level: UncertainLevel


@dataclass(frozen=True)
class Assessment:
    """Everything that follows from one visit's readings alone.

    Parameters
    ----------
    survey : Survey
        The record.
    terms : Terms
        Coverage and decision rule.
    table : LevelTable
        Levels at places.
    limits : LimitSet
        The legal limits used.
    limit : LimitValue
        The value used: the smallest in the meter's band, because the frequency of a total is not known.
    guideline : GuidelineSet or None
        The guideline that the client chose.
    law, precaution : tuple
        Comparisons, by place and radio state.
    switches : tuple of SwitchFinding
        Differences between radio states.
    aim : ShownAim or None
        What the client wants not to be exceeded at the places that the guideline is for.
    pulse : Bound or None
        Extra condition of the limits on the mean over a pulse, if the document has one.
    pulses : tuple of LawFinding
        Peaks against it.
    pooled : tuple of PooledSwitch
        All on/off pairs of a switch taken together.
    attributions : tuple of AttributionFinding
        Whether the on/off tests add up.
    quotients : tuple of QuotientFinding
        Share of the limit with switched sources held against the limits at their own frequencies; an addition,
        the comparison with the smallest limit in the band stays the one that counts.
    doubts : tuple of Doubt
        What cannot be, or cannot all be right.
    beside : tuple of BesideTheLaw
        Limits of the user's own.
    bands : tuple of BandFinding
        Levels of single bands against the limit of their own frequencies and the guideline of their own service.
    band_sums : tuple of BandSum
        Shares of the limit of all bands of a place together.
    """

    survey: Survey
    terms: Terms
    table: LevelTable
    limits: LimitSet
    limit: LimitValue
    guideline: GuidelineSet | None
    law: tuple[LawFinding, ...]
    precaution: tuple[GuidelineFinding, ...]
    switches: tuple[SwitchFinding, ...]
    aim: ShownAim | None = None
    pulse: Bound | None = None
    pulses: tuple[LawFinding, ...] = ()
    pooled: tuple[PooledSwitch, ...] = ()
    attributions: tuple[AttributionFinding, ...] = ()
    quotients: tuple[QuotientFinding, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    beside: tuple[BesideTheLaw, ...] = ()
    bands: tuple[BandFinding, ...] = ()
    band_sums: tuple[BandSum, ...] = ()

    @property
    def across_meters(self) -> tuple[AcrossMeters, ...]:
        """Where several meters read one place in one state and kind: one level, the surer meter weighing more."""
        spots: dict[tuple[str, str, Kind, Period | None], list[MeasuredLevel]] = {}
        for item in self.table.levels:
            spots.setdefault((item.place_id, item.state_id, item.kind, item.period), []).append(item)
        return tuple(
            AcrossMeters(place, state, tuple(i.meter_id for i in items),
                         weighed_together([i.combined.level for i in items]))
            for (place, state, _, _), items in spots.items()
            if len(items) > 1
        )  # fmt: skip

    @property
    def leading_switches(self) -> tuple[PooledSwitch, ...]:
        """Of every switch at every place what it makes of the highest held, or of the peak if that is all there is."""
        found: dict[tuple[object, ...], PooledSwitch] = {}
        for item in self.pooled:
            first = item.first
            key = (first.place_id, first.group, first.meter_id, first.activity)
            if first.kind is Kind.HIGHEST_HELD or (first.kind is Kind.PEAK and key not in found):
                found[key] = item
        return tuple(found.values())

    @property
    def meter_ids(self) -> tuple[str, ...]:
        """Meters that took the visit's readings, in the order of the survey."""
        used = {item.meter_id for item in self.table.levels}
        return tuple(m.id for m in self.survey.meters if m.id in used)

    def law_at(self, place_id: str, state_id: str | None = None, meter_id: str = "") -> LawFinding | None:
        """Comparison with the law at a place; as found, by the first meter, if none are named."""
        return next((f for f in self.law if self._asked(f, place_id, state_id, meter_id)), None)

    def precaution_at(self, place_id: str, state_id: str | None = None, meter_id: str = "") -> GuidelineFinding | None:
        """Comparison with the guideline at a place; as found, by the first meter, if none are named."""
        return next((f for f in self.precaution if self._asked(f, place_id, state_id, meter_id)), None)

    def _asked(
        self, finding: LawFinding | GuidelineFinding, place_id: str, state_id: str | None, meter_id: str
    ) -> bool:
        wanted = (place_id, state_id or self.table.base_state.id)
        return (finding.place_id, finding.state_id) == wanted and meter_id in ("", finding.meter_id)


def assess(
    survey: Survey,
    visit_id: str | None = None,
    *,
    terms: Terms | None = None,
    user_limits: str = "",
) -> Assessment:
    """Assess a visit.

    Parameters
    ----------
    survey : Survey
        The record; its assignment names jurisdiction and guideline.
    visit_id : str, optional
        The visit; the first one if left out.
    terms : Terms, optional
        Coverage and decision rule.
    user_limits : str
        Path of a TOML file with limits of your own, held beside the jurisdiction's.

    Raises
    ------
    TooEarlyError
        If there is no reading yet.
    UnknownNameError
        If jurisdiction, guideline or rule are not in the tables.
    """
    chosen = terms or Terms()
    decision_rule(chosen.rule)
    table = level_table(survey, visit_id)
    limits, own = chosen_limits(survey.assignment.jurisdiction), limits_beside(user_limits)
    band_hz = _band_hz(survey, table)
    limit = _limit_for(limits, band_hz)
    pulse = pulse_bound(limit) if limit.spot_testable else None
    guideline = guideline_set(survey.assignment.guideline) if survey.assignment.guideline else None
    aim = aim_of(survey.assignment, guideline)
    switches = switch_findings(survey, table)
    pooled = pooled_switches(survey, table, switches)
    return Assessment(
        survey=survey,
        terms=chosen,
        table=table,
        limits=limits,
        limit=limit,
        guideline=guideline,
        law=tuple(_law(table, limits, limit, chosen)),
        precaution=tuple(_precaution(survey, table, guideline, aim)) if guideline else (),
        switches=switches,
        aim=aim,
        pulse=pulse,
        pulses=tuple(_pulses(table, pulse, chosen)) if pulse else (),
        pooled=pooled,
        attributions=attributions(survey, table, switches, chosen.coverage),
        quotients=quotients(survey, table, limits, band_hz) if limit.spot_testable else (),
        doubts=doubts(survey, table, pooled),
        beside=tuple(_beside(table, one, band_hz, chosen) for one in own),
        bands=band_findings(survey, table, limits, guideline),
        band_sums=band_sums(survey, table, limits),
    )


def _beside(table: LevelTable, limits: LimitSet, band_hz: tuple[float, float], terms: Terms) -> BesideTheLaw:
    limit = _limit_for(limits, band_hz)
    return BesideTheLaw(limits, limit, tuple(_law(table, limits, limit, terms)))


def _band_hz(survey: Survey, table: LevelTable) -> tuple[float, float]:
    """Band of all meters used: the smallest limit in it is on the safe side for each."""
    meters = [survey.meter(name) for name in dict.fromkeys(item.meter_id for item in table.levels)]
    if any(meter.shows_part for meter in meters):
        meters = [survey.meter(name) for name in dict.fromkeys(item.meter_id for item in table.parts)]
    return min(m.receives_hz[0] for m in meters), max(m.receives_hz[1] for m in meters)


def _limit_for(limits: LimitSet, band_hz: tuple[float, float]) -> LimitValue:
    """The smallest limit in the band; one stated outside of it or for one frequency only cannot be tested."""
    try:
        return limits.smallest_in_band(*band_hz)
    except RangeError:
        value = limits.at(limits.range_hz[0])
        note = f"stated for {value.frequency_hz / 1e6:g} MHz only; a total of unknown frequencies cannot test it"
        return replace(value, spot_testable=False, spot_note=note)


def _law(table: LevelTable, limits: LimitSet, limit: LimitValue, terms: Terms) -> Iterator[LawFinding]:
    """Each place in each radio state: the kind the limit takes, or the nearest higher kind as an upper bound."""
    wanted, mean_will_do = limit_kind(limits.scope), takes_mean_over_scan(limits.scope)
    spots: dict[tuple[str, str, str], dict[Kind, MeasuredLevel]] = {}
    for item in table.levels:
        spots.setdefault((item.place_id, item.state_id, item.meter_id), {})[item.kind] = item
    for (place, state, meter), kinds in spots.items():
        for kind in RISING[RISING.index(wanted) :]:
            level = kinds[kind].combined.level if kind in kinds else None
            higher = kind is not wanted
            if level is None or (higher and level.censoring is Censoring.ABOVE) or not (higher or mean_will_do):
                continue
            if higher:
                level = replace(level, kind=wanted, censoring=Censoring.BELOW)
            level = as_limit_average(level, limits)
            yield LawFinding(place, state, judge(level, limit, terms.rule), meter, kind)
            break


def _pulses(table: LevelTable, bound: Bound, terms: Terms) -> Iterator[LawFinding]:
    for item in highest_kinds(table):
        level = replace(item.combined.level, kind=bound.kind)
        if item.kind is not bound.kind and level.censoring is not Censoring.NONE:
            continue
        # No peak of its place is above the highest held, so that stands in as an upper bound.
        level = level if item.kind is bound.kind else replace(level, censoring=Censoring.BELOW)
        yield LawFinding(item.place_id, item.state_id, judge(level, bound, terms.rule), item.meter_id, item.kind)


def highest_kinds(table: LevelTable) -> Iterator[MeasuredLevel]:
    """Of each place, radio state and meter the highest held, else the peak: what a guideline of highest values takes.

    If the peak shows more than the highest held, one of them is wrong (see `roomfield.survey.out_of_order`), and the
    higher one counts.
    """
    spots: dict[tuple[str, str, str], MeasuredLevel] = {}
    for item in table.levels:
        if item.kind.instantaneous:
            key = (item.place_id, item.state_id, item.meter_id)
            spots[key] = max(spots.get(key, item), item, key=_reach)
    yield from spots.values()


def _reach(item: MeasuredLevel) -> tuple[bool, bool, float, bool]:
    """A lower bound reaches higher than a number, a number than an upper bound; alike, the highest held stands."""
    level = item.combined.level
    held = item.kind is Kind.HIGHEST_HELD
    return (level.censoring is Censoring.ABOVE, level.censoring is not Censoring.BELOW, round(level.level_db, 6), held)


def _precaution(
    survey: Survey, table: LevelTable, guideline: GuidelineSet, aim: ShownAim | None
) -> Iterator[GuidelineFinding]:
    for item in highest_kinds(table):
        place = survey.place(item.place_id)
        if is_meant(place, guideline):
            results = compare_with_every_service(item.combined.level, guideline.set_id)
            uses = ("nighttime" if is_for_sleeping(place) else "daytime", "indoor")
            yield GuidelineFinding(item.place_id, item.state_id, results, item.meter_id, uses, aim)
